"""The steps of a campaign: plan, simulate, fit, report, and all of them at once.

In: a scenario and, for a fit, data. Out: a folder of results, a summary on standard output.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import wraps
from pathlib import Path
from typing import Any

import click
from astropy.table import Table

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.commands.output import JSON, OUT, print_json, print_where, result_folder
from wobble.errors import InputError
from wobble.estimation.solution import Solution
from wobble.estimation.solution_files import read_solution, solution_as_texts
from wobble.formats.data_files import read_tracking
from wobble.formats.passes import passes_text
from wobble.formats.results import ResultFolder, ecsv_text, read_schedule
from wobble.formats.scenario import read_scenario
from wobble.report.figures import report_figures
from wobble.report.html import render_report
from wobble.tracking import Tracking

__all__ = ["COMMANDS", "scenario_argument"]

CAUTION = (
    "A schedule is a proposal: the stations' radiation-safety limits, spectrum licences and the "
    "lander's flight rules decide."
)
SHOWN = 10


def scenario_argument(command: Callable[..., None]) -> Callable[..., None]:
    """Gives a command the campaign that its argument SCENARIO describes."""

    @click.argument("scenario", type=click.Path(path_type=Path))
    @wraps(command)
    def with_campaign(*args: Any, scenario: Path, **options: Any) -> None:
        command(*args, campaign=read_scenario(scenario), **options)

    return with_campaign


OUT_NEEDED = click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="Folder for the results."
)
SEED = click.option("--seed", type=int, help="Of everything random; the scenario's if left out.")
DATA = click.argument("data", nargs=-1, type=click.Path(path_type=Path))


@click.command()
@scenario_argument
@OUT
@JSON
def plan(campaign: Campaign, out: Path | None, as_json: bool) -> None:
    """View periods and a schedule of passes.

    \b
    Example: wobble plan synthetic_passes/campaign.toml --out plan
    Writes view_periods.ecsv, passes.ecsv, report.html and figures/.
    """
    with result_folder(out) as folder:
        periods, passes = _plan(campaign)
        if folder:
            _add_plan(folder, campaign, periods, passes)
            _add_report(folder, campaign=campaign, periods=periods, passes=passes)
    summary = _plan_summary(campaign, periods, passes)
    if as_json:
        print_json(summary)
        return
    click.echo(periods)
    click.echo(passes)
    _print_table(passes.table())
    for note in (*periods.notes, CAUTION):
        click.echo(note)
    print_where(folder)


@click.command()
@scenario_argument
@click.option("--passes", type=click.Path(path_type=Path), help="Schedule instead of the rule's.")
@OUT_NEEDED
@SEED
@JSON
def simulate(
    campaign: Campaign, passes: Path | None, out: Path, seed: int | None, as_json: bool
) -> None:
    """Synthetic measurements of a schedule, about the scenario's truth.

    \b
    Example: wobble simulate synthetic_passes/campaign.toml --out rehearsal --seed 7
    Writes measurements.ecsv and truth.ecsv; with the rule's schedule also
    view_periods.ecsv and passes.ecsv.
    """
    with result_folder(out) as folder:
        assert folder is not None
        if passes is None:
            periods, schedule = _plan(campaign)
            _add_plan(folder, campaign, periods, schedule)
        else:
            schedule = read_schedule(passes)
        tracking = campaign.simulate(schedule, seed=seed)
        _add_measurements(folder, campaign, tracking)
    if as_json:
        print_json(
            {"measurements": len(tracking), "passes": len(schedule), "seed": tracking.meta["seed"]}
        )
        return
    click.echo(tracking)
    print_where(folder)


@click.command("fit")
@scenario_argument
@DATA
@OUT
@JSON
def fit_command(
    campaign: Campaign, data: tuple[Path, ...], out: Path | None, as_json: bool
) -> None:
    """Estimate the scenario's parameters from DATA.

    \b
    DATA are files of measurements (.ecsv, .npt, .crd, .csv); the scenario's own if left out.
    Example: wobble fit tests/data/lunar_ranging/scenario.toml --json
    Example: wobble fit synthetic_passes/campaign.toml rehearsal/measurements.ecsv --out fitted
    Writes solution.ecsv, covariance.ecsv, residuals.ecsv, solution.json and more tables.
    """
    with result_folder(out) as folder:
        tracking, warnings = _read(campaign, data)
        solution = campaign.fit(tracking)
        if folder:
            _add_solution(folder, solution)
    if as_json:
        print_json(solution.as_json() | {"data_warnings": warnings})
        return
    for warning in warnings:
        click.echo(f"data: {warning}")
    click.echo(solution)
    print_where(folder)


@click.command()
@scenario_argument
@click.argument("results", type=click.Path(path_type=Path))
@DATA
@JSON
def report(campaign: Campaign, results: Path, data: tuple[Path, ...], as_json: bool) -> None:
    """The page to read, from the folder RESULTS that a fit has written.

    \b
    DATA are the measurements that were fitted: if left out, measurements.ecsv in the folder or
    the scenario's own files.
    Example: wobble report tests/data/lunar_ranging/scenario.toml lunar
    Writes report.html and figures/ into the folder.
    """
    solution = read_solution(results)
    beside = results / "measurements.ecsv"
    tracking, warnings = _read(campaign, data or ((beside,) if beside.exists() else ()))
    with ResultFolder(results) as folder:
        _add_report(
            folder,
            campaign=campaign,
            solution=solution,
            tracking=tracking,
            truth=tracking.meta.get("truth"),
        )
    if as_json:
        print_json({"report": str(results / "report.html"), "data_warnings": warnings})
        return
    print_where(folder)


@click.command()
@scenario_argument
@OUT_NEEDED
@SEED
@JSON
def run(campaign: Campaign, out: Path, seed: int | None, as_json: bool) -> None:
    """Plan, simulate, fit and report: the whole rehearsal.

    \b
    Example: wobble run synthetic_passes/campaign.toml --out results
    """
    with result_folder(out) as folder:
        assert folder is not None
        periods, passes = _plan(campaign)
        tracking = campaign.simulate(passes, seed=seed)
        solution = campaign.fit(tracking)
        _add_plan(folder, campaign, periods, passes)
        _add_measurements(folder, campaign, tracking)
        _add_solution(folder, solution)
        _add_report(
            folder,
            campaign=campaign,
            solution=solution,
            periods=periods,
            passes=passes,
            tracking=tracking,
            truth=tracking.meta["truth"],
        )
    recovered = recovery(solution, tracking.meta["truth"])
    if as_json:
        print_json(
            _plan_summary(campaign, periods, passes)
            | solution.as_json()
            | {"seed": tracking.meta["seed"], "truth": recovered}
        )
        return
    click.echo(passes)
    click.echo(solution)
    worst = max(recovered, key=lambda name: abs(recovered[name]["error_in_sigmas"]))
    click.echo(
        f"truth recovered: largest error {abs(recovered[worst]['error_in_sigmas']):.2f} realistic "
        f"sigmas ({worst}), {len(recovered)} parameters"
    )
    for note in (*periods.notes, CAUTION):
        click.echo(note)
    print_where(folder)


# ------------------------------------------------------------------------ steps


def recovery(solution: Solution, truth: dict[str, float]) -> dict[str, dict[str, Any]]:
    """How far each estimate lies from the truth, in its own unit and in realistic sigmas."""
    found = {}
    for name in solution.names:
        estimate = solution[name]
        true = truth[name] / solution.parameters[name].scale
        found[name] = {
            "truth": true,
            "unit": estimate.unit,
            "error_in_sigmas": (estimate.value - true) / estimate.sigma,
        }
    return found


def _plan(campaign: Campaign) -> tuple[ViewPeriods, Passes]:
    periods = campaign.view_periods(progress=sys.stderr.isatty())
    return periods, campaign.schedule(periods)


def _read(campaign: Campaign, data: tuple[Path, ...]) -> tuple[Tracking, list[str]]:
    files = data or campaign.data_files
    if not files:
        raise InputError(
            "no data",
            source=campaign.source,
            field="data.files",
            expected="files on the command line or in the scenario",
        )
    return read_tracking(files)


def _plan_summary(campaign: Campaign, periods: ViewPeriods, passes: Passes) -> dict[str, Any]:
    return {
        "campaign": campaign.name,
        "view_periods": len(periods),
        "view_hours": round(float(periods.duration.sum()) / 3600.0, 3),
        "passes": len(passes),
        "station_hours": round(passes.hours, 3),
        "notes": [*periods.notes, CAUTION],
    }


# ----------------------------------------------------------------------- output


def _add_plan(
    folder: ResultFolder, campaign: Campaign, periods: ViewPeriods, passes: Passes
) -> None:
    meta = campaign.provenance(campaign.plan_network)
    folder.add("view_periods.ecsv", ecsv_text(periods.table(), meta))
    folder.add("passes.ecsv", ecsv_text(passes.table(), meta | {"caution": CAUTION}))


def _add_measurements(folder: ResultFolder, campaign: Campaign, tracking: Tracking) -> None:
    folder.add("measurements.ecsv", passes_text(tracking))
    truth = {**tracking.meta["truth"], **tracking.meta["pass_biases"]}
    table = Table({"parameter": list(truth), "value_si": list(truth.values())})
    folder.add("truth.ecsv", ecsv_text(table, {"seed": tracking.meta["seed"]}))


def _add_solution(folder: ResultFolder, solution: Solution) -> None:
    for name, text in solution_as_texts(solution).items():
        folder.add(name, text)


def _add_report(folder: ResultFolder, **given: Any) -> None:
    """The page and each of its figures as a file; ``given`` as for `render_report`."""
    drawn = report_figures(**given)
    for figure in drawn:
        folder.add(f"figures/{figure.name}.svg", figure.svg)
    folder.add("report.html", render_report(**given, figures=drawn))


def _print_table(table: Table) -> None:
    for line in table[:SHOWN].pformat(max_width=-1):
        click.echo(line)
    if len(table) > SHOWN:
        click.echo(f"... and {len(table) - SHOWN} more")


COMMANDS: list[click.Command] = [plan, simulate, fit_command, report, run]
