"""The package's own table of passes, and the table of lunar normal points.

In: `Tracking`, or a file in ECSV (a table as text, with units and metadata in its head;
Taylor 2013, Astropy Proposal for Enhancement 6). Out: the same, read back exactly: every
number and every time tag to the last bit, and the metadata.

Ranges and range rates stand in columns of their own, each with its unit; in a row the other
kind's columns are NaN. Columns in other units of the same dimension are converted. A table
that is cut off anywhere is refused: its head holds the number of its rows.

`read_normal_point_table` reads laser ranges from a plain CSV table with one normal point a
row: two-way time of flight t becomes c t / 2, its standard deviation the rms of the bin over
the square root of the number of returns; the epoch is that of transmission.
"""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Callable
from typing import Any

import astropy.units as u
import numpy as np
from astropy.io import ascii as astropy_ascii
from astropy.table import Column, Table
from astropy.time import Time
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.measurements.tracking import Tracking
from wobble.text.atomic import write_atomically
from wobble.text.lines import Line, read_lines, rows_at
from wobble.text.time_tags import (
    calendar_text,
    day_and_seconds,
    day_number,
    parse_calendar,
    utc_time,
)

__all__ = [
    "passes_text",
    "read_normal_point_table",
    "read_passes",
    "tracking_from_table",
    "tracking_table",
    "write_passes",
]

Path = str | os.PathLike[str]

ROWS = "rows"
FORMAT = "wobble tracking, version 1"
EPOCH = "epoch_utc"
NAMES = ("pass", "transmitter", "receiver", "lander", "kind", "tag")
# Name in the file, unit, and the kind whose rows must have it ("" where none must).
NUMBERS = (
    ("count_time", u.s, "range_rate"),
    ("range", u.m, "range"),
    ("range_sigma", u.m, "range"),
    ("range_rate", u.m / u.s, "range_rate"),
    ("range_rate_sigma", u.m / u.s, "range_rate"),
    ("frequency", u.Hz, ""),
    ("pressure", u.hPa, ""),
    ("temperature", u.K, ""),
    ("humidity", u.percent, ""),
)
NORMAL_POINT_COLUMNS = (
    *("station", "array", "date_utc", "seconds_of_day", "time_of_flight_s", "bin_rms_ps"),
    *("n_returns", "pressure_hPa", "temperature_K", "humidity_pct", "wavelength_nm"),
)


def tracking_table(tracking: Tracking) -> Table:
    """The measurements as an astropy table with units, ready for pandas or for plotting."""
    ranges = ~tracking.counted
    columns: dict[str, Any] = {
        "pass": tracking.pass_id,
        EPOCH: calendar_text(tracking.epoch),
        "tag": tracking.tag,
        "kind": tracking.kind,
        "transmitter": tracking.transmitter,
        "receiver": tracking.receiver,
        "lander": tracking.lander,
    }
    numbers = {
        "count_time": tracking.count_time,
        "range": np.where(ranges, tracking.value, np.nan),
        "range_sigma": np.where(ranges, tracking.sigma, np.nan),
        "range_rate": np.where(ranges, np.nan, tracking.value),
        "range_rate_sigma": np.where(ranges, np.nan, tracking.sigma),
        "frequency": tracking.frequency,
        "pressure": tracking.pressure_hpa,
        "temperature": tracking.temperature_k,
        "humidity": tracking.humidity_percent,
    }
    for name, unit, _ in NUMBERS:
        columns[name] = Column(numbers[name], unit=unit)
    return Table(columns, meta=dict(tracking.meta))


def tracking_from_table(table: Table, source: Path | None = None, first_line: int = 1) -> Tracking:
    """The measurements of a table with the columns and units of `tracking_table`.

    Parameters
    ----------
    table : Table
        Table with names and units as `tracking_table` makes them.
    source : path, optional
        File that the table comes from, for messages.
    first_line : int
        Line of that file in which the first row stands, for messages.

    Raises
    ------
    InputError
        If a column is missing or unknown, a unit is missing or of another dimension, or a
        value cannot be used.
    """
    known = [*NAMES, EPOCH, *(name for name, _, _ in NUMBERS)]
    for name in known:
        if name not in table.colnames:
            raise InputError(
                "the column is missing", source=source, field=name, found=table.colnames
            )
    for name in table.colnames:
        if name not in known:
            raise InputError("unknown column", source=source, field=name, expected=known)

    def line(row: int) -> Line:
        return Line(str(source or "table"), first_line + row, "")

    names = {name: _texts(table[name], name, line) for name in NAMES}
    numbers = {
        name: _numbers(table[name], name, unit, _of(names["kind"], kind), line)
        for name, unit, kind in NUMBERS
    }
    ranges = names["kind"] == "range"
    with rows_at(line):
        return Tracking(
            pass_id=names["pass"],
            transmitter=names["transmitter"],
            receiver=names["receiver"],
            lander=names["lander"],
            kind=names["kind"],
            epoch=_epochs(_texts(table[EPOCH], EPOCH, line), line),
            tag=names["tag"],
            count_time=numbers["count_time"],
            value=np.where(ranges, numbers["range"], numbers["range_rate"]),
            sigma=np.where(ranges, numbers["range_sigma"], numbers["range_rate_sigma"]),
            frequency=numbers["frequency"],
            pressure_hpa=numbers["pressure"],
            temperature_k=numbers["temperature"],
            humidity_percent=numbers["humidity"],
            meta=dict(table.meta),
        )


def write_passes(path: Path, tracking: Tracking) -> None:
    """Write measurements as a table in ECSV, whole or not at all.

    Raises
    ------
    InputError
        If the folder cannot be written, or the metadata has values that the format cannot
        hold.
    """
    try:
        text = passes_text(tracking)
    except InputError as error:
        raise error.of(path) from error
    write_atomically(path, text)


def passes_text(tracking: Tracking) -> str:
    """Measurements as the text of an ECSV table.

    Raises
    ------
    InputError
        If the metadata has values that the format cannot hold.
    """
    table = tracking_table(tracking)
    table.meta = {"format": FORMAT, ROWS: len(tracking), "tracking": tracking.meta}
    text = io.StringIO()
    try:
        table.write(text, format="ascii.ecsv")
    except Exception as error:  # whatever the YAML writer raises for a value that it cannot hold
        raise InputError(f"the table cannot be written ({error})", field="meta") from error
    return text.getvalue()


def read_passes(path: Path) -> Tracking:
    """Read a table that `write_passes` wrote, plain or gzip-compressed.

    Raises
    ------
    InputError
        If the file is missing, empty, binary or cut off, lacks a column, has a unit of another
        dimension, or a value that cannot be used.
    """
    lines = [_whole(line).text for line in read_lines(path)]
    head = next((k for k, text in enumerate(lines) if not text.startswith("#")), len(lines))
    if not lines[0].startswith("# %ECSV"):
        raise InputError(
            "not a table in ECSV", source=path, line=1, found=lines[0][:40], expected="# %ECSV 1.0"
        )
    try:
        with warnings.catch_warnings():
            # The reader warns of a type that the format does not know, and goes on.
            warnings.simplefilter("error")
            table = astropy_ascii.read(lines, format="ecsv", guess=False, fill_values=[])
    except Exception as error:  # it raises whatever a broken table provokes
        problem = str(error).partition("\n")[0]
        raise InputError(f"cannot be read as ECSV ({problem})", source=path) from error
    meta = table.meta
    if meta.get("format") != FORMAT:
        raise InputError(
            "not a table of passes",
            source=path,
            field="format",
            found=meta.get("format"),
            expected=FORMAT,
        )
    if meta.get(ROWS) != len(table):
        raise InputError(
            "the table is cut off or was put together",
            source=path,
            field=ROWS,
            found=len(table),
            expected=meta.get(ROWS),
        )
    own = meta.get("tracking")
    table.meta = own if isinstance(own, dict) else {}
    return tracking_from_table(table, path, first_line=head + 2)


def read_normal_point_table(path: Path) -> Tracking:
    """Read lunar laser ranges from a CSV table with one normal point a row.

    The columns are station, array, date_utc, seconds_of_day, time_of_flight_s (two-way,
    station calibration removed), bin_rms_ps, n_returns, pressure_hPa, temperature_K,
    humidity_pct and wavelength_nm, named in the first line that is no comment (#). The points
    of one station, array and date are one pass.

    Raises
    ------
    InputError
        If the file cannot be read, a column is missing or unknown, or a value cannot be used;
        with file, line and column.
    """
    rows: list[tuple[Line, dict[str, str]]] = []
    header: list[str] | None = None
    for line in read_lines(path):
        if _whole(line).text.startswith("#") or not line.text.strip():
            continue
        fields = [text.strip() for text in line.text.split(",")]
        if header is None:
            header = fields
            if sorted(header) != sorted(NORMAL_POINT_COLUMNS):
                raise line.error("other columns", found=header, expected=NORMAL_POINT_COLUMNS)
        elif len(fields) != len(header):
            raise line.error(
                "the row has another number of columns", found=len(fields), expected=len(header)
            )
        else:
            rows.append((line, dict(zip(header, fields, strict=True))))
    if not rows:
        raise InputError("there is no normal point in the table", source=path)

    def positive(name: str) -> NDArray[np.float64]:
        return np.array([_positive(line, row[name], name) for line, row in rows])

    stations = np.array([row["station"] for _, row in rows])
    half_light = 0.5 * SPEED_OF_LIGHT
    with rows_at(lambda k: rows[k][0]):
        return Tracking(
            pass_id=np.array([f"{r['station']}-{r['array']}-{r['date_utc']}" for _, r in rows]),
            transmitter=stations,
            receiver=stations,
            lander=np.array([row["array"] for _, row in rows]),
            kind=np.full(len(rows), "range"),
            epoch=utc_time(_transmit_epoch(line, row) for line, row in rows),
            tag=np.full(len(rows), "transmit"),
            count_time=np.full(len(rows), np.nan),
            value=half_light * positive("time_of_flight_s"),
            sigma=half_light * positive("bin_rms_ps") * 1e-12 / np.sqrt(positive("n_returns")),
            frequency=SPEED_OF_LIGHT / (positive("wavelength_nm") * 1e-9),
            pressure_hpa=positive("pressure_hPa"),
            temperature_k=positive("temperature_K"),
            humidity_percent=np.array(
                [line.real(row["humidity_pct"], "humidity_pct") for line, row in rows]
            ),
            meta={"source": os.fspath(path)},
        )


def _of(kinds: NDArray[np.str_], column: str) -> NDArray[np.bool_]:
    """Rows that need a column: range rates of both kinds stand in one."""
    return np.isin(kinds, (column, f"one_way_{column}"))


def _whole(line: Line) -> Line:
    # A number that is cut short is still a number: only the end of its line tells.
    if not line.ended:
        raise line.error("the table is cut off: its last line has no end")
    return line


def _positive(line: Line, text: str, name: str) -> float:
    value = line.real(text, name)
    if value <= 0.0:
        raise line.error("not positive", name, found=text)
    return value


def _transmit_epoch(line: Line, row: dict[str, str]) -> tuple[float, float]:
    date = row["date_utc"].split("-")
    if len(date) != 3:
        raise line.error("not a date", "date_utc", row["date_utc"], "YYYY-MM-DD")
    year, month, day = (line.integer(text, "date_utc") for text in date)
    try:
        return day_and_seconds(day_number(year, month, day), row["seconds_of_day"])
    except InputError as error:
        raise line.error(
            error.problem, "date_utc, seconds_of_day", error.found, error.expected
        ) from error


def _texts(column: Column, name: str, line: Callable[[int], Line]) -> NDArray[np.str_]:
    masked = np.ma.getmaskarray(column)
    if masked.any():
        raise line(int(np.argmax(masked))).error("the value is missing", name)
    return np.array([str(value) for value in np.asarray(column).tolist()], dtype=str)


def _numbers(
    column: Column,
    name: str,
    unit: u.UnitBase,
    needed: NDArray[np.bool_],
    line: Callable[[int], Line],
) -> NDArray[np.float64]:
    first = line(0)
    if np.ma.getmaskarray(column).any():
        raise line(int(np.argmax(np.ma.getmaskarray(column)))).error("the value is missing", name)
    if column.dtype.kind not in "fiu":
        raise InputError("not a column of numbers", source=first.source, field=name)
    try:
        given = u.Unit(column.unit) if column.unit is not None else None
        # Several units at once, or a logarithmic one, have no factor.
        factor = given.to(unit) if isinstance(given, u.UnitBase) else None
    except (u.UnitConversionError, ValueError, TypeError):
        factor = None
    if factor is None:
        raise InputError(
            "the unit is missing or of another dimension",
            source=first.source,
            field=name,
            found=str(column.unit),
            expected=f"{unit} or a multiple",
        )
    # Times 1.0 is exact: a table in the package's own units is read to the last bit.
    values = np.asarray(column, dtype=float) * factor
    bad = needed & ~np.isfinite(values)
    if bad.any():
        row = int(np.argmax(bad))
        raise line(row).error("not a finite number", name, found=float(values[row]))
    return values


def _epochs(texts: NDArray[np.str_], line: Callable[[int], Line]) -> Time:
    parts = []
    for row, text in enumerate(texts.tolist()):
        try:
            parts.append(parse_calendar(text))
        except InputError as error:
            raise line(row).error(error.problem, EPOCH, error.found, error.expected) from error
    return utc_time(parts)
