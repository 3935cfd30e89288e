"""What each condition costs: hours that would remain without it.

In: margins of all conditions on samples of a plan. Out: `ConditionHours`, which says, when no
hour is left, which condition removes the last window.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from wobble.campaign.conditions import CONDITIONS
from wobble.constants import DAY

__all__ = ["CAUSES", "ConditionHours"]

Array = NDArray[np.float64]

CAUSES = {
    "the stations' horizons and safety limits": (0, 1, 2),
    "the lander's horizon": (3,),
    "the lander's antenna beams": (4,),
    "the Sun-Earth-probe limit": (5,),
    "the Sun-probe-Earth limit": (6,),
    "the Sun's disc": (7,),
    "the Moon's disc": (8,),
    "the lander's local times": (9,),
    "the stations' calendars": (10, 11),
}
"""Conditions that are one cause to a planner: those of a station that sends and receives come in
pairs, and neither alone opens anything."""


@dataclass(frozen=True, eq=False)
class ConditionHours:
    """Hours in view, all stations, landers and antennas together.

    They are sums over samples, ten minutes apart for the most part: to say how much a
    condition matters, not when.

    Parameters
    ----------
    without : ndarray, shape (conditions,)
        With all conditions but this one, h, in the order of `CONDITIONS`.
    in_turn : ndarray, shape (conditions,)
        With this one and all before it.
    by_day : ndarray, shape (days,)
        With all conditions, h.
    without_by_day : ndarray, shape (days, causes)
        With all conditions but those of one of `CAUSES`.
    """

    without: Array
    in_turn: Array
    by_day: Array
    without_by_day: Array

    @classmethod
    def of(cls, sampled: Iterable[tuple[Array, Array]]) -> Self:
        """From times (s, shape (n,)) and margins (n, conditions) of each combination."""
        count = len(CONDITIONS)
        sights = list(sampled)
        days = max((int(times[-1] // DAY) + 1 for times, _ in sights), default=0)
        without, in_turn = np.zeros(count), np.zeros(count)
        by_day, without_by_day = np.zeros(days), np.zeros((days, len(CAUSES)))
        for times, margins in sights:
            hours = np.gradient(times) / 3600.0
            held = margins >= 0
            failed = count - held.sum(axis=1)
            day = (times // DAY).astype(int)
            without += hours @ ((failed[:, None] - ~held) == 0)
            in_turn += hours @ np.logical_and.accumulate(held, axis=1)
            by_day += np.bincount(day, hours * (failed == 0), days)
            for k, members in enumerate(CAUSES.values()):
                others = failed == (~held[:, list(members)]).sum(axis=1)
                without_by_day[:, k] += np.bincount(day, hours * others, days)
        return cls(without, in_turn, by_day, without_by_day)

    def last_removed_by(self) -> str:
        """Which condition removes the last window, when none is left."""
        alone = np.argsort(-self.without, kind="stable")
        saving = [k for k in alone if self.without[k] > 0]
        if saving:
            remaining = "; ".join(
                f"without the condition {CONDITIONS[k]!r} {self.without[k]:.0f} h would remain"
                for k in saving
            )
            return remaining
        last = int(np.argmax(self.in_turn <= 0))
        if last == 0:
            return f"the condition {CONDITIONS[0]!r} alone leaves no time, nor do others"
        return (
            f"no single condition is the cause: after {CONDITIONS[last - 1]!r} "
            f"{self.in_turn[last - 1]:.0f} h are left, and {CONDITIONS[last]!r} removes them"
        )
