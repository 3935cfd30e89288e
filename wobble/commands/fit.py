"""From measurements to a solution, and from a solution to the page to read.

In: a scenario and files of data. Out: a folder with the solution, its covariance and residuals;
the page.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import click

from wobble.campaign.campaign import Campaign
from wobble.commands.output import (
    JSON,
    KEEP,
    OUT,
    end_with_verdict,
    print_json,
    print_solution,
    print_where,
    read_fit,
    result_folder,
    say,
)
from wobble.commands.steps import (
    DATA,
    FITTED,
    add_report,
    add_solution,
    read_data,
    read_fitted,
    scenario_argument,
)
from wobble.errors import InputError
from wobble.estimation.least_squares import SquareRootInformation
from wobble.files.results import ResultFolder
from wobble.files.solution_files import read_information
from wobble.version import __version__

__all__ = ["COMMANDS"]


@click.command("fit")
@scenario_argument
@DATA
@click.option(
    "--after",
    type=click.Path(path_type=Path),
    help="Folder of an earlier fit: its measurements are taken in with the new ones.",
)
@click.option(
    "--information",
    type=click.Path(path_type=Path),
    help="What earlier measurements said, without them: information.ecsv of a fit.",
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
    information: Path | None,
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
    Example: wobble fit campaign.toml new.ecsv --information fitted/information.ecsv
    Example: wobble fit campaign.toml all.ecsv --without "core.*" --out smaller

    Writes solution.ecsv, covariance.ecsv, residuals.ecsv, solution.json and more tables. Exit
    status 3: the model does not describe the data, and the estimates are not to be used.
    """
    if without:
        campaign = campaign.without(without)
    with result_folder(out) as folder:
        earlier = _earlier(after, information)
        files = (*earlier.files, *(data or campaign.data_files))
        tracking, warnings = read_data(campaign, files)
        if earlier.information and replicates:
            raise InputError(
                "passes of which only the information is left cannot be drawn again",
                field="--bootstrap",
                expected="all measurements",
            )
        solution = campaign.fit(tracking, earlier=earlier.information)
        sources = {"continues": after, "information": information}
        given = {name: str(path) for name, path in sources.items() if path}
        solution = replace(solution, provenance={**solution.provenance, **given})
        if replicates:
            drawn = campaign.bootstrap(
                tracking, solution, replicates=replicates, progress=sys.stderr.isatty()
            )
            solution = replace(solution, sigma_bootstrap=drawn.sigma)
        if folder:
            add_solution(folder, solution, tracking)
    if as_json:
        print_json(solution.as_json() | {"data_warnings": warnings})
        end_with_verdict(solution)
        return
    if after:
        more = len(tracking) - earlier.samples
        say(f"data: {earlier.samples} measurements of the fit in {after}, and {more} more")
    for warning in warnings:
        say(f"data: {warning}")
    print_solution(solution)
    if folder is None:
        print_where(None, KEEP)
    else:
        print_where(folder, f"wobble report {campaign.source} {folder.path}")
    end_with_verdict(solution)


class _Earlier(NamedTuple):
    """Files and number of the measurements of an earlier fit; what is known of others."""

    files: tuple[Path, ...]
    samples: int
    information: SquareRootInformation | None


def _earlier(after: Path | None, information: Path | None) -> _Earlier:
    if after and information and information.resolve().parent == after.resolve():
        raise InputError(
            "the same measurements would count twice",
            field="--information",
            found=f"{information}, with --after {after}",
            expected="one of the two",
        )
    known = [read_information(information)] if information else []
    files: tuple[Path, ...] = ()
    samples = 0
    if after:
        before = read_fit(after)
        kept = after / FITTED
        if not kept.is_file():
            raise InputError(
                "the folder does not keep the measurements of its fit",
                source=kept,
                expected=f"--information {after / 'information.ecsv'}",
            )
        files, samples = (kept,), len(before.samples)
        known += [before.earlier] if before.earlier else []
    return _Earlier(files, samples, SquareRootInformation.together(known) if known else None)


@click.command()
@scenario_argument
@click.argument("results", type=click.Path(path_type=Path))
@DATA
@JSON
def report(campaign: Campaign, results: Path, data: tuple[Path, ...], as_json: bool) -> None:
    """The page to read, from the folder RESULTS that a fit has written.

    DATA are the measurements that were fitted: if left out, those that the folder keeps, or the
    scenario's own files.

    \b
    Example: wobble report tests/data/lunar_ranging/scenario.toml lunar

    Writes report.html and figures/ into the folder.
    """
    solution = read_fit(results)
    tracking, warnings = read_fitted(campaign, results, data)
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
