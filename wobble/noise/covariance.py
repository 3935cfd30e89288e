"""Covariance of the samples of a pass from processes along the link, and its square root.

In: the points of a pass and the terms that the contributions lay on them. Out: the
covariance matrix of the samples (m and m/s), and its Cholesky factor, which whitens rows
and colours white numbers.

A term is a process ``z`` that enters the one-way equivalent path through one or two legs:
``x(t) = sum_k g_k(t) z(t - lag_k)``. With ``K`` the kernel of the process,

    cov(x(t), x(t')) = sum_kl g_k(t) g_l(t') K(t - lag_k - t' + lag_l)

at the points, and a sample is ``w_last x(last) + w_first x(first)``. Terms with the same
gains are summed as functions of the lag before any matrix is made. Where all points lie
on a lattice (equal counts, gaps, mixed counts, ranges between them) each function is
evaluated once for each lag of the lattice; other tags cost one evaluation for each pair.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import lapack

from wobble.errors import InputError
from wobble.noise.geometry import TICK, PassGeometry, PathPoints
from wobble.noise.processes import Process

__all__ = ["CovarianceFactor", "Leg", "NotPositiveDefiniteError", "Term", "covariance", "factor"]

Array = NDArray[np.float64]

BLOCK = 128
"""Rows of the matrix made at a time: what is worked on stays in the processor's cache."""


@dataclass(frozen=True, eq=False)
class Leg:
    """One passage of the path through a process: ``gain * modulation(t) * z(t - lag)``.

    Parameters
    ----------
    gain : float
        Constant factor.
    lag : float
        How much earlier than the tag the signal passed, s.
    modulation : ndarray, shape (m,), optional
        Factor that changes along the pass, at its points.
    """

    gain: float
    lag: float = 0.0
    modulation: Array | None = None


@dataclass(frozen=True, eq=False)
class Term:
    """An independent process with the legs through which it enters a sample.

    Parameters
    ----------
    process : Process
        Path process, m.
    legs : tuple of Leg
        Its passages.
    on_range, on_range_rate : float
        Factor by kind of sample: 1 and -1 for a plasma (group delay, phase advance), 0 for
        the kind that does not feel the process.
    """

    process: Process
    legs: tuple[Leg, ...]
    on_range: float = 1.0
    on_range_rate: float = 1.0


class NotPositiveDefiniteError(InputError):
    """The covariance has no square root.

    Attributes
    ----------
    samples : tuple of int
        The first sample that the earlier ones determine wholly, and the earlier one with
        which it is most correlated.
    """

    def __init__(self, samples: tuple[int, int], why: str) -> None:
        self.samples = samples
        super().__init__(
            f"the noise covariance is not positive definite: {why}",
            field="noise",
            expected="a contribution that is independent from sample to sample (thermal noise)",
        )


class _LagFunction:
    """A sum of kernels, as a function of the signed lag, with the gains on either side."""

    def __init__(self, left: Array | None, right: Array | None) -> None:
        self.left = left
        self.right = right
        self.parts: dict[tuple[Process, float], float] = {}

    def add(self, process: Process, shift: float, factor: float) -> None:
        key = (process, shift)
        self.parts[key] = self.parts.get(key, 0.0) + factor

    def __call__(self, lag: Array) -> Array:
        total = np.zeros_like(lag)
        for (process, shift), factor in self.parts.items():
            total += factor * process.kernel(lag + shift)
        return total


def _lag_functions(points: PathPoints, terms: Sequence[Term]) -> list[_LagFunction]:
    """Terms gathered by the gains that they share."""
    mixed = bool(points.is_range.any() and not points.is_range.all())
    only_ranges = bool(points.is_range.all())
    functions: dict[tuple[float, float, int, int], _LagFunction] = {}
    for term in terms:
        if mixed:
            roles = (term.on_range, term.on_range_rate)
            uniform = 1.0
        else:
            roles = (1.0, 1.0)
            uniform = term.on_range if only_ranges else term.on_range_rate
        _refuse_infinite(points, term)
        for one in term.legs:
            for other in term.legs:
                key = (*roles, id(one.modulation), id(other.modulation))
                if key not in functions:
                    functions[key] = _LagFunction(
                        _gain(points, roles, one.modulation), _gain(points, roles, other.modulation)
                    )
                factor = uniform**2 * one.gain * other.gain
                functions[key].add(term.process, other.lag - one.lag, factor)
    return list(functions.values())


def _gain(points: PathPoints, roles: tuple[float, float], modulation: Array | None) -> Array | None:
    if roles[0] == roles[1] == 1.0:
        return modulation
    by_kind = np.where(points.is_range, *roles)
    return by_kind if modulation is None else by_kind * modulation


def _refuse_infinite(points: PathPoints, term: Term) -> None:
    single = term.on_range != 0.0 and points.is_range.any()
    modulated = any(leg.modulation is not None for leg in term.legs)
    if not term.process.has_variance and (single or modulated):
        term.process.autocovariance(0.0)  # raises, and says which cut-off is needed


class _Lags:
    """Evaluation of functions of the lag between points, block by block."""

    def __init__(self, points: PathPoints, functions: list[_LagFunction]) -> None:
        self.functions = functions
        steps = np.diff(points.tick)
        step = int(np.gcd.reduce(steps)) if steps.any() else 1
        self.position = (points.tick - points.tick[0]) // step
        self.reach = int(self.position[-1])
        self.step = step * TICK
        # A table of so many lags costs less than one evaluation for each pair of points.
        self.tables: list[Array] | None = None
        if 2 * self.reach + 1 <= max(len(points) ** 2 // 2, 3):
            lags = np.arange(-self.reach, self.reach + 1) * self.step
            self.tables = [function(lags) for function in functions]

    def block(self, rows: slice, columns: slice) -> Array:
        """Covariance of the path between two runs of points."""
        index = self.position[rows, None] - self.position[columns]
        total = np.zeros(index.shape)
        if self.tables is not None:
            index += self.reach
        for k, function in enumerate(self.functions):
            if self.tables is not None:
                part = self.tables[k].take(index)
            else:
                part = function(index * self.step)
            if function.left is not None:
                part *= function.left[rows, None]
            if function.right is not None:
                part *= function.right[columns]
            total += part
        return total


def _lower_covariance(points: PathPoints, terms: Sequence[Term], extra: Array) -> Array:
    """Covariance of the samples, its lower triangle; above it, blocks may be missing."""
    n = points.first.size
    result = np.zeros((n, n))
    lags = _Lags(points, _lag_functions(points, terms))
    for start in range(0, n, BLOCK):
        stop = min(start + BLOCK, n)
        first, last = points.first[start:stop], points.last[start:stop]
        low, high = int(min(first.min(), last.min())), int(max(first.max(), last.max())) + 1
        wide = max(int(points.last[:stop].max()), int(points.first[:stop].max())) + 1
        path = lags.block(slice(low, high), slice(0, wide))
        rows = path[last - low] * points.weight_last[start:stop, None]
        rows += path[first - low] * points.weight_first[start:stop, None]
        block = result[start:stop, :stop]
        np.multiply(rows[:, points.last[:stop]], points.weight_last[:stop], out=block)
        block += rows[:, points.first[:stop]] * points.weight_first[:stop]
    result[np.arange(n), np.arange(n)] += extra
    return result


def covariance(points: PathPoints, terms: Sequence[Term], extra: Array) -> Array:
    """Covariance matrix of the samples, shape (n, n), in m and m/s by kind.

    Parameters
    ----------
    points : PathPoints
        Where the path enters the samples.
    terms : sequence of Term
        Independent processes.
    extra : ndarray, shape (n,)
        Variance that is independent from sample to sample.

    Raises
    ------
    InputError
        If a range (or a changing gain) meets a process of infinite variance.
    """
    lower = _lower_covariance(points, terms, extra)
    upper = np.triu_indices(len(lower), 1)
    lower[upper] = lower.T[upper]
    return lower


class CovarianceFactor:
    """Lower Cholesky factor L of a covariance, ``C = L L^T``.

    Attributes
    ----------
    lower : ndarray, shape (n, n)
        The factor.
    """

    def __init__(self, lower: Array) -> None:
        self.lower = lower

    def whiten(self, rows: Array) -> Array:
        """``L^-1 rows``: rows whose noise is white with unit variance, shape (n,) or (n, p)."""
        rows = np.asarray(rows, float)
        if rows.shape[:1] != self.lower.shape[:1]:
            raise InputError(
                "rows and samples differ in number",
                found=rows.shape,
                expected=f"({len(self.lower)},) or ({len(self.lower)}, p)",
            )
        # The transpose of a C-ordered lower factor is the upper factor that LAPACK expects.
        solution, _ = lapack.dtrtrs(self.lower.T, rows, lower=0, trans=1)
        return np.asarray(solution).reshape(rows.shape)

    def colour(self, white: Array) -> Array:
        """``L white``: noise of this covariance from unit white noise, shape (n,) or (n, p)."""
        return self.lower @ np.asarray(white, float)


def factor(geometry: PassGeometry, terms: Sequence[Term], extra: Array) -> CovarianceFactor:
    """Cholesky factor of the covariance of the samples.

    Raises
    ------
    NotPositiveDefiniteError
        If the samples are not independent of one another; says which.
    InputError
        As for `covariance`.
    """
    matrix = _lower_covariance(geometry.points, terms, extra)
    variance = matrix.diagonal().copy()
    upper, info = lapack.dpotrf(matrix.T, lower=0, clean=1, overwrite_a=1)
    # A pivot that is rounding error of the variance means dependence as well.
    pivot = upper.diagonal() ** 2
    lost = ~(pivot > 4.0 * np.finfo(float).eps * variance)
    if info > 0 or lost.any():
        sample = info - 1 if info > 0 else int(np.argmax(lost))
        raise _dependence(geometry, terms, extra, sample)
    return CovarianceFactor(upper.T)


def _dependence(
    geometry: PassGeometry, terms: Sequence[Term], extra: Array, sample: int
) -> NotPositiveDefiniteError:
    matrix = covariance(geometry.points, terms, extra)
    name = f"sample {sample} ({geometry.kind[sample]} at {geometry.time[sample]:g} s)"
    variance = matrix.diagonal()
    if not variance[sample] > 0.0 or not sample:
        return NotPositiveDefiniteError((sample, sample), f"{name} has no noise of its own")
    correlation = np.abs(matrix[sample, :sample]) / np.sqrt(variance[sample] * variance[:sample])
    most = int(np.argmax(correlation))
    why = f"{name} is determined by the samples before it, most by sample {most}"
    return NotPositiveDefiniteError((sample, most), why)
