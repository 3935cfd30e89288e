"""Stations in a scenario or a catalogue.

In: the sections ``stations`` and ``station.NAME``. Out: `Station` objects.

Coordinates come from a ``catalogue`` (a TOML file of ``[station.NAME]`` tables), from the solution
of a terrestrial frame (``sinex``; its ``discontinuities`` may stand in a file of their own), or
from ``[station.NAME]`` itself. ``use`` names those of a catalogue or, by their four-character code
or DOMES number, of a frame that are wanted; ``names`` gives sites of a frame other names. A
``[station.NAME]`` of a name that comes from a frame says the rest of it: masks, delays, mount.

``ocean_loading`` names a BLQ file. A station's block there is the one with its own name, with
its code or DOMES number in the frame, or with its key ``site``.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from astropy.time import Time

from wobble.earth.displacement import OceanLoading
from wobble.earth.stations import HorizonMask, Station
from wobble.errors import InputError, UnknownNameError
from wobble.files.blq import read_blq
from wobble.files.sinex import Sinex, read_sinex
from wobble.scenario.mask_section import read_mask
from wobble.text.toml_section import Section, read_toml

__all__ = [
    "known_station_names",
    "read_catalogue",
    "read_stations",
    "without_ocean_loading",
]

Span = tuple[Time, Time] | None
# More than this is a wrong unit or a wrong exponent.
LARGEST = {
    "delay": ("s", 0.1),
    "clock_offset": ("s", 1.0),
    "zenith_wet_delay": ("m", 1.0),
    "axis_offset": ("m", 20.0),
}


def read_catalogue(path: str | Path) -> tuple[Station, ...]:
    """Read a station catalogue: a TOML file of ``[station.NAME]`` tables.

    Raises
    ------
    InputError
        With file, line and key of what is wrong.
    """
    return tuple(_catalogue(Path(path), None).values())


def read_stations(top: Section, span: Span) -> tuple[Station, ...]:
    """The stations of a scenario.

    Parameters
    ----------
    top : Section
    span : tuple of Time or None
        Over which the coordinates of a frame must hold.
    """
    section = top.section("stations", {})
    own = top.section("station", {})
    loading = _Loading.of(section)
    found: dict[str, Station] = {}
    framed: dict[str, Station] = {}
    if "catalogue" in section and "sinex" in section:
        raise section.error("sinex", "there is a catalogue as well", "both", "one of the two")
    if "catalogue" in section:
        catalogue = _catalogue(section.file("catalogue"), loading)
        for name in section.texts("use", list(catalogue)):
            if name not in catalogue:
                raise UnknownNameError(
                    "station",
                    name,
                    catalogue,
                    source=section.path,
                    line=section.line("use"),
                    field="stations.use",
                )
            found[name] = catalogue[name]
    elif "sinex" in section:
        framed = _of_frame(section, own, span, loading)
        found |= framed
    section.finish()
    found |= {
        name: _station(name, given, loading)
        for name, given in own.named_sections()
        if name not in framed
    }
    if not found:
        raise InputError(
            "no station",
            source=top.path,
            field="stations",
            expected="a catalogue, a frame or [station.X]",
        )
    return tuple(found.values())


def known_station_names(top: Section, used: Iterable[Station]) -> list[str]:
    """Names of the stations of a scenario, and of those in its catalogue that it does not use."""
    names = [station.name for station in used]
    section = top.section("stations", {})
    if "catalogue" in section:
        names += [s.name for s in read_catalogue(section.file("catalogue"))]
    return list(dict.fromkeys(names))


def without_ocean_loading(stations: tuple[Station, ...]) -> list[str]:
    """A sentence on the stations that have no coefficients, if others have."""
    without = [station.name for station in stations if station.ocean_loading is None]
    return [f"no ocean loading is known of {', '.join(without)}"] if without else []


class _Loading:
    """Blocks of a BLQ file by the names under which they may be asked for."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._blocks = read_blq(path)

    @classmethod
    def of(cls, section: Section) -> _Loading | None:
        """The file that a scenario names, if it names one."""
        if "ocean_loading" not in section:
            return None
        return cls(section.file("ocean_loading"))

    def find(self, *names: str) -> OceanLoading | None:
        """The block of a station; small and capital letters are alike.

        A block's name is the whole line or one of its words.
        """
        wanted = {name.casefold() for name in names}
        found = [
            block
            for block in self._blocks
            if not wanted.isdisjoint({block.casefold(), *block.casefold().split()})
        ]
        if len(found) > 1:
            raise InputError(
                "several blocks belong to the station",
                source=self.path,
                field=f"station {names[0]}",
                found=found,
                expected="one block",
            )
        return self._blocks[found[0]] if found else None


def _catalogue(path: Path, loading: _Loading | None) -> dict[str, Station]:
    top = read_toml(path)
    stations = {
        name: _station(name, given, loading)
        for name, given in top.section("station").named_sections()
    }
    top.finish()
    return stations


def _of_frame(
    section: Section, own: Section, span: Span, loading: _Loading | None
) -> dict[str, Station]:
    """The stations that come from the solution of a terrestrial frame."""
    files = [section.file("sinex")]
    if "discontinuities" in section:
        files.append(section.file("discontinuities"))
    frame = read_sinex(*files)
    renamed = section.section("names", {})
    used = section.texts("use", frame.codes)
    for site in renamed:
        if site not in used:
            raise UnknownNameError(
                "site", site, used, source=section.path, line=renamed.line(site), field="names"
            )
    found = {}
    for site in used:
        name = renamed.text(site, site)
        if name in found:
            raise section.error("names", "two sites have one name", name, "a name for each")
        given = own.section(name, {})
        found[name] = _station(name, given, loading, *_place(section, frame, site, span))
    return found


def _place(
    section: Section, frame: Sinex, site: str, span: Span
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Coordinates of a site, and the names under which files know it."""
    solution = frame.over(site, *(span or (None, None)))
    if not np.isfinite(solution.velocity).all():
        raise section.error(
            "use", f"the frame has no velocity of site {site}", site, "a site with velocities"
        )
    place = {
        "position": solution.position,
        "velocity": solution.velocity,
        "epoch": solution.epoch,
        "valid": (solution.start, solution.end),
    }
    return place, frame.names(solution)


def _station(
    name: str,
    section: Section,
    loading: _Loading | None,
    place: dict[str, Any] | None = None,
    aliases: tuple[str, ...] = (),
) -> Station:
    if "site" in section:
        aliases = (*aliases, section.text("site"))
    numbers: dict[str, Any] = {
        key: _limited(section, key, *limit) for key, limit in LARGEST.items()
    }
    try:
        station = Station(
            name=name,
            **(place or _coordinates(section)),
            mask=read_mask(section, HorizonMask.flat(section.quantity("mask", "rad", "6 deg"))),
            transmit_elevation=section.quantity("transmit_elevation", "rad", "10 deg"),
            mount=section.text("mount", "azimuth-elevation"),
            ocean_loading=loading.find(name, *aliases) if loading else None,
            **numbers,
        )
    except InputError as error:
        raise section.located(error) from error
    section.finish()
    return station


def _coordinates(section: Section) -> dict[str, Any]:
    return {
        "position": np.array([section.quantity(axis, "m") for axis in "xyz"]),
        "velocity": np.array(
            [section.quantity(f"velocity_{axis}", "m / s", "0 m / s") for axis in "xyz"]
        ),
        "epoch": section.number("epoch", 2015.0),
    }


def _limited(section: Section, key: str, unit: str, largest: float) -> float:
    value = section.quantity(key, unit, f"0 {unit}")
    if abs(value) > largest:
        raise section.error(key, "is out of range", f"{value:g} {unit}", f"at most {largest:g}")
    return value
