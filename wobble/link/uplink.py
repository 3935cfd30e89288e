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

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

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

    def cycles(self, start: ArrayLike, stop: ArrayLike) -> Array:
        """Cycles sent from some times to later ones, shape (n,)."""
        frequencies = np.array([float(f) for f in self.frequencies])
        total = np.zeros(np.size(start))
        for k, begin, end in self._pieces(start, stop):
            middle = 0.5 * (begin + end) - self.starts[k]
            total += (end - begin) * (frequencies[k] + self.rates[k] * middle)
        return total

    def round_trip_change(
        self,
        start: ArrayLike,
        count: float,
        turnaround: Fraction,
        received: Sequence[Fraction] | Sequence[Decimal],
    ) -> Array:
        """Change of the round trip over some counts, s, shape (n,).

        Parameters
        ----------
        start : array_like, shape (n,)
            When the first cycle of each count was sent, s after the origin.
        count : float
            Count time, s.
        turnaround : Fraction
            Turnaround ratio of the transponder.
        received : sequence of Fraction or Decimal, length n
            Mean received frequencies, Hz.
        """
        ratio = float(turnaround)
        stop = np.atleast_1d(start) + count
        sent, sent_rest = _two_floats([turnaround * f for f in self.frequencies])
        got, got_rest = _two_floats(received)
        excess = np.zeros(len(stop))
        for k, begin, end in self._pieces(start, stop):
            difference = (sent[k] - got) + (sent_rest[k] - got_rest)
            middle = 0.5 * (begin + end) - self.starts[k]
            excess += (end - begin) * (difference + ratio * self.rates[k] * middle)
        change = excess / (ratio * self.at(stop))
        return np.asarray(excess / (ratio * self.at(stop - 0.5 * change)))

    def _pieces(
        self, start: ArrayLike, stop: ArrayLike
    ) -> Iterator[tuple[NDArray[np.intp], Array, Array]]:
        """The ramps within some intervals: of each its first, then the next, and so on.

        An interval that has no more of them has pieces without length.
        """
        start, stop = (np.atleast_1d(np.asarray(t, dtype=float)) for t in (start, stop))
        self.at(start)
        first, last = (np.searchsorted(self.starts, t, side="right") - 1 for t in (start, stop))
        ends = np.append(self.starts[1:], np.inf)
        for step in range(int((last - first).max(initial=0)) + 1):
            k = np.minimum(first + step, last)
            begin = np.where(first + step > last, stop, np.maximum(start, self.starts[k]))
            yield k, begin, np.minimum(stop, ends[k])


def _two_floats(numbers: Sequence[Fraction] | Sequence[Decimal]) -> tuple[Array, Array]:
    """Numbers as the sum of two floats each, which keep 32 digits."""
    high = np.fromiter((float(x) for x in numbers), float, len(numbers))
    # A float is a fraction or a decimal number exactly.
    exact: Any = type(numbers[0])
    rest = (float(x - exact(h)) for x, h in zip(numbers, high.tolist(), strict=True))
    return high, np.fromiter(rest, float, len(numbers))
