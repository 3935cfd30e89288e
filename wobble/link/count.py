"""When counts begin and end, and how a leg changes over a count without subtracting two paths.

In: the counts; the leg at the begin of each, and the steps of its two ends. Out: the instants
at which counts begin or end (`Boundaries`), an instant once where one count follows the other;
the change of the leg's length, from ``drho = a.(b + e) / (|b| + |e|)`` with b and e its vector
at begin and end of the count and a = e - b; and the interval between the two transmissions.

What arrives ``T`` later was sent ``T - drho/c - d(delay)`` later. The steps are exact for
intervals that are good to a nanosecond; light's own condition then moves the earlier end by
the picoseconds that are missing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.link.ends import End, Event
from wobble.link.path import Leg

__all__ = ["LONGEST_COUNT", "Boundaries", "count_times", "leg_change", "rough_step"]

Array = NDArray[np.float64]

CLOSING_SWEEPS = 3
SAME_INSTANT = 1e-9
"""By how much the end of a count may miss the begin of the next and be taken for it, s.

Time tags resolve 1e-11 s. The steps of the ends are taken over the count itself, so that only
delays and corrections see the difference: 1e-12 m."""


LONGEST_COUNT = 5000.0
"""Longest count time, s: a step of a station is taken within a quarter of a record of the Earth's
orientation, 5400 s."""


def count_times(seconds: ArrayLike, n: int) -> Array:
    """Lengths of n counts, s, shape (n,).

    Parameters
    ----------
    seconds : array_like, shape (n,) or scalar
    n : int

    Raises
    ------
    InputError
        If one is not positive, or longer than `LONGEST_COUNT`.
    """
    count = np.broadcast_to(np.asarray(seconds, float), (n,))
    good = (count > 0) & (count <= LONGEST_COUNT)
    if not good.all():
        raise InputError(
            "a count time is positive and not longer than what one model of motion covers",
            field="count_time",
            found=f"{count[~good][0]:g} s",
            expected=f"more than 0 s, at most {LONGEST_COUNT:g} s",
        )
    return count


@dataclass(frozen=True, eq=False)
class Boundaries:
    """The m instants at which n counts begin and end.

    Parameters
    ----------
    epochs : Epochs
        The instants; the end of a count comes next after its begin.
    begin : ndarray of int, shape (n,)
        At which of the instants each count begins.
    count : ndarray of int, shape (m,)
        To which of the counts each instant belongs.
    """

    epochs: Epochs
    begin: NDArray[np.intp]
    count: NDArray[np.intp]

    @classmethod
    def of(cls, middle: Epochs, length: Array, changes: NDArray[np.bool_]) -> Self:
        """Of counts around their middles.

        Parameters
        ----------
        middle : Epochs
        length : ndarray, shape (n,)
            s.
        changes : ndarray of bool, shape (n - 1,) or (1,)
            Where conditions change from one count to the next, so that an instant between
            them has to be there for either.
        """
        first = middle.shift(-length / 2.0)
        last = first.shift(length)
        gap = np.abs(first[1:].minus(last[:-1]))
        alone = np.append((gap > SAME_INSTANT) | changes, True)[: len(middle)]
        begin = np.arange(len(middle)) + np.cumsum(alone) - alone
        count = np.repeat(np.arange(len(middle)), 1 + alone)
        seconds, fraction = first.seconds[count], first.fraction[count]
        at_end = begin[alone] + 1
        seconds[at_end], fraction[at_end] = last.seconds[alone], last.fraction[alone]
        epochs = Epochs(seconds, fraction, middle.scale)
        return cls(epochs, begin, count)

    @property
    def end(self) -> NDArray[np.intp]:
        """At which of the instants each count ends, shape (n,)."""
        return self.begin + 1


def rough_step(end_of_link: End, begin: Event, end: Event) -> tuple[Array, Array, Array]:
    """Interval between two solved events, the exact step over it, and the velocity there."""
    interval = end.epochs.minus(begin.epochs)
    return interval, end_of_link.step(begin, end, interval), end.velocity


def leg_change(
    leg: Leg,
    ahead: tuple[Array, Array],
    behind: tuple[Array, Array, Array],
    delay_step: Array,
) -> tuple[Array, Array, Array]:
    """Change of a leg's length over a count, and interval and step of its earlier event.

    Parameters
    ----------
    leg : Leg
        At the begin of the count.
    ahead : interval and step
        Of the reception over the count.
    behind : interval, step and velocity
        Of the transmission, good to a nanosecond or so. Light sets its interval: the
        reception's less the growth of the light time.
    delay_step : ndarray, shape (n,)
        Growth of the leg's delay, s.
    """
    interval, step, velocity = behind
    shift = np.zeros_like(interval)
    for _ in range(CLOSING_SWEEPS):
        moved = step + velocity * shift[:, None]
        longer = _length_increment(leg, ahead[1] - moved)
        shift = (ahead[0] - longer / SPEED_OF_LIGHT - delay_step) - interval
    return longer, interval + shift, moved


def _length_increment(leg: Leg, change: Array) -> Array:
    """Change of a leg's length when its vector changes, m, shape (n,), without cancellation."""
    begin = leg.vector
    end = begin + change
    lengths = leg.distance + np.linalg.norm(end, axis=1)
    return np.einsum("ni,ni->n", change, begin + end) / lengths
