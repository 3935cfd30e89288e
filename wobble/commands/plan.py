"""When can whom be tracked, which passes, and how many of them a precision takes.

In: a scenario and wanted precisions. Out: tables of view periods, passes and precision; a page.
"""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click
import numpy as np
from astropy.table import QTable
from astropy.time import Time, TimeDelta
from astropy.units import Quantity

from wobble.campaign.campaign import Campaign
from wobble.campaign.precision import PrecisionHistory, UnreachableTarget
from wobble.campaign.schedule import Passes
from wobble.commands.output import JSON, OUT, add_figure, print_json, print_where, result_folder
from wobble.commands.plan_lines import pass_lines, print_lines, view_hours
from wobble.commands.steps import (
    CAUTION,
    add_plan,
    add_report,
    plan_passes,
    plan_summary,
    scenario_argument,
)
from wobble.errors import InputError, UnknownNameError
from wobble.formats.results import ResultFolder, ecsv_text, read_schedule
from wobble.formats.toml_section import parse_quantity
from wobble.planet.parameter_units import unit_of
from wobble.report.figures import precision_against_passes
from wobble.report.style import offscreen

__all__ = ["COMMANDS"]

SHOWN = 10


@click.command()
@scenario_argument
@click.option(
    "--target",
    "targets",
    multiple=True,
    help='Precision wanted, "pole.precession_rate = 30 mas/yr"; may be given several times.',
)
@click.option("--passes", type=click.Path(path_type=Path), help="Schedule to be checked instead.")
@OUT
@JSON
def plan(
    campaign: Campaign,
    targets: tuple[str, ...],
    passes: Path | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """View periods and a schedule of passes; how many of them a precision takes.

    \b
    Example: wobble plan synthetic_passes/campaign.toml --out plan
    Example: wobble plan synthetic_passes/campaign.toml --target "pole.precession_rate = 40 mas/yr"
    Example: wobble plan synthetic_passes/campaign.toml --passes plan/passes.ecsv
    Writes view_periods.ecsv, passes.ecsv, passes.ics (a calendar, RFC 5545), report.html and
    figures/; with targets also precision.ecsv, every parameter's standard deviation after each
    pass. A schedule given by --passes is held against every constraint; if it violates one,
    each violation is named, nothing is written, and the exit status is 2.
    """
    wanted = dict(_target(campaign, text) for text in targets)
    with result_folder(out) as folder:
        if passes is None:
            periods, schedule = plan_passes(campaign)
        else:
            schedule = _checked(campaign, passes, as_json=as_json)
            periods = campaign.view_periods(progress=sys.stderr.isatty())
        answers = []
        if wanted:
            history = campaign.precision(schedule)
            first = schedule.start[0]
            answers = [_answer(campaign, history, first, *target) for target in wanted.items()]
            if folder:
                _add_precision(folder, campaign, history, list(wanted))
        if folder:
            add_plan(folder, campaign, periods, schedule)
            add_report(folder, campaign=campaign, periods=periods, passes=schedule)
    if as_json:
        print_json(plan_summary(campaign, periods, schedule) | {"targets": answers})
        return
    click.echo(periods)
    print_lines(view_hours(periods))
    click.echo(schedule)
    print_lines(pass_lines(schedule), SHOWN + 1)
    for answer in answers:
        click.echo(answer["text"])
    for note in (*periods.notes, CAUTION):
        click.echo(note)
    print_where(folder)


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


def _checked(campaign: Campaign, path: Path, *, as_json: bool) -> Passes:
    """A schedule made by hand; if it violates a constraint, each violation is said."""
    passes = read_schedule(path)
    try:
        violations = campaign.check(passes)
    except InputError as error:
        raise InputError(
            error.problem,
            source=error.source or path,
            field=error.field,
            found=error.found,
            expected=error.expected,
        ) from error
    if violations:
        if as_json:
            print_json({"violations": [asdict(violation) for violation in violations]})
        else:
            for violation in violations:
                click.echo(violation)
        several = len({violation.pass_id for violation in violations})
        raise InputError(
            f"{len(violations)} violations of the constraints, by {several} of "
            f"{len(passes)} passes",
            source=path,
            found=str(violations[0]),
            expected="passes that keep every constraint of the scenario",
        )
    return passes


COMMANDS: list[click.Command] = [plan]
