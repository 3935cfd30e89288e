"""What several commands do with wanted precisions: options, answers, tables and figures.

In: goals as typed, a campaign, a schedule. Out: how many passes each goal takes, until when, and
what limits it then; ``precision.ecsv`` and its figures.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click
import numpy as np
from astropy.table import QTable
from astropy.time import Time, TimeDelta
from astropy.units import Quantity

from wobble.campaign.campaign import Campaign
from wobble.campaign.derived import quantity_unit
from wobble.campaign.goals import Goal, Goals
from wobble.campaign.precision import PrecisionHistory, UnreachableTarget
from wobble.campaign.schedule import Passes
from wobble.commands.output import add_figure, read_fit
from wobble.errors import InputError
from wobble.estimation.least_squares import SquareRootInformation
from wobble.estimation.parameters import unit_scale
from wobble.files.results import ResultFolder
from wobble.report.effort_figures import (
    precision_against_dates,
    precision_against_hours,
    precision_against_passes,
)
from wobble.report.style import offscreen
from wobble.scenario.target_section import parse_goals
from wobble.text.ecsv import ecsv_text

__all__ = [
    "AFTER",
    "PLANET",
    "add_precision",
    "answer_goals",
    "hours_text",
    "left_after",
    "plan_goals",
]

PLANET = click.option(
    "--planet",
    help="For C/MR^2 and core.radius: planet, or a file of what is assumed of its interior.",
)
AFTER = click.option(
    "--after",
    type=click.Path(path_type=Path),
    help="Folder of a fit: further passes, after its measurements and on top of what they say.",
)
OPTION = "--target"


def left_after(
    campaign: Campaign, folder: Path | None
) -> tuple[Campaign, SquareRootInformation | None, list[str]]:
    """What is left of a campaign after a fit, what the fit knows, and a note that says so."""
    if folder is None:
        return campaign, None, []
    solution = read_fit(folder)
    epochs = solution.samples.epoch
    last = max(epochs.tolist())
    last_pass = solution.samples.pass_name == solution.samples.pass_name[epochs == last][0]
    # The rest counts from begin to begin: the next pass keeps it to the last one of the fit.
    rest = TimeDelta(campaign.rule.rest if campaign.rule else 0.0, format="sec")
    rested = Time(min(epochs[last_pass].tolist()), scale="utc") + rest
    note = (
        f"Further passes, after {last[:10]}: the {solution.n_used} measurements of the fit in "
        f"{folder} are known beforehand."
    )
    return campaign.starting(max(Time(last, scale="utc"), rested)), solution.information, [note]


def plan_goals(campaign: Campaign, texts: tuple[str, ...], planet: str | None) -> Goals | None:
    """Goals of the option ``--target``, each with its value; None if there are none."""
    if not texts:
        return None
    goals = parse_goals(texts, {}, campaign.parameters, planet or campaign.body.name, OPTION)
    for goal in goals.goals:
        if goal.wanted is None:
            raise InputError(
                "the wanted precision is missing",
                field=f"{OPTION} {goal.name}",
                expected=goal.example,
            )
    return goals


def answer_goals(
    campaign: Campaign, passes: Passes, goals: Goals, earlier: SquareRootInformation | None
) -> tuple[PrecisionHistory, list[dict[str, Any]]]:
    """History of precision over a schedule, and what it takes to reach each goal."""
    progress = sys.stderr.isatty()
    derived = tuple(goals.derived.values())
    history = campaign.precision(passes, derived, earlier=earlier, progress=progress)
    first = passes.start[0]
    return history, [_answer(history, goals, goal, first) for goal in goals.goals]


def _answer(history: PrecisionHistory, goals: Goals, goal: Goal, first: Time) -> dict[str, Any]:
    """How many passes of the schedule reach a precision, until when, and what limits it then."""
    assert goal.wanted is not None  # plan_goals has seen to it
    try:
        reached = history.passes_needed(goal.name, goal.wanted)
    except UnreachableTarget:
        return _with_assumptions(_not_reached(history, goal), goals, goal)
    date = (first + TimeDelta(reached.date, format="sec")).isot[:10]
    why = str(reached.limitation)
    taken = (
        f"the first {reached.passes} passes of the schedule, until {date}, {reached.hours:.1f} "
        f"station hours ({hours_text(reached.station_hours)})"
        if reached.passes
        else f"no pass is needed, {goal.told(reached.sigma)} is known beforehand"
    )
    text = f"{goal.name} to {goal.told(goal.wanted)}: {taken}; what limits it then: {why}"
    answer = {
        "quantity": goal.name,
        "unit": goal.unit,
        "wanted": goal.wanted / goal.scale,
        "reached": reached.sigma / goal.scale,
        "passes": reached.passes,
        "date": date,
        "station_hours": reached.hours,
        "hours_by_station": reached.station_hours,
        "limited_by": why,
        "text": text,
    }
    return _with_assumptions(answer, goals, goal)


def _not_reached(history: PrecisionHistory, goal: Goal) -> dict[str, Any]:
    """What all passes of a schedule bring, and what limits it, where that is not enough."""
    assert goal.wanted is not None
    last = history.after(len(history.order))
    sigma = float(history.of(goal.name).min())
    why = str(last.limitation(goal.name))
    number = len(history.order)
    return {
        "quantity": goal.name,
        "unit": goal.unit,
        "wanted": goal.wanted / goal.scale,
        "reached": sigma / goal.scale if np.isfinite(sigma) else None,
        "passes": None,
        "date": None,
        "station_hours": None,
        "hours_by_station": None,
        "limited_by": why,
        "text": f"{goal.name} to {goal.told(goal.wanted)}: not reached; all {number} passes bring "
        f"{goal.told(sigma)}; what limits it: {why}",
    }


def _with_assumptions(answer: dict[str, Any], goals: Goals, goal: Goal) -> dict[str, Any]:
    """What gravity and mantle add to a derived quantity, whatever the passes."""
    if goal.name not in goals.derived:
        return answer
    assumed = goals.derived[goal.name].assumed
    more = (
        f"; of the rotation alone: what is assumed of gravity and mantle adds "
        f"{goal.told(assumed)}, whatever the passes"
    )
    return answer | {"assumed": assumed / goal.scale, "text": answer["text"] + more}


def hours_text(station_hours: dict[str, float]) -> str:
    """Hours of each station."""
    return ", ".join(f"{station} {hours:.1f} h" for station, hours in station_hours.items())


def add_precision(
    folder: ResultFolder, campaign: Campaign, history: PrecisionHistory, goals: Goals, first: Time
) -> None:
    """Every standard deviation after each pass, in the quantities' own units; three figures."""
    table = QTable({"passes": np.arange(len(history.order) + 1), "station_hours": history.hours})
    table["date"] = (first + TimeDelta(history.date, format="sec")).isot
    for name in history.quantities:
        unit = quantity_unit(name).user
        table[name] = Quantity(history.of(name) / unit_scale(unit), unit or None)
    folder.add("precision.ecsv", ecsv_text(table, campaign.provenance(campaign.plan_network)))
    wanted = {goal.name: goal.wanted for goal in goals.goals}
    with offscreen():
        for name, effort, axes in (
            ("precision", "the number of passes", precision_against_passes(history, wanted)),
            ("precision_hours", "station hours", precision_against_hours(history, wanted)),
            ("precision_dates", "the date", precision_against_dates(history, wanted, first)),
        ):
            text = f"Standard deviation of {goals.label} after each pass."
            add_figure(folder, axes, name, f"Precision against {effort}", text)
