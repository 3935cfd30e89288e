"""What the commands share: options, folders of results, JSON, and text that fits the terminal.

In: click's options, objects and tables to print. Out: the same behaviour of every command:
``--out`` writes a folder whole or not at all, ``--json`` prints one JSON object and nothing else,
lines are wrapped to the terminal and tables that are too wide for it are stacked, row by row.

A terminal tells its width; ``COLUMNS`` overrides it; into a pipe or a file lines have 120 columns.
Colour is an addition to words, and left out where it cannot be seen (a pipe) or is not wanted
(``NO_COLOR``).
"""

from __future__ import annotations

import json
import os
import shutil
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from astropy.table import Table
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wobble.estimation.solution import Solution
from wobble.estimation.solution_text import solution_as_text
from wobble.files.results import ResultFolder
from wobble.files.solution_files import read_solution
from wobble.report.svg import figure_svg

__all__ = [
    "JSON",
    "KEEP",
    "OUT",
    "add_figure",
    "alarm",
    "end_with_verdict",
    "print_json",
    "print_solution",
    "print_table",
    "print_where",
    "read_fit",
    "result_folder",
    "say",
    "terminal_width",
]

OUT = click.option("--out", type=click.Path(path_type=Path), help="Folder for the results.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead.")
KEEP = "the same with --out FOLDER keeps the tables and figures"
"""Next step after a command that has written nothing."""
NARROWEST, WIDE = 40, 120
DOES_NOT_DESCRIBE = 3
"""Exit status of a fit whose model does not describe the data."""


@contextmanager
def result_folder(path: Path | None) -> Iterator[ResultFolder | None]:
    """The folder of results, or nothing where none was asked for."""
    if path is None:
        yield None
        return
    with ResultFolder(path) as folder:
        yield folder


def print_json(content: dict[str, Any]) -> None:
    """One JSON object on standard output."""
    click.echo(json.dumps(content, indent=2, allow_nan=False))


def read_fit(folder: Path) -> Solution:
    """The solution in a folder, with a word on standard error if it is not what it should be."""
    solution = read_solution(folder)
    if solution.misfit.headline:
        click.echo(f"wobble: {folder}: {solution.misfit.headline}", err=True)
    return solution


def end_with_verdict(solution: Solution) -> None:
    """Exit status 3 if the model does not describe the data; everything is written by then."""
    if not solution.misfit.describes_data:
        click.get_current_context().exit(DOES_NOT_DESCRIBE)


def add_figure(folder: ResultFolder, axes: Axes, name: str, title: str, text: str) -> None:
    """Keep a figure for the folder, as SVG with its description."""
    figure = axes.figure
    assert isinstance(figure, Figure)  # made for these axes alone
    folder.add(f"figures/{name}.svg", figure_svg(figure, name, title, text))


# ------------------------------------------------------------------------ text that fits


def terminal_width() -> int:
    """Columns that a line may have."""
    return max(NARROWEST, shutil.get_terminal_size((WIDE, 24)).columns)


def say(text: object) -> None:
    """Print text; lines wider than the terminal go on below, indented."""
    for line in str(text).splitlines():
        click.echo(_wrapped(line))


def alarm(text: str) -> str:
    """Text in the colour of what needs attention, unless colour is not wanted."""
    return text if os.environ.get("NO_COLOR") else click.style(text, fg="red", bold=True)


def _wrapped(line: str, indent: str = "") -> str:
    own = indent or line[: len(line) - len(line.lstrip())]
    return textwrap.fill(
        line,
        terminal_width(),
        subsequent_indent=own + "  ",
        break_long_words=False,
        break_on_hyphens=False,
    )


def print_table(table: Table) -> None:
    """Print a table; one that is too wide for the terminal row by row, names beside values."""
    lines = table.pformat(max_lines=-1, max_width=-1)
    if all(len(line) <= terminal_width() for line in lines):
        click.echo("\n".join(lines))
        return
    columns = [_cells(table, name) for name in table.colnames]
    units = [str(table[name].info.unit or "") for name in table.colnames]
    for head, *cells in zip(*columns, strict=True):
        click.echo(head)
        told = zip(table.colnames[1:], cells, units[1:], strict=True)
        parts = [f"{name.replace('_', ' ')} {cell} {unit}".strip() for name, cell, unit in told]
        click.echo(_wrapped("  " + ", ".join(parts)))


def _cells(table: Table, name: str) -> list[str]:
    """A column as texts, in its own format."""
    lines = table[[name]].pformat(max_lines=-1, max_width=-1, show_name=False, show_unit=False)
    return [line.strip() for line in lines[len(lines) - len(table) :]]


def print_solution(solution: Solution) -> None:
    """Print a solution with as many columns as the terminal has room for."""
    say(solution_as_text(solution, terminal_width()))


def print_where(folder: ResultFolder | None, *next_steps: str) -> None:
    """What was written, if anything was, and what may be done next."""
    if folder is not None:
        inside = [name for name in folder.names if "/" in name]
        places = sorted({name.split("/")[0] for name in inside})
        names = [name for name in folder.names if "/" not in name]
        names += [f"{p}/ ({sum(n.startswith(p + '/') for n in inside)} files)" for p in places]
        say(f"written to {folder.path}: {', '.join(names)}")
    for step in next_steps:
        say(f"next: {step}")
