"""Synthetic campaigns: simulate alone, or everything from plan to report.

In: a scenario with a truth and a noise budget. Out: measurements; with `run` also a solution that
is held against the truth, and a page.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from wobble.campaign.campaign import Campaign
from wobble.commands.output import (
    JSON,
    end_with_verdict,
    print_json,
    print_solution,
    print_where,
    result_folder,
    say,
)
from wobble.commands.steps import (
    CAUTION,
    OUT_NEEDED,
    SEED,
    add_measurements,
    add_plan,
    add_report,
    add_solution,
    plan_passes,
    plan_summary,
    scenario_argument,
)
from wobble.estimation.solution import Solution
from wobble.files.results import read_schedule

__all__ = ["COMMANDS", "recovery"]


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
            periods, schedule = plan_passes(campaign)
            add_plan(folder, campaign, periods, schedule)
        else:
            schedule = read_schedule(passes)
        tracking = campaign.simulate(schedule, seed=seed)
        add_measurements(folder, campaign, tracking)
    if as_json:
        print_json(
            {"measurements": len(tracking), "passes": len(schedule), "seed": tracking.meta["seed"]}
        )
        return
    say(tracking)
    data = folder.path / "measurements.ecsv"
    print_where(folder, f"wobble fit {campaign.source} {data} --out {folder.path}")


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
        periods, passes = plan_passes(campaign)
        tracking = campaign.simulate(passes, seed=seed)
        solution = campaign.fit(tracking)
        add_plan(folder, campaign, periods, passes)
        add_measurements(folder, campaign, tracking)
        add_solution(folder, solution, tracking)
        add_report(
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
            plan_summary(campaign, periods, passes)
            | solution.as_json()
            | {"seed": tracking.meta["seed"], "truth": recovered}
        )
        end_with_verdict(solution)
        return
    say(passes)
    for text in passes.missing:
        say(text)
    print_solution(solution)
    worst = max(recovered, key=lambda name: abs(recovered[name]["error_in_sigmas"]))
    say(
        f"truth recovered: largest error {abs(recovered[worst]['error_in_sigmas']):.2f} realistic "
        f"sigmas ({worst}), {len(recovered)} parameters"
    )
    for note in (*periods.notes, CAUTION):
        say(note)
    print_where(
        folder,
        f"open {folder.path / 'report.html'} in a browser",
        f"wobble interior {folder.path} infers the inside, if the planet's core was estimated",
    )
    end_with_verdict(solution)


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


COMMANDS: list[click.Command] = [simulate, run]
