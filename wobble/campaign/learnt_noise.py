"""How noisy measurements are, learnt together with what they are measured for.

In: a campaign whose noise budget has the right contributions, of levels that are in doubt, and its
measurements. Out: the factor on each contribution with its uncertainty, the budget with these
factors, and residuals that should be white and normal if it is right.

The likelihood is the restricted one (Patterson & Thompson 1971, Biometrika 58, 545; Harville 1977,
J. Am. Stat. Assoc. 72, 320): the estimated parameters are projected away, with what was known of
them, so that levels are not too small for the freedom that the parameters have taken. With
``C = sum_k theta_k C_k`` for each pass, ``theta_k`` the square of the factor of contribution k,
``N = A^T C^-1 A + P`` and residuals e after the fit,

    dL/dtheta_k = (e^T C^-1 C_k C^-1 e - tr C^-1 C_k + tr N^-1 A^T C^-1 C_k C^-1 A) / 2

and the steps are those of Fisher scoring, with ``F_kl = tr(C^-1 C_k C^-1 C_l) / 2``, from which
the parameters' part, as small as their number beside that of the samples, is left out. Passes
differ in level by more than the chance of their samples, so the uncertainty is that of the
jackknife over passes where this is larger (`wobble.noise.between_passes`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from astropy.table import Table
from numpy.typing import NDArray

from wobble.errors import ConvergenceError, InputError
from wobble.estimation.passes import LEAST_PASSES
from wobble.estimation.sample_order import accepted_rows
from wobble.estimation.tracking_model import pass_geometry
from wobble.measurements.tracking import Tracking
from wobble.noise.between_passes import jackknife_error
from wobble.noise.budget import Budget
from wobble.shown import shortly, with_table

if TYPE_CHECKING:
    from wobble.campaign.campaign import Campaign

__all__ = ["LearntNoise", "learn_noise"]

Array = NDArray[np.float64]

ITERATIONS = 60
TOLERANCE = 1e-3
LEAST_STEP = 0.1
"""No square of a factor falls below this share of itself in one iteration."""
NOTHING = 1e-6
"""A square of a factor below it is none: the data do not ask for the contribution."""


@dataclass(frozen=True, eq=False)
class LearntNoise:
    """Levels of noise that measurements ask for.

    Attributes
    ----------
    budget : Budget
        That of the campaign with the factors found.
    names : list of str
        Of its contributions.
    scales, sigmas : ndarray, shape (k,)
        Factors on the standard deviations of the budget given, and how far they are uncertain.
    normalised : ndarray, shape (n,)
        Residuals times the inverse root of their covariance, pass by pass in order of time:
        independent and of unit variance if the budget is right, but for what the parameters took.
    pass_name : ndarray of str, shape (n,)
        Of each of them.
    """

    budget: Budget
    names: list[str]
    scales: Array
    sigmas: Array
    normalised: Array
    pass_name: NDArray[np.str_]

    def table(self) -> Table:
        """A row for each contribution."""
        return Table({"contribution": self.names, "factor": self.scales, "sigma": self.sigmas})

    def __repr__(self) -> str:
        factors = ", ".join(
            f"{name} {shortly(scale, 3)} +- {shortly(sigma)}"
            for name, scale, sigma in zip(self.names, self.scales, self.sigmas, strict=True)
        )
        return f"<LearntNoise: factors on standard deviations: {factors}>"

    def _repr_html_(self) -> str:
        return with_table("Noise that the measurements ask for", self.table())


@dataclass(frozen=True, eq=False)
class _Pass:
    """Residuals (n,) and partial derivatives (n, p) of a pass; covariances of each contribution."""

    name: str
    residual: Array
    partials: Array
    covariances: Array

    def inverse(self, theta: Array) -> Array:
        return np.asarray(np.linalg.inv(np.tensordot(theta, self.covariances, axes=1)))


def learn_noise(campaign: Campaign, tracking: Tracking) -> LearntNoise:
    """The levels of the contributions of a campaign's budget, from its measurements.

    Parameters
    ----------
    campaign : Campaign
        Its budget says which contributions there are; what it says of their levels is a start.
        An error common to a pass is one of them (``range_calibration``), so the scenario must
        not estimate a bias of each pass as well.
    tracking : Tracking

    Raises
    ------
    InputError
        If there is no budget, there are biases of passes beside it, or too few passes.
    ConvergenceError
        If the levels do not settle.
    """
    if campaign.budget is None:
        raise InputError(
            "levels of noise are learnt for the contributions of a budget",
            source=campaign.source,
            field="noise",
            expected="[[noise]] tables",
        )
    budget = campaign.budget
    passes, parameters = _passes(campaign, tracking)
    theta = np.ones(len(budget.contributions))
    for _ in range(ITERATIONS):
        scores, informations, normalised = _scores(passes, theta, *parameters)
        information = informations.sum(axis=0)
        seen = np.diag(information) > 0
        step = np.zeros(len(theta))
        step[seen] = np.linalg.solve(information[np.ix_(seen, seen)], scores.sum(axis=0)[seen])
        moved = np.maximum(theta + step, LEAST_STEP * theta)
        done = np.abs(moved - theta) <= TOLERANCE * theta
        theta = moved
        if (done | (theta < NOTHING)).all():
            break
    else:
        raise ConvergenceError(
            "the levels of noise do not settle: contributions look alike to these measurements"
        )
    sigma = _uncertainty(theta, scores, informations)
    scales = np.sqrt(theta)
    contributions = tuple(
        replace(one, scale=float(one.scale * scale))
        for one, scale in zip(budget.contributions, scales, strict=True)
    )
    return LearntNoise(
        Budget(contributions),
        budget.names,
        scales,
        sigma / (2.0 * np.maximum(scales, np.sqrt(NOTHING))),
        np.concatenate(normalised),
        np.repeat([one.name for one in passes], [len(one.residual) for one in passes]),
    )


def _passes(campaign: Campaign, tracking: Tracking) -> tuple[list[_Pass], tuple[Array, Array]]:
    """Accepted samples of each pass at a first fit; rows and values of what was known."""
    # A pass that is off is a draw of the noise that is sought, and no shift.
    without = replace(campaign, editing=replace(campaign.editing, jumps=0))
    solution = without.fit(tracking)
    if solution.pass_estimates:
        raise InputError(
            "passes have biases of their own beside a budget in which errors of passes are noise",
            source=campaign.source,
            field="estimate.pass_biases",
            expected="none",
        )
    assert campaign.budget is not None  # asked before
    estimated = solution.parameters.estimated
    accepted = accepted_rows(solution.samples, tracking)
    network = campaign.network(tracking).with_values(
        dict(zip(estimated.names, solution.values.tolist(), strict=True))
    )
    computed = network.compute(tracking, estimated.names)
    alone = list(campaign.budget.alone().values())
    found = []
    for name, rows in tracking.passes():
        kept = rows[accepted[rows]]
        kept = kept[np.argsort(tracking.epoch[kept].jd, kind="stable")]
        if kept.size:
            geometry = pass_geometry(tracking, computed, kept)
            residual = tracking.value[kept] - computed.value[kept]
            covariances = np.array([one.covariance(geometry) for one in alone])
            found.append(_Pass(name, residual, computed.partials[kept], covariances))
    if len(found) < LEAST_PASSES:
        raise InputError(
            "too few passes to learn how they differ",
            field="tracking",
            found=len(found),
            expected=f"{LEAST_PASSES} or more",
        )
    rows_known, values = estimated.a_priori_rows()
    return found, (rows_known, values - rows_known @ solution.values)


def _scores(
    passes: Sequence[_Pass], theta: Array, known: Array, off: Array
) -> tuple[Array, Array, list[Array]]:
    """Of each pass its part of the gradient (k,) and of the information (k, k), and residuals."""
    inverses = [one.inverse(theta) for one in passes]
    scale = np.sqrt(sum((one.partials**2).sum(axis=0) for one in passes))
    scale[scale == 0.0] = 1.0
    designs = [one.partials / scale for one in passes]
    normal = (known / scale).T @ (known / scale)
    right = (known / scale).T @ off
    for one, inverse, design in zip(passes, inverses, designs, strict=True):
        normal += design.T @ inverse @ design
        right += design.T @ inverse @ one.residual
    covariance = np.linalg.inv(normal)
    step = covariance @ right
    scores, informations, normalised = [], [], []
    for one, inverse, design in zip(passes, inverses, designs, strict=True):
        left = one.residual - design @ step
        weighted, turned = inverse @ left, inverse @ design
        products = inverse @ one.covariances
        scores.append(
            [
                0.5
                * (
                    weighted @ part @ weighted
                    - np.trace(product)
                    + np.einsum("ij,ji->", covariance, turned.T @ part @ turned)
                )
                for part, product in zip(one.covariances, products, strict=True)
            ]
        )
        informations.append(0.5 * np.einsum("kij,lji->kl", products, products))
        normalised.append(np.linalg.cholesky(inverse).T @ left)
    return np.array(scores), np.array(informations), normalised


def _uncertainty(theta: Array, scores: Array, informations: Array) -> Array:
    """Standard deviations of the squares of the factors: of samples, or of passes if larger."""
    information = informations.sum(axis=0)
    left_out = np.array(
        [
            theta - np.linalg.pinv(information - own) @ score
            for own, score in zip(informations, scores, strict=True)
        ]
    )
    part = np.array([np.diag(own) > 0 for own in informations])
    samples = np.sqrt(np.maximum(np.diag(np.linalg.pinv(information)), 0.0))
    return np.maximum(samples, jackknife_error(left_out, part))
