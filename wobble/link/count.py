"""How a leg of the signal's path changes over a count, without subtracting two paths.

In: the leg at the begin of the count, and the steps of its two ends. Out: the change of its
length, from ``drho = a.(b + e) / (|b| + |e|)`` with b and e the vector of the leg at begin and
end of the count and a = e - b; and the interval between the two transmissions.

What arrives ``T`` later was sent ``T - drho/c - d(delay)`` later. The steps are exact for
intervals that are good to a nanosecond; light's own condition then moves the earlier end by
the picoseconds that are missing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.link.ends import End, Event
from wobble.link.light_time import Leg

__all__ = ["leg_change", "rough_step"]

Array = NDArray[np.float64]

CLOSING_SWEEPS = 3


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
