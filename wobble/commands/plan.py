"""When can whom be tracked, which passes, and how many of them a precision takes.

In: a scenario and wanted precisions. Out: tables of view periods, passes and precision; a page.
"""

from __future__ import annotations

import sys
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import Passes
from wobble.commands.output import (
    JSON,
    KEEP,
    OUT,
    print_json,
    print_where,
    result_folder,
    say,
)
from wobble.commands.plan_lines import pass_lines, print_lines, view_hours
from wobble.commands.steps import (
    CAUTION,
    add_plan,
    add_report,
    plan_passes,
    plan_summary,
    scenario_argument,
)
from wobble.commands.targets import (
    AFTER,
    PLANET,
    add_precision,
    answer_goals,
    left_after,
    plan_goals,
)
from wobble.errors import InputError
from wobble.files.results import ResultFolder, read_schedule

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
@AFTER
@PLANET
@OUT
@JSON
def plan(
    campaign: Campaign,
    targets: tuple[str, ...],
    passes: Path | None,
    after: Path | None,
    planet: str | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """View periods and a schedule of passes; how many of them a precision takes.

    \b
    Example: wobble plan synthetic_passes/campaign.toml --out plan
    Example: wobble plan synthetic_passes/campaign.toml --target "pole.precession_rate = 1.0 mas/yr"
    Example: wobble plan synthetic_passes/campaign.toml --passes plan/passes.ecsv
    Example: wobble plan campaign.toml --after fitted --target "pole.precession_rate = 0.8 mas/yr"

    Writes view_periods.ecsv, passes.ecsv, passes.ics (a calendar, RFC 5545), report.html and
    figures/; with targets also precision.ecsv, every standard deviation after each pass, and
    figures of it against passes, station hours and dates. Targets are parameters, C/MR^2 or
    core.radius; what the passes bring is said where they do not reach one. What could not be
    scheduled is said with its cause. A schedule given by --passes is held against every
    constraint; if it violates one, each violation is named, nothing is written, and the exit
    status is 2.
    """
    campaign, earlier, notes = left_after(campaign, after)
    goals = plan_goals(campaign, targets, planet)
    with result_folder(out) as folder:
        if passes is None:
            periods, schedule = plan_passes(campaign)
        else:
            schedule = _checked(campaign, passes, as_json=as_json)
            periods = campaign.view_periods(progress=sys.stderr.isatty())
        answers: list[dict[str, Any]] = []
        if goals:
            history, answers = answer_goals(campaign, schedule, goals, earlier)
            if folder:
                add_precision(folder, campaign, history, goals, schedule.start[0])
        if folder:
            add_plan(folder, campaign, periods, schedule)
            add_report(folder, campaign=campaign, periods=periods, passes=schedule)
    if as_json:
        summary = plan_summary(campaign, periods, schedule)
        print_json(summary | {"targets": answers, "notes": [*notes, *summary["notes"]]})
        return
    say(periods)
    print_lines(view_hours(periods))
    say(schedule)
    for text in schedule.missing:
        say(text)
    print_lines(pass_lines(schedule), SHOWN + 1)
    for answer in answers:
        say(answer["text"])
    for note in (*notes, *periods.notes, CAUTION):
        say(note)
    print_where(folder, *_next_steps(campaign, folder))


def _checked(campaign: Campaign, path: Path, *, as_json: bool) -> Passes:
    """A schedule made by hand; if it violates a constraint, each violation is said."""
    passes = read_schedule(path)
    try:
        violations = campaign.check(passes)
    except InputError as error:
        raise error.of(path) from error
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


def _next_steps(campaign: Campaign, folder: ResultFolder | None) -> list[str]:
    if folder is None:
        return [KEEP]
    simulate = f"wobble simulate {campaign.source} --passes {folder.path / 'passes.ecsv'}"
    return [
        f"open {folder.path / 'report.html'} in a browser",
        f"{simulate} --out rehearsal",
    ]


COMMANDS: list[click.Command] = [plan]
