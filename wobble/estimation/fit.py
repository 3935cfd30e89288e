"""The fit: from an observation model to a solution.

In: an observation model, the parameters, the rules of editing. Out: a `Solution`.

Gauss-Newton: linearise, solve, move, until the move is small. Each iteration evaluates
the physics once and keeps the rows (`linearisation`); finding the bad samples and the
variance components happens within the iteration. As long as residuals come out otherwise
than the linearisation before foretold, the editing starts afresh; after that it goes on
from the decisions of the iteration before. A move that makes the weighted sum of squares
larger, with the same samples and weights, or that leads where the model cannot be computed, is
halved.

The iteration has converged when no estimate moves by more than ``tolerance`` of its
standard deviation and the same samples are accepted as in the iteration before.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from wobble.errors import ConvergenceError, InputError, WobbleError
from wobble.estimation.conditions import with_conditions_as_data
from wobble.estimation.editing import (
    EditedSolution,
    EditingRules,
    Judgement,
    edit,
    first_judgement,
)
from wobble.estimation.least_squares import ObservationModel, SquareRootInformation
from wobble.estimation.linearisation import Grouping, Linearisation, NoiseWeights
from wobble.estimation.observability import require_determined, weak_combinations
from wobble.estimation.parameters import ParameterSet
from wobble.estimation.solution import Iteration, Solution, solution_of

__all__ = ["Convergence", "fit"]

Array = NDArray[np.float64]

# An observable is a surprise if it is off by this share of its standard deviation ...
SURPRISE = 0.5
# ... and the linearisation was too far away if more than this share of the samples are.
SURPRISED = 0.01


@dataclass(frozen=True)
class Convergence:
    """When the iteration ends.

    Parameters
    ----------
    tolerance : float
        Largest last step of any estimate, in its standard deviations.
    iterations : int
        At most so many linearisations that were accepted.
    halvings : int
        At most so many halvings of one step.
    """

    tolerance: float = 0.01
    iterations: int = 20
    halvings: int = 10


def fit(
    model: ObservationModel,
    parameters: ParameterSet,
    rules: EditingRules | None = None,
    *,
    convergence: Convergence | None = None,
    earlier: SquareRootInformation | None = None,
    group: Grouping | None = None,
    provenance: Mapping[str, object] | None = None,
) -> Solution:
    """Estimate parameters from observations.

    Parameters
    ----------
    model : ObservationModel
        Gives the linearised observations at the values of the estimated parameters.
    parameters : ParameterSet
        Estimated and considered ones, in the order of the model's columns; fixed ones
        are carried into the solution.
    rules : EditingRules, optional
        When samples are rejected; the defaults of `EditingRules` if left out.
    convergence : Convergence, optional
        When the iteration ends; the defaults of `Convergence` if left out.
    earlier : SquareRootInformation, optional
        The ``information`` of a solution from earlier data that are not in the model. The
        result is that of all data at once if observables and weights would be the same: if
        the model is linear between the two estimates, and variance components are one.
    group : callable, optional
        Takes a `PassEquations`, returns a label for each of its samples: those of one
        label share a variance component (by station, say). Their kind if left out.
    provenance : mapping, optional
        What made the data and the model, to be written into the results.

    Raises
    ------
    InputError
        If there are no data, if a sample is not a number, or if a parameter or a
        combination of parameters is not determined.
    ConvergenceError
        If the iteration does not converge.
    """
    rules = rules or EditingRules()
    convergence = convergence or Convergence()
    if not len(parameters.estimated):
        raise InputError("no parameter is estimated", expected="at least one")
    linearise = partial(Linearisation, model, parameters, earlier=earlier, group=group)
    values = parameters.estimated.values
    last: EditedSolution | None = None
    foretold: Array = np.zeros(0)
    before: Array = np.zeros(0)
    log: list[Iteration] = []
    beyond: InputError | None = None
    for number in range(1, convergence.iterations + 1):
        linearisation, halvings, refused = _linearise(linearise, values, last, convergence.halvings)
        beyond = refused or beyond
        if linearisation is None:
            reason = (
                f"no step reduces the residuals, even after {halvings} halvings: the partial "
                "derivatives do not belong to the observables, or the a priori values are too far "
                "away"
            )
            break
        with linearisation:
            before = linearisation.prefit if last is None else before
            solution = edit(linearisation, rules, _judgement(linearisation, rules, last, foretold))
            log.append(_record(number, linearisation, solution, halvings))
            values = linearisation.values + solution.estimate.step
            done = log[-1].largest_step <= convergence.tolerance and last is not None
            same = last is not None and bool(
                (solution.judgement.accepted == last.judgement.accepted).all()
            )
            if done and (same or number == convergence.iterations):
                warnings = [] if same and solution.settled else ["the editing has not settled"]
                found = solution_of(
                    linearisation,
                    parameters,
                    rules,
                    solution,
                    before,
                    log,
                    warnings,
                    provenance or {},
                )
                return found if earlier is None else _gone_on_from(earlier, found)
            last, foretold = solution, linearisation.after_step(solution.estimate.step)
    else:
        reason = (
            f"no convergence after {len(log)} iterations: {log[-1].moved} still moves by "
            f"{log[-1].largest_step:.3g} of its standard deviation"
        )
    assert last is not None  # the first linearisation is that of the a priori values
    raise _failure(reason, beyond, last, parameters.estimated) from beyond


def _failure(
    reason: str, beyond: InputError | None, last: EditedSolution, parameters: ParameterSet
) -> WobbleError:
    """What to say when the iteration leads nowhere, or where nothing can be computed."""
    weakest = weak_combinations(last.information, parameters)[:1]
    hint = "".join(f"; hardly separated: {combination}" for combination in weakest)
    if beyond is None:
        return ConvergenceError(reason + hint)
    return InputError(
        f"the estimates go where the model cannot be computed ({beyond}){hint}",
        expected="a priori values near the truth, and a standard deviation for what the data do "
        "not determine",
    )


def _gone_on_from(earlier: SquareRootInformation, solution: Solution) -> Solution:
    """The solution with what it owes to earlier data, and a word on how far it has left them."""
    places = [solution.names.index(name) for name in earlier.names]
    moved = np.abs(solution.values[places] - earlier.reference) / solution.sigma_formal[places]
    largest = int(np.argmax(moved))
    warning = (
        "of earlier measurements only the information is known, linear about the estimate of then, "
        f"from which {earlier.names[largest]} has moved by {moved[largest]:.2g} of its sigma now"
    )
    return replace(solution, earlier=earlier, warnings=(*solution.warnings, warning))


def _linearise(
    linearise: Callable[[Array], Linearisation],
    values: Array,
    last: EditedSolution | None,
    most: int,
) -> tuple[Linearisation | None, int, InputError | None]:
    """Linearise at the new values, or nearer to the last ones if these were better.

    None if no step is better. With the number of halvings, and what was wrong with values that
    the model refused.
    """
    refused: InputError | None = None
    for halvings in range(most + 1):
        try:
            linearisation = linearise(values)
        except InputError as error:
            if last is None:
                raise
            refused = error
        else:
            if last is None or _is_better(linearisation, last):
                return linearisation, halvings, refused
            linearisation.close()
        values = (values + last.information.reference) / 2.0
    return None, most, refused


def _is_better(linearisation: Linearisation, last: EditedSolution) -> bool:
    """Whether the same samples with the same weights now have the smaller sum of squares."""
    if len(linearisation) != len(last.residual):
        raise InputError(
            "the observation model changed its samples between two iterations",
            found=len(linearisation),
            expected=len(last.residual),
        )
    weights = NoiseWeights(last.judgement.accepted, last.factor)
    now, _ = linearisation.with_jumps(last.judgement.jumps).information(weights)
    before = last.information.chi_square_at_reference
    return now.chi_square_at_reference <= before * (1.0 + 1e-9) + 0.01


def _judgement(
    linearisation: Linearisation,
    rules: EditingRules,
    last: EditedSolution | None,
    foretold: Array,
) -> Judgement:
    if last is None:
        everything = np.ones(len(linearisation))
        information, _ = linearisation.information(
            NoiseWeights(everything.astype(bool), everything)
        )
        rows, _ = linearisation.parameters.condition_rows()
        require_determined(
            with_conditions_as_data(information, rows),
            linearisation.parameters,
            len(linearisation),
        )
    elif _is_foretold(linearisation, foretold):
        return last.judgement
    return first_judgement(linearisation, rules)


def _is_foretold(linearisation: Linearisation, foretold: Array) -> bool:
    """Whether nearly all observables came out as the linearisation before foretold.

    Compared before any parameter of a pass is estimated: these would hide what is not linear.
    """
    change = np.abs(linearisation.prefit - foretold) / linearisation.sigma
    return bool((change > SURPRISE).mean() <= SURPRISED)


def _record(
    number: int, linearisation: Linearisation, solution: EditedSolution, halvings: int
) -> Iteration:
    steps = np.abs(solution.estimate.step) / solution.estimate.sigma
    largest = int(np.argmax(steps))
    return Iteration(
        number,
        float(steps[largest]),
        linearisation.names[largest],
        int(solution.judgement.accepted.sum()),
        solution.estimate.chi_square,
        halvings,
    )
