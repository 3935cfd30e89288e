"""Covariance of the samples of passes, and its square root.

In: the points of passes of one pattern and the terms that the contributions lay on them. Out:
the covariance matrix of the samples of each (m and m/s), and its Cholesky factor, which
whitens rows and colours white numbers.

A sample is ``w_last x(last) + w_first x(first)`` of the path at two points, whose covariance
is that of `wobble.noise.path_covariance`.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import blas, lapack

from wobble.errors import InputError
from wobble.noise.geometry import PassGeometry, PathPoints
from wobble.noise.path_covariance import PathCovariance, Term

__all__ = ["CovarianceFactor", "NotPositiveDefiniteError", "covariance", "factors"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

SMALL = 100
"""Passes of at most so many samples are whitened by the inverse of their factor, for the
threads of a triangular solution would wait for one another longer than they work."""
BLOCK = 2**17
"""Covariances worked on at a time: a megabyte, which stays in the cache."""
MANY = 32
"""So many blocks are worth several threads."""


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


def _lower_covariances(points: PathPoints, terms: Sequence[Term], extra: Array) -> Array:
    """Lower triangles of the covariances of the samples, shape (q, n, n); zero above them."""
    q, n = extra.shape
    result = np.zeros((q, n, n))
    path = PathCovariance(points, terms)
    first, last = points.first, points.last
    in_order = bool((np.diff(first) == 1).all() and (np.diff(last) == 1).all())

    def run(index: Indices) -> Indices | slice:
        """The same indices, as a slice where they are consecutive: slices are not copied."""
        return slice(int(index[0]), int(index[-1]) + 1) if in_order else index

    def lowest(index: Indices) -> int:
        return int(index[0] if in_order else index.min())

    def highest(index: Indices) -> int:
        return int(index[-1] if in_order else index.max())

    def fill(start: int) -> None:
        stop = min(start + height, n)
        here = slice(start, stop)
        low, high, wide = lowest(first[here]), highest(last[here]) + 1, highest(last[:stop]) + 1
        ends_by_points = path.block(slice(low, high), slice(0, wide))
        rows = ends_by_points[:, run(last[here] - low)] * points.weight_last[here, None]
        # Neither of the two tables is needed again: each is overwritten, not copied.
        starts_by_points = ends_by_points[:, run(first[here] - low)]
        starts_by_points *= points.weight_first[here, None]
        rows += starts_by_points
        block = result[:, here, :stop]
        np.multiply(rows[..., run(last[:stop])], points.weight_last[:stop], out=block)
        by_starts = rows[..., run(first[:stop])]
        by_starts *= points.weight_first[:stop]
        block += by_starts
        block[..., start:] = np.tril(block[..., start:])

    def fill_each(starts: range) -> None:
        for start in starts:
            fill(start)

    height = max(BLOCK // (q * len(points)), 8)
    starts = range(0, n, height)
    if len(starts) < MANY:
        for start in starts:
            fill(start)
    else:
        # numpy lets other threads run while it works on arrays.
        threads = os.cpu_count() or 1
        with ThreadPoolExecutor(threads) as pool:
            list(pool.map(fill_each, [starts[k::threads] for k in range(threads)]))
    result[:, np.arange(n), np.arange(n)] += extra
    return result


def covariance(points: PathPoints, terms: Sequence[Term], extra: Array) -> Array:
    """Covariance matrices of the samples of q passes, shape (q, n, n), in m and m/s by kind.

    Parameters
    ----------
    points : PathPoints
        Where the path enters the samples.
    terms : sequence of Term
        Independent processes.
    extra : ndarray, shape (q, n)
        Variance that is independent from sample to sample.

    Raises
    ------
    InputError
        If a range (or a changing gain) meets a process of infinite variance.
    """
    lower = _lower_covariances(points, terms, extra)
    return lower + np.tril(lower, -1).transpose(0, 2, 1)


class CovarianceFactor:
    """Lower Cholesky factor L of a covariance, ``C = L L^T``.

    Attributes
    ----------
    lower : ndarray, shape (n, n)
        The factor.
    samples : int
        Number n of samples.
    sigma : ndarray, shape (n,)
        Their standard deviations.
    """

    def __init__(self, lower: Array) -> None:
        self.lower = lower
        self.samples = len(lower)

    @property
    def sigma(self) -> Array:
        return np.linalg.norm(self.lower, axis=1)

    def whiten(self, rows: Array) -> Array:
        """``L^-1 rows``: rows whose noise is white with unit variance, shape (n,) or (n, p)."""
        rows = self._checked(rows)
        if len(rows) <= SMALL:
            return self._inverse @ rows
        columns = rows if rows.ndim == 2 else rows[:, None]
        # The transpose of a C-ordered lower factor is an upper one in the order of BLAS.
        return np.asarray(blas.dtrsm(1.0, self.lower.T, columns, trans_a=1)).reshape(rows.shape)

    @cached_property
    def _inverse(self) -> Array:
        return np.asarray(lapack.dtrtri(self.lower.T)[0]).T

    def colour(self, white: Array) -> Array:
        """``L white``: noise of this covariance from unit white noise, shape (n,) or (n, p)."""
        return self.lower @ self._checked(white)

    def _checked(self, rows: Array) -> Array:
        rows, n = np.asarray(rows, float), self.samples
        if rows.shape[:1] != (n,):
            raise InputError(
                "rows and samples differ in number",
                found=rows.shape,
                expected=f"({n},) or ({n}, p)",
            )
        return rows


class DiagonalFactor(CovarianceFactor):
    """Factor of a diagonal covariance, by the standard deviations ``sigma`` (n,)."""

    def __init__(self, sigma: Array) -> None:
        self._sigma = sigma
        self.samples = sigma.size

    @property
    def sigma(self) -> Array:
        return self._sigma

    @property
    def lower(self) -> Array:  # type: ignore[override]  # made only if it is asked for
        return np.diag(self.sigma)

    def whiten(self, rows: Array) -> Array:
        return (self._checked(rows).T / self.sigma).T

    def colour(self, white: Array) -> Array:
        return (self._checked(white).T * self.sigma).T


def factors(points: PathPoints, terms: Sequence[Term], extra: Array) -> list[CovarianceFactor]:
    """Cholesky factors of the covariances of the samples of q passes.

    Raises
    ------
    NotPositiveDefiniteError
        If the samples are not independent of one another; says which.
    InputError
        As for `covariance`.
    """
    if not terms and (extra > 0.0).all():
        return [DiagonalFactor(np.sqrt(variance)) for variance in extra]
    result = []
    for k, matrix in enumerate(_lower_covariances(points, terms, extra)):
        variance = matrix.diagonal().copy()
        upper, info = lapack.dpotrf(matrix.T, lower=0, clean=0, overwrite_a=1)
        # A pivot within the rounding error of its variance means dependence as well.
        pivot = upper.diagonal() ** 2
        lost = ~(pivot > 8.0 * np.finfo(float).eps * variance)
        if info > 0 or lost.any():
            sample = info - 1 if info > 0 else int(np.argmax(lost))
            whole = covariance(points, terms, extra)[k]
            raise _dependence(points.geometries[k], whole, sample)
        result.append(CovarianceFactor(upper.T))
    return result


def _dependence(geometry: PassGeometry, matrix: Array, sample: int) -> NotPositiveDefiniteError:
    name = f"sample {sample} ({geometry.kind[sample]} at {geometry.time[sample]:g} s)"
    variance = matrix.diagonal()
    if not variance[sample] > 0.0 or not sample:
        return NotPositiveDefiniteError((sample, sample), f"{name} has no noise of its own")
    correlation = np.abs(matrix[sample, :sample]) / np.sqrt(variance[sample] * variance[:sample])
    most = int(np.argmax(correlation))
    why = f"{name} is determined by the samples before it, most by sample {most}"
    return NotPositiveDefiniteError((sample, most), why)
