"""Passes that could be taken, and what each would say.

In: for each candidate pass its whitened square-root information about the p parameters
that all passes share (its own parameters eliminated), when and where it takes place, which
passes exclude one another, and what is known beforehand. Out: `CandidatePasses`, from
which precision (`precision`) and the best selection (`selection`) are computed.

A block of a pass has the rows ``[A | C]``, divided by the noise: partial derivatives with
respect to the p estimated and the k considered parameters. Such blocks stand on top of one
another, whatever the order; the triangle to which orthogonal transformations reduce them,

    Q^T [A | C] = [[R, Z], [0, .]],    P = R^-1 R^-T,    dx/dc = -R^-1 Z,

tells everything (Bierman 1977, Factorization Methods for Discrete Sequential Estimation,
ch. IV and V). No observed value is needed: precision is known before the first pass.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_triangular
from scipy.linalg.lapack import dtrcon

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.least_squares import DEPENDENT

__all__ = [
    "CandidatePasses",
    "compress",
    "overlapping",
    "sigma_roots",
    "triangle",
]

Array = NDArray[np.float64]
# Rows taken into one factorisation at a time: small enough to stay in a processor's cache.
ROWS_AT_A_TIME = 4096
# Share of a combination along directions without information that counts as none.
UNSEEN = 1e-6


class SharedLimit(NamedTuple):
    """What some passes take of something, and how much of it there is.

    Attributes
    ----------
    passes : ndarray of int, shape (m,)
        Their numbers, from 0.
    taken : ndarray, shape (m,)
        What each takes.
    bound : float
        What all that are chosen may take together, in the same unit.
    """

    passes: NDArray[np.int_]
    taken: Array
    bound: float


@dataclass(frozen=True, eq=False)
class CandidatePasses:
    """n passes that could be taken.

    Parameters
    ----------
    parameters : tuple of str
        The p estimated parameters.
    blocks : tuple of ndarray, each of shape (any, p + k)
        Whitened rows ``[A | C]`` of each pass, SI.
    a_priori : ndarray, shape (any, p) or (any, p + k)
        Rows of the same kind of what is known without any measurement.
    station : ndarray of str, shape (n,)
        Whose hours a pass takes.
    start : ndarray, shape (n,)
        Begin, s after an epoch of the caller's choice.
    hours : ndarray, shape (n,)
        Duration, h.
    considered : tuple of str
        The k parameters that are not estimated but are uncertain.
    considered_sigma : ndarray, shape (k,)
        Their standard deviations, SI.
    exclusive : tuple of tuple of int
        Groups of passes (by number, from 0) of which at most one can be taken.
    shared : tuple of SharedLimit
        What groups of passes may take together, for example of a lander's sol.
    earlier : ndarray, shape (any, p + k)
        Rows of what earlier measurements say; the passes come on top of them.

    Raises
    ------
    InputError
        If there is no pass, if shapes do not fit one another, or if a number is not finite;
        the message names the pass.
    """

    parameters: tuple[str, ...]
    blocks: tuple[Array, ...]
    a_priori: Array
    station: NDArray[np.str_]
    start: Array
    hours: Array
    considered: tuple[str, ...] = ()
    considered_sigma: Array = field(default_factory=lambda: np.zeros(0))
    exclusive: tuple[tuple[int, ...], ...] = ()
    shared: tuple[SharedLimit, ...] = ()
    earlier: Array | None = None

    def __repr__(self) -> str:
        stations = ", ".join(dict.fromkeys(self.station.tolist()))
        return (
            f"<CandidatePasses: {len(self.blocks)}, {self.hours.sum():.1f} station hours of "
            f"{stations}; {len(self.parameters)} parameters>"
        )

    def __post_init__(self) -> None:
        if not self.blocks:
            raise InputError("there is no candidate pass", field="blocks", expected="at least one")
        names = (*self.parameters, *self.considered)
        if len(set(names)) < len(names):
            raise InputError("a parameter is named twice", field="parameters", found=names)
        n, p, k = len(self), len(self.parameters), len(self.considered)
        for name in ("station", "start", "hours"):
            _require_shape(name, getattr(self, name), (n,))
        _require_shape("considered_sigma", self.considered_sigma, (k,))
        self._require_good("start", np.isfinite(self.start))
        self._require_good("hours", np.isfinite(self.hours) & (self.hours > 0))
        if not (np.isfinite(self.considered_sigma) & (self.considered_sigma > 0)).all():
            raise InputError(
                "the standard deviation of a considered parameter must be positive and finite",
                field="considered_sigma",
                found=self.considered_sigma.tolist(),
            )
        for i, block in enumerate(self.blocks):
            _require_rows(f"pass {i}", block, (p + k,))
        _require_rows("a_priori", self.a_priori, (p, p + k))
        if self.earlier is not None:
            _require_rows("earlier", self.earlier, (p + k,))
        for group in self.exclusive:
            if not all(0 <= i < n for i in group):
                raise InputError(
                    "a group of exclusive passes names a pass that does not exist",
                    field="exclusive",
                    found=group,
                    expected=f"numbers from 0 to {n - 1}",
                )

    def __len__(self) -> int:
        return len(self.blocks)

    @property
    def stop(self) -> Array:
        """End of each pass, s, shape (n,)."""
        return self.start + 3600.0 * self.hours

    @property
    def a_priori_triangle(self) -> Array:
        """What is known without any measurement, shape (p + k, p + k)."""
        width = len(self.parameters) + len(self.considered)
        rows = np.zeros((width + len(self.a_priori), width))
        rows[width:, : self.a_priori.shape[1]] = self.a_priori
        return triangle([rows])

    @property
    def first_triangle(self) -> Array:
        """What is known without any of the passes, shape (p + k, p + k)."""
        known = self.a_priori_triangle
        return known if self.earlier is None else triangle([known, self.earlier])

    def triangle_of(self, chosen: Iterable[int]) -> Array:
        """What is known after the chosen passes, ``[[R, Z], [0, .]]``, (p + k, p + k)."""
        return triangle([self.first_triangle, *(self.blocks[i] for i in chosen)])

    def hours_by_station(self, chosen: Sequence[int] | NDArray[np.int_]) -> dict[str, float]:
        """Station hours that the chosen passes take."""
        station, hours = self.station[chosen], self.hours[chosen]
        return {str(s): float(hours[station == s].sum()) for s in np.unique(station)}

    def gradient(self, name: str) -> Array:
        """Unit vector of a parameter, shape (p,).

        Raises
        ------
        UnknownNameError
            If there is none of that name.
        """
        if name not in self.parameters:
            raise UnknownNameError("estimated parameter", name, self.parameters)
        return np.eye(len(self.parameters))[self.parameters.index(name)]

    def checked_gradient(self, name: str, gradient: ArrayLike) -> Array:
        """A derived quantity's derivatives with respect to the parameters, shape (p,).

        Raises
        ------
        InputError
            If the shape does not fit, or if it is zero or not finite.
        """
        vector = np.asarray(gradient, float)
        _require_shape(name, vector, (len(self.parameters),))
        if not np.isfinite(vector).all() or not vector.any():
            raise InputError(
                "the gradient of a derived quantity must be finite and not zero",
                field=name,
                found=vector.tolist(),
            )
        return vector

    def _require_good(self, name: str, good: NDArray[np.bool_]) -> None:
        if not good.all():
            i = int(np.flatnonzero(~good)[0])
            raise InputError(
                f"not a usable number ({int((~good).sum())} of {len(self)} passes)",
                field=f"{name}, pass {i}",
                found=float(getattr(self, name)[i]),
                expected="finite" if name == "start" else "finite and positive",
            )


def triangle(rows: Iterable[Array]) -> Array:
    """The upper triangle to which orthogonal transformations reduce all the rows.

    Parameters
    ----------
    rows : iterable of ndarray, each of shape (any, p)
        The first has at least p rows (a triangle, for example).
    """
    waiting: list[Array] = []
    count = 0
    for block in rows:
        waiting.append(block)
        count += len(block)
        if count > ROWS_AT_A_TIME:
            waiting = [_reduced(waiting)]
            count = len(waiting[0])
    return _reduced(waiting)


def _reduced(rows: list[Array]) -> Array:
    return np.asarray(np.linalg.qr(np.vstack(rows), mode="r"), float)


def sigma_roots(root: Array, gradients: Array) -> Array:
    """``G = L R^-1``, whose rows' lengths are the standard deviations of the combinations.

    Parameters
    ----------
    root : ndarray, shape (p, p)
        Triangle R of the information.
    gradients : ndarray, shape (q, p)
        ``L``: combinations of the parameters, one a row.

    Returns
    -------
    ndarray, shape (q, p)
        Rows of infinities for what is not determined.
    """
    length = np.linalg.norm(root, axis=0)
    scale = np.where(length > 0, length, 1.0)
    measured = gradients / scale
    reciprocal_condition, _ = dtrcon(root / scale)
    if reciprocal_condition > 1e3 * DEPENDENT:
        return np.asarray(solve_triangular(root / scale, measured.T, trans="T").T, float)
    left, values, directions = np.linalg.svd(root / scale)
    kept = values > DEPENDENT
    roots = measured @ directions[kept].T / values[kept] @ left[:, kept].T
    lost = np.linalg.norm(measured @ directions[~kept].T, axis=1)
    undetermined = lost > UNSEEN * np.linalg.norm(measured, axis=1)
    return np.where(undetermined[:, None], np.inf, roots)


def compress(rows: Array, tolerance: float = 1e-10) -> Array:
    """Fewest rows that say what the rows of a pass say.

    The partial derivatives within a pass are smooth functions of time, so a hundred
    samples have far fewer independent combinations. Left out are those whose singular
    value, each column scaled to unit length, is below the tolerance times the largest:
    information below the square of the tolerance, less than rounding takes from it.

    Parameters
    ----------
    rows : ndarray, shape (m, p)
        Whitened rows of a pass.
    tolerance : float
        Relative size of a singular value that is left out.

    Returns
    -------
    ndarray, shape (rank, p)
    """
    length = np.linalg.norm(rows, axis=0)
    scale = np.where(length > 0, length, 1.0)
    _, values, directions = np.linalg.svd(rows / scale, full_matrices=False)
    kept = values > tolerance * values.max(initial=0.0)
    return np.asarray(values[kept, None] * directions[kept] * scale, float)


def overlapping(start: Array, stop: Array) -> tuple[tuple[int, ...], ...]:
    """Groups of passes that are all under way at one moment, none inside another.

    At most one of each group can be served by what can serve one pass at a time (an antenna
    of a station, a lander). The groups of a whole set of intervals tell more to a
    relaxation than pairs would: half of each of three passes satisfies every pair.

    Parameters
    ----------
    start, stop : ndarray, shape (n,)
        Begin and end, s, with the time to turn to the next pass where it is needed.
    """
    groups: list[tuple[int, ...]] = []
    active: list[int] = []
    for i in np.argsort(start, kind="stable"):
        still = [j for j in active if stop[j] > start[i]]
        # A pass has ended since the last one began: the group that held both is complete.
        if len(still) < len(active) and len(active) > 1:
            groups.append(tuple(active))
        active = [*still, int(i)]
    if len(active) > 1:
        groups.append(tuple(active))
    return tuple(groups)


def _require_shape(name: str, array: Array | NDArray[np.str_], shape: tuple[int, ...]) -> None:
    if np.shape(array) != shape:
        raise InputError(
            "the shape does not fit", field=name, found=np.shape(array), expected=shape
        )


def _require_rows(name: str, rows: Array, widths: tuple[int, ...]) -> None:
    if np.ndim(rows) != 2 or rows.shape[1] not in widths:
        raise InputError(
            "rows must have a column for each parameter",
            field=name,
            found=np.shape(rows),
            expected=" or ".join(f"(any, {width})" for width in dict.fromkeys(widths)),
        )
    if not np.isfinite(rows).all():
        raise InputError(
            f"a partial derivative is not a number ({int((~np.isfinite(rows)).sum())} in all)",
            field=name,
            expected="finite numbers",
        )
