"""Uncertainty by drawing passes again, as a check that assumes less.

In: an observation model and its solution. Out: `Bootstrap`, estimates from many campaigns
that consist of the same passes, each taken as often as chance has it.

The formal covariance believes that the noise is as described; the bootstrap believes only
that one pass is as good as another and independent of it (Efron 1979, Ann. Statist. 7, 1;
resampling of whole blocks keeps whatever correlation there is within a pass). If the two
differ by much, errors are correlated within passes, or the model misses something.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from wobble.errors import InputError
from wobble.estimation.least_squares import (
    ObservationModel,
    SquareRootInformation,
    eliminate_locals,
)
from wobble.estimation.linearisation import Linearisation, NoiseWeights

if TYPE_CHECKING:
    from wobble.estimation.solution import Solution

__all__ = ["Bootstrap", "bootstrap"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Bootstrap:
    """Estimates from campaigns of passes drawn with replacement.

    Attributes
    ----------
    solution : Solution
        The solution that is checked.
    values : ndarray, shape (replicates, p)
        Estimates, SI.
    lost : int
        Drawn campaigns that did not determine every parameter, left out of ``values``.
    """

    solution: Solution
    values: Array
    lost: int

    @property
    def sigma(self) -> Array:
        """Standard deviations over the replicates, SI, shape (p,)."""
        return np.asarray(self.values.std(axis=0, ddof=1))

    @property
    def covariance(self) -> Array:
        """Covariance over the replicates, SI, shape (p, p)."""
        return np.atleast_2d(np.cov(self.values.T))

    @property
    def ratio(self) -> Array:
        """Standard deviations over the realistic ones of the solution, shape (p,)."""
        return self.sigma / self.solution.sigma_realistic

    def __str__(self) -> str:
        parameters = self.solution.parameters.estimated
        width = max(map(len, parameters.names))
        lines = [f"{len(self.values)} campaigns of passes drawn again, {self.lost} lost"]
        for p, sigma, ratio in zip(parameters, self.sigma, self.ratio, strict=True):
            own = f"{sigma / p.scale:9.3g} {p.unit}"
            lines.append(f"{p.name:{width}}  sigma {own}, {ratio:.2f} times the realistic one")
        return "\n".join(lines)


def bootstrap(
    model: ObservationModel,
    solution: Solution,
    rng: np.random.Generator,
    replicates: int = 200,
    *,
    progress: bool = False,
) -> Bootstrap:
    """Estimate again from passes drawn with replacement.

    Weights and accepted samples are those of the solution; the problem is taken as linear
    about it. Memory is one triangle for each pass.

    Parameters
    ----------
    model : ObservationModel
        That of the fit.
    solution : Solution
        Its result.
    rng : numpy.random.Generator
        Draws the passes.
    replicates : int
        Number of drawn campaigns; the standard deviations are good to one in
        ``sqrt(2 replicates)``.
    progress : bool
        Whether a bar on standard error shows how far it is.

    Raises
    ------
    InputError
        If there are fewer than two passes, or no campaign determines all parameters.
    """
    with Linearisation(model, solution.parameters, solution.values) as linearisation:
        passes = _rows_by_pass(linearisation.with_jumps(solution.jumps), solution)
        if len(passes) < 2:
            raise InputError("passes cannot be drawn again", found=len(passes), expected="several")
        known = linearisation.a_priori()
        estimates = []
        for _ in tqdm(range(replicates), "passes drawn again", disable=not progress, leave=False):
            counts = np.bincount(rng.integers(len(passes), size=len(passes)), minlength=len(passes))
            drawn = [np.sqrt(n) * rows for n, rows in zip(counts, passes, strict=True) if n]
            information = SquareRootInformation.nothing(
                linearisation.names, linearisation.considered, linearisation.values
            )
            information.absorb(np.vstack(drawn))
            estimates.append(_estimate(linearisation, information.combine(known)))
    values = [one for one in estimates if one is not None]
    if len(values) < 2:
        raise InputError(
            "no drawn campaign determines all parameters",
            field=", ".join(solution.names),
            expected="more passes, or a priori standard deviations",
        )
    return Bootstrap(solution, np.array(values), replicates - len(values))


def _rows_by_pass(linearisation: Linearisation, solution: Solution) -> list[Array]:
    """What each pass says about the global parameters, as whitened rows."""
    if len(linearisation) != len(solution.samples):
        raise InputError(
            "the observation model does not belong to the solution",
            found=f"{len(linearisation)} samples",
            expected=len(solution.samples),
        )
    weights = NoiseWeights(solution.samples.accepted, solution.samples.factor)
    rows = []
    for header, content in linearisation.passes():
        whitened = weights.whiten(header, linearisation.sigma[header.samples], content)
        _, rest = eliminate_locals(
            whitened,
            header.name,
            header.local_names,
            header.local_sigma,
            len(linearisation.names),
        )
        if len(rest):
            rows.append(rest)
    return rows


def _estimate(linearisation: Linearisation, information: SquareRootInformation) -> Array | None:
    try:
        return linearisation.values + linearisation.solve(information).step
    except InputError:
        return None
