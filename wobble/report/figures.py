"""All figures of the package in one place, and those that belong to a report.

In: data objects, and matplotlib axes where the caller has some. Out: axes; or, from
`report_figures`, finished SVG with the words that go with each figure.

    axes = residuals_by_pass(solution, "range")
    axes.figure.savefig("residuals.pdf")

Each function draws on the axes given, or on those of a new figure, and returns them; what
it draws with stands in `wobble.report.style`.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.constants import ASTRONOMICAL_UNIT
from wobble.estimation.solution import Solution
from wobble.measurements.kinds import kind_named
from wobble.measurements.tracking import Tracking
from wobble.noise.budget import Budget
from wobble.noise.budget_table import LinkConditions
from wobble.planet.interior_samples import InteriorSamples
from wobble.planet.rotation import RotationModel
from wobble.report.budget_figures import allan_deviations, contributions_by_sun_angle
from wobble.report.content import ReportFigure
from wobble.report.geometry import (
    Coverage,
    SampleGeometry,
    coverage_of,
    link_conditions,
    network_of,
    sample_order,
)
from wobble.report.interior_section import Inside
from wobble.report.plan_figures import (
    coverage,
    view_period_timeline,
)
from wobble.report.planet_figures import interior_regions
from wobble.report.residual_figures import (
    residual_histogram,
    residuals_against,
    residuals_by_pass,
)
from wobble.report.solution_figures import (
    correlation_matrix,
    errors_in_sigmas,
    parameter_errors,
    polar_path,
)
from wobble.report.style import offscreen, style
from wobble.report.svg import figure_svg
from wobble.report.text import SIGMA, sized, utc

__all__ = [
    "allan_deviations",
    "budget_figures",
    "contributions_by_sun_angle",
    "correlation_matrix",
    "coverage",
    "parameter_errors",
    "polar_path",
    "report_figures",
    "residual_histogram",
    "residuals_against",
    "residuals_by_pass",
    "style",
    "view_period_timeline",
]


def report_figures(
    *,
    campaign: Campaign,
    solution: Solution | None = None,
    periods: ViewPeriods | None = None,
    passes: Passes | None = None,
    tracking: Tracking | None = None,
    truth: Mapping[str, float] | None = None,
    inside: Inside | None = None,
) -> list[ReportFigure]:
    """Every figure that what is given allows, in the order of the report.

    Parameters
    ----------
    campaign : Campaign
    solution, periods, passes, tracking : optional
        What the campaign's steps have given so far.
    truth : mapping, optional
        True values of a rehearsal, SI.
    inside : Inside, optional
        What the solution says of the planet's inside.
    """
    track = coverage_of(campaign, passes, tracking)
    with offscreen():
        figures = []
        if solution is not None:
            figures += _residual_figures(campaign, solution, tracking)
            figures += _solution_figures(solution, truth)
            figures += _pole_figures(campaign, solution, track)
        figures += _plan_figures(periods, passes, track)
        if campaign.budget is not None:
            figures += budget_figures(campaign.budget, link_conditions(campaign, track))
        if inside is not None and inside.samples is not None:
            figures.append(_interior_figure(inside.samples))
    return figures


def _finished(
    axes: Axes, name: str, section: str, title: str, caption: str, description: str
) -> ReportFigure:
    figure = axes.figure
    assert isinstance(figure, Figure)  # made for these axes alone
    svg = figure_svg(figure, name, title, description)
    return ReportFigure(name, section, title, caption, description, svg)


def _interior_figure(samples: InteriorSamples) -> ReportFigure:
    low, high = (edge / 1e3 for edge in samples.interval("core_radius"))
    return _finished(
        interior_regions(samples),
        "core-radius",
        "interior",
        "Core radius against core density",
        "Regions that hold 68 and 95 % of the samples; the cross marks the medians.",
        f"Two nested regions; 68 % of the core radii lie from {sized(low, 4)} to "
        f"{sized(high, 4)} km.",
    )


# ------------------------------------------------------------------- of a solution


def _residual_figures(
    campaign: Campaign, solution: Solution, tracking: Tracking | None
) -> list[ReportFigure]:
    samples = solution.samples
    geometry = None
    if tracking is not None:
        order = sample_order(samples, tracking)
        geometry = SampleGeometry.of(network_of(campaign, tracking), tracking)[order]
    figures = []
    for kind in np.unique(samples.kind).tolist():
        of_kind = samples.kind == kind
        name = kind_named(kind).label
        rejected = int((of_kind & ~samples.accepted).sum())
        counted = (
            f"{of_kind.sum()} residuals of {name} in "
            f"{len(np.unique(samples.pass_name[of_kind]))} passes, {rejected} of them rejected"
        )
        slug = kind.replace("_", "-")
        figures.append(
            _finished(
                residuals_by_pass(solution, kind, geometry=geometry),
                f"residuals-{slug}",
                "residuals",
                f"Residuals of {name} by pass",
                "Of each pass: mean (marker), middle 68 % (thick), all (thin); or each sample "
                f"with its standard deviation, if there are few. The band is the 1 {SIGMA} that "
                "the weights expect.",
                f"{counted}; root mean square of the accepted {_rms(solution, kind)}.",
            )
        )
        if geometry is None:
            continue
        for quantity, meaning in _MEANING.items():
            if quantity == "Sun angle" and campaign.media.troposphere == "optical":
                continue  # light passes the plasma unhindered
            figures.append(
                _finished(
                    residuals_against(solution, quantity, geometry, kind),
                    f"residuals-{slug}-{quantity.lower().replace(' ', '-')}",
                    "residuals",
                    f"Residuals of {name} against {quantity}",
                    meaning,
                    f"{counted}, drawn against {quantity}.",
                )
            )
    figures.append(
        _finished(
            residual_histogram(solution),
            "residual-histogram",
            "residuals",
            "Distribution of the residuals",
            "Each accepted residual divided by the standard deviation that it should have. Wider "
            "than the curve: the weights promise too much; long tails: not all is noise.",
            f"Histogram of {solution.n_used} accepted residuals beside the normal density.",
        )
    )
    return figures


_MEANING = {
    "elevation": "A trend toward low elevations points to the air: its delay, mapping or weather.",
    "hour angle": "A trend points to the station's place or to the Earth's rotation.",
    "Sun angle": "Growth toward small angles points to the solar plasma.",
}


def _rms(solution: Solution, kind: str) -> str:
    known = kind_named(kind)
    size = solution.rms[known.rms_key]
    return "none" if size is None else f"{sized(size, 3)} {known.user}"


def _solution_figures(solution: Solution, truth: Mapping[str, float] | None) -> list[ReportFigure]:
    figures = []
    if len(solution.names) > 1:
        below = np.abs(np.tril(solution.correlation, -1))
        i, j = np.unravel_index(int(np.argmax(below)), below.shape)
        figures.append(
            _finished(
                correlation_matrix(solution),
                "correlation-matrix",
                "correlations",
                "Correlations of the estimates",
                "In hundredths, from 30 on; blue negative, vermillion positive.",
                f"Matrix of {len(solution.names)} parameters; the largest correlation is "
                f"{sized(float(solution.correlation[i, j]), 4)} between {solution.names[i]} and "
                f"{solution.names[j]}.",
            )
        )
    if truth is not None:
        errors = errors_in_sigmas(solution, truth)
        worst = int(np.argmax(np.abs(errors)))
        figures.append(
            _finished(
                parameter_errors(solution, truth),
                "parameter-errors",
                "rehearsal",
                "Estimates minus truth",
                "Each error in the realistic standard deviation of its estimate.",
                f"Errors of {len(errors)} parameters; the largest is that of "
                f"{solution.names[worst]} with {sized(float(errors[worst]), 3)} standard "
                "deviations.",
            )
        )
    return figures


def _pole_figures(
    campaign: Campaign, solution: Solution, track: Coverage | None
) -> list[ReportFigure]:
    rotation = campaign.body.orientation
    if track is None or not isinstance(rotation, RotationModel):
        return []
    estimates = zip(solution.names, solution.values.tolist(), strict=True)
    rotation = rotation.with_values({n: v for n, v in estimates if n in rotation.values})
    first, last = track.date.min(), track.date.max()
    return [
        _finished(
            polar_path(rotation, first, last),
            "polar-path",
            "pole",
            "Path of the pole on the sky",
            "The nutation as estimated; precession and the drift of the obliquity are taken off.",
            f"Loops of the spin axis of {campaign.body.name} from {utc(first, minutes=False)} to "
            f"{utc(last, minutes=False)}.",
        )
    ]


# ----------------------------------------------------------------------- of a plan


def _plan_figures(
    periods: ViewPeriods | None, passes: Passes | None, track: Coverage | None
) -> list[ReportFigure]:
    figures = []
    if periods is not None and len(periods):
        figures.append(
            _finished(
                view_period_timeline(periods, passes),
                "timeline",
                "schedule",
                "View periods and passes",
                "For each station the hours of each day on which every condition holds; passes "
                "lie over them.",
                f"{len(periods)} view periods, {sized(periods.duration.sum() / 3600.0, 4)} hours "
                "in all" + (f", and {len(passes)} passes." if passes is not None else "."),
            )
        )
    if track is not None:
        figures.append(
            _finished(
                coverage(track)[0],
                "coverage",
                "schedule",
                "What the passes cover",
                "Sun-Earth-probe angle and distance (line) with the passes on it, and how many "
                "passes there are.",
                f"{len(track.pass_station)} passes; Sun-Earth-probe angle from "
                f"{_span(np.degrees(track.pass_sun_angle))} degrees.",
            )
        )
    return figures


def _span(values: np.ndarray) -> str:
    return f"{sized(float(values.min()), 3)} to {sized(float(values.max()), 3)}"


def budget_figures(budget: Budget, conditions: LinkConditions) -> list[ReportFigure]:
    """Contributions against the Sun-Earth-probe angle and against averaging time.

    None for a budget of white noise alone, which depends on nothing that these show.
    """
    if budget.is_white:
        return []
    far = f"{sized(conditions.distance / ASTRONOMICAL_UNIT, 3)} au away"
    drawn: list[tuple[Callable[..., Axes], str, str, str]] = [
        (
            contributions_by_sun_angle,
            "budget-sun-angle",
            "Noise of a range rate by contribution",
            "Against the Sun-Earth-probe angle, at "
            f"{sized(np.degrees(conditions.elevation), 2)} degrees of elevation and "
            f"{far}.",
        ),
        (
            allan_deviations,
            "budget-allan",
            "Allan deviation by contribution",
            f"Of the received frequency, {sized(np.degrees(conditions.sun_angle), 2)} degrees from "
            f"the Sun and {far}.",
        ),
    ]
    return [
        _finished(
            draw(budget, conditions),
            name,
            "budget",
            title,
            caption,
            f"Curves of {', '.join(budget.names).replace('_', ' ')}, and their total.",
        )
        for draw, name, title, caption in drawn
    ]
