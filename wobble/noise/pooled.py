"""Spectrum and Allan deviation of many passes together, and what a budget expects of them.

In: residuals of passes with their geometry, and budgets. Out: means over all passes with
their statistical error, and the same means for each budget.

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
        frequency, and its statistical standard deviation.
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
    frequency = np.concatenate([f for f, _ in spectra])
    bins = np.floor(BINS_PER_DECADE * np.log10(frequency / frequency.min())).astype(int)
    filled, where, counts = np.unique(bins, return_inverse=True, return_counts=True)

    def mean(values: Sequence[Array]) -> Array:
        return np.bincount(where, np.concatenate(values), minlength=filled.size) / counts

    value = mean([density for _, density in spectra])
    expected = {
        name: mean([expected_spectrum(budget, geometry) for _, geometry in chosen])
        for name, budget in budgets.items()
    }
    # An ordinate of a periodogram has its mean for standard deviation.
    return PooledResiduals(
        mean([f for f, _ in spectra]), value, value / np.sqrt(counts), expected, len(chosen)
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
    tau: Array = count * np.exp2(np.arange(octaves, dtype=float))
    terms, squares = np.zeros(octaves), np.zeros(octaves)
    expected = {name: np.zeros(octaves) for name in budgets}
    independent = np.zeros(octaves)
    for (_, geometry), (times, deviation, number) in zip(chosen, found, strict=True):
        reached = slice(0, times.size)
        per_range_rate = (1.0 if geometry.ways == 1 else 2.0) / SPEED_OF_LIGHT
        terms[reached] += number
        squares[reached] += number * np.nan_to_num(per_range_rate * deviation) ** 2
        independent[reached] += np.maximum(number / 2.0 ** np.arange(times.size), number > 0)
        for name, budget in budgets.items():
            own = allan_deviation(budget, mean_conditions(geometry), times)
            expected[name][reached] += number * own**2
    seen = terms > 0
    value = np.sqrt(squares[seen] / terms[seen])
    return PooledResiduals(
        tau[seen],
        value,
        value / np.sqrt(2.0 * independent[seen]),
        {name: np.sqrt(sums[seen] / terms[seen]) for name, sums in expected.items()},
        len(chosen),
    )


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
