"""When a function of time is not negative: intervals to a second, the shortest included.

In: samples of a function and the function itself. Out: begin and end of each interval.

Between two samples of different sign a zero is found by Chandrupatla's method to 0.05 s.
Where a sample is negative but higher than its neighbours, or positive but lower, the function
may cross zero twice unseen: there its extremum is found first (Chandrupatla's method for
minima, `scipy.optimize.elementwise`), and becomes a sample if it lies on the other side. So a
grazing pass of a minute is found among samples ten minutes apart, as long as the function has
no more than one extremum between neighbouring samples.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import elementwise

__all__ = ["intervals_of"]

Array = NDArray[np.float64]

TOLERANCE = 0.05
"""Of a zero, s."""
EXTREMUM_TOLERANCE = 2.0
"""Of the place of an extremum, s: its value is right to the square of that."""
REACH = 1.5
"""An extremum is looked for within so many times the step to the neighbours: for a corner
between even samples it lies within one step, for a parabola within a quarter."""


def intervals_of(function: Callable[[Array], Array], times: Array, values: Array) -> Array:
    """Intervals within the samples in which a function is not negative, shape (m, 2).

    Parameters
    ----------
    function : callable
        Takes times (n,) and gives values (n,).
    times : ndarray, shape (n,)
        Increasing.
    values : ndarray, shape (n,)
        The function there.
    """
    times, values = _with_extrema(function, times, values)
    good = values >= 0
    change = np.flatnonzero(good[1:] != good[:-1])
    edges = list(_zeros(function, times[change], times[change + 1]))
    if good[0]:
        edges.insert(0, times[0])
    if good[-1]:
        edges.append(times[-1])
    return np.array(edges, float).reshape(-1, 2)


def _with_extrema(
    function: Callable[[Array], Array], times: Array, values: Array
) -> tuple[Array, Array]:
    """The samples and, among them, extrema of the other sign than their neighbours'."""
    side = np.sign(values)
    step, width = np.diff(values), np.diff(times)
    # Turned so that a sample is positive, it must be lower than its neighbours.
    turning = (side[1:-1] * step[:-1] < 0) & (side[1:-1] * step[1:] > 0)
    swing = np.maximum(np.abs(step[:-1]), np.abs(step[1:]))
    uneven = np.maximum(width[:-1], width[1:]) / np.minimum(width[:-1], width[1:])
    k = np.flatnonzero(turning & (np.abs(values[1:-1]) <= REACH * swing * uneven)) + 1
    if not k.size:
        return times, values
    result = elementwise.find_minimum(
        lambda t, turn: turn * function(t),
        (times[k - 1], times[k], times[k + 1]),
        args=(side[k],),
        tolerances={"xatol": EXTREMUM_TOLERANCE},
    )
    crossed = result.f_x < 0
    times = np.append(times, result.x[crossed])
    values = np.append(values, (side[k] * result.f_x)[crossed])
    times, first = np.unique(times, return_index=True)
    return times, values[first]


def _zeros(function: Callable[[Array], Array], low: Array, high: Array) -> Array:
    if not low.size:
        return low
    result = elementwise.find_root(function, (low, high), tolerances={"xatol": TOLERANCE})
    return np.asarray(result.x, float)
