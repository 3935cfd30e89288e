"""Ocean loading of stations in the BLQ form.

In: a file with one block for each station: its name, three rows of amplitudes (m: radial,
tangential to the west, tangential to the south) and three rows of phases (degrees, lags at
Greenwich), with 11 columns for the tides M2 S2 N2 K2 K1 O1 P1 Q1 Mf Mm Ssa. Out: the
`OceanLoading` of each station, by name.

Lines that begin with ``$$`` are comments; one that states another order of the columns is
not passed over. Source: IERS Conventions 2010, section 7.1.2, and the free ocean loading
service, whose form it is.
"""

from __future__ import annotations

import os

import numpy as np
from numpy.typing import NDArray

from wobble.earth.displacement import MAIN_TIDES, OceanLoading
from wobble.errors import InputError
from wobble.text.lines import Line, read_lines

__all__ = ["read_blq"]

COMPONENTS = ("radial", "west", "south")
# No tide moves any station by more than some centimetres: a larger number is in other units.
LARGEST_AMPLITUDE = 0.3
COLUMN_ORDER = "COLUMN ORDER:"


def read_blq(path: str | os.PathLike[str]) -> dict[str, OceanLoading]:
    """Read the ocean loading of all stations of a file, plain or gzip-compressed.

    Raises
    ------
    InputError
        If the file cannot be read, is cut off, has its columns in another order, a station
        twice, or a number that is none or too large; with file, line and row.
    """
    tables: dict[str, OceanLoading] = {}
    station: str | None = None
    rows: list[list[float]] = []
    line = Line(os.fspath(path), 0, "")
    for line in read_lines(path):
        if not line.text.strip():
            continue
        if line.text.startswith("$$"):
            _check_order(line)
        elif station is None:
            station = _station(line, tables)
        else:
            rows.append(_row(line, len(rows)))
            if len(rows) == 2 * len(COMPONENTS):
                amplitudes, phases = _table(rows[:3]), _table(rows[3:])
                tables[station] = OceanLoading(amplitudes, phases)
                station, rows = None, []
    if station is not None:
        raise line.error(
            "the file is cut off",
            f"station {station}",
            found=f"{len(rows)} rows",
            expected=f"{2 * len(COMPONENTS)} rows",
        )
    if not tables:
        raise InputError("there is no station in the file", source=path)
    return tables


def _table(rows: list[list[float]]) -> NDArray[np.float64]:
    """Rows of the file, one a component, as an array with one row a tide."""
    return np.array(rows).T


def _check_order(line: Line) -> None:
    comment = line.text.upper()
    if COLUMN_ORDER in comment:
        tides = comment.partition(COLUMN_ORDER)[2].split()
        known = [tide.upper() for tide in MAIN_TIDES]
        if tides != known:
            raise line.error("another order of the columns", found=tides, expected=known)


def _station(line: Line, known: dict[str, OceanLoading]) -> str:
    name = line.text.strip()
    if len(name.split()) == len(MAIN_TIDES):
        raise line.error("a row of numbers that belongs to no station", found=name)
    if name in known:
        raise line.error("the station is given twice", found=name)
    return name


def _row(line: Line, number: int) -> list[float]:
    kind = "amplitude" if number < len(COMPONENTS) else "phase"
    field = f"{kind} {COMPONENTS[number % len(COMPONENTS)]}"
    if not line.ended:
        # A number that is cut short is still a number: only the end of its line tells.
        raise line.error("the file is cut off: its last line has no end", field)
    fields = line.text.split()
    if len(fields) != len(MAIN_TIDES):
        raise line.error(
            "another number of tides", field, found=line.text.strip(), expected=len(MAIN_TIDES)
        )
    values = [line.real(text, field) for text in fields]
    low, high, unit = (0.0, LARGEST_AMPLITUDE, "m") if kind == "amplitude" else (-360, 360, "deg")
    for value in values:
        if not low <= value <= high:
            raise line.error("out of range", field, value, f"{low} to {high} {unit}")
    return values
