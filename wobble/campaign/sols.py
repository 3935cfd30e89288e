"""Sols of a lander: its solar days, counted through a plan.

In: a lander and a span. Out: `SolCount`, which gives for any instant of reception on the Earth
the lander's true solar time as a running number of sols: its whole part counts sols from
midnight to midnight, its fraction times 24 is the local hour.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Self

import numpy as np
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.campaign.link_geometry import true_solar_time
from wobble.constants import DAY, SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.link.ends import LanderEnd

__all__ = ["SolCount"]

Array = NDArray[np.float64]

STEP = 3600.0
"""Between entries, s: true solar time is linear over an hour to a microsecond or so."""


@dataclass(frozen=True, eq=False)
class SolCount:
    """Running number of sols against seconds from the begin of a plan. Build it with `over`."""

    seconds: Array = field(repr=False)
    sols: Array = field(repr=False)

    @classmethod
    def over(cls, lander: LanderEnd, start: Time, span: float) -> Self:
        """Tabulate ``span`` seconds of reception from ``start`` (UTC), a day more each side."""
        seconds = np.arange(-DAY, span + DAY + STEP, STEP)
        received = Epochs.from_time(start + TimeDelta(seconds, format="sec"))
        away = lander.center(received) - lander.ephemeris.position("earth", received)
        heard = received.shift(-np.linalg.norm(away, axis=1) / SPEED_OF_LIGHT)
        return cls(seconds, np.unwrap(true_solar_time(lander, heard), period=24.0) / 24.0)

    def at(self, seconds: float) -> float:
        """Running number of sols at an instant."""
        return float(np.interp(seconds, self.seconds, self.sols))

    def shares(self, begin: float, end: float) -> Iterator[tuple[int, float]]:
        """Each sol that an interval touches, with the seconds of the interval in it."""
        first, last = self.at(begin), self.at(end)
        for sol in range(int(np.floor(first)), int(np.floor(last)) + 1):
            share = (min(last, sol + 1.0) - max(first, float(sol))) / (last - first)
            if share > 0:
                yield sol, share * (end - begin)
