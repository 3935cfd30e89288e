"""What the commands share: options, folders of results, JSON on standard output.

In: click's options. Out: the same behaviour of every command: ``--out`` writes a folder whole or
not at all, ``--json`` prints one JSON object and nothing else.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from wobble.formats.results import ResultFolder
from wobble.report.svg import figure_svg

__all__ = ["JSON", "OUT", "add_figure", "print_json", "print_where", "result_folder"]

OUT = click.option("--out", type=click.Path(path_type=Path), help="Folder for the results.")
JSON = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead.")


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


def add_figure(folder: ResultFolder, axes: Axes, name: str, title: str, text: str) -> None:
    """Keep a figure for the folder, as SVG with its description."""
    figure = axes.figure
    assert isinstance(figure, Figure)  # made for these axes alone
    folder.add(f"figures/{name}.svg", figure_svg(figure, name, title, text))


def print_where(folder: ResultFolder | None) -> None:
    """What was written, if anything was."""
    if folder is not None:
        click.echo(f"written to {folder.path}: {', '.join(folder.names)}")
