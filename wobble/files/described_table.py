"""Text tables of measurements in any form, by a description of their columns.

In: a file, plain or gzip-compressed, with a `TextTable` that says what stands where. Out: the
measurements; or an error that names file, line and column. Nothing is read in part.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wobble.errors import InputError, UnknownNameError
from wobble.measurements.columns import TableDescription, tracking_from_columns
from wobble.measurements.tracking import Tracking
from wobble.text.lines import Line, read_lines

__all__ = ["SEPARATORS", "TextTable", "read_text_table"]

SEPARATORS = {"blanks": None, "comma": ",", "semicolon": ";", "tab": "\t", "fixed": ""}
"""What parts the columns; none does where they are of fixed width."""
Place = int | str | tuple[int, int]


@dataclass(frozen=True)
class TextTable:
    """Where each column of a text table stands, and what the columns mean.

    Parameters
    ----------
    path : Path
    description : TableDescription
    columns : mapping of str to sequence
        Where the parts of a measurement stand: numbers of columns from 1, names of a head line,
        or first and last character from 1 where columns are of fixed width. Several are joined
        by blanks.
    separator : str
        One of `SEPARATORS`.
    comment : str
        What lines begin with that are no measurements.
    """

    path: Path
    description: TableDescription
    columns: Mapping[str, Sequence[Place]]
    separator: str = "blanks"
    comment: str = "#"

    def __post_init__(self) -> None:
        if self.separator not in SEPARATORS:
            raise UnknownNameError("separator", self.separator, SEPARATORS, field="separator")


def read_text_table(table: TextTable) -> Tracking:
    """Read a text table of measurements.

    Raises
    ------
    InputError
        If the file cannot be read, or its description does not fit.
    """
    lines = [
        line
        for line in read_lines(table.path)
        if line.text.strip() and not (table.comment and line.text.startswith(table.comment))
    ]
    cut = _cutter(table, lines)
    rows = [cut(line) for line in lines]
    cells = {role: np.array([row[role] for row in rows]) for role in table.columns}

    def at(row: int, role: str, problem: str, found: object, expected: object) -> InputError:
        where = ", ".join(_said(place) for place in table.columns.get(role, ()))
        field = f"{role} ({where})" if where else role
        return lines[row].error(problem, field, found, expected)

    try:
        return tracking_from_columns(
            cells, table.description, at, {"source": str(table.path), "warnings": []}
        )
    except InputError as error:
        raise error.of(table.path) from error


def _said(place: Place) -> str:
    if isinstance(place, tuple):
        return f"characters {place[0]} to {place[1]}"
    return f"column {place}"


def _cutter(table: TextTable, lines: list[Line]) -> Callable[[Line], dict[str, str]]:
    """How a line becomes its cells; a head line is taken off the lines."""
    if table.separator == "fixed":
        return lambda line: {
            role: " ".join(_characters(line, role, place) for place in places)
            for role, places in table.columns.items()
        }
    mark = SEPARATORS[table.separator]
    places = dict(table.columns)
    if any(isinstance(place, str) for at in places.values() for place in at):
        if not lines:
            raise InputError("the table has no head line", source=table.path)
        head = lines.pop(0)
        names = [name.strip() for name in head.text.split(mark)]
        places = {
            role: [_numbered(head, role, place, names) for place in at]
            for role, at in places.items()
        }

    def cut(line: Line) -> dict[str, str]:
        cells = [cell.strip() for cell in line.text.split(mark)]
        return {
            role: " ".join(_cell(line, cells, role, place) for place in at)
            for role, at in places.items()
        }

    return cut


def _numbered(head: Line, role: str, place: Place, names: list[str]) -> Place:
    if not isinstance(place, str):
        return place
    if place not in names:
        raise UnknownNameError(
            "column of the head line",
            place,
            names,
            source=head.source,
            line=head.number,
            field=role,
        )
    return names.index(place) + 1


def _cell(line: Line, cells: list[str], role: str, place: Place) -> str:
    assert isinstance(place, int)  # names have been numbered
    if not 1 <= place <= len(cells):
        raise line.error("a column is not there", role, f"{len(cells)} columns", f"column {place}")
    return cells[place - 1]


def _characters(line: Line, role: str, place: Place) -> str:
    assert isinstance(place, tuple)  # the scenario's reader sees to it
    first, last = place
    if len(line.text) < first:
        raise line.error(
            "the line is too short", role, f"{len(line.text)} characters", _said(place)
        )
    return line.text[first - 1 : last].strip()
