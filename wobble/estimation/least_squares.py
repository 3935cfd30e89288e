"""Square-root information, taken in pass by pass.

In: the linearised observations of one pass at a time (`PassEquations`), whitened. Out:
`SquareRootInformation`, everything that the data say about the parameters, in one small
triangle; from it estimates, covariance and sensitivity to considered parameters.

Rows ``[A | C | r]`` (partial derivatives with respect to estimated and to considered
parameters, and the residual, each divided by the noise) are reduced by orthogonal
transformations to an upper triangle ``T``; normal equations, which square the condition
number, are never formed (Bierman 1977, Factorization Methods for Discrete Sequential
Estimation, ch. IV and V). With ``T = [[R, Z, z], [0, ., e]]``:

    step  x = R^-1 z            covariance P = R^-1 R^-T
    sensitivity  S = dx/dc = -R^-1 Z      chi-square  |e|^2

Parameters of a single pass (a range bias) come first in the columns of that pass; the
reduction splits off the rows that contain them, which are kept for the estimation of
these parameters afterwards, and only the rest is taken in. Cost and memory are linear
in the number of passes. A column without any information is found before it can do harm.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Protocol, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_triangular

from wobble.errors import InputError

__all__ = [
    "LinearEstimate",
    "LocalFactor",
    "ObservationModel",
    "PassEquations",
    "SquareRootInformation",
    "eliminate_locals",
]

Array = NDArray[np.float64]
Whitening = Callable[[Array, NDArray[np.bool_]], Array]

# A column whose part independent of the others is smaller than this fraction of it is
# dependent: partial derivatives are good to some 1e-14 of the column, seldom better.
DEPENDENT = 1e-12
# Libraries of linear algebra start threads above about so many elements. For matrices of
# this size these cost more than they bring, and a hundred times more on a busy machine.
SINGLE_THREAD = 9000


@dataclass(frozen=True, eq=False)
class PassEquations:
    """The linearised observations of one pass.

    Parameters
    ----------
    name : str
        Identifier of the pass.
    kind : ndarray of str, shape (n,)
        ``"range"`` (m, one-way) or ``"range_rate"`` (m/s) of each sample.
    epoch : ndarray of str, shape (n,)
        UTC time tags in ISO form, for messages and logs.
    residual : ndarray, shape (n,)
        Observed minus computed, SI, with the pass-local parameters at zero.
    sigma : ndarray, shape (n,)
        Standard deviation of each sample, SI.
    partials : ndarray, shape (n, p)
        Of the computed observable with respect to the estimated parameters, SI.
    local_names : tuple of str
        The q parameters of this pass alone.
    local_partials : ndarray, shape (n, q)
        With respect to these.
    local_sigma : ndarray, shape (q,)
        Their a priori standard deviations about zero; infinite if free.
    consider_partials : ndarray, shape (n, k)
        With respect to the considered parameters.
    whiten : callable or None
        ``whiten(rows, accepted)`` takes rows of shape (n, m) in SI and a mask of shape
        (n,), and returns the rows of the accepted samples, in order, multiplied by the
        inverse square root of their noise covariance. None if the noise is uncorrelated.
    excluded : ndarray of str, shape (n,), optional
        Why a sample must not count, whatever its residual; empty if it may.
    step : ndarray, shape (n,), or None
        By how much one lost cycle, or one ambiguity of range, shifts a sample, SI; NaN where
        that is not known.
    labels : mapping of str to str
        What the pass has in common with others, such as ``{"station": "North"}``.
    """

    name: str
    kind: NDArray[np.str_]
    epoch: NDArray[np.str_]
    residual: Array
    sigma: Array
    partials: Array
    local_names: tuple[str, ...]
    local_partials: Array
    local_sigma: Array
    consider_partials: Array
    whiten: Whitening | None = None
    excluded: NDArray[np.str_] | None = None
    step: Array | None = None
    labels: Mapping[str, str] = field(default_factory=dict)

    def __len__(self) -> int:
        return int(self.residual.size)

    @property
    def rows(self) -> Array:
        """``[L | A | C | r]``, shape (n, q + p + k + 1), SI."""
        return np.hstack(
            [self.local_partials, self.partials, self.consider_partials, self.residual[:, None]]
        )

    def check(self, estimated: int, considered: int) -> None:
        """See that shapes fit and every number can be computed with.

        Raises
        ------
        InputError
            Naming pass and epoch of the first sample that is not a number or has a
            standard deviation that is not positive.
        """
        n, q = len(self), len(self.local_names)
        shapes = {
            "kind": (self.kind, (n,)),
            "epoch": (self.epoch, (n,)),
            "sigma": (self.sigma, (n,)),
            "partials": (self.partials, (n, estimated)),
            "local_partials": (self.local_partials, (n, q)),
            "local_sigma": (self.local_sigma, (q,)),
            "consider_partials": (self.consider_partials, (n, considered)),
        }
        for field_name, (array, shape) in shapes.items():
            if np.shape(array) != shape:
                raise InputError(
                    "the shapes do not fit one another",
                    field=f"pass {self.name}, {field_name}",
                    found=np.shape(array),
                    expected=shape,
                )
        self._refuse(~np.isfinite(self.residual), "the residual is not a number", self.residual)
        self._refuse(
            ~((self.sigma > 0) & np.isfinite(self.sigma)),
            "the standard deviation of a sample must be positive and finite",
            self.sigma,
        )
        rows = self.rows
        self._refuse(
            ~np.isfinite(rows).all(axis=1), "a partial derivative is not a number", rows.sum(axis=1)
        )
        for name, sigma in zip(self.local_names, self.local_sigma, strict=True):
            if not sigma > 0:
                raise InputError(
                    "the a priori standard deviation must be positive", field=name, found=sigma
                )

    def _refuse(self, wrong: ArrayLike, problem: str, values: Array) -> None:
        bad = np.asarray(wrong, bool)
        if bad.any():
            i = int(np.flatnonzero(bad)[0])
            raise InputError(
                f"{problem} ({int(bad.sum())} of {len(self)} samples)",
                field=f"pass {self.name}, {self.epoch[i]}, {self.kind[i]}",
                found=float(values[i]),
                expected="a finite number",
            )


class ObservationModel(Protocol):
    """What the estimator needs to know of the physics."""

    def equations(self, values: Array) -> Iterator[PassEquations]:
        """The observations linearised at these values of the estimated parameters (p,).

        The same passes with the same samples in the same order at every call.
        """
        ...


@dataclass(frozen=True, eq=False)
class LocalFactor:
    """What one pass says about its own parameters, given the global ones.

    The rows ``[R_l | R_x | z]`` of the triangle of the pass: ``R_l l + R_x x = z``.
    Names of parameters that the accepted samples cannot determine are in ``free``;
    ``unknown`` counts those in ``names`` of which nothing was known beforehand.
    """

    pass_name: str
    names: tuple[str, ...]
    free: tuple[str, ...]
    own: Array
    shared: Array
    right: Array
    unknown: int

    def estimate(self, step: Array, root: Array) -> tuple[Array, Array]:
        """Estimates and covariance, given the global step and a root of its covariance.

        Parameters
        ----------
        step : ndarray, shape (p,)
            Estimated change of the global parameters.
        root : ndarray, shape (p, any)
            Matrix whose product with its transpose is their covariance.
        """
        inverse = np.linalg.inv(self.own)
        values = inverse @ (self.right - self.shared @ step)
        spread = np.hstack([inverse, inverse @ self.shared @ root])
        return values, spread @ spread.T


def eliminate_locals(
    rows: Array,
    pass_name: str,
    local_names: tuple[str, ...],
    local_sigma: Array,
    estimated: int,
) -> tuple[LocalFactor, Array]:
    """Split whitened rows ``[L | A | C | r]`` of a pass into its own part and the rest.

    Parameters
    ----------
    rows : ndarray, shape (n, q + p + k + 1)
        Whitened rows of the accepted samples.
    pass_name, local_names, local_sigma
        As in `PassEquations`.
    estimated : int
        Number p of global parameters.

    Returns
    -------
    factor : LocalFactor
        For the estimation of the pass-local parameters afterwards.
    rest : ndarray, shape (any, p + k + 1)
        What the pass says about the global parameters; no row refers to local ones.
    """
    q = len(local_names)
    if not q:
        empty = np.zeros((0, estimated))
        return LocalFactor(pass_name, (), (), np.zeros((0, 0)), empty, np.zeros(0), 0), rows
    known = np.flatnonzero(np.isfinite(local_sigma))
    prior = np.zeros((known.size, rows.shape[1]))
    prior[np.arange(known.size), known] = 1.0 / local_sigma[known]
    stacked = np.vstack([rows, prior])
    kept = list(range(q))
    triangle = _triangle(stacked)
    if not _all_independent(triangle[:, :q]):
        # A dependent column would take a row along that says something of the others.
        kept = _independent_columns(stacked[:, :q])
        triangle = _triangle(stacked[:, [*kept, *range(q, stacked.shape[1])]])
    m = len(kept)
    factor = LocalFactor(
        pass_name,
        tuple(local_names[i] for i in kept),
        tuple(name for i, name in enumerate(local_names) if i not in kept),
        # Copies, or each of thousands of passes would keep its whole triangle alive.
        triangle[:m, :m].copy(),
        triangle[:m, m : m + estimated].copy(),
        triangle[:m, -1].copy(),
        int(np.isinf(local_sigma[kept]).sum()),
    )
    return factor, triangle[m:, m:]


def _triangle(rows: Array) -> Array:
    """The upper triangle to which orthogonal transformations reduce the rows."""
    width = rows.shape[1]
    height = max(2 * width, SINGLE_THREAD // max(width, 1))
    triangle = np.asarray(np.linalg.qr(rows[:height], mode="r"), float)
    for start in range(height, len(rows), height - width):
        piece = np.vstack([triangle, rows[start : start + height - width]])
        triangle = np.asarray(np.linalg.qr(piece, mode="r"), float)
    return triangle


def _all_independent(triangle: Array) -> bool:
    q = triangle.shape[1]
    if len(triangle) < q:
        return False
    sizes = np.linalg.norm(triangle, axis=0)
    return bool((np.abs(np.diagonal(triangle)) > DEPENDENT * sizes).all())


def _independent_columns(matrix: Array) -> list[int]:
    """Columns that are not combinations of those before them."""
    kept: list[int] = []
    sizes = np.linalg.norm(matrix, axis=0)
    for i in range(matrix.shape[1]):
        if sizes[i] == 0.0 or len(kept) == matrix.shape[0]:
            continue
        last = _triangle(matrix[:, [*kept, i]] / sizes[[*kept, i]])[-1, -1]
        if abs(last) > DEPENDENT:
            kept.append(i)
    return kept


@dataclass(frozen=True, eq=False)
class LinearEstimate:
    """Solution of the linear problem.

    Attributes
    ----------
    step : ndarray, shape (p,)
        Estimated change from the reference values.
    root : ndarray, shape (p, r)
        Square root of the covariance: ``covariance = root @ root.T``.
    sensitivity : ndarray, shape (p, k)
        Change of the estimates for a change of each considered parameter by one.
    chi_square : float
        Weighted sum of squares of the residuals, a priori information included.
    """

    step: Array
    root: Array
    sensitivity: Array
    chi_square: float

    @property
    def covariance(self) -> Array:
        """Covariance of the step, shape (p, p)."""
        return self.root @ self.root.T

    @property
    def sigma(self) -> Array:
        """Standard deviations, shape (p,)."""
        return np.linalg.norm(self.root, axis=1)


@dataclass(eq=False)
class SquareRootInformation:
    """What data and a priori knowledge say about parameters, as one triangle.

    Parameters
    ----------
    names : tuple of str
        The p estimated parameters.
    considered : tuple of str
        The k considered parameters.
    reference : ndarray, shape (p,)
        Values that the right-hand side refers to, SI.
    factor : ndarray, shape (p + k + 1, p + k + 1)
        The triangle ``T`` of the module's text; zero when nothing is known.
    samples : int
        Number of samples in it, less those that free parameters of passes have used up.
    """

    names: tuple[str, ...]
    considered: tuple[str, ...]
    reference: Array
    factor: Array
    samples: int = 0

    @classmethod
    def nothing(
        cls,
        names: tuple[str, ...],
        considered: tuple[str, ...] = (),
        reference: Array | None = None,
    ) -> Self:
        """No information yet, about the given reference values (zero if left out)."""
        width = len(names) + len(considered) + 1
        start = np.zeros(len(names)) if reference is None else reference
        return cls(names, considered, start, np.zeros((width, width)))

    @property
    def matrix(self) -> Array:
        """The triangle R of the estimated parameters, shape (p, p)."""
        p = len(self.names)
        return self.factor[:p, :p]

    def absorb(self, rows: Array) -> None:
        """Take in whitened rows ``[A | C | r]``, shape (n, p + k + 1)."""
        self.factor = _triangle(np.vstack([self.factor, rows]))

    def combine(self, other: SquareRootInformation) -> SquareRootInformation:
        """Both together, about the reference values of this one.

        Raises
        ------
        InputError
            If the parameters differ.
        """
        if self.names != other.names or self.considered != other.considered:
            raise InputError(
                "information about different parameters cannot be combined",
                found=", ".join((*other.names, *other.considered)),
                expected=", ".join((*self.names, *self.considered)),
            )
        total = replace(self, samples=self.samples + other.samples)
        total.absorb(other.about(self.reference).factor)
        return total

    def about(self, reference: Array) -> SquareRootInformation:
        """The same information with its right-hand side referred to other values."""
        moved = self.factor.copy()
        moved[:, -1] -= moved[:, : len(self.names)] @ (reference - self.reference)
        return replace(self, reference=reference, factor=moved)

    def onto(
        self, names: tuple[str, ...], considered: tuple[str, ...] = ()
    ) -> SquareRootInformation:
        """The same information among more parameters, or the same in another order.

        Raises
        ------
        InputError
            If a parameter that the information is about is missing.
        """
        missing = [n for n in self.names if n not in names]
        missing += [n for n in self.considered if n not in considered]
        if missing:
            raise InputError(
                "the information is about parameters that are not estimated (or considered) here",
                field=", ".join(missing),
                found=", ".join((*names, *considered)),
            )
        columns = [names.index(n) for n in self.names]
        columns += [len(names) + considered.index(n) for n in self.considered]
        wider = SquareRootInformation.nothing(names, considered)
        rows = np.zeros((len(self.factor), len(wider.factor)))
        rows[:, [*columns, -1]] = self.factor
        wider.absorb(rows)
        wider.reference[columns[: len(self.names)]] = self.reference
        wider.samples = self.samples
        return wider

    @classmethod
    def together(cls, parts: Sequence[SquareRootInformation]) -> SquareRootInformation:
        """What several say that know nothing of one another, of all their parameters.

        The values that it refers to are those of the last that names a parameter.
        """
        reference = {
            n: value for part in parts for n, value in zip(part.names, part.reference, strict=True)
        }
        names = tuple(reference)
        considered = tuple(dict.fromkeys(name for part in parts for name in part.considered))
        total = cls.nothing(names, considered, np.array(list(reference.values())))
        for part in parts:
            total = total.combine(part.onto(names, considered))
        return total

    @property
    def chi_square_at_reference(self) -> float:
        """Weighted sum of squares if the parameters stay at the reference values."""
        return float(self.factor[:, -1] @ self.factor[:, -1])

    def solve(self) -> LinearEstimate:
        """Estimate the parameters.

        Raises
        ------
        InputError
            If a combination of parameters is not determined; see
            `wobble.estimation.observability` for its description in words.
        """
        p = len(self.names)
        undetermined = ~np.isfinite(self.sigma())
        if undetermined.any():
            lost = [n for n, u in zip(self.names, undetermined, strict=True) if u]
            raise InputError(
                "parameters are not determined by the data, and nothing is known beforehand",
                field=", ".join(lost),
            )
        root = solve_triangular(self.matrix, np.eye(p))
        right = solve_triangular(self.matrix, self.factor[:p, p:])
        rest = self.factor[p:, -1]
        return LinearEstimate(right[:, -1], root, -right[:, :-1], float(rest @ rest))

    def sigma(self) -> Array:
        """Standard deviations, shape (p,); infinite for what is not determined."""
        scale, values, directions = self.spectrum()
        lost = values < DEPENDENT
        weights = np.where(lost, 0.0, 1.0 / np.where(lost, 1.0, values))
        sigma = np.linalg.norm(directions.T * weights, axis=1) / scale
        undetermined = (np.abs(directions[lost]) > 1e-6).any(axis=0)
        return np.where(undetermined, np.inf, sigma)

    def spectrum(self) -> tuple[Array, Array, Array]:
        """Singular values of the triangle with its columns scaled to unit length.

        Returns
        -------
        scale : ndarray, shape (p,)
            Length of each column (one where it is zero): the inverse of the standard
            deviation that the parameter would have if all others were known.
        values : ndarray, shape (p,)
            Singular values, descending.
        directions : ndarray, shape (p, p)
            Their directions, one a row, in units of that standard deviation.
        """
        length = np.linalg.norm(self.matrix, axis=0)
        scale = np.where(length > 0, length, 1.0)
        _, values, directions = np.linalg.svd(self.matrix / scale)
        return scale, values, directions
