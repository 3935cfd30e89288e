"""Errors that come in whole steps: lost cycles, and ranges taken modulo their ambiguity.

In: the size of an error, its standard deviation, and the step that the measurement is known
to make (`wobble.measurements.kinds`). Out: the whole number of steps that the error is, if it can
be told.

A ranging code repeats itself after its ambiguity, so that a range can be wrong by any whole
number of these; a counter loses whole cycles of the carrier. Where the step is not many times the
noise, every error lies near a whole number of steps, and nothing is said.
"""

from __future__ import annotations

import numpy as np

__all__ = ["whole_steps"]

NEAR = 3.0
"""An error is a whole number of steps if it lies within so many of its standard deviations."""
BY_CHANCE = 0.2
"""Nothing is said if more than this share of all errors would lie so near by chance."""
MOST = 10_000


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
