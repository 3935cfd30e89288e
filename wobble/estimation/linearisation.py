"""One linearisation of all observations, kept on disk, solved as often as needed.

In: the passes of an observation model at given parameter values. Out: information and
residuals under any choice of weights, without evaluating the physics again.

Finding the gross errors takes a dozen solutions of the same linear problem. The rows of
all passes lie on a `Shelf`, so that memory holds one pass and a few numbers for each
sample, however long the campaign.
"""

from __future__ import annotations

import copy
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from types import TracebackType
from typing import Protocol, Self

import numpy as np
from numpy.typing import NDArray

from wobble.errors import InputError
from wobble.estimation.conditions import solve_under
from wobble.estimation.least_squares import (
    LinearEstimate,
    LocalFactor,
    ObservationModel,
    PassEquations,
    SquareRootInformation,
    Whitening,
    eliminate_locals,
)
from wobble.estimation.parameters import ParameterSet
from wobble.estimation.passes import Jump
from wobble.estimation.shelf import Shelf

__all__ = [
    "Grouping",
    "IndependentWeights",
    "Linearisation",
    "NoiseWeights",
    "PassHeader",
    "Weighting",
]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Grouping = Callable[[PassEquations], NDArray[np.str_]]

ABSOLUTE_ROUNDS = 20


@dataclass(frozen=True, eq=False)
class PassHeader:
    """What is kept in memory of a pass.

    Attributes
    ----------
    name : str
    samples : slice
        Its samples among all.
    rows, epochs : int
        Places of its rows and time tags on the shelf.
    local_places : slice
        Its own parameters among those of all passes.
    local_kinds : tuple of str
        The kind of which such a parameter shifts all samples alike; empty if it does not.
    local_names, local_sigma, whiten, labels
        As in `PassEquations`.
    """

    name: str
    samples: slice
    rows: int
    epochs: int
    local_places: slice
    local_kinds: tuple[str, ...]
    local_names: tuple[str, ...]
    local_sigma: Array
    whiten: Whitening | None
    labels: Mapping[str, str]


class Weighting(Protocol):
    """How rows are divided by the noise."""

    def whiten(self, header: PassHeader, sigma: Array, rows: Array) -> Array:
        """Whitened rows of the samples of a pass that count."""
        ...

    def local_sigma(self, header: PassHeader) -> Array:
        """A priori standard deviations of the pass's own parameters, shape (q,)."""
        ...


@dataclass(frozen=True, eq=False)
class IndependentWeights:
    """Each sample by itself, multiplied by a root weight between zero and one.

    For the search for gross errors: resistant, and blind to correlation. What is known
    beforehand of the parameters of each pass is weighted as well, as it may be as wrong.
    """

    root_weight: Array
    local_root_weight: Array

    def whiten(self, header: PassHeader, sigma: Array, rows: Array) -> Array:
        root = self.root_weight[header.samples]
        used = root > 0
        return rows[used] * (root / sigma)[used, None]

    def local_sigma(self, header: PassHeader) -> Array:
        return header.local_sigma / self.local_root_weight[header.local_places]


@dataclass(frozen=True, eq=False)
class NoiseWeights:
    """The accepted samples by their noise, with their standard deviation times a factor."""

    accepted: Mask
    factor: Array

    def whiten(self, header: PassHeader, sigma: Array, rows: Array) -> Array:
        used = self.accepted[header.samples]
        scaled = rows / self.factor[header.samples, None]
        if header.whiten is None:
            return scaled[used] / sigma[used, None]
        return header.whiten(scaled, used)

    def local_sigma(self, header: PassHeader) -> Array:
        return header.local_sigma


class Linearisation:
    """The observations linearised at given values of the estimated parameters.

    Use as a context manager: the rows on disk are gone afterwards.

    Parameters
    ----------
    model : ObservationModel
        The physics.
    parameters : ParameterSet
        All parameters; those estimated give the a priori information, those considered
        the columns that the sensitivity is asked for.
    values : ndarray, shape (p,)
        Where to linearise.
    earlier : SquareRootInformation, optional
        Of earlier data, to go on from.
    group : callable, optional
        Labels (n,) of the samples of a pass; samples of one label share a variance
        component. Their kind if left out.

    Attributes
    ----------
    headers : list of PassHeader
    kind, group : ndarray of str, shape (n,)
    sigma, prefit : ndarray, shape (n,)
        Claimed standard deviations, and residuals before the fit, SI.
    excluded : ndarray of str, shape (n,)
        Why a sample must not count, whatever its residual; empty if it may.
    step : ndarray, shape (n,)
        Shift of a sample by one lost cycle or ambiguity, SI; NaN if not known.
    pass_index : ndarray of int, shape (n,)
        Place of each sample's pass among the headers.

    Raises
    ------
    InputError
        If there is no observation, or one that cannot be computed with.
    """

    def __init__(
        self,
        model: ObservationModel,
        parameters: ParameterSet,
        values: Array,
        earlier: SquareRootInformation | None = None,
        group: Grouping | None = None,
    ) -> None:
        self.parameters = parameters.estimated
        self.names = self.parameters.names
        self.considered = parameters.considered.names
        self.values = np.array(values, float)
        self._start = SquareRootInformation.nothing(self.names, self.considered, self.values)
        if earlier is not None:
            self._start = earlier.onto(self.names, self.considered).about(self.values)
        self.jumps: tuple[Jump, ...] = ()
        self.headers: list[PassHeader] = []
        kinds: list[NDArray[np.str_]] = []
        groups: list[NDArray[np.str_]] = []
        sigmas: list[Array] = []
        prefit: list[Array] = []
        excluded: list[NDArray[np.str_]] = []
        steps: list[Array] = []
        count = 0
        self._shelf = Shelf()
        try:
            for equations in model.equations(self.values):
                if not len(equations):
                    continue
                equations.check(len(self.names), len(self.considered))
                self.headers.append(self._header(equations, count))
                count += len(equations)
                kinds.append(np.asarray(equations.kind))
                if group:
                    groups.append(np.asarray(group(equations)))
                sigmas.append(np.asarray(equations.sigma, float))
                prefit.append(np.asarray(equations.residual, float))
                nothing = np.full(len(equations), "")
                excluded.append(nothing if equations.excluded is None else equations.excluded)
                unknown = np.full(len(equations), np.nan)
                steps.append(unknown if equations.step is None else equations.step)
            if not count:
                raise InputError("there is no observation", expected="at least one sample")
        except BaseException:
            self.close()
            raise
        self.kind = np.concatenate(kinds)
        self.group = np.concatenate(groups) if group else self.kind
        self.sigma = np.concatenate(sigmas)
        self.prefit = np.concatenate(prefit)
        self.excluded = np.concatenate(excluded)
        self.step = np.concatenate(steps)
        self.pass_index = np.repeat(
            np.arange(len(self.headers)), [h.samples.stop - h.samples.start for h in self.headers]
        )

    def _header(self, equations: PassEquations, start: int) -> PassHeader:
        first = self.headers[-1].local_places.stop if self.headers else 0
        return PassHeader(
            equations.name,
            slice(start, start + len(equations)),
            self._shelf.put(equations.rows),
            self._shelf.put(np.asarray(equations.epoch)),
            slice(first, first + len(equations.local_names)),
            tuple(_shifted_kind(equations.kind, column) for column in equations.local_partials.T),
            equations.local_names,
            np.asarray(equations.local_sigma, float),
            equations.whiten,
            equations.labels,
        )

    @cached_property
    def local_sigma(self) -> Array:
        """A priori standard deviations of the own parameters of all passes, SI, shape (q,)."""
        return np.concatenate([header.local_sigma for header in self.headers])

    @property
    def epoch(self) -> NDArray[np.str_]:
        """UTC time tags in ISO form, shape (n,)."""
        return np.concatenate([self._shelf.get(header.epochs) for header in self.headers])

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        value: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the disk space back."""
        self._shelf.close()

    def __len__(self) -> int:
        return int(self.sigma.size)

    def with_jumps(self, jumps: Sequence[Jump]) -> Linearisation:
        """The same rows (on the same shelf), with jumps as further parameters of passes."""
        other = copy.copy(self)
        other.jumps = tuple(jumps)
        return other

    def passes(self) -> Iterator[tuple[PassHeader, Array]]:
        """Each pass with its rows ``[L | A | C | r]``."""
        by_pass: dict[str, list[Jump]] = {}
        for jump in self.jumps:
            by_pass.setdefault(jump.pass_name, []).append(jump)
        for header in self.headers:
            rows = self._shelf.get(header.rows)
            if header.name in by_pass:
                header, rows = self._with_columns(header, rows, by_pass[header.name])
            yield header, rows

    def _with_columns(
        self, header: PassHeader, rows: Array, jumps: list[Jump]
    ) -> tuple[PassHeader, Array]:
        kind, epoch = self.kind[header.samples], self._shelf.get(header.epochs)
        columns = [jump.column(kind, epoch) for jump in jumps]
        q = len(header.local_names)
        wider = replace(
            header,
            local_names=(*header.local_names, *(jump.parameter for jump in jumps)),
            local_sigma=np.concatenate([header.local_sigma, np.full(len(jumps), np.inf)]),
        )
        return wider, np.column_stack([rows[:, :q], *columns, rows[:, q:]])

    @cached_property
    def groups(self) -> list[tuple[str, str, NDArray[np.intp]]]:
        """Pass, kind, and indices in order of time of its samples, for each kind in each pass."""
        found = []
        for header in self.headers:
            indices = np.arange(header.samples.start, header.samples.stop)
            kinds, epoch = self.kind[indices], self._shelf.get(header.epochs)
            order = np.argsort(epoch, kind="stable")
            for kind in np.unique(kinds).tolist():
                found.append((header.name, kind, indices[order[kinds[order] == kind]]))
        return found

    def data(self, weighting: Weighting) -> tuple[SquareRootInformation, list[LocalFactor]]:
        """Everything that the weighted samples say, and the earlier ones.

        Returns
        -------
        information : SquareRootInformation
            Of the data alone, about the values of this linearisation.
        factors : list of LocalFactor
            One for each pass.
        """
        p, k = len(self.names), len(self.considered)
        information = replace(self._start)
        factors = []
        waiting: list[Array] = []
        for header, content in self.passes():
            whitened = weighting.whiten(header, self.sigma[header.samples], content)
            factor, rest = eliminate_locals(
                whitened, header.name, header.local_names, weighting.local_sigma(header), p
            )
            factors.append(factor)
            information.samples += len(whitened) - factor.unknown
            waiting.append(rest)
            # The triangle itself is reduced again with each block, so blocks are not too small.
            if sum(map(len, waiting)) > p + k + 1:
                information.absorb(np.vstack(waiting))
                waiting.clear()
        if waiting:
            information.absorb(np.vstack(waiting))
        return information, factors

    def information(self, weighting: Weighting) -> tuple[SquareRootInformation, list[LocalFactor]]:
        """As `data`, with the a priori knowledge taken in."""
        information, factors = self.data(weighting)
        return information.combine(self.a_priori()), factors

    def a_priori(self) -> SquareRootInformation:
        """What is known beforehand, about the values of this linearisation."""
        rows, numbers = self.parameters.a_priori_rows()
        right = numbers - rows @ self.values
        information = SquareRootInformation.nothing(self.names, self.considered, self.values)
        nothing = np.zeros((len(rows), len(self.considered)))
        information.absorb(np.column_stack([rows, nothing, right]))
        return information

    def solve(self, information: SquareRootInformation) -> LinearEstimate:
        """Estimate under the exact conditions of the parameter set, if there are any."""
        return solve_under(information, *self.parameters.condition_rows())

    def after_step(self, step: Array) -> Array:
        """Residuals that the linearisation foretells after a step, shape (n,).

        With the parameters of the passes at zero, as `prefit`.
        """
        foretold = np.empty(len(self))
        for header, rows in self.passes():
            q = len(header.local_names)
            foretold[header.samples] = rows[:, -1] - rows[:, q : q + len(step)] @ step
        return foretold

    def local_estimates(
        self, estimate: LinearEstimate, factors: Sequence[LocalFactor]
    ) -> tuple[Array, Array]:
        """Own parameters of all passes and their standard deviations, SI, shapes (q,).

        Zero, and infinite, where no weighted sample determines one.
        """
        values, sigma = np.zeros(len(self.local_sigma)), np.full(len(self.local_sigma), np.inf)
        for header, factor in zip(self.headers, factors, strict=True):
            places = [
                header.local_places.start + header.local_names.index(name) for name in factor.names
            ]
            values[places], covariance = factor.estimate(estimate.step, estimate.root)
            sigma[places] = np.sqrt(np.diag(covariance))
        return values, sigma

    def residuals(
        self, estimate: LinearEstimate, factors: Sequence[LocalFactor]
    ) -> tuple[Array, Array]:
        """Residuals after a step, and how well each sample is predicted.

        Returns
        -------
        residual : ndarray, shape (n,)
            Observed minus computed, SI; of samples without weight as well.
        leverage : ndarray, shape (n,)
            Variance of the computed value over that of the sample: a sample that was
            used has a residual of variance ``sigma^2 (1 - leverage)``, one that was not
            ``sigma^2 (1 + leverage)``.

        Notes
        -----
        Where no accepted sample determines a parameter of the pass, it is set to the
        resistant fit to all samples of the pass, so that these can still be judged.
        """
        residual, leverage = np.empty(len(self)), np.empty(len(self))
        for (header, rows), factor in zip(self.passes(), factors, strict=True):
            sigma = self.sigma[header.samples]
            rest, variance = self._rest(header, rows, factor, estimate)
            if factor.free:
                lost = rows[:, [header.local_names.index(name) for name in factor.free]]
                rest = rest - lost @ _resistant_fit(lost / sigma[:, None], rest / sigma)
            residual[header.samples] = rest
            leverage[header.samples] = variance / sigma**2
        return residual, leverage

    def whitened_residuals(
        self, weighting: NoiseWeights, estimate: LinearEstimate, factors: Sequence[LocalFactor]
    ) -> tuple[Array, Array]:
        """Residuals after a step as the noise sees them, and their leverages.

        Returns
        -------
        residual, leverage : ndarray, shape (m,)
            Of the m samples that count, in their order: of unit variance, less the leverage,
            and with correlated noise each the part that those before it in its pass do not tell.
        """
        parts = []
        for (header, rows), factor in zip(self.passes(), factors, strict=True):
            whitened = weighting.whiten(header, self.sigma[header.samples], rows)
            parts.append(self._rest(header, whitened, factor, estimate))
        residual, leverage = zip(*parts, strict=True)
        return np.concatenate(residual), np.concatenate(leverage)

    def _rest(
        self, header: PassHeader, rows: Array, factor: LocalFactor, estimate: LinearEstimate
    ) -> tuple[Array, Array]:
        """What a step leaves of the right side of rows, and the variance of their left side."""
        p, q = len(self.names), len(header.local_names)
        own = rows[:, [header.local_names.index(name) for name in factor.names]]
        shared = rows[:, q : q + p]
        through = own @ np.linalg.inv(factor.own)
        local = through @ (factor.right - factor.shared @ estimate.step)
        spread = (shared - through @ factor.shared) @ estimate.root
        variance = (through**2).sum(axis=1) + (spread**2).sum(axis=1)
        return rows[:, -1] - shared @ estimate.step - local, variance


def _shifted_kind(kind: NDArray[np.str_], column: Array) -> str:
    """The kind of samples that a column of ones stands for, if it is such a column."""
    for one in np.unique(kind[column != 0]).tolist():
        if np.array_equal(column, kind == one):
            return str(one)
    return ""


def _resistant_fit(columns: Array, right: Array) -> Array:
    """Least absolute residuals, by reweighting; columns and right-hand side whitened."""
    weight: Array = np.ones(len(right))
    solution: Array = np.zeros(columns.shape[1])
    for _ in range(ABSOLUTE_ROUNDS):
        solution = np.asarray(np.linalg.lstsq(columns * weight[:, None], right * weight)[0])
        weight = np.asarray(np.maximum(np.abs(right - columns @ solution), 1.0) ** -0.5)
    return solution
