"""Allan deviation of samples, and processes from tabulated Allan deviations.

In: mean fractional frequencies (or range rates) over contiguous counts, NaN where a count
is missing; or a table of Allan deviations. Out: the overlapping Allan deviation with the
number of differences behind it; or the sum of standard processes that has the table's
deviations.

    sigma_y^2(m tau0) = <(ybar_(i+m) - ybar_i)^2> / 2

over all i, with ybar the means over m contiguous counts (NIST SP 1065, eq. 8 to 11).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import nnls

from wobble.errors import InputError
from wobble.noise.power_laws import VonKarman, WhitePhase
from wobble.noise.processes import Process, Sum

__all__ = ["overlapping_allan_deviation", "process_from_allan_deviations"]

Array = NDArray[np.float64]


def overlapping_allan_deviation(
    samples: ArrayLike, factors: ArrayLike
) -> tuple[Array, NDArray[np.intp]]:
    """Overlapping Allan deviation of samples in their own unit.

    Parameters
    ----------
    samples : array_like, shape (n,)
        Means over contiguous counts of equal length, NaN for a missing count; a mean over
        several counts is formed only where none is missing.
    factors : array_like of int, shape (k,)
        Averaging times in units of the count time.

    Returns
    -------
    deviation : ndarray, shape (k,)
        Allan deviation, NaN where no difference can be formed.
    terms : ndarray of int, shape (k,)
        Number of differences behind each.

    Raises
    ------
    InputError
        If a factor is no positive whole number.
    """
    y = np.asarray(samples, float)
    m = np.atleast_1d(np.asarray(factors))
    if y.ndim != 1 or not np.all((m == np.round(m)) & (m >= 1)):
        raise InputError("not averaging factors", field="factors", found=factors, expected="1, 2 …")
    present = np.isfinite(y)
    total = np.concatenate([[0.0], np.cumsum(np.where(present, y - np.nanmean(y), 0.0))])
    count = np.concatenate([[0], np.cumsum(present)])
    results = [_squared_differences(total, count, int(factor)) for factor in m]
    terms = np.array([squares.size for squares in results])
    means = [squares.mean() if squares.size else math.nan for squares in results]
    return np.sqrt(np.array(means) / 2.0), terms


def _squared_differences(total: Array, count: NDArray[np.intp], m: int) -> Array:
    """Squares of the differences of adjacent means over m samples, where all are present."""
    if total.size < 2 * m + 1:
        return np.empty(0)
    mean = (total[m:] - total[:-m]) / m
    whole = count[m:] - count[:-m] == m
    both = whole[m:] & whole[:-m]
    return (mean[m:] - mean[:-m])[both] ** 2


def process_from_allan_deviations(
    averaging_times: ArrayLike,
    deviations: ArrayLike,
    *,
    bandwidth: float,
    low_cutoff: float = 1e-8,
    tolerance: float = 0.2,
) -> Process:
    """Sum of white phase, white, flicker and random-walk frequency noise with given deviations.

    Parameters
    ----------
    averaging_times : array_like, shape (k,)
        Averaging times, s.
    deviations : array_like, shape (k,)
        Allan deviations of fractional frequency there.
    bandwidth : float
        High-frequency cut-off of the white phase noise, Hz.
    low_cutoff : float
        Frequency below which the frequency noise ends, Hz; far below 1 over the longest
        averaging time.
    tolerance : float
        Largest relative misfit of a deviation.

    Raises
    ------
    InputError
        If a value is not positive, or no sum of these processes comes within the tolerance.
    """
    tau = np.atleast_1d(np.asarray(averaging_times, float))
    sigma = np.atleast_1d(np.asarray(deviations, float))
    if tau.shape != sigma.shape or not (np.all(tau > 0) and np.all(sigma > 0)):
        raise InputError(
            "not a table of Allan deviations",
            field="deviations",
            found=f"{sigma.size} deviations at {tau.size} averaging times",
            expected="as many as averaging times, all positive",
        )
    kinds: list[Process] = [WhitePhase(1.0, bandwidth)]
    kinds += [VonKarman(1.0, exponent, low_cutoff) for exponent in (-2.0, -3.0, -4.0)]
    # Relative variances are fitted, so that each decade counts alike; and each kind is scaled
    # to be of the table's size, or the fit would not see the small ones.
    units = [kind.with_allan_deviation(float(sigma.mean()), float(tau.mean())) for kind in kinds]
    design = np.stack([unit.allan_deviation(tau) ** 2 / sigma**2 for unit in units], axis=1)
    levels, _ = nnls(design, np.ones(tau.size))
    misfit = np.abs(np.sqrt(design @ levels) - 1.0)
    if misfit.max() > tolerance:
        worst = int(np.argmax(misfit))
        raise InputError(
            "no sum of standard processes has these Allan deviations",
            field="deviations",
            found=f"{sigma[worst]:.3g} at {tau[worst]:g} s, missed by {misfit[worst]:.0%}",
            expected=f"a misfit of at most {tolerance:.0%}",
        )
    kept = [unit.scaled(level) for unit, level in zip(units, levels, strict=True) if level > 0]
    return Sum(tuple(kept))
