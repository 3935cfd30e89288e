"""A start that gross errors cannot spoil.

In: a linearisation with good and bad samples. Out: residuals of all samples about a
solution that the good ones determine, and the resistant size of the residuals by kind.

M-estimation by iteratively reweighted least squares (Huber & Ronchetti 2009, Robust
Statistics, ch. 7): every iteration solves the weighted problem and gives each sample the
weight that its residual deserves. First with Huber's loss, which is convex, so that it
does not matter where one starts, and in which an error of any size counts like one of
1.345 standard deviations; then with Cauchy's, in which large errors count the less the
larger they are. Both are 95 % efficient if all errors are normal. The standard deviations
are those of the data times a factor from the median of the residuals (`variance`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.estimation.least_squares import LinearEstimate
from wobble.estimation.linearisation import IndependentWeights, Linearisation
from wobble.estimation.variance import VarianceComponent, resistant_component

__all__ = ["ResistantStart", "cauchy_weight", "huber_weight", "m_estimate", "resistant_start"]

Array = NDArray[np.float64]
Components = dict[str, VarianceComponent]

HUBER = 1.345
CAUCHY = 2.385
# The start needs no more: the accepted samples are solved for properly afterwards.
TOLERANCE = 0.02
ROUNDS = 60


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
    components : dict
        Resistant variance component of each kind.
    estimate : LinearEstimate
        The resistant estimate.
    """

    residual: Array
    components: Components
    estimate: LinearEstimate


def resistant_start(linearisation: Linearisation) -> ResistantStart:
    """Estimate with Huber's and then with Cauchy's loss, the scale found on the way."""

    def by_factor(residual: Array) -> Components:
        return _components(linearisation, residual, "scale")

    about_median = _about_pass_median(linearisation)
    first = m_estimate(linearisation, huber_weight, about_median, by_factor)
    forms = _components(linearisation, first.residual, None)

    def by_form(residual: Array) -> Components:
        return {
            kind: _component(linearisation, residual, kind, found.form)
            for kind, found in forms.items()
        }

    return m_estimate(linearisation, cauchy_weight, first.residual, by_form)


def m_estimate(
    linearisation: Linearisation,
    weight: Callable[[Array], Array],
    residual: Array,
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
    components_of : callable
        Variance components of given residuals.
    tolerance : float
        Largest last change, in standard deviations of the estimates.
    rounds : int
        At most so many solutions.
    """
    before: Array | None = None
    for _ in range(rounds):
        components = components_of(residual)
        spread = linearisation.sigma * inflation(linearisation, components)
        root_weight = np.sqrt(weight(residual / spread)) * linearisation.sigma / spread
        information, factors = linearisation.information(IndependentWeights(root_weight))
        estimate = information.solve()
        residual, _ = linearisation.residuals(estimate, factors)
        if (
            before is not None
            and (np.abs(estimate.step - before) <= tolerance * estimate.sigma).all()
        ):
            break
        before = estimate.step
    return ResistantStart(residual, components_of(residual), estimate)


def inflation(linearisation: Linearisation, components: Components) -> Array:
    """Factor on the standard deviation of each sample, shape (n,)."""
    factor = np.ones(len(linearisation))
    for kind, component in components.items():
        members = linearisation.kind == kind
        factor[members] = component.factor(linearisation.sigma[members])
    return factor


def _components(linearisation: Linearisation, residual: Array, form: str | None) -> Components:
    kinds = np.unique(linearisation.kind).tolist()
    return {kind: _component(linearisation, residual, kind, form) for kind in kinds}


def _component(
    linearisation: Linearisation, residual: Array, kind: str, form: str | None
) -> VarianceComponent:
    members = linearisation.kind == kind
    return resistant_component(kind, residual[members], linearisation.sigma[members], form)


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
