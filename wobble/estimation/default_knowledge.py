"""How well the parameters of a link are known where nobody says.

In: the name of a parameter. Out: its a priori standard deviation, and where that comes from.

What a campaign is made to find out (the orientation, the core, the place of a lander) has no
default: there the data decide, or whoever writes the scenario. What only stands between the
data and these has one, so that a clock, a cable or a delay that is estimated or considered
without a word does not take in all that it could take.
"""

from __future__ import annotations

import re
from typing import NamedTuple

__all__ = ["DefaultKnowledge", "default_knowledge"]


class DefaultKnowledge(NamedTuple):
    """What is known of a parameter by default.

    Attributes
    ----------
    sigma : float
        Standard deviation, SI.
    source : str
    """

    sigma: float
    source: str


PRACTICE = "common practice, no source"
FRAME = (
    "terrestrial frames agree to millimetres: Altamimi et al. 2023, J. Geod. 97, 47, from memory"
)
ORBIT = (
    "frame of the ephemeris tied to 0.2 mas by interferometry: Park et al. 2021, Astron. J. 161, "
    "105, from memory"
)
MAPS = (
    "maps of the ionosphere are good to some units of 1e16 / m2: Hernandez-Pajares et al. 2009, "
    "J. Geod. 83, 263, from memory"
)
DEFAULTS = (
    (r"station\.[^.]+\.[xyz]", DefaultKnowledge(0.01, FRAME)),
    (r"station\.[^.]+\.zenith_wet_delay", DefaultKnowledge(0.04, PRACTICE)),
    (r"station\.[^.]+\.clock_offset", DefaultKnowledge(1e-6, PRACTICE)),
    (r"station\.[^.]+\.delay", DefaultKnowledge(10e-9, PRACTICE)),
    (r"station\.[^.]+\.range_bias", DefaultKnowledge(2.0, PRACTICE)),
    (r"lander\.[^.]+\.transponder_delay", DefaultKnowledge(20e-9, PRACTICE)),
    # 0.2 mas at 1.5 au are 220 m; the distance itself is measured to metres.
    (r"ephemeris\.mars\.(transverse|normal)", DefaultKnowledge(220.0, ORBIT)),
    (r"ephemeris\.mars\.radial", DefaultKnowledge(10.0, PRACTICE)),
    (r"ionosphere\.content", DefaultKnowledge(5e16, MAPS)),
    (r"corona\.scale", DefaultKnowledge(0.5, PRACTICE)),
)


def default_knowledge(name: str) -> DefaultKnowledge | None:
    """What is known by default of a parameter; None if only the data or the user can say."""
    for pattern, known in DEFAULTS:
        if re.fullmatch(pattern, name):
            return known
    return None
