"""How much and when a lander may be tracked: its operators' flight rules, as far as a plan goes.

In: a scenario's ``[lander.NAME.limits]``. Out: `LanderLimits`: tracking time and energy in a
sol (a solar day of the lander, from midnight to midnight of its true solar time), hours of
its local time, rest between passes.

The numbers are planning values. Power, temperature and safety of a lander are the matter of
those who operate it, and their flight rules decide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.errors import InputError

__all__ = ["LanderLimits"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class LanderLimits:
    """What a lander's tracking is limited by; the defaults limit nothing.

    Parameters
    ----------
    time_per_sol : float
        Longest tracking in one sol, s.
    power : float
        Drawn while it is tracked, W.
    energy_per_sol : float
        Most that tracking may take in one sol, J.
    local_times : tuple of (float, float)
        Hours of true solar time within which it may be tracked; an end before its begin
        lies on the next sol. Empty: always.
    rest : float
        Least time from the end of a pass to the begin of the next, s.
    """

    time_per_sol: float = np.inf
    power: float = 0.0
    energy_per_sol: float = np.inf
    local_times: tuple[tuple[float, float], ...] = ()
    rest: float = 0.0

    def __post_init__(self) -> None:
        for name in ("time_per_sol", "energy_per_sol"):
            if not getattr(self, name) > 0:
                raise InputError("must be positive", field=name, found=getattr(self, name))
        for name in ("power", "rest"):
            if not getattr(self, name) >= 0:
                raise InputError("must not be negative", field=name, found=getattr(self, name))
        if np.isfinite(self.energy_per_sol) and not self.power:
            raise InputError(
                "an energy in a sol means nothing without the power that tracking draws",
                field="power",
                expected='a power, such as "60 W"',
            )

    def local_time_margin(self, hour: Array) -> Array:
        """How far inside the allowed hours local times (h) are, in h, shape (n,)."""
        if not self.local_times:
            return np.full(np.shape(hour), 12.0)
        inside = []
        for begin, end in self.local_times:
            half = ((end - begin) % 24.0 or 24.0) / 2.0
            from_middle = (hour - begin - half + 12.0) % 24.0 - 12.0
            inside.append(half - np.abs(from_middle))
        return np.max(inside, axis=0)
