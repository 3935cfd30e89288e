"""Errors that come in whole steps: lost cycles, and ranges taken modulo their ambiguity.

In: the size of an error, its standard deviation, and the step that the measurement is known
to make. Out: the whole number of steps that the error is, if it can be told, and words.

A counter that loses one cycle of the received carrier within a count of duration T shifts the
two-way range rate, in its one-way equivalent, by

    c / (2 G f T)      G turnaround ratio, f frequency of the uplink

(0.3 mm/s for X band and a minute). A ranging code repeats itself after its ambiguity, so that
a range can be wrong by any whole number of these. Where the step is not many times the
noise, every error lies near a whole number of steps, and nothing is said.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT

__all__ = ["cycle_step", "slip_text", "whole_steps"]

Array = NDArray[np.float64]

NEAR = 3.0
"""An error is a whole number of steps if it lies within so many of its standard deviations."""
BY_CHANCE = 0.2
"""Nothing is said if more than this share of all errors would lie so near by chance."""
MOST = 10_000


def cycle_step(frequency: ArrayLike, turnaround: float, count_time: ArrayLike) -> Array:
    """Shift of a range rate by one lost cycle, m/s, one-way.

    Parameters
    ----------
    frequency : array_like, shape (n,)
        Of the uplink, Hz.
    turnaround : float
        Received over transmitted frequency of the lander.
    count_time : array_like, shape (n,)
        s.
    """
    received = turnaround * np.asarray(frequency, float)
    return np.asarray(SPEED_OF_LIGHT / (2.0 * received * np.asarray(count_time, float)))


def whole_steps(error: float, sigma: float, step: float) -> int:
    """How many steps an error is; zero if none or if it cannot be told.

    Parameters
    ----------
    error, sigma : float
        Size of the error and its standard deviation, SI.
    step : float
        SI; NaN if the measurement is not known to make steps.
    """
    if not np.isfinite(step) or 2.0 * NEAR * sigma > BY_CHANCE * step:
        return 0
    count = round(error / step)
    near = abs(error - count * step) <= NEAR * sigma
    return count if near and abs(count) <= MOST else 0


def slip_text(kind: str, count: int) -> str:
    """What a number of steps means for a kind of measurement; empty for none."""
    if not count:
        return ""
    many = "" if abs(count) == 1 else "s"
    if kind == "range_rate":
        return f"cycle slip of {count:+d} cycle{many} of the carrier"
    return f"range wrong by {count:+d} ambiguit{'y' if not many else 'ies'}"
