"""Weather and media series in a scenario.

In: the sections ``weather`` and ``media``: ``files`` (tables, see `wobble.files.series_table`, or
Tracking Data Messages, see `wobble.tdm.station_series`), ``longest_gap``, ``outside``
(``"refuse"``, ``"hold"`` or ``"standard"``); the names of the stations in such messages. Out: the
series.

Which value counts: what stands with a measurement goes before the weather series, this before
the standard atmosphere; a measured zenith delay goes before the one that the weather gives, a
measured content before ``link.ionosphere_content``.
"""

from __future__ import annotations

from collections.abc import Mapping

from wobble.earth.series import LONGEST_GAP, MediaSeries, StationSeries, WeatherSeries
from wobble.earth.stations import Station
from wobble.errors import InputError
from wobble.files.data_files import TDM, extension
from wobble.files.series_table import Series, read_series
from wobble.tdm.station_series import read_message_series
from wobble.text.toml_section import Section

__all__ = ["read_media", "read_weather", "series_warnings"]


def read_weather(top: Section, stations: Mapping[str, str]) -> WeatherSeries | None:
    """The series of the section ``weather``; None if there is none."""
    return _read(top, "weather", WeatherSeries, stations)


def read_media(top: Section, stations: Mapping[str, str]) -> MediaSeries | None:
    """The series of the section ``media``; None if there is none."""
    return _read(top, "media", MediaSeries, stations)


def _read(
    top: Section, name: str, kind: type[Series], stations: Mapping[str, str]
) -> Series | None:
    if name not in top:
        return None
    section = top.section(name)
    files = section.files("files")
    if not files:
        raise section.error("files", "no file is named", [], "at least one table")
    settings = {
        "longest_gap": section.quantity("longest_gap", "s", f"{LONGEST_GAP:g} s"),
        "outside": section.text("outside", "refuse"),
    }
    section.finish()
    try:
        return kind.joined(
            read_message_series(kind, path, stations, **settings)
            if extension(path) in TDM
            else read_series(kind, path, **settings)
            for path in files
        )
    except InputError as error:
        # The settings are the scenario's, whatever table they are tried on.
        if error.field in settings:
            raise section.error(
                str(error.field), error.problem, error.found, str(error.expected)
            ) from error
        raise


def series_warnings(
    stations: tuple[Station, ...], weather: WeatherSeries | None, media: MediaSeries | None
) -> list[str]:
    """Whose names do not fit: stations without samples, and samples of no station."""
    names = [station.name for station in stations]
    found = []
    series: StationSeries | None
    for what, series in (("weather", weather), ("media", media)):
        if series is None:
            continue
        silent = [name for name in names if name not in series.stations]
        strange = [name for name in series.stations if name not in names]
        if silent:
            found.append(f"the {what} tables say nothing of {', '.join(silent)}")
        if strange:
            found.append(f"the {what} tables have samples of unknown {', '.join(strange)}")
    return found
