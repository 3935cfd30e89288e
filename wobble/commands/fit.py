"""From measurements to a solution, and from a solution to the page to read.

In: a scenario and files of data. Out: a folder with the solution, its covariance and residuals;
the page.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import click

from wobble.campaign.campaign import Campaign
from wobble.commands.output import (
    JSON,
    KEEP,
    OUT,
    print_json,
    print_solution,
    print_where,
    result_folder,
    say,
)
from wobble.commands.steps import (
    DATA,
    add_report,
    add_solution,
    read_data,
    scenario_argument,
)
from wobble.errors import InputError
from wobble.estimation.solution_files import read_information, read_solution
from wobble.formats.results import ResultFolder
from wobble.version import __version__

__all__ = ["COMMANDS"]


@click.command("fit")
@scenario_argument
@DATA
@click.option(
    "--after", type=click.Path(path_type=Path), help="Folder of an earlier fit, to go on from."
)
@click.option("--without", multiple=True, help="Parameters not to estimate (pattern; repeatable).")
@click.option(
    "--bootstrap",
    "replicates",
    type=click.IntRange(min=10),
    help="Also estimate from passes drawn again, so often.",
)
@OUT
@JSON
def fit_command(
    campaign: Campaign,
    data: tuple[Path, ...],
    after: Path | None,
    without: tuple[str, ...],
    replicates: int | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """Estimate the scenario's parameters from DATA.

    DATA are files of measurements (.ecsv, .tdm, .kvn, .xml, .npt, .crd, .csv); the scenario's
    own if left out.

    \b
    Example: wobble fit tests/data/lunar_ranging/scenario.toml --json
    Example: wobble fit synthetic_passes/campaign.toml rehearsal/measurements.ecsv --out fitted
    Example: wobble fit campaign.toml new.ecsv --after fitted --out continued
    Example: wobble fit campaign.toml all.ecsv --without "core.*" --out smaller

    Writes solution.ecsv, covariance.ecsv, residuals.ecsv, solution.json and more tables.
    """
    if after and replicates:
        raise InputError(
            "the passes of the earlier fit cannot be drawn again",
            field="--bootstrap",
            found="with --after",
            expected="all measurements at once",
        )
    if without:
        campaign = campaign.without(without)
    with result_folder(out) as folder:
        earlier = read_information(after / "information.ecsv") if after else None
        tracking, warnings = read_data(campaign, data)
        solution = campaign.fit(tracking, earlier=earlier)
        if after:
            made_by = {**solution.provenance, "continues": str(after)}
            solution = replace(solution, provenance=made_by)
        if replicates:
            drawn = campaign.bootstrap(
                tracking, solution, replicates=replicates, progress=sys.stderr.isatty()
            )
            solution = replace(solution, sigma_bootstrap=drawn.sigma)
        if folder:
            add_solution(folder, solution)
    if as_json:
        print_json(solution.as_json() | {"data_warnings": warnings})
        return
    for warning in warnings:
        say(f"data: {warning}")
    print_solution(solution)
    if folder is None:
        print_where(None, KEEP)
    else:
        files = "".join(f" {path}" for path in data)
        print_where(folder, f"wobble report {campaign.source} {folder.path}{files}")


@click.command()
@scenario_argument
@click.argument("results", type=click.Path(path_type=Path))
@DATA
@JSON
def report(campaign: Campaign, results: Path, data: tuple[Path, ...], as_json: bool) -> None:
    """The page to read, from the folder RESULTS that a fit has written.

    DATA are the measurements that were fitted: if left out, measurements.ecsv in the folder or
    the scenario's own files.

    \b
    Example: wobble report tests/data/lunar_ranging/scenario.toml lunar

    Writes report.html and figures/ into the folder.
    """
    solution = read_solution(results)
    beside = results / "measurements.ecsv"
    tracking, warnings = read_data(campaign, data or ((beside,) if beside.exists() else ()))
    with ResultFolder(results) as folder:
        add_report(
            folder,
            campaign=campaign,
            solution=solution,
            tracking=tracking,
            truth=tracking.meta.get("truth"),
        )
    made_by = solution.provenance.get("wobble", "of an unknown version")
    if made_by != __version__:
        warnings = [*warnings, f"fitted by wobble {made_by}, reported by wobble {__version__}"]
    if as_json:
        print_json({"report": str(results / "report.html"), "data_warnings": warnings})
        return
    for warning in warnings:
        say(f"data: {warning}")
    print_where(folder, f"open {results / 'report.html'} in a browser")


COMMANDS: list[click.Command] = [fit_command, report]
