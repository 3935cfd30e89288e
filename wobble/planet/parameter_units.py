"""The parameters that describe an orientation, a lander and a link: names, units, meaning.

In: a dotted name. Out: its SI unit, the unit in which people write it, what it is, and the values
that physics allows it. A fit may leave these: the estimate says so.
"""

from __future__ import annotations

import math
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
    least, most : float
        Between which any value must lie, whatever the planet, SI; infinite if it may be any.
    """

    si: str
    user: str
    meaning: str
    least: float = -math.inf
    most: float = math.inf


_SEASONAL = [
    f"{season}_{part}"
    for season in ("annual", "semiannual", "terannual", "quarterannual")
    for part in ("cos", "sin")
]
# NAME stands for a name without a dot, ID for any text.
_UNITS = {
    "pole.node_longitude": ParameterUnit("rad", "deg", "longitude of the equator's node at J2000"),
    "pole.precession_rate": ParameterUnit("rad / s", "mas / yr", "rate of the node's longitude"),
    "pole.obliquity": ParameterUnit("rad", "deg", "obliquity at J2000", 0.0, math.pi),
    "pole.obliquity_rate": ParameterUnit("rad / s", "mas / yr", "rate of the obliquity"),
    "pole.right_ascension": ParameterUnit("rad", "deg", "right ascension of the pole at J2000"),
    "pole.right_ascension_rate": ParameterUnit("rad / s", "mas / yr", "rate of that"),
    "pole.declination": ParameterUnit("rad", "deg", "declination of the pole at J2000"),
    "pole.declination_rate": ParameterUnit("rad / s", "mas / yr", "rate of that"),
    "spin.angle": ParameterUnit("rad", "deg", "spin angle from the node at J2000"),
    "spin.rate": ParameterUnit("rad / s", "deg / d", "spin rate"),
    "spin.acceleration": ParameterUnit("rad / s2", "mas / yr2", "secular acceleration of the spin"),
    **{f"spin.{s}": ParameterUnit("rad", "mas", "seasonal spin angle") for s in _SEASONAL},
    **{
        f"polar_motion.{axis}_{s}": ParameterUnit("rad", "mas", "seasonal polar motion")
        for axis in "xy"
        for s in _SEASONAL
    },
    "polar_motion.chandler_cos": ParameterUnit("rad", "mas", "free wobble at J2000"),
    "polar_motion.chandler_sin": ParameterUnit("rad", "mas", "free wobble at J2000"),
    "polar_motion.chandler_period": ParameterUnit("s", "d", "period of the free wobble", least=0.0),
    "nutation.NAME_in_phase": ParameterUnit("rad", "mas", "amplitude of a circle of the pole"),
    "nutation.NAME_out_of_phase": ParameterUnit("rad", "mas", "amplitude of a circle of the pole"),
    **{
        f"series.NAME_{part}": ParameterUnit("rad", "mas", "amplitude of a periodic term")
        for part in ("cos", "sin")
    },
    **{
        f"series.NAME_{part}_rate": ParameterUnit("rad / s", "mas / yr", "its drift")
        for part in ("cos", "sin")
    },
    # F is A_c / A_m of core and mantle times a factor near one: a core adds. Its free nutation is
    # retrograde as its flattening is positive (Sasao, Okubo & Saito 1980, IAU Symp. 78, 165).
    "core.factor": ParameterUnit("", "", "amplification factor of the liquid core", least=0.0),
    "core.period": ParameterUnit(
        "s", "d", "period of the free core nutation, negative: retrograde", most=0.0
    ),
    **{f"lander.NAME.{axis}": ParameterUnit("m", "m", "body-fixed coordinate") for axis in "xyz"},
    "lander.NAME.zenith_delay": ParameterUnit(
        "m", "mm", "delay of the planet's air at the zenith", least=0.0
    ),
    "lander.NAME.transponder_delay": ParameterUnit("s", "ns", "delay in the transponder"),
    "lander.NAME.oscillator_bias": ParameterUnit("", "", "fractional bias of the oscillator"),
    "lander.NAME.oscillator_drift": ParameterUnit("1 / s", "1 / d", "rate of that bias"),
    **{
        f"ephemeris.NAME.{axis}": ParameterUnit("m", "m", f"{axis} offset of the planet")
        for axis in ("radial", "transverse", "normal")
    },
    **{f"station.NAME.{axis}": ParameterUnit("m", "m", "terrestrial coordinate") for axis in "xyz"},
    "station.NAME.zenith_wet_delay": ParameterUnit("m", "mm", "addition to the zenith wet delay"),
    "station.NAME.clock_offset": ParameterUnit("s", "ns", "how far the clock is ahead of UTC"),
    "station.NAME.delay": ParameterUnit("s", "ns", "delay of the electronics, round trip"),
    # Electrons are counted: there cannot be fewer than none.
    "ionosphere.content": ParameterUnit("1 / m2", "1 / m2", "vertical electron content", least=0.0),
    "corona.scale": ParameterUnit("", "", "factor on the electrons of the corona", least=0.0),
    "station.NAME.range_bias": ParameterUnit("m", "m", "one-way range bias of a station"),
    "pass.ID.range_bias": ParameterUnit("m", "m", "one-way range bias of a pass"),
    "pass.ID.range_rate_bias": ParameterUnit("m / s", "mm / s", "range-rate bias of a pass"),
    "pass.ID.one_way_range_rate_bias": ParameterUnit(
        "m / s", "mm / s", "bias of the one-way range rate of a pass, by the oscillator"
    ),
}
_PATTERNS = {
    re.compile(re.escape(name).replace("NAME", "[^.]+").replace("ID", ".+")): unit
    for name, unit in _UNITS.items()
}


def unit_of(name: str) -> ParameterUnit:
    """Units and meaning of a parameter by its name.

    Raises
    ------
    UnknownNameError
        If no parameter has such a name.
    """
    for pattern, unit in _PATTERNS.items():
        if pattern.fullmatch(name):
            return unit
    raise UnknownNameError("parameter", name, _UNITS)
