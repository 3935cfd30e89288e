"""Tables in ECSV, astropy's text form of tables with units, which other programs read too.

In: a table and what made it, or the path of a file and the columns that it must have. Out: the
text, or the table; whatever is wrong with a file is an `InputError` that names it.
"""

from __future__ import annotations

import io
import os
import warnings
from collections.abc import Mapping, Sequence

from astropy.io import ascii as astropy_ascii
from astropy.table import Table

from wobble.errors import InputError
from wobble.text.lines import read_lines

__all__ = ["ecsv_text", "read_ecsv"]

HEAD = "# %ECSV"


def ecsv_text(table: Table, meta: Mapping[str, object] | None = None) -> str:
    """A table as text in ECSV, with what made it in its head."""
    table = table.copy(copy_data=False)
    table.meta = {**table.meta, **(meta or {})}
    text = io.StringIO()
    table.write(text, format="ascii.ecsv")
    return text.getvalue()


def read_ecsv(path: str | os.PathLike[str], columns: Sequence[str] = ()) -> Table:
    """Read a table, plain or gzip-compressed.

    Parameters
    ----------
    path : path
    columns : sequence of str
        Those that it must have.

    Raises
    ------
    InputError
        If the file cannot be read, is empty, binary or cut off, is no ECSV, or lacks a column.
    """
    lines = []
    for line in read_lines(path):
        if not line.ended:
            raise line.error("the table is cut off: its last line has no end")
        lines.append(line.text)
    if not lines[0].startswith(HEAD):
        raise InputError(
            "not a table in ECSV", source=path, line=1, found=lines[0][:40], expected=f"{HEAD} 1.0"
        )
    try:
        with warnings.catch_warnings():
            # The reader warns of what the format does not know, and goes on; leap seconds that
            # are not yet announced are no fault of the table.
            warnings.simplefilter("error")
            warnings.filterwarnings("ignore", message=".*dubious year")
            table = astropy_ascii.read(lines, format="ecsv", guess=False)
    except Exception as error:  # it raises whatever a broken table provokes
        problem = str(error).partition("\n")[0]
        raise InputError(f"cannot be read as ECSV ({problem})", source=path) from error
    for column in columns:
        if column not in table.colnames:
            raise InputError(
                "a column is missing",
                source=path,
                field=column,
                found=", ".join(table.colnames),
                expected=", ".join(columns),
            )
    return table
