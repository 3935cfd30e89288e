"""Covariance of the path between the points of passes, as functions of the lag.

In: the points of passes of one pattern and the terms that the contributions lay on them. Out:
the covariance of the path between the points, block by block.

A term is a process ``z`` that enters the one-way equivalent path through one or two legs:
``x(t) = sum_k g_k(t) z(t - lag_k)``. With ``K`` the kernel of the process,

    cov(x(t), x(t')) = sum_kl g_k(t) g_l(t') K(t - lag_k - t' + lag_l)

at the points. Terms with the same gains are summed as functions of the lag before any matrix
is made. Where all points lie on a lattice (equal counts, gaps, mixed counts, ranges between
them) each function is evaluated once for each lag of the lattice; other tags cost one
evaluation for each pair. Passes of one pattern differ in gains and lags alone and are worked
on together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import combinations_with_replacement

import numpy as np
from numpy.lib.stride_tricks import as_strided
from numpy.typing import NDArray

from wobble.noise.geometry import TICK, PathPoints
from wobble.noise.processes import Process

__all__ = ["Leg", "PathCovariance", "Term"]

Array = NDArray[np.float64]

LARGEST_TABLE = 0.5
"""A table of so many lags for each pair of points costs less than an evaluation for each."""


@dataclass(frozen=True, eq=False)
class Leg:
    """One passage of the path through a process: ``gain * modulation(t) * z(t - lag)``.

    Parameters
    ----------
    gain : float or ndarray, shape (q,)
        Factor that is constant along each pass.
    lag : float or ndarray, shape (q,)
        How much earlier than the tag the signal passed, s; of no effect where there is only
        one leg.
    modulation : ndarray, shape (m,) or (q, m), optional
        Factor that changes along the pass, at its points.
    """

    gain: float | Array
    lag: float | Array = 0.0
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


class _LagFunction:
    """A sum of kernels, as a function of the signed lag, with the gains on either side.

    With ``increments`` the path enters through differences alone, and its kernel may be free
    of the variance, which would cost digits.
    """

    def __init__(self, left: Array | None, right: Array | None, increments: bool) -> None:
        self.left = left
        self.right = right
        self.increments = increments
        self.parts: dict[tuple[Process, bytes], tuple[Array, Array, Array]] = {}

    def add(self, process: Process, shift: Array, ahead: Array, behind: Array) -> None:
        """Add ``ahead K(lag + shift) + behind K(lag - shift)``; shapes (1,) or (q,)."""
        if shift[0] < 0.0:
            shift, ahead, behind = -shift, behind, ahead
        key = (process, shift.tobytes())
        if key in self.parts:
            _, before, after = self.parts[key]
            ahead, behind = before + ahead, after + behind
        self.parts[key] = (shift, ahead, behind)

    def __call__(self, lag: Array) -> Array:
        """Value at lags of shape (r, c) for each pass, shape (1 or q, r, c)."""
        total = np.zeros((1, *lag.shape))
        for (process, _), (shift, ahead, behind) in self.parts.items():
            kernel = process.increment_kernel if self.increments else process.kernel
            for sense, weight in ((1.0, ahead), (-1.0, behind)):
                if weight.any():
                    moved = lag + sense * shift[:, None, None]
                    total = total + weight[:, None, None] * kernel(moved)
        return total

    def table(self, step: float, reach: int) -> Array:
        """Value at ``reach, ..., -reach`` steps for each pass, shape (1 or q, 2 reach + 1)."""
        total = np.zeros((1, 2 * reach + 1))
        for (process, _), (shift, ahead, behind) in self.parts.items():
            if shift.any():
                kernel = _kernel(process, self.increments, step, reach, shift)
            else:
                kernel = _kernel_table(process, self.increments, step, reach)
            # Kernels are even: what is shifted the other way is the same table reversed.
            if ahead.any():
                total = total + ahead[:, None] * kernel
            if behind.any():
                total = total + behind[:, None] * kernel[:, ::-1]
        return total


def _kernel(process: Process, increments: bool, step: float, reach: int, shift: Array) -> Array:
    kernel = process.increment_kernel if increments else process.kernel
    return kernel(step * np.arange(reach, -reach - 1, -1.0) + shift[:, None])


@lru_cache(maxsize=128)
def _kernel_table(process: Process, increments: bool, step: float, reach: int) -> Array:
    """Kernel on a lattice: passes of one length and count time share it."""
    kernel = _kernel(process, increments, step, reach, np.zeros(1))
    kernel.flags.writeable = False
    return kernel


class PathCovariance:
    """Covariance of the path between the points of q passes, block by block.

    Parameters
    ----------
    points : PathPoints
        Of passes of one pattern.
    terms : sequence of Term
        Independent processes.

    Raises
    ------
    InputError
        If a range (or a changing gain) meets a process of infinite variance.
    """

    def __init__(self, points: PathPoints, terms: Sequence[Term]) -> None:
        self.points = points
        self._any_range = bool(points.is_range.any())
        self._all_ranges = bool(points.is_range.all())
        self._functions: dict[tuple[float, float, int, int], _LagFunction] = {}
        for term in terms:
            self._add(term)
        functions = self._functions.values()
        self._gained = any(f.left is not None or f.right is not None for f in functions)
        self._left = self._gains([f.left for f in functions])
        self._right = self._gains([f.right for f in functions])
        self._lay_tables()

    def _gains(self, gains: list[Array | None]) -> Array:
        """Gains of the functions for each pass at its points, shape (k, q, m)."""
        shape = (len(self.points.geometries), len(self.points))
        return np.array([np.broadcast_to(1.0 if g is None else g, shape) for g in gains])

    def _add(self, term: Term) -> None:
        self._refuse_infinite(term)
        # Where all samples are of one kind, the factor of that kind is like any other gain.
        if self._any_range and not self._all_ranges:
            roles, uniform = (term.on_range, term.on_range_rate), 1.0
        else:
            roles = (1.0, 1.0)
            uniform = term.on_range if self._all_ranges else term.on_range_rate
        if uniform == 0.0:
            return
        none = np.zeros(1)
        for one, other in combinations_with_replacement(term.legs, 2):
            factor = uniform**2 * np.atleast_1d(one.gain * other.gain)
            shift = np.atleast_1d(other.lag - one.lag)
            if one is other:
                self._between(roles, one, one).add(term.process, none, factor, none)
            elif one.modulation is other.modulation:
                self._between(roles, one, one).add(term.process, shift, factor, factor)
            else:
                self._between(roles, one, other).add(term.process, shift, factor, none)
                self._between(roles, other, one).add(term.process, -shift, factor, none)

    def _between(self, roles: tuple[float, float], one: Leg, other: Leg) -> _LagFunction:
        key = (*roles, id(one.modulation), id(other.modulation))
        if key not in self._functions:
            left, right = self._gain(roles, one.modulation), self._gain(roles, other.modulation)
            increments = not self._any_range and left is None and right is None
            self._functions[key] = _LagFunction(left, right, increments)
        return self._functions[key]

    def _gain(self, roles: tuple[float, float], modulation: Array | None) -> Array | None:
        if roles == (1.0, 1.0):
            return modulation
        by_kind = np.where(self.points.is_range, *roles)
        return by_kind if modulation is None else by_kind * modulation

    def _refuse_infinite(self, term: Term) -> None:
        if term.process.has_variance:
            return
        modulated = any(leg.modulation is not None for leg in term.legs)
        if modulated or (term.on_range != 0.0 and self._any_range):
            term.process.autocovariance(0.0)  # raises, and says which cut-off is needed

    def _lay_tables(self) -> None:
        """Functions at the lags of the lattice of the points, if that is worth while."""
        tick, functions = self.points.tick, self._functions.values()
        steps = np.diff(tick)
        step = int(np.gcd.reduce(steps)) if steps.any() else 1
        self._step, self._position = step * TICK, tick // step
        self._regular = bool((steps == step).all())
        self._reach = reach = int(self._position[-1])
        self._tables: Array | None = None
        if functions and 2 * reach + 1 <= max(LARGEST_TABLE * len(tick) ** 2, 3.0):
            q = len(self.points.geometries)
            self._tables = np.empty((len(functions), q, 2 * reach + 1))
            for table, function in zip(self._tables, functions, strict=True):
                table[:] = function.table(self._step, reach)

    def block(self, rows: slice, columns: slice) -> Array:
        """Covariance of the path between two runs of points, shape (q, rows, columns)."""
        if not self._functions:
            lengths = (rows.stop - rows.start, columns.stop - columns.start)
            return np.zeros((len(self.points.geometries), *lengths))
        functions = self._of_lag(rows, columns)
        if not self._gained:
            return functions.sum(axis=0)
        left, right = self._left[..., rows], self._right[..., columns]
        return np.einsum("kqi,kqij,kqj->qij", left, functions, right)

    def _of_lag(self, rows: slice, columns: slice) -> Array:
        """Values of the functions of the lag, shape (k, q, rows, columns)."""
        if self._tables is not None and self._regular:
            # Row i, column j of this view is the function at lag (i - j) steps.
            *outer, one = self._tables.strides
            shape = (*self._tables.shape[:2], self._reach + 1, self._reach + 1)
            matrices = as_strided(
                self._tables[..., self._reach :], shape, (*outer, -one, one), writeable=False
            )
            return matrices[..., rows, columns]
        apart = self._position[rows, None] - self._position[columns]
        if self._tables is not None:
            return np.take(self._tables, self._reach - apart, axis=-1)
        functions, lag = self._functions.values(), self._step * apart.astype(float)
        shape = (len(self.points.geometries), *lag.shape)
        return np.stack([np.broadcast_to(function(lag), shape) for function in functions])
