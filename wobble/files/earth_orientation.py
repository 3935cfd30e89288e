"""Earth-orientation tables in the standard text forms of the IERS.

In: a file, plain or gzip-compressed. Out: an `OrientationTable`, in place of the packaged one.

Two forms are known, told apart by the first line:

* ``finals2000A`` (``.all``, ``.data``, ``.daily``): rapid and predicted values, columns of fixed
  width, celestial-pole offsets dX, dY about IAU 2000A; where predictions give none, the last
  ones are held;
* ``C04`` in the form of 2020 (``eopc04.1962-now``), whose head is made of lines with ``#``.

Older files have offsets dPsi, dEps about IAU 1980 in the same columns; they are known by their
size and refused. Source: readme.finals2000A of the IERS, and the head of the C04 file.
"""

from __future__ import annotations

import os
import tempfile
import warnings
from pathlib import Path

import numpy as np
from astropy.io import ascii as astropy_ascii
from astropy.table import Table
from astropy.utils.iers import IERS_A_README, IERS_B_README

from wobble.constants import MAS
from wobble.earth.orientation import OrientationTable, table_of
from wobble.errors import InputError
from wobble.text.lines import Line, read_lines

__all__ = ["read_earth_orientation"]

# About IAU 2000A the offsets are below 1 mas, but for some days of the early years (-8.7 mas in
# 1982); about IAU 1980 they are some tens to a hundred on every day.
USUAL_OFFSET = 5.0 * MAS
LARGEST_OFFSET = 20.0 * MAS
LARGEST_POLE = 1000.0 * MAS
FINALS_WIDTH = 68  # up to the error of UT1 - UTC


def read_earth_orientation(path: str | os.PathLike[str]) -> OrientationTable:
    """Read a table of Earth orientation.

    Raises
    ------
    InputError
        If the file cannot be read, is cut off, is in neither form, or has values that no table
        about IAU 2000A has.
    """
    lines = list(read_lines(path))
    source = os.path.basename(os.fspath(path))
    try:
        if lines[0].text.startswith("#"):
            table = table_of(source, final=_read(_c04(lines), IERS_B_README))
        else:
            table = table_of(source, weekly=_read(_finals(lines), IERS_A_README))
    except InputError as error:
        if error.source != source:
            raise
        raise InputError(
            error.problem,
            source=path,
            field=error.field,
            found=error.found,
            expected=error.expected,
        ) from error
    except Exception as error:  # the reader raises whatever a broken line provokes
        raise InputError(
            f"cannot be read as a table of Earth orientation ({error})", source=path
        ) from error
    _require_sizes(table, path)
    return table


def _read(rows: list[str], description: str) -> Table:
    """The table of checked lines, by astropy's own description of the columns."""
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        # The reader finds the description of a table by the name of its file: it takes no text.
        file = Path(folder) / "table"
        file.write_text("\n".join(rows) + "\n", encoding="ascii")
        return astropy_ascii.read(str(file), format="cds", readme=description, data_start=0)


def _c04(lines: list[Line]) -> list[str]:
    rows = [line for line in lines if line.text.strip() and not line.text.startswith("#")]
    if not rows:
        raise lines[-1].error("the table of Earth orientation has no row")
    for line in rows:
        if not line.ended:
            raise line.error("the file is cut off: its last line has no end")
        fields = line.text.split()
        if len(fields) < 21:
            raise line.error("another number of columns", found=len(fields), expected="21, C04")
        for number, text in enumerate(fields, start=1):
            line.real(text, f"column {number}")
    return [line.text for line in rows]


def _finals(lines: list[Line]) -> list[str]:
    rows = [line for line in lines if line.text.strip()]
    for line in rows:
        if not line.ended:
            raise line.error("the file is cut off: its last line has no end")
        year, month, day = (line.integer(line.text[k : k + 2].strip(), "date") for k in (0, 2, 4))
        mjd = line.real(line.text[7:15].strip(), "MJD")
        expected = _mjd(year + (1900 if mjd < 51544.0 else 2000), month, day)
        if mjd != expected:
            raise line.error("the date is not that of the day", "MJD", found=mjd, expected=expected)
        if (
            line.text[16:17] in "IP"
            and len(line.text.rstrip()) < FINALS_WIDTH
            and line.text[57:58].strip()
        ):
            raise line.error("the line is cut off", found=line.text.strip()[-20:])
    return [f"{line.text:<187}" for line in rows]


def _mjd(year: int, month: int, day: int) -> float:
    date = np.datetime64(f"{year:04d}-{month:02d}-{day:02d}")
    return float((date - np.datetime64("1858-11-17")) / np.timedelta64(1, "D"))


def _require_sizes(table: OrientationTable, path: str | os.PathLike[str]) -> None:
    for names, largest, what in (
        (("x_pole", "y_pole"), LARGEST_POLE, "a pole within 1 arcsecond"),
        (("dx", "dy"), LARGEST_OFFSET, "offsets from IAU 2000A, below 20 mas"),
    ):
        for name in names:
            worst = int(np.argmax(np.abs(getattr(table, name))))
            value = float(getattr(table, name)[worst])
            if not abs(value) <= largest:
                raise InputError(
                    f"not a value of such a table, on MJD {table.mjd[worst]:.0f}",
                    source=path,
                    field=name,
                    found=f"{value / MAS:.3f} mas",
                    expected=what,
                )
    for name in ("dx", "dy"):
        usual = float(np.median(np.abs(getattr(table, name))))
        if usual > USUAL_OFFSET:
            raise InputError(
                "the offsets of the celestial pole are not those from IAU 2000A",
                source=path,
                field=name,
                found=f"{usual / MAS:.1f} mas on half of the days",
                expected="below 1 mas on most days",
            )
    # UT1 - TAI loses some 0 to 1 s a year; a jump is a leap second that was taken for none.
    steps = np.abs(np.diff(table.ut1_minus_tai))
    if (steps > 0.5).any():
        raise InputError(
            "UT1 - TAI jumps: a leap second is missing or too many",
            source=path,
            field="UT1-UTC",
            found=f"a step of {steps.max():.3f} s after MJD {table.mjd[int(np.argmax(steps))]:.0f}",
        )
