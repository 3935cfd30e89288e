"""The parameters that describe an orientation and a lander: names, units, meaning.

In: a dotted name. Out: its SI unit, the unit in which people write it, and what it is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from wobble.errors import UnknownNameError

__all__ = ["ParameterUnit", "unit_of"]


@dataclass(frozen=True)
class ParameterUnit:
    """Units and meaning of a parameter.

    Parameters
    ----------
    si, user : str
        Unit inside, and unit at the edges, as astropy reads them.
    meaning : str
        What it is, in a few words.
    """

    si: str
    user: str
    meaning: str


_PATTERNS = {
    r"pole\.node_longitude": ("rad", "deg", "longitude of the equator's node at J2000"),
    r"pole\.precession_rate": ("rad / s", "mas / yr", "rate of the node's longitude"),
    r"pole\.obliquity": ("rad", "deg", "obliquity at J2000"),
    r"pole\.obliquity_rate": ("rad / s", "mas / yr", "rate of the obliquity"),
    r"spin\.angle": ("rad", "deg", "spin angle from the node at J2000"),
    r"spin\.rate": ("rad / s", "deg / d", "spin rate"),
    r"spin\.acceleration": ("rad / s2", "mas / yr2", "secular acceleration of the spin"),
    r"spin\.(semi|ter|quarter)?annual_(cos|sin)": ("rad", "mas", "seasonal spin angle"),
    r"polar_motion\.[xy]_(semi|ter|quarter)?annual_(cos|sin)": ("rad", "mas", "polar motion"),
    r"polar_motion\.chandler_(cos|sin)": ("rad", "mas", "free wobble at J2000"),
    r"polar_motion\.chandler_period": ("s", "d", "period of the free wobble"),
    r"core\.factor": ("", "", "amplification factor of the liquid core"),
    r"core\.period": ("s", "d", "period of the free core nutation, negative: retrograde"),
    r"lander\.[^.]+\.[xyz]": ("m", "m", "body-fixed coordinate"),
    r"station\.[^.]+\.range_bias": ("m", "m", "one-way range bias of a station"),
    r"pass\..+\.range_bias": ("m", "m", "one-way range bias of a pass"),
    r"pass\..+\.range_rate_bias": ("m / s", "mm / s", "range-rate bias of a pass"),
}


def unit_of(name: str) -> ParameterUnit:
    """Units and meaning of a parameter by its name.

    Raises
    ------
    UnknownNameError
        If no parameter has such a name.
    """
    for pattern, unit in _PATTERNS.items():
        if re.fullmatch(pattern, name):
            return ParameterUnit(*unit)
    known = [re.sub(r"\\|\(|\)\??", "", p).replace("[^.]+", "NAME") for p in _PATTERNS]
    raise UnknownNameError("parameter", name, known)
