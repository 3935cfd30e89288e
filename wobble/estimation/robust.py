"""A start that gross errors cannot spoil.

In: a linearisation with good and bad samples. Out: residuals of all samples about a
solution that the good ones determine, and the resistant size of the residuals by kind.

M-estimation by iteratively reweighted least squares (Huber & Ronchetti 2009, Robust
Statistics, ch. 7): every iteration solves the weighted problem and gives each sample the
weight that its residual deserves. First with Huber's loss, which is convex, so that it
does not matter where one starts, and in which an error of any size counts like one of
1.345 standard deviations; then with Cauchy's, in which large errors count the less the
larger they are. Both are 95 % efficient if all errors are normal. The standard deviations
are those of the data times a factor from the median of the residuals (`variance`). What is
known beforehand of the bias of a pass is treated as a datum like the others: a pass with a
wrong constant would otherwise tear at everything else.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.estimation.least_squares import LinearEstimate, LocalFactor, SquareRootInformation
from wobble.estimation.linearisation import IndependentWeights, Linearisation
from wobble.estimation.variance import (
    VarianceComponent,
    resistant_component,
    resistant_likelihood,
)

__all__ = [
    "ResistantStart",
    "cauchy_weight",
    "huber_weight",
    "inflation",
    "m_estimate",
    "resistant_start",
]

Array = NDArray[np.float64]
Components = dict[str, VarianceComponent]

HUBER = 1.345
CAUCHY = 2.385
# The start needs no more: the accepted samples are solved for properly afterwards.
TOLERANCE = 0.02
LOCAL_TOLERANCE = 0.2
ROUNDS = 60
# Equal standard deviations make both forms the same: then a factor is the simpler word.
TIE = 1e-3
# Standard deviations that are right within this factor are left in that form.
NEEDS_WIDENING = 1.1


def huber_weight(t: Array) -> Array:
    """Weight of a residual of t standard deviations under Huber's loss."""
    return np.minimum(1.0, HUBER / np.maximum(np.abs(t), HUBER))


def cauchy_weight(t: Array) -> Array:
    """Weight of a residual of t standard deviations under Cauchy's loss."""
    return 1.0 / (1.0 + (t / CAUCHY) ** 2)


@dataclass(frozen=True, eq=False)
class ResistantStart:
    """Where the editing begins.

    Attributes
    ----------
    residual : ndarray, shape (n,)
        Residuals of all samples, SI.
    local, local_sigma : ndarray, shape (q,)
        Own parameters of all passes and their standard deviations, SI.
    components : dict
        Resistant variance component of each group.
    estimate : LinearEstimate
        The resistant estimate.
    log_determinant : float
        Half that of the weighted information, pass parameters included.
    """

    residual: Array
    local: Array
    local_sigma: Array
    components: Components
    estimate: LinearEstimate
    log_determinant: float


def resistant_start(linearisation: Linearisation) -> ResistantStart:
    """Estimate with Huber's and then with Cauchy's loss, the scale found on the way.

    Huber's estimate is made with a factor on the standard deviations of each group
    of samples; for a group that needs to be widened also with an excess, which is kept if the
    restricted likelihood is the larger for it.
    """
    forms = dict.fromkeys(np.unique(linearisation.group).tolist(), "scale")
    residual = _about_pass_median(linearisation)
    local = np.zeros(len(linearisation.local_sigma))
    rule = _component_rule(linearisation, forms)
    best = m_estimate(linearisation, huber_weight, residual, local, rule)
    for group, component in best.components.items():
        if component.value <= NEEDS_WIDENING:
            continue
        trial = {**forms, group: "excess"}
        rule = _component_rule(linearisation, trial)
        other = m_estimate(linearisation, huber_weight, best.residual, best.local, rule)
        if _likelihood(linearisation, other) > _likelihood(linearisation, best) + TIE:
            best, forms = other, trial
    rule = _component_rule(linearisation, forms)
    return m_estimate(linearisation, cauchy_weight, best.residual, best.local, rule)


def m_estimate(
    linearisation: Linearisation,
    weight: Callable[[Array], Array],
    residual: Array,
    local: Array,
    components_of: Callable[[Array], Components],
    tolerance: float = TOLERANCE,
    rounds: int = ROUNDS,
) -> ResistantStart:
    """Iteratively reweighted least squares.

    Parameters
    ----------
    linearisation : Linearisation
        The problem.
    weight : callable
        Weight of residuals in standard deviations, such as `huber_weight`.
    residual : ndarray, shape (n,)
        Residuals to begin with, SI.
    local : ndarray, shape (q,)
        Parameters of single passes to begin with, SI.
    components_of : callable
        Variance components of given residuals.
    tolerance : float
        Largest last change, in standard deviations of the estimates.
    rounds : int
        At most so many solutions.
    """
    before: tuple[Array, Array] | None = None
    for _ in range(rounds):
        components = components_of(residual)
        spread = linearisation.sigma * inflation(linearisation, components)
        root_weight = np.sqrt(weight(residual / spread)) * linearisation.sigma / spread
        root_weight[linearisation.excluded != ""] = 0.0
        local_root_weight = np.sqrt(weight(local / linearisation.local_sigma))
        weights = IndependentWeights(root_weight, local_root_weight)
        information, factors = linearisation.information(weights)
        estimate = linearisation.solve(information)
        residual, _ = linearisation.residuals(estimate, factors)
        local, local_sigma = linearisation.local_estimates(estimate, factors)
        if (
            before is not None
            and (np.abs(estimate.step - before[0]) <= tolerance * estimate.sigma).all()
            and (np.abs(local - before[1]) <= LOCAL_TOLERANCE * local_sigma).all()
        ):
            break
        before = estimate.step, local
    determinant = _log_determinant(information, factors)
    return ResistantStart(
        residual, local, local_sigma, components_of(residual), estimate, determinant
    )


def inflation(linearisation: Linearisation, components: Components) -> Array:
    """Factor on the standard deviation of each sample, shape (n,)."""
    factor = np.ones(len(linearisation))
    for group, component in components.items():
        members = linearisation.group == group
        factor[members] = component.factor(linearisation.sigma[members])
    return factor


def _component_rule(
    linearisation: Linearisation, forms: dict[str, str]
) -> Callable[[Array], Components]:
    """Residuals to resistant variance components of given forms."""

    def components(residual: Array) -> Components:
        found = {}
        for group, form in forms.items():
            members = linearisation.group == group
            sigma = linearisation.sigma[members]
            found[group] = resistant_component(group, residual[members], sigma, form)
        return found

    return components


def _likelihood(linearisation: Linearisation, start: ResistantStart) -> float:
    """Restricted likelihood: small standard deviations must not win by being overfitted."""
    total = -start.log_determinant
    for group, component in start.components.items():
        members = linearisation.group == group
        total += resistant_likelihood(
            component, start.residual[members], linearisation.sigma[members]
        )
    return total


def _log_determinant(information: SquareRootInformation, factors: Sequence[LocalFactor]) -> float:
    """Half the logarithm of the determinant of all information, pass parameters included."""
    triangles = [information.matrix, *(factor.own for factor in factors)]
    return float(sum(np.log(np.abs(np.diagonal(triangle))).sum() for triangle in triangles))


def _about_pass_median(linearisation: Linearisation) -> Array:
    """Residuals before the fit about the median of their kind in their pass.

    Errors of the a priori values are smooth over a pass and gross errors are not: these
    weights let no single wild sample into the first solution.
    """
    residual = linearisation.prefit.copy()
    for header in linearisation.headers:
        kind, values = linearisation.kind[header.samples], residual[header.samples]
        for one in np.unique(kind):
            values[kind == one] -= np.median(values[kind == one])
    return residual
