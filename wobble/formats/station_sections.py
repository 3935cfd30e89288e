"""Stations in a scenario or a catalogue.

In: the sections ``stations`` (a catalogue file and whom to use) and ``station.NAME``. Out:
`Station` objects.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from wobble.earth.stations import HorizonMask, Station
from wobble.errors import InputError, UnknownNameError
from wobble.formats.toml_section import Section, read_toml

__all__ = ["read_catalogue", "read_stations"]


def read_catalogue(path: str | Path) -> tuple[Station, ...]:
    """Read a station catalogue: a TOML file of ``[station.NAME]`` tables.

    Raises
    ------
    InputError
        With file, line and key of what is wrong.
    """
    top = read_toml(path)
    stations = tuple(_station(name, s) for name, s in top.section("station").named_sections())
    top.finish()
    return stations


def read_stations(top: Section) -> tuple[Station, ...]:
    section = top.section("stations", {})
    found: list[Station] = []
    if "catalogue" in section:
        catalogue = read_catalogue(section.path.parent / section.text("catalogue"))
        by_name = {s.name: s for s in catalogue}
        for name in section.texts("use", list(by_name)):
            if name not in by_name:
                raise UnknownNameError(
                    "station",
                    name,
                    by_name,
                    source=section.path,
                    line=section.line("use"),
                    field="stations.use",
                )
            found.append(by_name[name])
    section.finish()
    own = top.section("station", {})
    found += [_station(name, s) for name, s in own.named_sections()]
    if not found:
        raise InputError(
            "no station", source=top.path, field="stations", expected="a catalogue or [station.X]"
        )
    return tuple(found)


def _station(name: str, section: Section) -> Station:
    mask = (
        HorizonMask(
            section.quantities("mask_azimuth", "rad"), section.quantities("mask_elevation", "rad")
        )
        if "mask_azimuth" in section
        else HorizonMask.flat(section.quantity("mask", "rad", "6 deg"))
    )
    try:
        station = Station(
            name=name,
            position=np.array([section.quantity(axis, "m") for axis in "xyz"]),
            velocity=np.array(
                [section.quantity(f"velocity_{axis}", "m / s", "0 m / s") for axis in "xyz"]
            ),
            epoch=section.number("epoch", 2015.0),
            mask=mask,
            transmit_elevation=section.quantity("transmit_elevation", "rad", "10 deg"),
            delay=section.quantity("delay", "s", "0 s"),
        )
    except InputError as error:
        raise section.located(error) from error
    section.finish()
    return station
