"""Weather and media series from a Tracking Data Message.

In: a message with PRESSURE, TEMPERATURE, RHUMIDITY or with TROPO_DRY, TROPO_WET, STEC, and the
names of the stations in it. Out: a `WeatherSeries` or a `MediaSeries`.

TROPO_DRY and TROPO_WET are delays at the zenith, m; STEC is the electron content along the line
of sight, 1 TECU = 1e16 m^-2 (CCSDS 503.0-B-2, section 3.5). They belong to the station among the
participants of their segment.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from wobble.earth.series import MediaSeries, StationSeries, WeatherSeries
from wobble.errors import InputError
from wobble.files.series_table import Series
from wobble.tdm.kvn import read_tdm
from wobble.tdm.message import Segment
from wobble.tdm.signal_path import utc

__all__ = ["KEYWORDS", "read_message_series"]

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
    parts = []
    for segment, rows, quantity, unit in _records(message.segments, KEYWORDS[kind]):
        values = unit * np.array([float(segment.values[row]) for row in rows])
        given: dict[str, Any] = {quantity: values, "source": str(path), **settings}
        station = np.full(len(rows), _station(segment, rows[0], stations))
        parts.append(kind(station=station, epoch=utc(segment, rows), **given))
    if not parts:
        raise InputError(
            "the message says nothing of it", source=path, expected=", ".join(KEYWORDS[kind])
        )
    return kind.joined(parts)


def _records(
    segments: list[Segment], keywords: Mapping[str, tuple[str, float]]
) -> Iterator[tuple[Segment, list[int], str, float]]:
    for segment in segments:
        for keyword, (quantity, unit) in keywords.items():
            if rows := segment.rows(keyword):
                yield segment, rows, quantity, unit


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
