"""Spectrum and Allan deviation of many passes together, and what a budget expects of them.

In: residuals of passes with their geometry, and budgets. Out: means over all passes with
their standard error, and the same means for each budget.

The error holds the scatter between passes (`wobble.noise.between_passes`) and is never less
than what samples of one level would leave by chance. Where a single pass reaches, it is as far
off as one pass is elsewhere.

Only passes whose range rates have the commonest count time, on one grid, take part; how
many they are is told.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.noise.between_passes import jackknife_error
from wobble.noise.budget import Budget
from wobble.noise.budget_table import LinkConditions, allan_deviation
from wobble.noise.from_residuals import (
    expected_spectrum,
    residual_allan_deviation,
    residual_spectrum,
)
from wobble.noise.geometry import PassGeometry

__all__ = ["PooledResiduals", "mean_conditions", "pooled_allan_deviation", "pooled_spectrum"]

Array = NDArray[np.float64]
Residuals = tuple[Array, PassGeometry]

LEAST_COUNTS = 4
"""A pass of fewer range rates has no spectrum."""
BINS_PER_DECADE = 8


@dataclass(frozen=True, eq=False)
class PooledResiduals:
    """One curve of all residuals, and of each budget.

    Parameters
    ----------
    place : ndarray, shape (k,)
        Frequency (Hz) or averaging time (s).
    value, error : ndarray, shape (k,)
        Spectral density of the range rate (m^2/s^2/Hz) or Allan deviation of the received
        frequency, and its standard error.
    expected : dict
        The same of each budget by its name, shape (k,).
    passes : int
        Passes that took part.
    """

    place: Array
    value: Array
    error: Array
    expected: dict[str, Array]
    passes: int


def mean_conditions(geometry: PassGeometry, count_time: float = 60.0) -> LinkConditions:
    """The mean of a pass as conditions of a link, at a count time in s."""
    return LinkConditions(
        sun_angle=float(geometry.sun_angle.mean()),
        elevation=float(geometry.elevation.mean()),
        distance=float(geometry.distance.mean()),
        count_time=count_time,
        ways=geometry.ways,
    )


def pooled_spectrum(passes: Sequence[Residuals], budgets: Mapping[str, Budget]) -> PooledResiduals:
    """Spectral density of range-rate residuals, averaged over passes and bins of frequency.

    Raises
    ------
    InputError
        If no pass has range rates on a grid of counts.
    """
    chosen = _of_one_count(passes)
    spectra = [residual_spectrum(residuals, geometry) for residuals, geometry in chosen]
    lowest = min(frequency.min() for frequency, _ in spectra)
    bins = [
        np.floor(BINS_PER_DECADE * np.log10(frequency / lowest)).astype(int)
        for frequency, _ in spectra
    ]
    filled = np.unique(np.concatenate(bins))

    def by_pass(values: Sequence[Array]) -> Array:
        sums = zip(bins, values, strict=True)
        return np.stack([np.bincount(k, v, filled.max() + 1)[filled] for k, v in sums])

    ordinates = by_pass([np.ones(len(k)) for k in bins])
    count = ordinates.sum(axis=0)
    sums = by_pass([density for _, density in spectra])
    value = sums.sum(axis=0) / count
    expected = {
        name: by_pass([expected_spectrum(budget, geometry) for _, geometry in chosen])
        for name, budget in budgets.items()
    }
    left_out = _left_out(sums, ordinates)
    return PooledResiduals(
        by_pass([frequency for frequency, _ in spectra]).sum(axis=0) / count,
        value,
        # An ordinate of a periodogram has its mean for standard deviation.
        _error(value, 1.0 / np.sqrt(count), left_out, ordinates > 0),
        {name: curve.sum(axis=0) / count for name, curve in expected.items()},
        len(chosen),
    )


def pooled_allan_deviation(
    passes: Sequence[Residuals], budgets: Mapping[str, Budget]
) -> PooledResiduals:
    """Overlapping Allan deviation of the received frequency, over all passes.

    Raises
    ------
    InputError
        If no pass has range rates on a grid of counts.
    """
    chosen = _of_one_count(passes)
    count = _count_time(chosen[0][1])
    found = [residual_allan_deviation(residuals, geometry) for residuals, geometry in chosen]
    octaves = max(tau.size for tau, _, _ in found)
    factors = np.exp2(np.arange(octaves))
    terms, squares = np.zeros((2, len(chosen), octaves))
    expected = {name: np.zeros(octaves) for name in budgets}
    for k, ((_, geometry), (times, deviation, number)) in enumerate(
        zip(chosen, found, strict=True)
    ):
        reached = slice(0, times.size)
        per_range_rate = (1.0 if geometry.ways == 1 else 2.0) / SPEED_OF_LIGHT
        terms[k, reached] = number
        squares[k, reached] = number * np.nan_to_num(per_range_rate * deviation) ** 2
        for name, budget in budgets.items():
            own = allan_deviation(budget, mean_conditions(geometry), times)
            expected[name][reached] += number * own**2
    seen = terms.any(axis=0)
    factors, terms, squares = factors[seen], terms[:, seen], squares[:, seen]
    total = terms.sum(axis=0)
    value = np.sqrt(squares.sum(axis=0) / total)
    # Weighted by their differences, passes add to the variance by the squares of the weights.
    freedom = total**2 / (terms**2 / _degrees_of_freedom(terms, factors)).sum(axis=0)
    left_out = np.sqrt(_left_out(squares, terms))
    return PooledResiduals(
        count * factors,
        value,
        _error(value, 1.0 / np.sqrt(2.0 * freedom), left_out, terms > 0),
        {name: np.sqrt(sums[seen] / total) for name, sums in expected.items()},
        len(chosen),
    )


def _error(value: Array, chance: Array, left_out: Array, part: NDArray[np.bool_]) -> Array:
    """Standard error by the scatter between passes, or by chance where that is more, (k,).

    Where one pass has a part, the scatter of one pass is taken from the places of several:
    the median of their relative errors times the root of their passes (common practice, no
    source).

    Parameters
    ----------
    value, chance : ndarray, shape (k,)
        Value, and its relative error if all passes had one level.
    left_out, part : ndarray, shape (m, k)
        Value without each pass, and whether the pass has a part in it.
    """
    nothing = np.zeros_like(value)
    scatter = np.divide(jackknife_error(left_out, part), value, out=nothing, where=value > 0)
    passes = part.sum(axis=0)
    several = passes > 1
    if several.any():
        of_one = np.median(scatter[several] * np.sqrt(passes[several]))
        scatter = np.where(several, scatter, of_one)
    return value * np.maximum(chance, scatter)


def _left_out(sums: Array, weights: Array) -> Array:
    """Weighted means without each pass, shape (m, k); zero where no other pass is left."""
    rest = weights.sum(axis=0) - weights
    others = np.maximum(sums.sum(axis=0) - sums, 0.0)
    return np.divide(others, rest, out=np.zeros_like(rest), where=rest > 0)


def _degrees_of_freedom(terms: Array, factors: Array) -> Array:
    """Of overlapping Allan variances of white frequency noise, each of so many differences.

    ``[3 (N - 1)/(2 m) - 2 (N - 2)/N] 4 m^2/(4 m^2 + 5)`` with N phases, N - 2 m differences
    (NIST SP 1065, table 5); residuals of other colour have somewhat fewer or more.
    """
    phases = terms + 2.0 * factors
    whole = 1.5 * (phases - 1.0) / factors - 2.0 * (phases - 2.0) / phases
    return np.asarray(whole * 4.0 * factors**2 / (4.0 * factors**2 + 5.0))


def _count_time(geometry: PassGeometry) -> float:
    return float(np.unique(geometry.count_time[~geometry.is_range])[0])


def _of_one_count(passes: Sequence[Residuals]) -> list[Residuals]:
    """Passes that have a spectrum, of the commonest count time."""
    able = [one for one in passes if _has_spectrum(one)]
    if not able:
        raise InputError(
            "no pass has a spectrum",
            found=f"{len(passes)} passes",
            expected=f"one of {LEAST_COUNTS} range rates or more, of one count time, on a grid",
        )
    times = [_count_time(geometry) for _, geometry in able]
    values, numbers = np.unique(times, return_counts=True)
    commonest = values[np.argmax(numbers)]
    return [one for one, time in zip(able, times, strict=True) if time == commonest]


def _has_spectrum(one: Residuals) -> bool:
    residuals, geometry = one
    if (~geometry.is_range).sum() < LEAST_COUNTS:
        return False
    try:
        return bool(residual_spectrum(residuals, geometry)[0].size)
    except InputError:
        return False
