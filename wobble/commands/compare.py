"""Solutions beside each other: what changed, and whether the data want a term.

In: folders that fits have written. Out: tables, figures, and what the criteria say.
"""

from __future__ import annotations

from pathlib import Path

import click
import numpy as np
from astropy.time import Time

from wobble.commands.output import (
    JSON,
    KEEP,
    OUT,
    add_figure,
    print_json,
    print_table,
    print_where,
    read_fit,
    result_folder,
    say,
    terminal_width,
)
from wobble.errors import InputError
from wobble.estimation.comparison import compare
from wobble.estimation.model_comparison import evidence_for
from wobble.estimation.solution import Solution
from wobble.files.results import ResultFolder
from wobble.files.solution_files import read_solution
from wobble.report.comparison_figures import differences, residual_spectra
from wobble.report.style import offscreen

__all__ = ["COMMANDS"]

FOLDER = click.Path(path_type=Path)
PERIODS = 400
LEAST_SAMPLES = 4


@click.command("compare")
@click.argument("first", type=FOLDER)
@click.argument("second", type=FOLDER)
@OUT
@JSON
def compare_command(first: Path, second: Path, out: Path | None, as_json: bool) -> None:
    """How far two solutions, in the folders FIRST and SECOND, lie apart.

    In the uncertainty of both together, which is right for different data, and in that of the
    first alone, which tells whether a change matters.

    \b
    Example: wobble compare fitted refitted --out compared

    Writes figures/differences.svg.
    """
    comparison = compare(read_fit(first), read_fit(second))
    with result_folder(out) as folder:
        if folder:
            with offscreen():
                add_figure(
                    folder,
                    differences(comparison),
                    "differences",
                    "Differences of two solutions",
                    f"Of {len(comparison.names)} parameters; {comparison.summary}.",
                )
    if as_json:
        print_json(comparison.as_json())
        return
    if max(map(len, str(comparison).splitlines())) <= terminal_width():
        click.echo(comparison)
    else:
        print_table(comparison.table())
        say(comparison.summary)
    print_where(folder, *([] if folder else [KEEP]))


@click.command()
@click.argument("larger", type=FOLDER)
@click.argument("smaller", type=FOLDER)
@OUT
@JSON
def evidence(larger: Path, smaller: Path, out: Path | None, as_json: bool) -> None:
    """Whether the data want the terms that LARGER has estimated and SMALLER has not.

    Both are folders of fits to the same data; `wobble fit --without` makes the smaller one.
    Chi-square with its probability, likelihood ratio, criteria of Akaike and of Schwarz.

    \b
    Example: wobble evidence fitted fitted_without_core --out evidence

    Writes a figure of the residuals' spectra for each kind of data.
    """
    large, small = read_fit(larger), read_solution(smaller)
    terms = [name for name in large.names if name not in small]
    _require_nested(large, small, terms, smaller)
    found = evidence_for(large, terms)
    with result_folder(out) as folder:
        if folder:
            _add_spectra(folder, small, large)
    if as_json:
        print_json(found.as_json())
        return
    say(found)
    print_where(folder, *([] if folder else [KEEP]))


def _require_nested(large: Solution, small: Solution, terms: list[str], path: Path) -> None:
    beyond = [name for name in small.names if name not in large]
    if beyond or not terms:
        raise InputError(
            "the two fits are not nested",
            source=path,
            found=f"{', '.join(beyond)} beyond the larger one" if beyond else "the same parameters",
            expected="fewer of the same parameters",
        )
    if (
        len(large.samples) != len(small.samples)
        or (large.samples.epoch != small.samples.epoch).any()
    ):
        raise InputError(
            "the two fits are of different data",
            source=path,
            found=f"{len(small.samples)} samples",
            expected=f"the same {len(large.samples)}",
        )


def _add_spectra(folder: ResultFolder, small: Solution, large: Solution) -> None:
    # A leap second more or less is nothing to a spectrum, and in the future none is known.
    days = Time(large.samples.epoch.tolist(), scale="tai").jd
    span = float(np.ptp(days))
    passes = len(np.unique(large.samples.pass_name))
    periods = np.geomspace(max(2.0 * span / passes, 2.0), max(span, 4.0), PERIODS)
    for kind in np.unique(large.samples.kind).tolist():
        used = [(s.samples.accepted & (s.samples.kind == kind)).sum() for s in (small, large)]
        if min(used) < LEAST_SAMPLES:
            continue
        slug = kind.replace("_", "-")
        with offscreen():
            add_figure(
                folder,
                residual_spectra(small, large, kind, periods),
                f"spectrum-{slug}",
                f"Spectra of the residuals of {kind.replace('_', ' ')}",
                f"Amplitudes at periods of {periods[0]:.3g} to {periods[-1]:.3g} days, without and "
                "with the terms in question.",
            )


COMMANDS: list[click.Command] = [compare_command, evidence]
