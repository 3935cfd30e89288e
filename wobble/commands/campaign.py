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
import numpy as np
from astropy.table import QTable, Table
from astropy.time import Time, TimeDelta
from astropy.units import Quantity

from wobble.campaign.campaign import Campaign
from wobble.campaign.precision import PrecisionHistory, UnreachableTarget
from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.commands.output import JSON, OUT, add_figure, print_json, print_where, result_folder
from wobble.errors import InputError, UnknownNameError
from wobble.estimation.solution import Solution
from wobble.estimation.solution_files import read_solution, solution_as_texts
from wobble.formats.data_files import read_tracking
from wobble.formats.passes import passes_text
from wobble.formats.results import ResultFolder, ecsv_text, read_schedule
from wobble.formats.scenario import read_scenario
from wobble.formats.toml_section import parse_quantity
from wobble.planet.parameter_units import unit_of
from wobble.report.figures import precision_against_passes, report_figures
from wobble.report.html import render_report
from wobble.report.style import offscreen
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
@click.option(
    "--target",
    "targets",
    multiple=True,
    help='Precision wanted, "pole.precession_rate = 30 mas/yr"; may be given several times.',
)
@OUT
@JSON
def plan(campaign: Campaign, targets: tuple[str, ...], out: Path | None, as_json: bool) -> None:
    """View periods and a schedule of passes; how many of them a precision takes.

    \b
    Example: wobble plan synthetic_passes/campaign.toml --out plan
    Example: wobble plan synthetic_passes/campaign.toml --target "pole.precession_rate = 40 mas/yr"
    Writes view_periods.ecsv, passes.ecsv, report.html and figures/; with targets also
    precision.ecsv, every parameter's standard deviation after each pass.
    """
    wanted = dict(_target(campaign, text) for text in targets)
    with result_folder(out) as folder:
        periods, passes = _plan(campaign)
        answers = []
        if wanted:
            history = campaign.precision(passes)
            first = passes.start[0]
            answers = [_answer(campaign, history, first, *target) for target in wanted.items()]
            if folder:
                _add_precision(folder, campaign, history, list(wanted))
        if folder:
            _add_plan(folder, campaign, periods, passes)
            _add_report(folder, campaign=campaign, periods=periods, passes=passes)
    if as_json:
        print_json(_plan_summary(campaign, periods, passes) | {"targets": answers})
        return
    click.echo(periods)
    click.echo(passes)
    _print_table(passes.table())
    for answer in answers:
        click.echo(answer["text"])
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


def _target(campaign: Campaign, text: str) -> tuple[str, float]:
    """Name and standard deviation (SI) of a target such as "core.factor = 0.02"."""
    name, _, value = (part.strip() for part in text.partition("="))
    estimated = campaign.parameters.estimated
    if name not in estimated:
        raise UnknownNameError("estimated parameter", name, estimated.names, field="--target")
    unit = unit_of(name).si
    try:
        return name, parse_quantity(value, unit) if unit else float(value)
    except ValueError as error:
        raise InputError(
            f"the wanted precision is {error}",
            field="--target",
            found=text,
            expected=f'"{name} = 1 {unit}"',
        ) from error


def _answer(
    campaign: Campaign, history: PrecisionHistory, first: Time, name: str, wanted: float
) -> dict[str, Any]:
    """How many passes of the schedule reach a precision, until when, and what limits it then."""
    parameter = campaign.parameters[name]
    try:
        reached = history.passes_needed(name, wanted)
    except UnreachableTarget as error:
        best = float(history.of(name).min()) / parameter.scale
        raise InputError(
            error.problem,
            field=f"--target {name}",
            found=f"{wanted / parameter.scale:.3g} {parameter.unit}",
            expected=f"{best:.3g} {parameter.unit} or more",
        ) from error
    date = (first + TimeDelta(reached.date, format="sec")).isot[:10]
    limit = reached.limitation
    why = f"{limit.kind} ({limit.parameter})" if limit.parameter else limit.kind
    hours = ", ".join(f"{h:.1f} h {station}" for station, h in reached.station_hours.items())
    text = (
        f"{name} to {wanted / parameter.scale:.3g} {parameter.unit}: the first {reached.passes} "
        f"passes of the schedule, until {date}, {reached.hours:.1f} station hours ({hours}); "
        f"what limits it then: {why}"
    )
    return {
        "parameter": name,
        "unit": parameter.unit,
        "wanted": wanted / parameter.scale,
        "reached": reached.sigma / parameter.scale,
        "passes": reached.passes,
        "date": date,
        "station_hours": reached.hours,
        "limited_by": why,
        "text": text,
    }


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


def _add_precision(
    folder: ResultFolder, campaign: Campaign, history: PrecisionHistory, names: list[str]
) -> None:
    """Every standard deviation after each pass, in the parameters' own units; a figure."""
    parameters = campaign.parameters
    table = QTable({"passes": np.arange(len(history.order) + 1), "station_hours": history.hours})
    for name in history.quantities:
        unit = parameters[name].unit
        table[name] = Quantity(history.of(name) / parameters[name].scale, unit or None)
    folder.add("precision.ecsv", ecsv_text(table, campaign.provenance(campaign.plan_network)))
    with offscreen():
        axes = precision_against_passes(history, parameters, names)
        add_figure(
            folder,
            axes,
            "precision",
            "Precision against the number of passes",
            f"Standard deviation of {', '.join(names)} after each pass.",
        )


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
