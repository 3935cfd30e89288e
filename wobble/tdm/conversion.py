"""Measurements out of a Tracking Data Message, where their meaning is certain.

In: a message and an `Agreement`; for ambiguous ranges and ramped uplinks also a prediction
of the round trip. Out: the table of measurements. What is not certain is refused with what
is missing; what the package has no use for is named in ``meta["not_used"]``.

RANGE (km, s, range units) becomes half the round trip in m, DOPPLER_INTEGRATED (km/s) and
RECEIVE_FREQ (Hz) the mean range rate in m/s with its epoch in the middle of the count.
DOPPLER_INSTANTANEOUS (km/s) becomes the range rate over 2 ms around its tag. On a path from a
lander to a station they are one-way range rates, and RANGE is refused.
Decimal digits are kept through the change of units.

The weather at the receiving station follows the rule of `wobble.earth.series`, and is unknown
where its readings say nothing. Source: CCSDS 503.0-B-2 (2020), sections 3.3 to 3.5.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from decimal import localcontext
from typing import Any

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.earth.series import LONGEST_GAP, WeatherSeries
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.link.observables import INSTANT
from wobble.measurements.tracking import WEATHER_LIMITS, Tracking
from wobble.tdm.agreement import Agreement
from wobble.tdm.doppler import integrated_doppler, received_frequency
from wobble.tdm.downlink import Downlink
from wobble.tdm.message import Segment, TrackingDataMessage
from wobble.tdm.notes import notes
from wobble.tdm.ranges import LIGHT, range_epochs, round_trip_seconds
from wobble.tdm.round_trip import Link, Path
from wobble.tdm.sent import Sent, transmitted
from wobble.tdm.signal_path import utc
from wobble.tdm.station_series import series_of_segments
from wobble.text.lines import Line, rows_at
from wobble.text.time_tags import calendar_text

__all__ = ["segment_measurements", "tracking"]

Array = NDArray[np.float64]
AnyLink = Link | Downlink

# A decimal of the file times the speed of light keeps all its digits.
DIGITS = 60


def tracking(
    message: TrackingDataMessage,
    agreement: Agreement,
    round_trip: Path | None = None,
    longest_gap: float = LONGEST_GAP,
) -> Tracking:
    """The measurements of a message: segment by segment, in each the ranges first.

    Parameters
    ----------
    message : TrackingDataMessage
        What was read.
    agreement : Agreement
        What the file does not say.
    round_trip : callable, optional
        Prediction of the round trip, s, called with (times, transmitter, receiver, lander,
        tag). It decides the ambiguity of ranges with a modulus, and where on a ramp the cycles
        of a received frequency were sent; 1e-5 s is good enough for the latter.
    longest_gap : float
        Longest time between two readings of the weather over which is interpolated, s.

    Returns
    -------
    Tracking
        The pass of a measurement is the TRACK_ID of its segment or, without it, receiver,
        lander and date of the segment's first measurement.

    Raises
    ------
    InputError
        If the meaning of a measurement is not certain, with file, line and keyword and with
        what is missing; or if there is no measurement in the message.
    """
    sent = transmitted(message, agreement)
    parts = [
        part
        for segment in message.segments
        for part in segment_measurements(segment, agreement, sent, round_trip)
    ]
    if not parts:
        raise InputError(
            "the message has no measurement that is converted",
            source=message.source,
            found=", ".join(sorted(message.count())),
            expected="RANGE, DOPPLER_INTEGRATED, DOPPLER_INSTANTANEOUS or RECEIVE_FREQ",
        )
    return _with_weather(Tracking.concatenate(parts), message, agreement, longest_gap)


def segment_measurements(
    segment: Segment, agreement: Agreement, sent: Sent, round_trip: Path | None
) -> list[Tracking]:
    """Ranges and range rates of one segment, none if it has neither.

    Parameters
    ----------
    segment : Segment
    agreement : Agreement
    sent : Sent
        What the participants transmitted, from the whole message.
    round_trip : callable, optional
        As for `tracking`.

    Raises
    ------
    InputError
        If the meaning of a measurement is not certain.
    """
    ranges = segment.rows("RANGE")
    integrated = segment.rows("DOPPLER_INTEGRATED")
    instants = segment.rows("DOPPLER_INSTANTANEOUS")
    received = [row for row, name in enumerate(segment.keywords) if name.startswith("RECEIVE_FREQ")]
    if not (ranges or integrated or instants or received):
        return []
    first = segment.line(min(ranges + integrated + instants + received))
    link = _link(segment, agreement, first, sent, round_trip)
    if integrated and received:
        raise first.error(
            "the segment has Doppler twice",
            expected="DOPPLER_INTEGRATED or RECEIVE_FREQ",
        )
    tables = (
        (ranges, _range_table),
        (integrated, _doppler_table),
        (instants, _instantaneous_table),
        (received, _frequency_table),
    )
    return [_located(table, link, rows) for rows, table in tables if rows]


def _link(
    segment: Segment,
    agreement: Agreement,
    line: Line,
    sent: Sent,
    round_trip: Path | None,
) -> AnyLink:
    """The segment as a link with as many legs as its path has."""
    mode = agreement.said(segment, "MODE")
    if mode in (None, "SEQUENTIAL") and len(segment.path()) == 3:
        return Link(segment, agreement, line, sent.up, round_trip)
    if mode in (None, "SEQUENTIAL") and len(segment.path()) == 2:
        return Downlink(segment, agreement, line, sent.down)
    raise line.error(
        "only the paths station, lander, station and lander, station are converted",
        "PATH",
        found=f"{mode}, {segment.metadata.get('PATH', 'no path')}",
        expected="SEQUENTIAL, such as 1,2,1 or 1,2,3 or 1,2",
    )


def _located(
    table: Callable[[AnyLink, list[int]], Tracking], link: AnyLink, rows: list[int]
) -> Tracking:
    """The table that a function makes, with an error of its that knows the file."""
    try:
        with localcontext(prec=DIGITS), rows_at(lambda k: link.segment.line(rows[k])):
            return table(link, rows)
    except InputError as error:
        if error.source is not None:
            raise
        raise link.line.error(error.problem, error.field, error.found, error.expected) from error


def _range_table(link: AnyLink, rows: list[int]) -> Tracking:
    if isinstance(link, Downlink):
        raise link.segment.line(rows[0]).error(
            "one-way ranges are not converted",
            "RANGE",
            found=f"PATH = {link.segment.metadata['PATH']}",
            expected="the path of a round trip, such as 1,2,1",
        )
    epoch = range_epochs(link, link.at_antenna(utc(link.segment, rows)))
    seconds = round_trip_seconds(link, rows, epoch)
    sigma = link.agreement.need("range_sigma", link.line, "the file has no accuracy")
    values = np.array([float(LIGHT * s / 2) for s in seconds])
    return _table(link, "range", epoch, np.nan, values, sigma, link.frequencies(epoch))


def _doppler_table(link: AnyLink, rows: list[int]) -> Tracking:
    middles = _count_middles(link, rows)
    return _rate_table(link, middles, _count(link), integrated_doppler(link, rows))


def _instantaneous_table(link: AnyLink, rows: list[int]) -> Tracking:
    """Range rates at an instant, which the model takes over so short a count."""
    _require_reception(link)
    epoch = link.at_antenna(utc(link.segment, rows))
    return _rate_table(link, epoch, INSTANT, integrated_doppler(link, rows))


def _frequency_table(link: AnyLink, rows: list[int]) -> Tracking:
    good = ("RECEIVE_FREQ", f"RECEIVE_FREQ_{link.stops[-1]}")
    for row in rows:
        if link.segment.keywords[row] not in good:
            raise link.segment.line(row).error(
                "received by a participant who is not at the end of the path",
                link.segment.keywords[row],
            )
    middles = _count_middles(link, rows)
    if isinstance(link, Downlink):
        rates = link.received_rates(rows)
    else:
        rates = received_frequency(link, rows, middles)
    return _rate_table(link, middles, _count(link), rates)


def _require_reception(link: AnyLink) -> None:
    if link.tag != "receive":
        raise link.line.error(
            "Doppler with time tags of transmission is not converted", "TIMETAG_REF"
        )


def _count_middles(link: AnyLink, rows: list[int]) -> Time:
    _require_reception(link)
    return link.to_middle(link.at_antenna(utc(link.segment, rows)))


def _count(link: AnyLink) -> float:
    return float(link.agreement.demand(link.segment, "INTEGRATION_INTERVAL", link.line))


def _rate_table(link: AnyLink, middles: Time, count: float, rates: Array) -> Tracking:
    name = f"{link.rate_kind}_sigma"
    sigma = link.agreement.need(name, link.line, "the file has no accuracy")
    frequencies = link.frequencies(middles)
    return _table(link, link.rate_kind, middles, count, rates, sigma, frequencies)


def _table(
    link: AnyLink,
    kind: str,
    epoch: Time,
    count: float,
    values: Array,
    sigma: object,
    frequency: Array,
) -> Tracking:
    n = len(values)
    date = calendar_text(epoch[:1])[0][:10]
    name = link.segment.metadata.get("TRACK_ID", f"{link.receiver}-{link.lander}-{date}")
    return Tracking(
        pass_id=np.full(n, name),
        transmitter=np.full(n, link.transmitter),
        receiver=np.full(n, link.receiver),
        lander=np.full(n, link.lander),
        kind=np.full(n, kind),
        epoch=epoch,
        tag=np.full(n, link.tag),
        count_time=np.full(n, count),
        value=values,
        sigma=np.full(n, sigma, dtype=float),
        frequency=frequency,
    )


def _with_weather(
    tracking: Tracking,
    message: TrackingDataMessage,
    agreement: Agreement,
    longest_gap: float,
) -> Tracking:
    """The measurements with the weather and the notes of the message."""
    series = series_of_segments(
        WeatherSeries,
        message.segments,
        lambda segment, rows: _weather_station(segment, agreement, rows),
        source=str(message.source),
        longest_gap=longest_gap,
        outside="standard",
    )
    weather = {} if series is None else _at_receivers(series, tracking)
    meta: dict[str, object] = {
        "source": message.source,
        "not_used": message.carried(),
        "warnings": notes(message, agreement),
    }
    if agreement.simulated:
        meta["simulated"] = True
    return dataclasses.replace(tracking, meta=meta, **weather)


def _at_receivers(series: WeatherSeries, tracking: Tracking) -> dict[str, Any]:
    """Each quantity of the weather for each measurement, NaN where the series says nothing."""
    weather = {column: np.full(len(tracking), np.nan) for column in WEATHER_LIMITS}
    for station in series.stations:
        here = np.flatnonzero(tracking.receiver == station)
        if here.size:
            epochs = Epochs.from_time(tracking.epoch[here], "tt")
            for column, values in weather.items():
                values[here] = series.at(station, column, epochs)
    return weather


def _weather_station(segment: Segment, agreement: Agreement, rows: list[int]) -> str:
    """Where the weather of a segment was read: at the end of its path, or at its only place."""
    path = segment.path()
    return agreement.station(segment, path[-1] if path else 1, segment.line(rows[0]))
