"""One linearisation of all observations, kept on disk, solved as often as needed.

In: the passes of an observation model at given parameter values. Out: information and
residuals under any choice of weights, without evaluating the physics again.

Finding the gross errors takes a dozen solutions of the same linear problem. The rows of
all passes go to a temporary file, so that memory holds one pass and a few numbers for
each sample, however long the campaign.
"""

from __future__ import annotations

import copy
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
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
    local_names, local_sigma, whiten
        As in `PassEquations`.
    """

    name: str
    samples: slice
    local_names: tuple[str, ...]
    local_sigma: Array
    whiten: Whitening | None


class Weighting(Protocol):
    """How rows are divided by the noise."""

    def whiten(self, header: PassHeader, sigma: Array, rows: Array) -> Array:
        """Whitened rows of the samples of a pass that count."""
        ...


@dataclass(frozen=True, eq=False)
class IndependentWeights:
    """Each sample by itself, multiplied by a root weight between zero and one.

    For the search for gross errors: resistant, and blind to correlation.
    """

    root_weight: Array

    def whiten(self, header: PassHeader, sigma: Array, rows: Array) -> Array:
        root = self.root_weight[header.samples]
        used = root > 0
        return rows[used] * (root / sigma)[used, None]


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


class Linearisation:
    """The observations linearised at given values of the estimated parameters.

    Use as a context manager: the temporary file is gone afterwards.

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
    kind, group, epoch : ndarray of str, shape (n,)
    sigma, prefit : ndarray, shape (n,)
        Claimed standard deviations, and residuals before the fit, SI.
    excluded : ndarray of str, shape (n,)
        Why a sample must not count, whatever its residual; empty if it may.
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
        epochs: list[NDArray[np.str_]] = []
        sigmas: list[Array] = []
        prefit: list[Array] = []
        excluded: list[NDArray[np.str_]] = []
        count = 0
        # Closed by `close`, at the end of the context that this object is.
        self._file = tempfile.TemporaryFile()  # noqa: SIM115
        try:
            for equations in model.equations(self.values):
                equations.check(len(self.names), len(self.considered))
                if not len(equations):
                    continue
                self.headers.append(_header(equations, count))
                count += len(equations)
                self._file.write(np.ascontiguousarray(equations.rows, float).tobytes())
                kinds.append(np.asarray(equations.kind))
                groups.append(np.asarray(group(equations) if group else equations.kind))
                epochs.append(np.asarray(equations.epoch))
                sigmas.append(np.asarray(equations.sigma, float))
                prefit.append(np.asarray(equations.residual, float))
                nothing = np.full(len(equations), "")
                excluded.append(nothing if equations.excluded is None else equations.excluded)
            if not count:
                raise InputError("there is no observation", expected="at least one sample")
        except BaseException:
            self._file.close()
            raise
        self.kind = np.concatenate(kinds)
        self.group = np.concatenate(groups)
        self.epoch = np.concatenate(epochs)
        self.sigma = np.concatenate(sigmas)
        self.prefit = np.concatenate(prefit)
        self.excluded = np.concatenate(excluded)
        self.pass_index = np.repeat(
            np.arange(len(self.headers)), [h.samples.stop - h.samples.start for h in self.headers]
        )

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
        """Give the temporary file back."""
        self._file.close()

    def __len__(self) -> int:
        return int(self.sigma.size)

    def with_jumps(self, jumps: Sequence[Jump]) -> Linearisation:
        """The same rows (and the same file), with jumps as further parameters of passes."""
        other = copy.copy(self)
        other.jumps = tuple(jumps)
        return other

    def passes(self) -> Iterator[tuple[PassHeader, Array]]:
        """Each pass with its rows ``[L | A | C | r]``, read from the file."""
        shared = len(self.names) + len(self.considered) + 1
        by_pass: dict[str, list[Jump]] = {}
        for jump in self.jumps:
            by_pass.setdefault(jump.pass_name, []).append(jump)
        self._file.seek(0)
        for header in self.headers:
            n = header.samples.stop - header.samples.start
            width = len(header.local_names) + shared
            rows = np.frombuffer(self._file.read(8 * n * width)).reshape(n, width)
            if header.name in by_pass:
                header, rows = self._with_columns(header, rows, by_pass[header.name])
            yield header, rows

    def _with_columns(
        self, header: PassHeader, rows: Array, jumps: list[Jump]
    ) -> tuple[PassHeader, Array]:
        kind, epoch = self.kind[header.samples], self.epoch[header.samples]
        columns = [jump.column(kind, epoch) for jump in jumps]
        q = len(header.local_names)
        wider = replace(
            header,
            local_names=(*header.local_names, *(jump.parameter for jump in jumps)),
            local_sigma=np.concatenate([header.local_sigma, np.full(len(jumps), np.inf)]),
        )
        return wider, np.column_stack([rows[:, :q], *columns, rows[:, q:]])

    def groups(self) -> Iterator[tuple[str, str, NDArray[np.intp]]]:
        """Pass, kind, and indices in order of time of its samples, for each kind in each pass."""
        for header in self.headers:
            indices = np.arange(header.samples.start, header.samples.stop)
            kinds = self.kind[indices]
            for kind in np.unique(kinds).tolist():
                members = indices[kinds == kind]
                yield header.name, kind, members[np.argsort(self.epoch[members], kind="stable")]

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
                whitened, header.name, header.local_names, header.local_sigma, p
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
        p = len(self.names)
        for (header, rows), factor in zip(self.passes(), factors, strict=True):
            places = [header.local_names.index(name) for name in factor.names]
            own, q = rows[:, places], len(header.local_names)
            shared = rows[:, q : q + p]
            through = own @ np.linalg.inv(factor.own)
            local = through @ (factor.right - factor.shared @ estimate.step)
            spread = (shared - through @ factor.shared) @ estimate.root
            variance = (through**2).sum(axis=1) + (spread**2).sum(axis=1)
            sigma = self.sigma[header.samples]
            rest = rows[:, -1] - shared @ estimate.step - local
            if factor.free:
                lost = rows[:, [header.local_names.index(name) for name in factor.free]]
                rest = rest - lost @ _resistant_fit(lost / sigma[:, None], rest / sigma)
            residual[header.samples] = rest
            leverage[header.samples] = variance / sigma**2
        return residual, leverage


def _header(equations: PassEquations, start: int) -> PassHeader:
    return PassHeader(
        equations.name,
        slice(start, start + len(equations)),
        equations.local_names,
        np.asarray(equations.local_sigma, float),
        equations.whiten,
    )


def _resistant_fit(columns: Array, right: Array) -> Array:
    """Least absolute residuals, by reweighting; columns and right-hand side whitened."""
    weight: Array = np.ones(len(right))
    solution: Array = np.zeros(columns.shape[1])
    for _ in range(ABSOLUTE_ROUNDS):
        solution = np.asarray(np.linalg.lstsq(columns * weight[:, None], right * weight)[0])
        weight = np.asarray(np.maximum(np.abs(right - columns @ solution), 1.0) ** -0.5)
    return solution
