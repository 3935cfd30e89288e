"""Station calendars in a scenario.

In: the sections ``calendar.NAME``, with the keys

    weekly = ["Mon-Fri 06:00-18:00", "Sat 22:00-04:00", "daily 01:00-02:00"]   # UTC
    available = ["2031-05-10T00:00/2031-05-11T12:00"]   # dates added to the weekly hours
    taken = ["2031-06-01T04:00/2031-06-01T09:00"]       # hours that others have
    setup = "20 min"                                    # between two passes of the station

Out: the stations with their calendars. Dates are intervals of ISO 8601: begin, solidus, end.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

from astropy.time import Time

from wobble.earth.station_calendar import StationCalendar
from wobble.earth.stations import Station
from wobble.errors import InputError, UnknownNameError
from wobble.text.toml_section import Section

__all__ = ["day_hours", "with_calendars"]

Part = TypeVar("Part")
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
HOURS = re.compile(r"([01]?\d|2[0-4]):([0-5]\d)\s*-\s*([01]?\d|2[0-4]):([0-5]\d)")
WEEKLY = re.compile(rf"(daily|\w+)(?:-(\w+))?\s+({HOURS.pattern})")
HOUR = 3600.0


def with_calendars(stations: tuple[Station, ...], section: Section) -> tuple[Station, ...]:
    """The same stations, those with a calendar having it.

    Raises
    ------
    InputError
        With file, line and key of what is wrong.
    """
    names = [station.name for station in stations]
    calendars: dict[str, StationCalendar] = {}
    for name, own in section.named_sections():
        if name not in names:
            raise UnknownNameError(
                "station", name, names, source=own.path, line=section.line(name), field="calendar"
            )
        calendars[name] = _calendar(own)
    return tuple(
        replace(s, calendar=calendars[s.name]) if s.name in calendars else s for s in stations
    )


def day_hours(text: str) -> tuple[float, float]:
    """Begin and end, h, of a text such as "06:00-18:00"; a begin equal to its end is a day.

    Raises
    ------
    ValueError
        If it is no such text.
    """
    match = HOURS.fullmatch(text.strip())
    if match is None:
        raise ValueError("no hours of a day")
    h0, m0, h1, m1 = (int(group) for group in match.groups())
    begin, end = h0 + m0 / 60.0, h1 + m1 / 60.0
    if max(begin, end) > 24.0:
        raise ValueError("no hours of a day")
    return begin, end


def _calendar(section: Section) -> StationCalendar:
    weekly = _parsed(section, "weekly", _week_hours, '"Mon-Fri 06:00-18:00" or "daily 01:00-02:00"')
    dates = '"2031-05-10T00:00/2031-05-11T12:00", UTC'
    try:
        calendar = StationCalendar(
            weekly=tuple(hours for group in weekly for hours in group),
            available=tuple(_parsed(section, "available", _dates, dates)),
            taken=tuple(_parsed(section, "taken", _dates, dates)),
            setup=section.quantity("setup", "s", "0 s"),
        )
    except InputError as error:
        raise section.located(error) from error
    section.finish()
    return calendar


def _parsed(section: Section, key: str, parse: Callable[[str], Part], expected: str) -> list[Part]:
    parts = []
    for text in section.texts(key, []):
        try:
            parts.append(parse(text))
        except ValueError as error:
            raise section.error(key, "cannot be understood", text, expected) from error
    return parts


def _week_hours(text: str) -> list[tuple[float, float]]:
    """Begin and end, s after Monday 00:00, for each day of a text."""
    match = WEEKLY.fullmatch(text.strip())
    if match is None:
        raise ValueError("no hours of a week")
    begin, end = day_hours(match.group(3))
    if match.group(1) == "daily":
        days = range(7)
    else:
        first = DAYS.index(match.group(1))
        last = DAYS.index(match.group(2)) if match.group(2) else first
        days = range(first, last + 1 if last >= first else last + 8)
    length = (end - begin) % 24.0 or 24.0
    return [
        (HOUR * (24.0 * (day % 7) + begin), HOUR * (24.0 * (day % 7) + begin + length))
        for day in days
    ]


def _dates(text: str) -> tuple[Time, Time]:
    begin, solidus, end = text.partition("/")
    if not solidus:
        raise ValueError("no interval")
    return Time(begin.strip(), scale="utc"), Time(end.strip(), scale="utc")
