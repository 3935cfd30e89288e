"""The head of a report: what was asked, what came out, how sure it is.

In: what a campaign's steps have given. Out: sentences, and the few numbers that stand at
the top. Whatever needs attention says so in words.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np

from wobble.campaign.campaign import SIMULATED, Campaign
from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.errors import UnknownNameError
from wobble.estimation.solution import Solution
from wobble.estimation.variance import VarianceComponent
from wobble.measurements.kinds import kind_named
from wobble.measurements.tracking import Tracking
from wobble.planet.parameter_units import unit_of
from wobble.report.content import ATTENTION, HeadlineNumber
from wobble.report.solution_figures import errors_in_sigmas
from wobble.report.text import rounded, sized, unit_text, utc

__all__ = [
    "asked",
    "body_name",
    "came_out",
    "component_text",
    "headline_numbers",
    "how_sure",
    "kind_of_report",
    "meaning_of",
]

FIRST_ASKED = (
    "pole.precession_rate",
    "pole.obliquity",
    "pole.obliquity_rate",
    "spin.rate",
    "core.factor",
    "core.period",
)
MOST_NUMBERS = 6
LARGE_ERROR = 3.0
WIDENED = 1.2
"""A variance component from which the data are called noisier than they claim."""


def kind_of_report(
    solution: Solution | None, tracking: Tracking | None, truth: Mapping[str, float] | None
) -> str:
    """What kind of report it is, in a word or two."""
    if solution is None:
        return "Plan" if tracking is None else "Measurements"
    simulated = truth is not None or (tracking is not None and tracking.meta.get(SIMULATED))
    return "Rehearsal with simulated measurements" if simulated else "Fit of measurements"


def body_name(campaign: Campaign) -> str:
    """The body's name in a sentence."""
    return "the Moon" if campaign.body.name == "moon" else campaign.body.name.capitalize()


def asked(campaign: Campaign) -> list[str]:
    """What was asked."""
    landers = ", ".join(lander.name for lander in campaign.landers)
    stations = ", ".join(station.name for station in campaign.stations)
    sentences = [f"{landers} on {body_name(campaign)}, tracked from {stations}."]
    if campaign.span:
        first, last = (utc(t, minutes=False) for t in campaign.span)
        sentences.append(f"From {first} to {last}.")
    if campaign.rule:
        rule = campaign.rule
        minutes, limit = rule.pass_length / 60.0, np.degrees(campaign.view_limits.sun_earth_probe)
        sentences.append(
            f"{rule.passes_per_week} passes a week of {minutes:.4g} min, with range rates counted "
            f"over {rule.count_time:.4g} s, not within {limit:.3g} degrees of the Sun."
        )
    estimated = campaign.parameters.estimated.names
    groups = Counter(name.split(".")[0] for name in estimated)
    listed = ", ".join(f"{n} of {group.replace('_', ' ')}" for group, n in groups.items())
    if estimated:
        sentences.append(f"{len(estimated)} parameters to be estimated: {listed}.")
    return sentences


def came_out(
    solution: Solution | None, periods: ViewPeriods | None, passes: Passes | None
) -> list[str]:
    """What came out, but for the numbers of `headline_numbers`."""
    sentences = []
    if periods is not None:
        hours = periods.duration.sum() / 3600.0
        sentences.append(f"{len(periods)} view periods with {hours:.0f} h in all.")
    if passes is not None:
        shares = ", ".join(f"{n} at {k}" for k, n in sorted(Counter(passes.station).items()))
        sentences.append(
            f"{len(passes)} passes proposed: {passes.hours:.1f} station hours ({shares})."
        )
        sentences += [f"{ATTENTION}{text}." for text in passes.missing]
    if solution is not None:
        sentences.append(
            f"{solution.n_used} samples used and {solution.n_rejected} rejected, in "
            f"{len(np.unique(solution.samples.pass_name))} passes."
        )
        for kind in map(kind_named, np.unique(solution.samples.kind).tolist()):
            size = solution.rms[kind.rms_key]
            said = f"{sized(size, 3)} {kind.user} rms" if size is not None else "no accepted sample"
            sentences.append(f"Residuals of {kind.label}: {said}.")
    return sentences


def headline_numbers(solution: Solution) -> list[HeadlineNumber]:
    """Those estimates that a reader looks for first, at most `MOST_NUMBERS`."""
    wanted = [name for name in FIRST_ASKED if name in solution] or list(solution.names)
    numbers = []
    for name in wanted[:MOST_NUMBERS]:
        estimate = solution[name]
        value, sigma = rounded(estimate.value, estimate.sigma)
        numbers.append(
            HeadlineNumber(meaning_of(name), name, value, sigma, unit_text(estimate.unit))
        )
    return numbers


def meaning_of(name: str) -> str:
    """What a parameter is, in a few words; empty if nothing is known of it."""
    try:
        return unit_of(name).meaning
    except UnknownNameError:
        return ""


def how_sure(solution: Solution, truth: Mapping[str, float] | None) -> list[str]:
    """How far the estimates can be trusted."""
    return [
        *_scatter(solution),
        *_recovery(solution, truth),
        *_weakness(solution),
        *(f"{ATTENTION}{warning}." for warning in solution.warnings),
    ]


def _scatter(solution: Solution) -> list[str]:
    misfit = solution.misfit
    sentences = [f"{ATTENTION}{reason}." for reason in misfit.reasons]
    sentences += [
        f"Chi-square of {group.kind.replace('_', ' ')} against the stated standard deviations is "
        f"{sized(group.per_degree, 3)} per degree of freedom, with "
        f"{group.degrees_of_freedom:.0f} of the data alone."
        for group in misfit.groups
        if group.degrees_of_freedom > 0
    ]
    for group, component in solution.components.items():
        if component.form == "excess" or component.value > WIDENED:
            sentences.append(
                f"{ATTENTION}{group.replace('_', ' ')} scatters more than its standard deviations "
                f"say; they are {component_text(component)}, and the uncertainties with them."
            )
    return sentences


def component_text(component: VarianceComponent) -> str:
    """What was done to standard deviations, as the end of a sentence."""
    if component.form == "excess":
        return f"enlarged by {sized(component.value, 3)} (SI) in squares"
    return f"multiplied by {sized(component.value, 3)}"


def _recovery(solution: Solution, truth: Mapping[str, float] | None) -> list[str]:
    if truth is None:
        return []
    errors = np.abs(errors_in_sigmas(solution, truth))
    worst = int(np.argmax(errors))
    said = f"the largest error is {errors[worst]:.1f} realistic sigmas ({solution.names[worst]})"
    if errors[worst] > LARGE_ERROR:
        return [f"{ATTENTION}the truth is not recovered: {said}."]
    return [f"The truth of the rehearsal is recovered: of {len(errors)} parameters {said}."]


def _weakness(solution: Solution) -> list[str]:
    sentences = []
    if solution.weak:
        sentences.append(
            f"{len(solution.weak)} combinations of parameters are hardly separated; their "
            "single uncertainties are right only together with the correlations."
        )
    if solution.not_improved:
        sentences.append(
            f"{ATTENTION}only the a priori value speaks on {', '.join(solution.not_improved)}."
        )
    if solution.a_priori_limited:
        sentences.append(
            f"{ATTENTION}limited more by what was known before than by the noise: "
            + ", ".join(f"{n} (by {solution[n].limited_by})" for n in solution.a_priori_limited)
            + "."
        )
    return sentences
