"""Weather and media series from a Tracking Data Message.

In: a message, or segments of one, with PRESSURE, TEMPERATURE, RHUMIDITY or with TROPO_DRY,
TROPO_WET, STEC, and the names of the stations in it. Out: a `WeatherSeries` or a `MediaSeries`.

TROPO_DRY and TROPO_WET are delays at the zenith, m; STEC is the electron content along the line
of sight, 1 TECU = 1e16 m^-2 (CCSDS 503.0-B-2, section 3.5). They belong to the station among the
participants of their segment.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from wobble.earth.series import MediaSeries, StationSeries, WeatherSeries
from wobble.errors import InputError
from wobble.files.series_table import Series
from wobble.tdm.kvn import read_tdm
from wobble.tdm.message import Segment
from wobble.tdm.signal_path import utc

__all__ = ["KEYWORDS", "read_message_series", "series_of_segments"]

KEYWORDS: dict[type[StationSeries], dict[str, tuple[str, float]]] = {
    WeatherSeries: {
        "PRESSURE": ("pressure_hpa", 1.0),
        "TEMPERATURE": ("temperature_k", 1.0),
        "RHUMIDITY": ("humidity_percent", 1.0),
    },
    MediaSeries: {
        "TROPO_DRY": ("zenith_dry_m", 1.0),
        "TROPO_WET": ("zenith_wet_m", 1.0),
        "STEC": ("slant_content", 1e16),
    },
}
"""For each kind of series its keywords: quantity of the series, and its unit in the standard's."""


def read_message_series(
    kind: type[Series], path: Path, stations: Mapping[str, str], **settings: Any
) -> Series:
    """Read a series from a message.

    Parameters
    ----------
    kind : type
        `WeatherSeries` or `MediaSeries`.
    path : Path
    stations : mapping of str to str
        Names of the stations in the message, and here.
    **settings
        ``longest_gap`` (s) and ``outside`` of the series.

    Raises
    ------
    InputError
        If the message cannot be read or has none of the keywords, if a segment that has one
        names no station or several, or if a value is out of its physical range.
    """
    message = read_tdm(path)
    found = series_of_segments(
        kind,
        message.segments,
        lambda segment, rows: _station(segment, rows[0], stations),
        source=str(path),
        **settings,
    )
    if found is None:
        raise InputError(
            "the message says nothing of it", source=path, expected=", ".join(KEYWORDS[kind])
        )
    return found


def series_of_segments(
    kind: type[Series],
    segments: Iterable[Segment],
    station: Callable[[Segment, list[int]], str],
    **settings: Any,
) -> Series | None:
    """What segments say of the air over stations; None if they say nothing.

    Parameters
    ----------
    kind : type
        `WeatherSeries` or `MediaSeries`.
    segments : iterable of Segment
    station : callable
        The station of some rows of a segment.
    **settings
        ``longest_gap`` (s), ``outside`` and ``source`` of the series.

    Raises
    ------
    InputError
        If a value is out of its physical range, with file, line and keyword.
    """
    parts = []
    for segment, rows, keyword in _records(segments, KEYWORDS[kind]):
        quantity, unit = KEYWORDS[kind][keyword]
        values = unit * np.array([float(segment.values[row]) for row in rows])
        low, high = kind.LIMITS[quantity]
        for row, value in zip(rows, values.tolist(), strict=True):
            if not low <= value <= high:
                raise segment.line(row).error(
                    "is out of range for the air of the Earth",
                    keyword,
                    segment.values[row],
                    f"{low / unit:g} to {high / unit:g}",
                )
        given: dict[str, Any] = {quantity: values, **settings}
        names = np.full(len(rows), station(segment, rows))
        parts.append(kind(station=names, epoch=utc(segment, rows), **given))
    return kind.joined(parts) if parts else None


def _records(
    segments: Iterable[Segment], keywords: Iterable[str]
) -> Iterator[tuple[Segment, list[int], str]]:
    for segment in segments:
        for keyword in keywords:
            if rows := segment.rows(keyword):
                yield segment, rows, keyword


def _station(segment: Segment, row: int, stations: Mapping[str, str]) -> str:
    given = [value for key, value in segment.metadata.items() if key.startswith("PARTICIPANT_")]
    known = [stations[name] for name in given if name in stations]
    if len(known) != 1:
        raise segment.line(row).error(
            "the segment has not one station of which it could be",
            "PARTICIPANT_n",
            ", ".join(given),
            f"one of {', '.join(stations)}",
        )
    return known[0]
