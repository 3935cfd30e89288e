"""Orientation angles from a file of values: polar motion, say, or a measured length of day.

In: a table in ECSV with a column ``epoch`` (UTC, ISO) and one column for each angle that it
gives (``polar_x``, ``polar_y``, ``spin``, ``node``, ``obliquity``), each with its unit. Out: a
term of the rotation model, a cubic spline through the values.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from astropy import units
from astropy.table import Table
from astropy.time import Time

from wobble.epochs import Epochs
from wobble.errors import InputError, UnknownNameError
from wobble.planet.angle_terms import ANGLES
from wobble.planet.cubic_table import CubicTable
from wobble.planet.series_terms import TabulatedAngles
from wobble.text.ecsv import read_ecsv

__all__ = ["read_angle_table"]


def read_angle_table(path: str | Path) -> TabulatedAngles:
    """Read a table of angles.

    Raises
    ------
    InputError
        If the file cannot be read, lacks the epochs, has a column that is no angle or has no
        unit of an angle, or its epochs do not increase.
    """
    table = read_ecsv(path, ("epoch",))
    columns = [name for name in table.colnames if name != "epoch"]
    if not columns:
        raise InputError("no angle", source=path, expected=f"a column {' or '.join(ANGLES)}")
    values = np.column_stack([_radians(table, name, path) for name in columns])
    try:
        epochs = Epochs.from_time(Time(list(table["epoch"]), scale="utc"))
    except ValueError as error:
        raise InputError(
            f"a date cannot be read ({error})", source=path, field="epoch", expected="UTC, ISO"
        ) from error
    try:
        spline = CubicTable.through(epochs, values, f"the table {Path(path).name}")
    except InputError as error:
        error.source = str(path)
        raise
    return TabulatedAngles(spline, tuple(ANGLES.index(name) for name in columns))


def _radians(table: Table, name: str, path: str | Path) -> np.ndarray:
    if name not in ANGLES:
        raise UnknownNameError("angle", name, ANGLES, source=path, field=name)
    column = table[name]
    if np.any(getattr(column, "mask", False)):
        raise InputError("a value is missing", source=path, field=name)
    try:
        return np.asarray(units.Quantity(column).to_value("rad"), float)
    except (units.UnitConversionError, TypeError, ValueError) as error:
        raise InputError(
            "a column is not an angle", source=path, field=name, expected="a unit such as mas"
        ) from error
