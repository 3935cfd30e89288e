"""Horizon masks in a scenario or a catalogue: of a station and of a lander alike.

In: a section with ``mask_azimuth`` and ``mask_elevation`` (lists), or ``mask_file`` (a table in
ECSV with the columns ``azimuth`` and ``elevation``, each with its unit, relative to the file
that names it). Out: a `HorizonMask`.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from astropy import units

from wobble.earth.stations import HorizonMask
from wobble.errors import InputError
from wobble.text.ecsv import read_ecsv
from wobble.text.toml_section import Section

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
        return _mask_of_file(section.file("mask_file"))
    return otherwise


def _mask_of_file(path: Path) -> HorizonMask:
    table = read_ecsv(path, ("azimuth", "elevation"))
    columns = []
    for name in ("azimuth", "elevation"):
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
        raise error.of(path) from error
