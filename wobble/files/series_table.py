"""Weather and media series from plain tables with units (ECSV).

In: a table with the columns ``time`` (UTC) and ``station`` and at least one of those below, each
with its unit; NaN or a masked value where a row does not give it. Out: a `WeatherSeries` or
a `MediaSeries`.

====================  ==============================================================
weather               ``pressure``, ``temperature`` (K or deg_C), ``humidity`` (%), ``wind``
                      (speed), ``rain`` (rate, such as mm/h)
media                 ``zenith_dry``, ``zenith_wet`` (delays, m), ``vertical_content``,
                      ``slant_content`` (electrons, 1/m2 or TECU = 1e16/m2)
====================  ==============================================================
"""

from __future__ import annotations

import os
from typing import Any, TypeVar

import astropy.units as u
import numpy as np
from astropy.table import Table
from astropy.time import Time
from numpy.typing import NDArray

from wobble.earth.series import MediaSeries, StationSeries, WeatherSeries
from wobble.errors import InputError, UnknownNameError
from wobble.text.ecsv import read_ecsv
from wobble.text.time_tags import parse_calendar, utc_time

__all__ = ["COLUMNS", "read_series"]

Array = NDArray[np.float64]
Series = TypeVar("Series", bound=StationSeries)

TECU = u.def_unit("TECU", 1e16 / u.m**2)

COLUMNS: dict[type[StationSeries], dict[str, tuple[str, u.UnitBase]]] = {
    WeatherSeries: {
        "pressure": ("pressure_hpa", u.hPa),
        "temperature": ("temperature_k", u.K),
        "humidity": ("humidity_percent", u.percent),
        "wind": ("wind_m_s", u.m / u.s),
        "rain": ("rain_mm_h", u.mm / u.h),
    },
    MediaSeries: {
        "zenith_dry": ("zenith_dry_m", u.m),
        "zenith_wet": ("zenith_wet_m", u.m),
        "vertical_content": ("vertical_content", u.m**-2),
        "slant_content": ("slant_content", u.m**-2),
    },
}
"""For each kind of series its columns: name and unit in the series."""


def read_series(kind: type[Series], path: str | os.PathLike[str], **settings: Any) -> Series:
    """Read a series from a table, plain or gzip-compressed.

    Parameters
    ----------
    kind : type
        `WeatherSeries` or `MediaSeries`.
    path : path
    **settings
        ``longest_gap`` (s) and ``outside`` of the series.

    Raises
    ------
    InputError
        If the file cannot be read, is cut off, a column is missing or unknown, has no unit or
        one of another dimension, or holds a value out of its physical range.
    """
    table = _table(path)
    known = COLUMNS[kind]
    for name in ("time", "station"):
        if name not in table.colnames:
            raise InputError("the column is missing", source=path, field=name, found=table.colnames)
    for name in table.colnames:
        if name not in (*known, "time", "station"):
            raise UnknownNameError("column", name, [*known, "time", "station"], source=path)
    given = [name for name in known if name in table.colnames]
    if not given:
        raise InputError("the table has no quantity", source=path, expected=", ".join(known))
    for name in given:
        quantity, unit = known[name]
        settings[quantity] = _numbers(table[name], unit, path)
    return kind(
        station=np.array([str(s) for s in _filled(table["station"], path)], str),
        epoch=_times(table["time"], path),
        source=os.fspath(path),
        **settings,
    )


def _table(path: str | os.PathLike[str]) -> Table:
    with u.add_enabled_units([TECU]):
        table = read_ecsv(path)
    if not len(table):
        raise InputError("the table has no row", source=path)
    return table


def _filled(column: Any, path: str | os.PathLike[str]) -> list[object]:
    """The values of a column in which none may be missing."""
    masked = np.ma.getmaskarray(column)
    if masked.any():
        row = int(np.argmax(masked))
        raise InputError(f"row {row} has no value", source=path, field=column.name)
    return list(np.asarray(column).tolist())


def _times(column: Any, path: str | os.PathLike[str]) -> Time:
    if isinstance(column, Time):  # written by astropy itself
        if column.scale != "utc":
            raise InputError("another scale", source=path, field="time", found=column.scale)
        return column
    parts = []
    for row, text in enumerate(_filled(column, path)):
        try:
            parts.append(parse_calendar(str(text)))
        except InputError as error:
            raise InputError(
                f"row {row}: {error.problem}",
                source=path,
                field="time",
                found=error.found,
                expected=error.expected,
            ) from error
    return utc_time(parts)


def _numbers(column: Any, unit: u.UnitBase, path: str | os.PathLike[str]) -> Array:
    """A column in a unit; NaN where it is masked."""
    if column.dtype.kind not in "fiu":
        raise InputError("not a column of numbers", source=path, field=column.name)
    values: Array = np.ma.filled(np.ma.asarray(column, float), np.nan)
    try:
        if column.unit is None:
            raise u.UnitConversionError("no unit")
        quantity = u.Quantity(values, column.unit)
        return np.asarray(quantity.to_value(unit, equivalencies=u.temperature()), float)
    except (u.UnitConversionError, ValueError, TypeError) as error:
        raise InputError(
            "the unit is missing or of another dimension",
            source=path,
            field=column.name,
            found=str(column.unit),
            expected=f"{unit} or a multiple",
        ) from error
