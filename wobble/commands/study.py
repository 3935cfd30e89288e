"""Trade studies: a scenario varied over a grid or a list.

In: a study file. Out: a table of the precision that each variation gives, and figures; every
finished variation in a file of its own, so that an interrupted study goes on.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import click
import numpy as np
from astropy.table import QTable

from wobble.campaign.derived import quantity_unit
from wobble.campaign.study import Outcome, Study, run_study, study_table
from wobble.commands.executors import cluster_executor, local_executor
from wobble.commands.output import JSON, add_figure, print_json, print_where, result_folder, say
from wobble.commands.steps import CAUTION, OUT_NEEDED
from wobble.errors import InputError
from wobble.files.results import ResultFolder
from wobble.files.study_journal import FolderJournal
from wobble.report.study_figures import precision_lines, precision_map
from wobble.report.style import offscreen
from wobble.report.text import unit_text
from wobble.scenario.study_file import read_study
from wobble.text.ecsv import ecsv_text
from wobble.version import __version__

__all__ = ["COMMANDS"]

SHOWN = 20
KEPT = "variations"
"""Folder of the finished variations."""


@click.command("study")
@click.argument("study_file", metavar="STUDY", type=click.Path(path_type=Path))
@OUT_NEEDED
@click.option("--workers", type=int, default=1, show_default=True, help="Processes here.")
@click.option("--cluster", help="Scheduler of a running Dask cluster, tcp://HOST:PORT.")
@JSON
def study_command(
    study_file: Path, out: Path, workers: int, cluster: str | None, as_json: bool
) -> None:
    """Precision of a scenario that is varied, by landers, dates, noise or pass lengths.

    \b
    Example: wobble study synthetic_passes/study.toml --out study --workers 2

    Writes study.ecsv and figures (a map over two axes, lines over one), and into
    variations/ each variation as soon as it is finished. Interrupted, the same
    command goes on where it stood.
    """
    study = read_study(study_file)
    if workers < 1:
        raise InputError("at least one worker is needed", field="--workers", found=workers)
    chosen = local_executor(workers) if cluster is None else cluster_executor(cluster)
    with chosen as executor:
        journal = FolderJournal(out / KEPT)
        kept = sum(journal.read(v.key) is not None for v in study.variations)
        others = journal.strangers(v.key for v in study.variations)
        notes = _notes(kept, others)
        for note in notes:
            click.echo(note, err=True)
        outcomes = run_study(study, journal, executor, progress=sys.stderr.isatty())
    failed = [o for o in outcomes if o.problem]
    if len(failed) == len(outcomes):
        raise InputError(f"no variation can be computed; the first: {failed[0].problem}")
    table = study_table(study, outcomes)
    with result_folder(out) as folder:
        assert folder is not None
        meta = {"study": study.name, "wobble": __version__, "caution": CAUTION}
        folder.add("study.ecsv", ecsv_text(table, meta))
        _add_figures(folder, study, table)
    if as_json:
        print_json(_json(study, outcomes, kept, others))
        return
    if study.axes:
        say(f"varied: {', '.join(study.axes)}")
    for variation, outcome in list(zip(study.variations, outcomes, strict=True))[:SHOWN]:
        say(variation.name)
        say(f"  {_told(outcome)}")
    if len(outcomes) > SHOWN:
        say(f"... and {len(outcomes) - SHOWN} more")
    if failed:
        say(f"{len(failed)} variations could not be computed; the table says why")
    say(CAUTION)
    print_where(folder, "the same command again goes on where variations were added or changed")


def _told(outcome: Outcome) -> str:
    if outcome.problem:
        return outcome.problem
    sigmas = [
        f"{name} {value:.3g} {unit_text(quantity_unit(name).user)}".strip()
        + f", limited by {outcome.limited_by[name]}"
        for name, value in outcome.sigma.items()
    ]
    return "; ".join([f"{outcome.passes} passes, {outcome.station_hours:.1f} h", *sigmas])


def _notes(kept: int, others: int) -> list[str]:
    notes = []
    if kept:
        notes.append(f"{kept} variations were finished before")
    if others:
        notes.append(
            f"study or scenario have changed: {others} variations in the folder belong to "
            "another version and are left out"
        )
    return notes


def _json(study: Study, outcomes: list[Outcome], kept: int, others: int) -> dict[str, Any]:
    rows = [
        {
            "variation": variation.name,
            "changes": dict(variation.changes),
            "passes": outcome.passes,
            "station_hours": outcome.station_hours,
            "sigma": {n: v if np.isfinite(v) else None for n, v in outcome.sigma.items()},
            "limited_by": dict(outcome.limited_by),
            "problem": outcome.problem or None,
        }
        for variation, outcome in zip(study.variations, outcomes, strict=True)
    ]
    return {
        "study": study.name,
        "finished_before": kept,
        "of_another_version": others,
        "variations": rows,
        "notes": [CAUTION],
    }


def _add_figures(folder: ResultFolder, study: Study, table: QTable) -> None:
    """A map for two axes, lines for one; more cannot be drawn."""
    if len(study.axes) not in (1, 2):
        return
    with offscreen():
        if len(study.axes) == 1:
            axes = precision_lines(table, study.axes[0], study.quantities)
            text = f"Precision against {study.axes[0]}."
            add_figure(folder, axes[0], "precision", study.name, text)
            return
        for k, quantity in enumerate(study.quantities, start=1):
            drawn = precision_map(table, study.axes, quantity)
            text = f"Precision of {quantity} against {study.axes[0]} and {study.axes[1]}."
            add_figure(folder, drawn, f"precision_{k}", study.name, text)


COMMANDS: list[click.Command] = [study_command]
