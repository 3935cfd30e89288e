"""The frequency that a station transmits, constant or in ramps.

In: the times at which a frequency is stated, the frequencies with all their digits, and
their rates. Out: frequency at any time, cycles sent in an interval, and the difference
between a received frequency and what was sent, without cancellation.

A ramp runs from its start to the start of the next: f(t) = f_k + r_k (t - t_k). The last one
has no end, and before the first the frequency is not known.

What a station receives from a transponder with the turnaround ratio M is counted in the
cycles that were sent: with the round trip tau(t) on the station's clock, a count from t_a to
t_b has M times the integral of f from t_a - tau_a to t_b - tau_b. With T = t_b - t_a and
f_R the mean received frequency this gives the change of the round trip,

    tau_b - tau_a = (M <f> - f_R) T / (M f'),

where <f> is the mean over the T seconds from t_a - tau_a and f' the mean over the difference
of the round trips at the end of them. The difference is formed from the
decimal digits: 1e-4 Hz at 8.4 GHz is 1e-14, near the last bit of a float.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from astropy.time import Time
from numpy.typing import ArrayLike, NDArray

from wobble.errors import InputError

__all__ = ["Uplink"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Uplink:
    """Ramps of one station.

    Parameters
    ----------
    station : str
        Who transmits, for messages.
    origin : Time
        Origin of the seconds below.
    starts : ndarray, shape (n,)
        Where each ramp starts, s after the origin, ascending.
    frequencies : list of Fraction, length n
        Frequency at the start of each ramp, Hz.
    rates : ndarray, shape (n,)
        Rate of each ramp, Hz/s.
    """

    station: str
    origin: Time
    starts: Array
    frequencies: list[Fraction]
    rates: Array

    @property
    def is_constant(self) -> bool:
        """Whether one frequency was sent all the time."""
        return not self.rates.any() and len(set(self.frequencies)) == 1

    def seconds(self, times: Time) -> Array:
        """Seconds of some times after the origin."""
        return np.asarray((times - self.origin).to_value("s"), dtype=float)

    def at(self, seconds: ArrayLike) -> Array:
        """Frequency, Hz, shape (n,).

        Raises
        ------
        InputError
            If a time lies before the first ramp.
        """
        times = np.atleast_1d(np.asarray(seconds, dtype=float))
        ramp = np.searchsorted(self.starts, times, side="right") - 1
        if (ramp < 0).any():
            early = float(times.min()) - self.starts[0]
            raise InputError(
                f"the frequency that {self.station} transmits is not known that early",
                field="TRANSMIT_FREQ",
                found=f"{-early:.3f} s before the first frequency",
            )
        values = np.array([float(f) for f in self.frequencies])
        return values[ramp] + self.rates[ramp] * (times - self.starts[ramp])

    def cycles(self, start: float, stop: float) -> float:
        """Cycles sent from one time to a later one."""
        return sum(
            (end - begin)
            * (float(self.frequencies[k]) + self.rates[k] * (0.5 * (begin + end) - self.starts[k]))
            for k, begin, end in self._pieces(start, stop)
        )

    def round_trip_change(
        self, start: float, count: float, turnaround: Fraction, received: Fraction
    ) -> float:
        """Change of the round trip over a count, s.

        Parameters
        ----------
        start : float
            When the first counted cycle was sent, s after the origin.
        count : float
            Count time, s.
        turnaround : Fraction
            Turnaround ratio of the transponder.
        received : Fraction
            Mean received frequency, Hz.
        """
        ratio = float(turnaround)
        excess = sum(
            (end - begin)
            * (
                float(turnaround * self.frequencies[k] - received)
                + ratio * self.rates[k] * (0.5 * (begin + end) - self.starts[k])
            )
            for k, begin, end in self._pieces(start, start + count)
        )
        change = excess / (ratio * self.at(start + count)[0])
        return float(excess / (ratio * self.at(start + count - 0.5 * change)[0]))

    def _pieces(self, start: float, stop: float) -> Iterator[tuple[int, float, float]]:
        """The ramps within an interval, each with where it begins and ends there."""
        self.at(start)
        first, last = np.searchsorted(self.starts, (start, stop), side="right") - 1
        for k in range(first, last + 1):
            begin = max(start, self.starts[k])
            end = min(stop, self.starts[k + 1]) if k < last else stop
            yield k, begin, end
