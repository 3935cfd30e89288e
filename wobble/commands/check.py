"""The check by hand on the command line: each headline number beside a pencil's.

In: a scenario. Out: a table of quantity, formula with the numbers put in, pencil, program and
ratio; a factor of two between them is called so, in words and in colour.
"""

from __future__ import annotations

import sys
from pathlib import Path

import click

from wobble.campaign.campaign import Campaign
from wobble.check.hand_check import hand_check
from wobble.check.lines import HandLine
from wobble.commands.output import (
    JSON,
    OUT,
    alarm,
    print_json,
    print_where,
    result_folder,
    say,
)
from wobble.commands.steps import scenario_argument
from wobble.text.ecsv import ecsv_text

__all__ = ["COMMANDS"]


@click.command()
@scenario_argument
@click.option("--quick", is_flag=True, help="Without the schedule: not the precision to be had.")
@OUT
@JSON
def check(campaign: Campaign, quick: bool, out: Path | None, as_json: bool) -> None:
    """Each headline number by a first-order formula, and by the program.

    \b
    Example: wobble check synthetic_passes/campaign.toml
    Example: wobble check synthetic_passes/campaign.toml --quick --json

    Writes hand_check.ecsv. A ratio far from one is a fault of the scenario,
    of the program, or of the formula's assumptions: find out which.
    """
    with result_folder(out) as folder:
        passes = None
        if campaign.span and campaign.rule and not quick:
            passes = campaign.schedule(campaign.view_periods(progress=sys.stderr.isatty()))
        found = hand_check(campaign, passes=passes)
        if folder:
            meta = {"campaign": campaign.name, "scenario": campaign.source.name}
            folder.add("hand_check.ecsv", ecsv_text(found.table(), meta))
    if as_json:
        print_json(found.as_json())
        return
    for line in found.lines:
        _print_line(line)
    click.echo()
    say(alarm(found.summary) if found.flagged else found.summary)
    step = f"run {campaign.source} --out results" if campaign.span else f"fit {campaign.source}"
    print_where(folder, f"wobble {step}")


def _print_line(line: HandLine) -> None:
    say(line.quantity)
    say(f"  = {line.formula}")
    unit = f" {line.unit}" if line.unit else ""
    numbers = f"pencil {line.pencil:.4g}, program {line.program:.4g}{unit}, ratio {line.ratio:.3f}"
    if line.as_expected:
        say(f"  {numbers}")
        return
    verdict = f"{numbers}: {line.verdict}; the formula leaves out: {line.neglects}"
    say("  " + (alarm(verdict) if line.flagged else verdict))


COMMANDS: list[click.Command] = [check]
"""What the command line adds to its group."""
