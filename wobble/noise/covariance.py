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

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import combinations_with_replacement

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray
from scipy.linalg import blas, lapack

from wobble.errors import InputError
from wobble.noise.geometry import TICK, PassGeometry, PathPoints
from wobble.noise.processes import Process

__all__ = ["CovarianceFactor", "Leg", "NotPositiveDefiniteError", "Term", "covariance", "factor"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

SMALL = 100
"""Passes of at most so many samples are whitened by the inverse of their factor, for the
threads of a triangular solution would wait for one another longer than they work."""
BLOCK = 2**16
"""Numbers worked on at a time: half a megabyte, which stays in the processor's cache."""

LARGEST_TABLE = 0.5
"""A table of so many lags for each pair of points costs less than an evaluation for each."""


@dataclass(frozen=True, eq=False)
class Leg:
    """One passage of the path through a process: ``gain * modulation(t) * z(t - lag)``.

    Parameters
    ----------
    gain : float
        Constant factor.
    lag : float
        How much earlier than the tag the signal passed, s; of no effect where there is only
        one leg.
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

    def scaled(self, factor: float) -> Term:
        """The same term with all standard deviations multiplied by ``factor``."""
        legs = tuple(replace(leg, gain=leg.gain * factor) for leg in self.legs)
        return replace(self, legs=legs)


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
    """A sum of kernels, as a function of the signed lag, with the gains on either side.

    With ``increments`` the path enters through differences alone, and its kernel may be free
    of the variance, which would cost digits.
    """

    def __init__(self, left: Array | None, right: Array | None, increments: bool) -> None:
        self.left = left
        self.right = right
        self.increments = increments
        self.parts: dict[Process, dict[float, tuple[float, float]]] = {}

    def add(self, process: Process, shift: float, ahead: float, behind: float) -> None:
        """Add ``ahead K(lag + shift) + behind K(lag - shift)``."""
        shifts = self.parts.setdefault(process, {})
        before = shifts.get(shift, (0.0, 0.0))
        shifts[shift] = (before[0] + ahead, before[1] + behind)

    def __call__(self, lag: Array) -> Array:
        """Value at any lags."""
        total = np.zeros_like(lag)
        for process, shifts in self.parts.items():
            kernel = _kernel(process, self.increments)
            for shift, (ahead, behind) in shifts.items():
                total += ahead * kernel(lag + shift)
                if behind:
                    total += behind * kernel(lag - shift)
        return total

    def table(self, step: float, reach: int) -> Array:
        """Value at ``reach, ..., -reach`` steps."""
        total = np.zeros(2 * reach + 1)
        for process, shifts in self.parts.items():
            for shift, (ahead, behind) in shifts.items():
                kernel = _kernel_table(process, self.increments, abs(shift), step, reach)
                if shift < 0.0:
                    ahead, behind = behind, ahead
                # Kernels are even: what is shifted the other way is the same table reversed.
                if ahead:
                    total += ahead * kernel
                if behind:
                    total += behind * kernel[::-1]
        return total


def _kernel(process: Process, increments: bool) -> Callable[[Array], Array]:
    return process.increment_kernel if increments else process.kernel


@lru_cache(maxsize=128)
def _kernel_table(
    process: Process, increments: bool, shift: float, step: float, reach: int
) -> Array:
    """Kernel on a lattice at ``lag + shift``: passes of one length and count time share it."""
    kernel = _kernel(process, increments)(step * np.arange(reach, -reach - 1, -1.0) + shift)
    kernel.flags.writeable = False
    return kernel


class _LagFunctions:
    """Terms gathered by the gains that they share, so that each gain is applied once."""

    def __init__(self, points: PathPoints, terms: Sequence[Term]) -> None:
        self.points = points
        self.any_range = bool(points.is_range.any())
        self.all_ranges = bool(points.is_range.all())
        self.functions: dict[tuple[float, float, int, int], _LagFunction] = {}
        for term in terms:
            self._add(term)

    def _add(self, term: Term) -> None:
        self._refuse_infinite(term)
        # Where all samples are of one kind, the factor of that kind is like any other gain.
        if self.any_range and not self.all_ranges:
            roles, uniform = (term.on_range, term.on_range_rate), 1.0
        else:
            roles, uniform = (1.0, 1.0), term.on_range if self.all_ranges else term.on_range_rate
        if uniform == 0.0:
            return
        for one, other in combinations_with_replacement(term.legs, 2):
            factor = uniform**2 * one.gain * other.gain
            shift = other.lag - one.lag
            if one is other:
                self._between(roles, one, one).add(term.process, 0.0, factor, 0.0)
            elif one.modulation is other.modulation:
                self._between(roles, one, one).add(term.process, shift, factor, factor)
            else:
                self._between(roles, one, other).add(term.process, shift, factor, 0.0)
                self._between(roles, other, one).add(term.process, -shift, factor, 0.0)

    def _between(self, roles: tuple[float, float], one: Leg, other: Leg) -> _LagFunction:
        key = (*roles, id(one.modulation), id(other.modulation))
        if key not in self.functions:
            left, right = self._gain(roles, one.modulation), self._gain(roles, other.modulation)
            increments = not self.any_range and left is None and right is None
            self.functions[key] = _LagFunction(left, right, increments)
        return self.functions[key]

    def _gain(self, roles: tuple[float, float], modulation: Array | None) -> Array | None:
        if roles == (1.0, 1.0):
            return modulation
        by_kind = np.where(self.points.is_range, *roles)
        return by_kind if modulation is None else by_kind * modulation

    def _refuse_infinite(self, term: Term) -> None:
        if term.process.has_variance:
            return
        modulated = any(leg.modulation is not None for leg in term.legs)
        if modulated or (term.on_range != 0.0 and self.any_range):
            term.process.autocovariance(0.0)  # raises, and says which cut-off is needed


class _PathCovariance:
    """Covariance of the path between the points of a pass, block by block."""

    def __init__(self, points: PathPoints, functions: list[_LagFunction]) -> None:
        self.functions = functions
        steps = np.diff(points.tick)
        step = int(np.gcd.reduce(steps)) if steps.any() else 1
        self.position = (points.tick - points.tick[0]) // step
        self.step = step * TICK
        reach = int(self.position[-1])
        self.regular = bool((steps == step).all())
        self.toeplitz: Array | None = None
        if functions and 2 * reach + 1 <= max(LARGEST_TABLE * len(points) ** 2, 3.0):
            tables = np.stack([function.table(self.step, reach) for function in functions])
            # Row i, column j of each view is the function at lag (i - j) steps.
            row, one = tables.strides
            shape = (len(functions), reach + 1, reach + 1)
            self.toeplitz = as_strided(tables[:, reach:], shape, (row, -one, one), writeable=False)

    def block(self, rows: slice, columns: slice) -> Array:
        """Covariance of the path between two runs of points."""
        total = np.zeros((rows.stop - rows.start, columns.stop - columns.start))
        gained = np.empty_like(total)
        for k, function in enumerate(self.functions):
            part = self._of_lag(k, rows, columns)
            if function.left is not None:
                part = np.multiply(part, function.left[rows, None], out=gained)
            if function.right is not None:
                part = np.multiply(part, function.right[columns], out=gained)
            total += part
        return total

    def _of_lag(self, k: int, rows: slice, columns: slice) -> Array:
        if self.toeplitz is None:
            lag = self.step * (self.position[rows, None] - self.position[columns])
            return self.functions[k](lag)
        if self.regular:
            return self.toeplitz[k, rows, columns]
        return self.toeplitz[k][np.ix_(self.position[rows], self.position[columns])]


def _lower_covariance(points: PathPoints, terms: Sequence[Term], extra: Array) -> Array:
    """Lower triangle of the covariance of the samples; zero above it."""
    n = points.first.size
    result = np.zeros((n, n))
    functions = _LagFunctions(points, terms).functions
    path = _PathCovariance(points, list(functions.values()))
    first, last = points.first, points.last
    in_order = bool((np.diff(first) == 1).all() and (np.diff(last) == 1).all())

    def run(index: Indices) -> Indices | slice:
        """The same indices, as a slice where they are consecutive: slices are not copied."""
        return slice(int(index[0]), int(index[-1]) + 1) if in_order else index

    def lowest(index: Indices) -> int:
        return int(index[0] if in_order else index.min())

    def highest(index: Indices) -> int:
        return int(index[-1] if in_order else index.max())

    height = max(BLOCK // len(points), 16)
    for start in range(0, n, height):
        stop = min(start + height, n)
        here = slice(start, stop)
        low, high, wide = lowest(first[here]), highest(last[here]) + 1, highest(last[:stop]) + 1
        ends_by_points = path.block(slice(low, high), slice(0, wide))
        rows = ends_by_points[run(last[here] - low)] * points.weight_last[here, None]
        rows += ends_by_points[run(first[here] - low)] * points.weight_first[here, None]
        block = result[here, :stop]
        np.multiply(rows[:, run(last[:stop])], points.weight_last[:stop], out=block)
        block += rows[:, run(first[:stop])] * points.weight_first[:stop]
        block[:, start:] = np.tril(block[:, start:])
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
    return lower + np.tril(lower, -1).T


class CovarianceFactor:
    """Lower Cholesky factor L of a covariance, ``C = L L^T``.

    Attributes
    ----------
    lower : ndarray, shape (n, n)
        The factor.
    samples : int
        Number n of samples.
    """

    def __init__(self, lower: Array) -> None:
        self.lower = lower
        self.samples = len(lower)

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
        self.sigma = sigma
        self.samples = sigma.size

    @property
    def lower(self) -> Array:  # type: ignore[override]  # made only if it is asked for
        return np.diag(self.sigma)

    def whiten(self, rows: Array) -> Array:
        return (self._checked(rows).T / self.sigma).T

    def colour(self, white: Array) -> Array:
        return (self._checked(white).T * self.sigma).T


def factor(geometry: PassGeometry, terms: Sequence[Term], extra: Array) -> CovarianceFactor:
    """Cholesky factor of the covariance of the samples.

    Raises
    ------
    NotPositiveDefiniteError
        If the samples are not independent of one another; says which.
    InputError
        As for `covariance`.
    """
    if not terms and (extra > 0.0).all():
        return DiagonalFactor(np.sqrt(extra))
    matrix = _lower_covariance(geometry.points, terms, extra)
    variance = matrix.diagonal().copy()
    upper, info = lapack.dpotrf(matrix.T, lower=0, clean=0, overwrite_a=1)
    # A pivot within the rounding error of its variance means dependence as well.
    pivot = upper.diagonal() ** 2
    lost = ~(pivot > 8.0 * np.finfo(float).eps * variance)
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
