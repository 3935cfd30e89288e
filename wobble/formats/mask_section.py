"""Horizon masks in a scenario or a catalogue: of a station and of a lander alike.

In: a section with ``mask_azimuth`` and ``mask_elevation`` (lists), or ``mask_file`` (a table in
ECSV with the columns ``azimuth`` and ``elevation``, each with its unit, relative to the file
that names it). Out: a `HorizonMask`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from astropy import units
from astropy.io import ascii as astropy_ascii

from wobble.earth.stations import HorizonMask
from wobble.errors import InputError
from wobble.formats.toml_section import Section

__all__ = ["read_mask"]


def read_mask(section: Section, otherwise: HorizonMask) -> HorizonMask:
    """The mask that a section gives, or another where it gives none.

    Raises
    ------
    InputError
        If it gives two, or one that is no mask; or if a file cannot be read.
    """
    both = [key for key in ("mask_azimuth", "mask_file") if key in section]
    if len(both) > 1:
        raise section.error("mask_file", "two masks", ", ".join(both), "a file or two lists")
    if "mask_azimuth" in section:
        azimuth = section.quantities("mask_azimuth", "rad")
        elevation = section.quantities("mask_elevation", "rad")
        try:
            return HorizonMask(azimuth, elevation)
        except InputError as error:
            raise section.located(error, "mask_azimuth") from error
    if "mask_file" in section:
        return _mask_of_file(section.path.parent / section.text("mask_file"))
    return otherwise


def _mask_of_file(path: Path) -> HorizonMask:
    try:
        text = path.read_text(encoding="utf-8")
        table = astropy_ascii.read(text.splitlines(), format="ecsv")
    except OSError as error:
        raise InputError(f"cannot be read ({error.strerror})", source=path) from error
    except (UnicodeDecodeError, ValueError, astropy_ascii.InconsistentTableError) as error:
        raise InputError(f"cannot be read as ECSV ({error})", source=path) from error
    columns = []
    for name in ("azimuth", "elevation"):
        if name not in table.colnames:
            raise InputError(
                "a column is missing", source=path, field=name, found=", ".join(table.colnames)
            )
        try:
            factor = units.Unit(table[name].unit or "").to("rad")
            columns.append(np.asarray(table[name], float) * factor)
        except (units.UnitConversionError, ValueError) as error:
            raise InputError(
                "is no column of angles", source=path, field=name, expected="numbers, unit: deg"
            ) from error
    try:
        return HorizonMask(*columns)
    except InputError as error:
        raise InputError(error.problem, source=path, field=error.field) from error
