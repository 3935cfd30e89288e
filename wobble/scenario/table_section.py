"""A text table of measurements as a scenario describes it.

In: a section ``data.table``. Out: a `TextTable`. The keys:

    [[data.table]]
    file = "ranges.txt"
    separator = "blanks"            # comma, semicolon, tab, or fixed
    comment = "#"
    columns = { lander = 1, station = 2, time = [3, 4], value = 5, sigma = 6 }
    kind = "range"                  # range_rate, one_way_range_rate
    unit = "us"                     # of the values; sigma_unit where that of sigma is another
    path = "round trip"             # or one way
    time = "%Y-%m-%d %H:%M:%S"      # a pattern, or iso, mjd, jd, seconds of the year
    scale = "UTC"                   # TAI, TT, TDB, GPS
    tag = "reception"               # transmission; middle, start or end of a count
    frequency = "7.2 GHz"           # what is the same in all rows: also station, lander,
                                    # transmitter, receiver, sigma, count_time
    gap = "3 h"                     # a pass ends where nothing is measured for so long

    [data.table.stations]           # name in the table = name here, or by date
    "5" = "north"
    "6" = [{ is = "west_old", until = 1979-08-09 }, { is = "west" }]

    [data.table.landers]
    "1" = "heron"

Columns are numbers from 1, names in a head line, or, of fixed width, characters ``"1-2"``.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from wobble.errors import InputError
from wobble.files.described_table import Place, TextTable
from wobble.measurements.columns import ROLES, Renamed, TableDescription
from wobble.measurements.kinds import KINDS
from wobble.text.toml_section import Section

__all__ = ["read_table"]

CHOICES = {
    "path": "round trip",
    "time": "iso",
    "scale": "UTC",
    "tag": "reception",
    "sigma_unit": "",
}
"""Keys with a word, and what is taken without it."""


def read_table(section: Section, stations: Iterable[str], landers: Iterable[str]) -> TextTable:
    """The description of a table; its stations and landers are those of the scenario."""
    path = section.path.parent / section.text("file")
    stations, landers = set(stations), set(landers)
    separator = section.text("separator", "blanks")
    comment = section.text("comment", "#")
    kind, unit = section.text("kind"), section.text("unit")
    try:
        description = TableDescription(
            kind,
            unit,
            constants=_constants(section, kind),
            stations=_stations(section.section("stations", {}), stations),
            landers=_landers(section.section("landers", {}), landers),
            known=stations | landers,
            turnaround=_ratio(section),
            gap=section.quantity("gap", "s", "3 h"),
            **{key: section.text(key, default) for key, default in CHOICES.items()},
        )
        table = TextTable(path, description, _columns(section, separator), separator, comment)
    except InputError as error:
        raise section.located(error) if error.line is None else error from error
    section.finish()
    return table


def _constants(section: Section, kind: str) -> dict[str, str | float]:
    """What is the same in all rows."""
    found: dict[str, str | float] = {
        key: section.text(key)
        for key in ("station", "transmitter", "receiver", "lander")
        if key in section
    }
    si = KINDS[kind].si if kind in KINDS else "m"
    for key, unit in (("frequency", "Hz"), ("count_time", "s"), ("sigma", si)):
        if key in section:
            found[key] = section.quantity(key, unit)
    return found


def _ratio(section: Section) -> float:
    """A turnaround ratio, as a fraction or a number; NaN where none is given."""
    text = section.text("turnaround", "")
    if not text:
        return np.nan
    try:
        above, _, below = text.partition("/")
        return float(above) / float(below or 1)
    except (ValueError, ZeroDivisionError) as error:
        raise section.error("turnaround", "is no ratio", text, 'such as "880/749"') from error


def _columns(section: Section, separator: str) -> Mapping[str, Sequence[Place]]:
    """Where each part of a measurement stands."""
    given = section.section("columns")
    found: dict[str, Sequence[Place]] = {}
    for role in given:
        given.require_known(role, ROLES)
        given.ask(role)
        value = given.content()[role]
        places = value if isinstance(value, list) else [value]
        found[role] = [_place(given, role, place, separator) for place in places]
    given.finish()
    return found


def _place(section: Section, role: str, place: object, separator: str) -> Place:
    if separator == "fixed":
        first, _, last = str(place).partition("-")
        if first.isdigit() and (last or first).isdigit() and 0 < int(first) <= int(last or first):
            return int(first), int(last or first)
        raise section.error(role, "is no place in a line", str(place), 'characters, such as "1-2"')
    if isinstance(place, str) or (isinstance(place, int) and place > 0):
        return place
    raise section.error(
        role, "is no column", str(place), "a number from 1, or a name of the head line"
    )


def _stations(section: Section, known: set[str]) -> dict[str, tuple[Renamed, ...]]:
    """Stations by their names in the table, with dates where a name changes its meaning."""
    found: dict[str, tuple[Renamed, ...]] = {}
    for name in section:
        value = section.content()[name]
        if isinstance(value, str):
            found[name] = (Renamed(_known(section, name, section.text(name), known)),)
            continue
        found[name] = tuple(
            Renamed(
                _known(meaning, "is", meaning.text("is"), known),
                meaning.epoch("until") if "until" in meaning else None,
            )
            for meaning in section.sections(name)
        )
    section.finish()
    return found


def _landers(section: Section, known: set[str]) -> dict[str, str]:
    found = {name: _known(section, name, section.text(name), known) for name in section}
    section.finish()
    return found


def _known(section: Section, key: str, name: str, known: set[str]) -> str:
    if name not in known:
        raise section.error(key, "no such name in the scenario", name, ", ".join(sorted(known)))
    return name
