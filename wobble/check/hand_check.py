"""The check by hand: every headline number of a campaign against a first-order formula.

In: a campaign, and what its steps have given so far. Out: a `HandCheck`, one line a number: the
formula with the numbers put in, the full model's value beside it, and their ratio.

The formulas neglect, on purpose, what the full model has: a ratio of 1.03 is a success, a factor
of two is a fault somewhere. The program's values come from the model that simulates and fits:
links solved with light time and media, partial derivatives, the covariance of the noise budget,
the normal equations, the integrated torque; none of them from the pencil's own formula.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import Passes
from wobble.check.lines import HandCheck, HandLine
from wobble.check.link_by_hand import link_lines
from wobble.check.noise_by_hand import noise_lines
from wobble.check.rotation_by_hand import NAME, moment_lines, precision_lines
from wobble.check.scene import Scene
from wobble.check.signatures_by_hand import signature_lines
from wobble.errors import InputError
from wobble.estimation.solution import Solution
from wobble.files.data_files import read_tracking
from wobble.measurements.tracking import Tracking
from wobble.noise.budget_table import LinkConditions

__all__ = ["hand_check"]

PLASMA_ANGLE = np.radians(20.0)
"""Sun-Earth-probe angle at which the noise is checked."""


def hand_check(
    campaign: Campaign,
    *,
    passes: Passes | None = None,
    tracking: Tracking | None = None,
    solution: Solution | None = None,
) -> HandCheck:
    """Check the headline numbers of a campaign by pencil.

    Parameters
    ----------
    campaign : Campaign
    passes : Passes, optional
        A schedule: with it the precision of the precession rate is checked too.
    tracking : Tracking, optional
        Measurements; needed only by a campaign without dates, whose data files are read if it
        is left out.
    solution : Solution, optional
        A fit of the passes; its formal precision is checked instead of computing one.

    Returns
    -------
    HandCheck
        With those lines that the campaign's body, media and budget have.

    Raises
    ------
    InputError
        If there are neither dates nor data.
    """
    if campaign.span is None and tracking is None:
        if not campaign.data_files:
            raise InputError(
                "nothing tells when the campaign is",
                source=campaign.source,
                field="campaign.start",
                expected="start and stop, or files of data",
            )
        tracking, _ = read_tracking(campaign.data_files, campaign)
    scene = Scene.of(campaign, tracking)
    lines = [*link_lines(scene), *signature_lines(scene)]
    conditions = _conditions(scene)
    if campaign.budget is not None:
        lines += noise_lines(campaign.budget, replace(conditions, sun_angle=PLASMA_ANGLE))
    lines += [*_precision(scene, conditions, passes, solution), *moment_lines(scene)]
    return HandCheck(campaign.name, tuple(lines))


def _conditions(scene: Scene) -> LinkConditions:
    """The median of what a pass may meet."""
    angle, distance = scene.geometry
    allowed = angle > scene.campaign.view_limits.sun_earth_probe
    chosen = allowed if allowed.any() else np.ones(len(angle), bool)
    conditions = LinkConditions(
        sun_angle=float(np.median(angle[chosen])), distance=float(np.median(distance[chosen]))
    )
    rule = scene.campaign.rule
    return replace(conditions, count_time=rule.count_time) if rule else conditions


def _precision(
    scene: Scene, conditions: LinkConditions, passes: Passes | None, solution: Solution | None
) -> list[HandLine]:
    campaign = scene.campaign
    if campaign.rule is None or NAME not in campaign.parameters.estimated.names:
        return []
    if solution is not None and NAME in solution.names:
        sigma = float(solution.sigma_formal[solution.names.index(NAME)])
        count = len(np.unique(solution.samples.pass_name))
    elif passes is not None and len(passes) and campaign.budget is not None:
        sigma, count = float(campaign.precision(passes).of(NAME)[-1]), len(passes)
    else:
        return []
    return precision_lines(scene, sigma, count, campaign.rule.pass_length, conditions)
