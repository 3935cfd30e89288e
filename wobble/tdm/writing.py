"""Measurements into a Tracking Data Message.

In: the table of measurements and the `Agreement` under which it is to be read. Out: a
message of version 1 or 2 of the standard, to be written in either notation.

There is one segment for each pass, kind, path, time tag, count and oscillator, and one for the
weather of each receiving station. Ranges are written in km or s without a modulus, range rates
as DOPPLER_INTEGRATED in km/s with the time tag in the middle of the count, one-way range rates
as received frequencies, RECEIVE_FREQ_2, whose FREQ_OFFSET is the nominal frequency of the
lander's oscillator. Read again under the same agreement, values and time tags are the same to
the last bit. Standard deviations have no place in the standard: they are the agreement's.
Source: CCSDS 503.0-B-2 (2020).
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, localcontext

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.earth.series import WeatherSeries
from wobble.errors import InputError, UnknownNameError
from wobble.measurements.tracking import Tracking
from wobble.tdm.agreement import Agreement
from wobble.tdm.message import BY_HAND, Segment, TrackingDataMessage
from wobble.tdm.ranges import LIGHT
from wobble.tdm.station_series import KEYWORDS
from wobble.text.time_tags import calendar_text

__all__ = ["message_from"]

ONE_WAY = "one_way_range_rate"
# One more than the 17 that a float needs, and some for the change of units.
DIGITS = 25


def message_from(
    tracking: Tracking,
    agreement: Agreement,
    originator: str,
    created: Time,
    *,
    range_units: str = "km",
    version: str = "2.0",
) -> TrackingDataMessage:
    """A message with all measurements of a table.

    Parameters
    ----------
    tracking : Tracking
        The measurements. The frequency transmitted is stated with the first measurement and
        wherever it changes.
    agreement : Agreement
        Names of the participants, and whether two-way values are halved.
    originator : str
        Who makes the message.
    created : Time
        When; it is written to the second.
    range_units : {"km", "s"}
        Unit of the ranges.
    version : {"1.0", "2.0"}
        Version of the standard. Version 1 has no keyword for the name of a pass.

    Raises
    ------
    InputError
        If a station or lander has no name in the agreement, or the agreement does not say
        whether two-way values are halved.
    """
    if range_units not in ("km", "s"):
        raise InputError(
            "ranges are not written in that unit",
            field="range_units",
            found=range_units,
            expected="km or s",
        )
    message = TrackingDataMessage(version)
    message.head("CREATION_DATE", Time(created.utc, precision=0).isot)
    message.head("ORIGINATOR", originator)
    tags = calendar_text(tracking.epoch)
    with localcontext(prec=DIGITS):
        for rows in _groups(tracking):
            segment = _segment(tracking, rows, tags, agreement, range_units, version)
            message.segments.append(segment)
    for station in dict.fromkeys(tracking.receiver.tolist()):
        weather = _weather(tracking, station, tags, agreement)
        if weather.keywords:
            message.segments.append(weather)
    message.check()
    return message


def _groups(tracking: Tracking) -> list[list[int]]:
    """Rows that may stand in one segment, in the order of the table."""
    names = ("pass_id", "kind", "transmitter", "receiver", "lander", "tag")
    columns = [getattr(tracking, name).tolist() for name in names]
    columns.append(np.nan_to_num(tracking.count_time).tolist())
    # One offset holds for a whole segment of received frequencies.
    one_way = tracking.kind == ONE_WAY
    columns.append(np.where(one_way, tracking.frequency, 0.0).tolist())
    groups: dict[tuple[object, ...], list[int]] = {}
    for row, key in enumerate(zip(*columns, strict=True)):
        groups.setdefault(key, []).append(row)
    return list(groups.values())


def _segment(
    tracking: Tracking,
    rows: list[int],
    tags: NDArray[np.str_],
    agreement: Agreement,
    range_units: str,
    version: str,
) -> Segment:
    """The measurements of one group."""
    first = rows[0]
    segment = Segment()
    if version != "1.0":
        segment.describe("TRACK_ID", str(tracking.pass_id[first]))
    times = tracking.epoch[rows]
    order = np.lexsort((times.jd2, times.jd1))
    segment.describe("TIME_SYSTEM", "UTC")
    segment.describe("START_TIME", str(tags[rows[order[0]]]))
    segment.describe("STOP_TIME", str(tags[rows[order[-1]]]))
    _describe_path(segment, tracking, first, agreement)
    if tracking.kind[first] == "range":
        keyword = "RANGE"
        segment.describe("RANGE_UNITS", range_units)
        segment.describe("RANGE_MODULUS", "0.0")
        unit = Decimal(1000) if range_units == "km" else LIGHT
        scale = _ways(agreement, "two_way_range") / unit
    else:
        segment.describe("INTEGRATION_INTERVAL", repr(float(tracking.count_time[first])))
        segment.describe("INTEGRATION_REF", "MIDDLE")
        if tracking.kind[first] == ONE_WAY:
            keyword, nominal = "RECEIVE_FREQ_2", repr(float(tracking.frequency[first]))
            segment.describe("FREQ_OFFSET", nominal)
            scale = -Decimal(nominal) / LIGHT
        else:
            keyword = "DOPPLER_INTEGRATED"
            scale = _ways(agreement, "two_way_doppler") / Decimal(1000)
    _add_values(segment, keyword, tracking[rows], tags[rows], scale)
    return segment


def _ways(agreement: Agreement, choice: str) -> int:
    """How many times the one-way value is written of a round trip."""
    return 1 if agreement.need(choice, BY_HAND, "the path is two-way") == "half" else 2


def _describe_path(segment: Segment, tracking: Tracking, row: int, agreement: Agreement) -> None:
    transmitter, receiver = (
        _known_as("station", agreement.stations, str(names[row]))
        for names in (tracking.transmitter, tracking.receiver)
    )
    lander = _known_as("lander", agreement.landers, str(tracking.lander[row]))
    up = [] if tracking.kind[row] == ONE_WAY else [transmitter]
    stops = [*up, lander, receiver]
    participants = list(dict.fromkeys(stops))
    for number, name in enumerate(participants, start=1):
        segment.describe(f"PARTICIPANT_{number}", name)
    segment.describe("MODE", "SEQUENTIAL")
    segment.describe("PATH", ",".join(str(participants.index(stop) + 1) for stop in stops))
    segment.describe("TIMETAG_REF", str(tracking.tag[row]).upper())


def _add_values(
    segment: Segment, keyword: str, tracking: Tracking, tags: NDArray[np.str_], scale: Decimal
) -> None:
    """The values of a segment times a scale, and the frequency sent wherever it changes."""
    sent = None
    columns = (tags.tolist(), tracking.value.tolist(), tracking.frequency.tolist())
    for tag, value, frequency in zip(*columns, strict=True):
        if frequency != sent:
            segment.add("TRANSMIT_FREQ_1", tag, repr(frequency))
            sent = frequency
        segment.add(keyword, tag, f"{Decimal(repr(value)) * scale:f}")


def _weather(
    tracking: Tracking, station: str, tags: NDArray[np.str_], agreement: Agreement
) -> Segment:
    """The weather at a receiving station, once for each time tag."""
    segment = Segment()
    segment.describe("TIME_SYSTEM", "UTC")
    segment.describe("PARTICIPANT_1", _known_as("station", agreement.stations, station))
    written = set()
    for row in np.flatnonzero(tracking.receiver == station).tolist():
        tag = str(tags[row])
        for keyword, (column, _) in KEYWORDS[WeatherSeries].items():
            value = float(getattr(tracking, column)[row])
            if np.isfinite(value) and (tag, keyword) not in written:
                segment.add(keyword, tag, repr(value))
                written.add((tag, keyword))
    return segment


def _known_as(kind: str, names: Mapping[str, str], name: str) -> str:
    """The name in the file of a station or lander."""
    for in_file, here in names.items():
        if here == name:
            return in_file
    raise UnknownNameError(f"{kind} of the agreement", name, names.values())
