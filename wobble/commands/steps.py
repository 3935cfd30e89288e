"""What several commands do with a campaign: read its data, plan its passes, keep its results.

In: a `Campaign` and a `ResultFolder`. Out: the files that every command writes alike.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click
from astropy.table import Table
from astropy.time import Time

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.check.hand_check import hand_check
from wobble.errors import InputError
from wobble.estimation.solution import Solution
from wobble.files.data_files import read_tracking
from wobble.files.icalendar import calendar_text
from wobble.files.measurement_table import passes_text
from wobble.files.results import ResultFolder
from wobble.files.solution_files import solution_as_texts
from wobble.measurements.tracking import Tracking
from wobble.report.figures import report_figures
from wobble.report.html import render_report
from wobble.report.interior_section import infer_inside
from wobble.scenario.reader import read_scenario
from wobble.text.ecsv import ecsv_text

__all__ = [
    "CAUTION",
    "DATA",
    "FITTED",
    "OUT_NEEDED",
    "SEED",
    "add_measurements",
    "add_plan",
    "add_report",
    "add_solution",
    "plan_passes",
    "plan_summary",
    "read_data",
    "read_fitted",
    "scenario_argument",
]

CAUTION = (
    "A schedule is a proposal: the stations' radiation-safety limits, spectrum licences and the "
    "lander's flight rules decide."
)
OUT_NEEDED = click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="Folder for the results."
)
SEED = click.option("--seed", type=int, help="Of everything random; the scenario's if left out.")
DATA = click.argument("data", nargs=-1, type=click.Path(path_type=Path))
FITTED = "fitted_measurements.ecsv"
"""In a folder of results, the measurements that were fitted. It has a name of its own so that it
never takes the place of a file of data that somebody keeps there."""


def scenario_argument(command: Callable[..., None]) -> Callable[..., None]:
    """Gives a command the campaign that its argument SCENARIO describes."""

    @click.argument("scenario", type=click.Path(path_type=Path))
    @wraps(command)
    def with_campaign(*args: Any, scenario: Path, **options: Any) -> None:
        command(*args, campaign=read_scenario(scenario), **options)

    return with_campaign


def plan_passes(campaign: Campaign) -> tuple[ViewPeriods, Passes]:
    periods = campaign.view_periods(progress=sys.stderr.isatty())
    return periods, campaign.schedule(periods)


def read_data(campaign: Campaign, data: tuple[Path, ...]) -> tuple[Tracking, list[str]]:
    files = data or campaign.data_files
    if not files:
        raise InputError(
            "no data",
            source=campaign.source,
            field="data.files",
            expected="files on the command line or in the scenario",
        )
    return read_tracking(files, campaign)


def read_fitted(
    campaign: Campaign, results: Path, data: tuple[Path, ...]
) -> tuple[Tracking, list[str]]:
    """The measurements of the fit in a folder: those given, kept there, or of the scenario."""
    kept = results / FITTED
    return read_data(campaign, data or ((kept,) if kept.is_file() else ()))


def plan_summary(campaign: Campaign, periods: ViewPeriods, passes: Passes) -> dict[str, Any]:
    return {
        "campaign": campaign.name,
        "view_periods": len(periods),
        "view_hours": round(float(periods.duration.sum()) / 3600.0, 3),
        "passes": len(passes),
        "station_hours": round(passes.hours, 3),
        "schedule": passes.shortfall.as_json() if passes.shortfall else None,
        "notes": [*periods.notes, CAUTION],
    }


def add_plan(
    folder: ResultFolder, campaign: Campaign, periods: ViewPeriods, passes: Passes
) -> None:
    meta = campaign.provenance(campaign.plan_network)
    folder.add("view_periods.ecsv", ecsv_text(periods.table(), meta))
    said = {"caution": CAUTION, "missing": list(passes.missing)}
    folder.add("passes.ecsv", ecsv_text(passes.table(), meta | said))
    folder.add("passes.ics", calendar_text(passes, campaign.name, CAUTION, Time.now()))


def add_measurements(folder: ResultFolder, campaign: Campaign, tracking: Tracking) -> None:
    folder.add("measurements.ecsv", passes_text(tracking))
    truth = {**tracking.meta["truth"], **tracking.meta["pass_biases"]}
    table = Table({"parameter": list(truth), "value_si": list(truth.values())})
    folder.add("truth.ecsv", ecsv_text(table, {"seed": tracking.meta["seed"]}))


def add_solution(folder: ResultFolder, solution: Solution, tracking: Tracking) -> None:
    for name, text in solution_as_texts(solution).items():
        folder.add(name, text)
    folder.add(FITTED, passes_text(tracking))


def add_report(folder: ResultFolder, *, campaign: Campaign, **given: Any) -> None:
    """The page and each of its figures as a file; ``given`` as for `render_report`."""
    solution = given.get("solution")
    inside = infer_inside(campaign, solution)
    check = hand_check(campaign, solution=solution, tracking=given.get("tracking"))
    drawn = report_figures(campaign=campaign, inside=inside, **given)
    for figure in drawn:
        folder.add(f"figures/{figure.name}.svg", figure.svg)
    page = render_report(campaign=campaign, inside=inside, check=check, figures=drawn, **given)
    folder.add("report.html", page)
