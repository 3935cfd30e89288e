"""The best passes within a budget, with the certificate of how good they are.

In: a scenario, what is to be known, and what may be spent. Out: a schedule that `wobble simulate`
takes, the curve of precision against effort, and figures.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click
import numpy as np
from astropy.table import QTable
from astropy.units import Quantity

from wobble.campaign.campaign import Campaign
from wobble.campaign.candidates import CandidatePasses
from wobble.campaign.effort import fewest_passes
from wobble.campaign.effort_curve import EffortCurve, effort_curve
from wobble.campaign.goals import ALL, Goals
from wobble.campaign.limits import PassBudget
from wobble.campaign.possible import only
from wobble.campaign.precision import UnreachableTarget, precision_of
from wobble.campaign.schedule import Passes
from wobble.campaign.selection import Selection, select_passes
from wobble.campaign.visibility import ViewPeriods
from wobble.commands.output import (
    JSON,
    KEEP,
    OUT,
    add_figure,
    print_json,
    print_where,
    result_folder,
    say,
)
from wobble.commands.quantities import parse_in
from wobble.commands.steps import CAUTION, scenario_argument
from wobble.commands.targets import AFTER, PLANET, hours_text, left_after
from wobble.errors import InputError, UnknownNameError
from wobble.files.results import ResultFolder
from wobble.report.effort_figures import precision_and_bound
from wobble.report.plan_figures import view_period_timeline
from wobble.report.style import offscreen
from wobble.scenario.target_section import parse_goals
from wobble.text.ecsv import ecsv_text
from wobble.text.toml_section import parse_quantity

__all__ = ["COMMANDS"]

OPTION = "--for"


@click.command()
@scenario_argument
@click.option(
    OPTION,
    "texts",
    multiple=True,
    help='What is to be known: a parameter, C/MR^2, core.radius or "all"; with " = 1 mas/yr" how '
    "well. Several make a weighted set. The scenario's table [target] if left out.",
)
@click.option("--passes", type=int, help="Number of passes.")
@click.option(
    "--hours",
    help='Station hours at most: "40" or "40 h" in all, or "alder=40,broom=20" of these alone.',
)
@click.option("--per-week", type=int, help="Passes a week at most.")
@click.option("--step", help='Between begins of possible passes, "15 min"; a pass if left out.')
@AFTER
@PLANET
@OUT
@JSON
def choose(
    campaign: Campaign,
    texts: tuple[str, ...],
    passes: int | None,
    hours: str | None,
    per_week: int | None,
    step: str | None,
    after: Path | None,
    planet: str | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """The best of all passes that could be taken, and how sure that none are better.

    With --passes: the best so many. Else, with a wanted precision: the fewest that
    reach it. Else: the best within the hours. Overlaps and the lander's rest are kept.

    \b
    Example: wobble choose synthetic_passes/campaign.toml --passes 60
             --for pole.precession_rate --out chosen
    Example: wobble choose synthetic_passes/campaign.toml --hours "alder=40,broom=20"
             --for "core.factor = 0.03"
    Example: wobble choose campaign.toml --after fitted --passes 20 --for pole.precession_rate

    Writes passes.ecsv (for wobble simulate --passes), effort.ecsv and figures.
    """
    campaign, earlier, notes = left_after(campaign, after)
    planet = planet or campaign.body.name
    goals = parse_goals(texts, campaign.target, campaign.parameters, planet, OPTION)
    budget = _budget(campaign, passes, hours, per_week)
    spacing = None if step is None else _seconds(step)
    if passes is None and hours is None and goals.wanted is None:
        raise InputError(
            "nothing limits the passes",
            field="--passes",
            expected="a number of passes, --hours, or a wanted precision",
        )
    progress = sys.stderr.isatty()
    with result_folder(out) as folder:
        periods = campaign.view_periods(progress=progress)
        possible = campaign.possible_passes(periods, spacing)
        if budget.station_hours is not None:
            usable = np.isin(possible.station, list(budget.station_hours))
            possible = only(possible, np.flatnonzero(usable))
        candidates = campaign.candidates(possible, earlier=earlier, progress=progress)
        selection, at_least = _choice(candidates, goals, budget, progress)
        chosen = only(possible, selection.chosen)
        summary = _summary(selection, goals, at_least)
        summary["notes"] = [*notes, *periods.notes, CAUTION]
        if folder:
            curve = effort_curve(selection, progress=progress)
            meta = campaign.provenance(campaign.plan_network)
            meta |= {"choice": summary["text"], "caution": CAUTION}
            folder.add("passes.ecsv", ecsv_text(chosen.table(), meta))
            folder.add("effort.ecsv", ecsv_text(_effort_table(curve, goals), meta))
            _add_figures(folder, curve, goals, periods, chosen)
    if as_json:
        print_json(summary)
        return
    for line in (*summary["text"], *summary["notes"]):
        say(line)
    passes_file = folder.path / "passes.ecsv" if folder else None
    print_where(
        folder,
        f"wobble simulate {campaign.source} --passes {passes_file} --out rehearsal"
        if passes_file
        else KEEP,
    )


def _budget(
    campaign: Campaign, passes: int | None, hours: str | None, per_week: int | None
) -> PassBudget:
    """What may be spent, checked before the work begins."""
    for option, number in (("--passes", passes), ("--per-week", per_week)):
        if number is not None and number < 1:
            raise InputError("at least one is needed", field=option, found=number)
    if hours is None:
        return PassBudget(passes, per_week=per_week)
    if "=" not in hours:
        return PassBudget(passes, hours=_hours(hours, hours), per_week=per_week)
    names = [station.name for station in campaign.stations]
    by_station = {}
    for part in hours.split(","):
        name, _, value = (text.strip() for text in part.partition("="))
        if name not in names:
            raise UnknownNameError("station", name, names, field="--hours")
        by_station[name] = _hours(value, hours)
    return PassBudget(passes, station_hours=by_station, per_week=per_week)


def _hours(value: str, whole: str) -> float:
    expected = '"40", "40 h" or "alder=40,broom=20 h"'
    try:
        hours = parse_in(value, "h")
    except ValueError as error:
        raise InputError(f"is {error}", field="--hours", found=whole, expected=expected) from error
    if not hours > 0.0:
        raise InputError(
            "a budget of hours must be positive (leave out a station without hours)",
            field="--hours",
            found=whole,
            expected=expected,
        )
    return hours


def _seconds(step: str) -> float:
    try:
        return parse_quantity(step, "s", "min")
    except ValueError as error:
        raise InputError(f"is {error}", field="--step", found=step, expected='"15 min"') from error


def _choice(
    candidates: CandidatePasses, goals: Goals, budget: PassBudget, progress: bool
) -> tuple[Selection, int | None]:
    """The passes, and where the fewest were sought the number below which none suffice."""
    target = goals.target(candidates)
    wanted = goals.wanted
    if budget.passes is not None or wanted is None:
        return select_passes(candidates, target, budget, progress=progress), None
    try:
        fewest = fewest_passes(candidates, target, wanted, budget, progress=progress)
    except UnreachableTarget as error:
        raise InputError(
            error.problem,
            field=f"{OPTION} {goals.label}",
            found=goals.told(wanted),
            expected=f"{goals.told(error.best)} or more",
        ) from error
    return fewest.selection, fewest.at_least


def _summary(selection: Selection, goals: Goals, at_least: int | None) -> dict[str, Any]:
    candidates = selection.candidates
    hours = candidates.hours_by_station(selection.chosen)
    percent = 100.0 * selection.gap
    number = len(selection.chosen)
    after = precision_of(candidates, selection.chosen, goals.gradients(candidates))
    text = [
        f"{number} of {len(candidates)} possible passes, {selection.hours:.1f} station hours "
        f"({hours_text(hours)})",
        f"{goals.label}: {goals.told(selection.sigma)} (formal)",
        f"No choice of {number} passes within the budget is below "
        f"{goals.told(selection.least_sigma)}: this one is within {percent:.2g} % of the best "
        "possible.",
    ]
    if at_least is not None:
        text.append(f"No choice of fewer than {at_least} passes reaches what is wanted.")
    reached = []
    for goal in goals.goals:
        if goal.name == ALL:
            continue
        sigma = float(after.sigma[after.quantities.index(goal.name)])
        limit = str(after.limitation(goal.name))
        wanted = "" if goal.wanted is None else f" (wanted {goal.told(goal.wanted)})"
        line = f"{goal.name}: {goal.told(sigma)}{wanted}, limited by {limit}"
        found = {"quantity": goal.name, "unit": goal.unit, "sigma": sigma / goal.scale}
        found |= {"limited_by": limit}
        if goal.wanted is not None:
            found["wanted"] = goal.wanted / goal.scale
        if goal.name in goals.derived:
            assumed = goals.derived[goal.name].assumed
            found["assumed"] = assumed / goal.scale
            line += f"; assumptions on gravity and mantle add {goal.told(assumed)}"
        reached.append(found)
        text.append(line)
    scale = goals.scale
    return {
        "candidates": len(candidates),
        "passes": number,
        "station_hours": selection.hours,
        "hours_by_station": hours,
        "target": goals.label,
        "unit": goals.unit,
        "sigma": selection.sigma / scale,
        "least_sigma": selection.least_sigma / scale,
        "gap_percent": percent,
        "at_least": at_least,
        "quantities": reached,
        "text": text,
    }


def _effort_table(curve: EffortCurve, goals: Goals) -> QTable:
    """After each pass, the most useful first; the bound where it was computed, else NaN."""
    count = np.arange(1, len(curve.order) + 1)
    bound = np.full(len(count), np.nan)
    bound[curve.bounded - 1] = curve.least_sigma / goals.scale
    unit = goals.unit or None
    return QTable(
        {
            "passes": count,
            "station_hours": curve.hours,
            "sigma": Quantity(curve.sigma / goals.scale, unit),
            "least_sigma": Quantity(bound, unit),
        }
    )


def _add_figures(
    folder: ResultFolder, curve: EffortCurve, goals: Goals, periods: ViewPeriods, chosen: Passes
) -> None:
    with offscreen():
        add_figure(
            folder,
            precision_and_bound(curve, goals.unit, goals.scale, goals.label),
            "effort",
            "Precision against the number of passes",
            f"{goals.label} after each of the passes chosen, and what no choice is below.",
        )
        add_figure(
            folder,
            view_period_timeline(periods, chosen),
            "passes",
            "The passes chosen",
            f"View periods by date and hour, and the {len(chosen)} passes chosen.",
        )


COMMANDS: list[click.Command] = [choose]
