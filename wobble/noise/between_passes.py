"""How far a value from many passes is uncertain: the pass is the unit.

In: a value with one pass left out at a time. Out: its standard error.

Passes differ in level by more than the chance of their samples: weather, the corona, the
state of a receiver. Samples of one pass then have a common fate, and only the scatter from
pass to pass tells how far their mean is uncertain.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, stdtrit

__all__ = ["jackknife_error"]

Array = NDArray[np.float64]

ONE_SIGMA = float(ndtr(1.0))


def jackknife_error(left_out: ArrayLike, part: ArrayLike) -> Array:
    """Half the width of the interval that holds the truth with 68.3 %.

    The jackknife standard error, ``(m - 1)/m sum_i (v_(i) - v_(.))^2`` for its square
    (Efron & Stein 1981, Ann. Stat. 9, 586), times the Student factor of m - 1 degrees of
    freedom: 1.84 for two passes, 1.14 for five, 1.01 for forty (that factor is common
    practice, exact for the mean of normal values).

    Parameters
    ----------
    left_out : array_like, shape (m, k)
        The k values without each of m passes, in any unit.
    part : array_like of bool, shape (m, k)
        Whether the pass has a part in the value.

    Returns
    -------
    ndarray, shape (k,)
        In the unit of the values; 0 where fewer than two passes have a part, whose scatter
        cannot be seen.
    """
    taken = np.asarray(part, bool)
    values = np.where(taken, np.asarray(left_out, float), 0.0)
    passes = taken.sum(axis=0)
    several = np.maximum(passes, 2)
    deviations = np.where(taken, values - values.sum(axis=0) / several, 0.0)
    variance = (several - 1) / several * (deviations**2).sum(axis=0)
    error = stdtrit(several - 1, ONE_SIGMA) * np.sqrt(variance)
    return np.where(passes > 1, error, 0.0)
