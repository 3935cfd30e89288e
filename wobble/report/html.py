"""The report: one HTML page that needs nothing but itself.

In: a campaign and whatever its steps have given. Out: HTML as text: summary first, then
parameters, correlations, residuals by pass with what was rejected, noise budget, coverage, the
planet's inside, the check by hand, set-up, cautions, provenance, with the figures inline as SVG.

What is not given is left out: a plan without a solution and a fit without a schedule make
good reports too. The page needs no network, follows the reader's light or dark setting, and
prints.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from importlib.resources import files

from jinja2 import DictLoader, Environment, StrictUndefined
from markupsafe import Markup

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.check.lines import HandCheck
from wobble.estimation.solution import Solution
from wobble.estimation.solution_text import verdict
from wobble.measurements.tracking import Tracking
from wobble.report import summary
from wobble.report.content import ATTENTION, ReportFigure, Section
from wobble.report.figures import report_figures
from wobble.report.geometry import coverage_of, link_conditions
from wobble.report.hand_section import hand_section
from wobble.report.interior_section import Inside, interior_section
from wobble.report.plan_sections import (
    budget_section,
    cautions_section,
    pole_section,
    provenance_of,
    provenance_section,
    schedule_section,
    setup_section,
)
from wobble.report.solution_sections import (
    considered_section,
    correlations_section,
    parameters_section,
    rehearsal_section,
    residuals_section,
    separation_section,
)
from wobble.report.svg import inline

__all__ = ["render_report"]

TEMPLATE, STYLE_SHEET = "report.html.j2", "report.css"


def render_report(
    *,
    campaign: Campaign,
    solution: Solution | None = None,
    periods: ViewPeriods | None = None,
    passes: Passes | None = None,
    tracking: Tracking | None = None,
    truth: Mapping[str, float] | None = None,
    inside: Inside | None = None,
    check: HandCheck | None = None,
    figures: Iterable[ReportFigure] | None = None,
) -> str:
    """A report as one self-contained HTML page.

    Parameters
    ----------
    campaign : Campaign
    solution, periods, passes, tracking : optional
        What the campaign's steps have given so far.
    truth : mapping, optional
        True values of a rehearsal, SI.
    inside : Inside, optional
        What the solution says of the planet's inside (`infer_inside`).
    check : HandCheck, optional
        The check by hand.
    figures : iterable of ReportFigure, optional
        Those of `report_figures`, if they are drawn already; they are drawn here otherwise.

    Raises
    ------
    InputError
        If solution, measurements and truth do not belong together.
    """
    if figures is None:
        figures = report_figures(
            campaign=campaign,
            solution=solution,
            periods=periods,
            passes=passes,
            tracking=tracking,
            truth=truth,
            inside=inside,
        )
    drawn = list(figures)
    provenance = provenance_of(campaign, solution, tracking)
    conditions = link_conditions(campaign, coverage_of(campaign, passes, tracking))
    sections = [
        *(_of_solution(solution, tracking, truth) if solution is not None else []),
        budget_section(campaign, conditions),
        schedule_section(periods, passes),
        pole_section(campaign),
        interior_section(inside),
        hand_section(check),
        setup_section(campaign),
        cautions_section(campaign, periods, provenance),
        provenance_section(campaign, provenance, tracking),
    ]
    for section in sections:
        section.figures.extend(f for f in drawn if f.section == section.name)
    return (
        _environment()
        .get_template(TEMPLATE)
        .render(
            campaign=campaign,
            kind=summary.kind_of_report(solution, tracking, truth),
            verdict=verdict(solution) if solution is not None else [],
            asked=summary.asked(campaign),
            came_out=summary.came_out(solution, periods, passes),
            numbers=summary.headline_numbers(solution) if solution is not None else [],
            how_sure=summary.how_sure(solution, truth) if solution is not None else [],
            attention=ATTENTION,
            sections=[section for section in sections if not section.empty],
            style_sheet=Markup(_resource(STYLE_SHEET)),
        )
    )


def _of_solution(
    solution: Solution,
    tracking: Tracking | None,
    truth: Mapping[str, float] | None,
) -> list[Section]:
    return [
        parameters_section(solution, truth),
        considered_section(solution),
        separation_section(solution),
        correlations_section(solution),
        rehearsal_section(solution, truth),
        residuals_section(solution, tracking),
    ]


def _environment() -> Environment:
    environment = Environment(
        loader=DictLoader({TEMPLATE: _resource(TEMPLATE)}),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    # The figures are the package's own and were made as SVG: they are not escaped again.
    environment.filters["inline"] = lambda svg: Markup(inline(svg))
    return environment


def _resource(name: str) -> str:
    return (files("wobble.report") / name).read_text(encoding="utf-8")
