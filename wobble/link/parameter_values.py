"""The parameters of a link by name, and its parts with other values of them.

In: landers, stations, a body and the media. Out: every parameter that a measurement between
them depends on, with its value; or, from values by name, the same parts with these.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np

from wobble.earth.stations import Station
from wobble.link.ends import StationEnd
from wobble.link.lander_air import zenith_delay
from wobble.link.media import Media
from wobble.planet.body import Body
from wobble.planet.lander import Lander

__all__ = [
    "ORBIT_AXES",
    "lander_with",
    "media_with",
    "orbit_offset_of",
    "parameter_values",
    "station_with",
]

STATION_NUMBERS = ("clock_offset", "delay", "zenith_wet_delay", "range_bias")
ORBIT_AXES = ("radial", "transverse", "normal")
"""Directions in which a planet may be off its ephemeris."""


def parameter_values(
    body: Body,
    stations: Iterable[Station],
    landers: Iterable[Lander],
    media: Media,
    orbit_offset: Iterable[float] = (0.0, 0.0, 0.0),
) -> dict[str, float]:
    """Every parameter that a measurement between such ends depends on, with its value, SI."""
    values = dict(body.orientation.values)
    for lander in landers:
        values |= _named(f"lander.{lander.name}", "xyz", lander.position)
        values[f"lander.{lander.name}.transponder_delay"] = lander.transponder_delay
        if media.troposphere == "radio" and body.surface_pressure:
            values[f"lander.{lander.name}.zenith_delay"] = zenith_delay(lander, body)
        if lander.oscillator is not None:
            values[f"lander.{lander.name}.oscillator_bias"] = lander.oscillator.bias
            values[f"lander.{lander.name}.oscillator_drift"] = lander.oscillator.drift
    for station in stations:
        values |= _named(f"station.{station.name}", "xyz", station.position)
        numbers = [getattr(station, name) for name in STATION_NUMBERS]
        values |= _named(f"station.{station.name}", STATION_NUMBERS, numbers)
    values |= _named(f"ephemeris.{body.name}", ORBIT_AXES, orbit_offset)
    if media.ionosphere_content:
        values["ionosphere.content"] = media.ionosphere_content
    if media.corona_scale:
        values["corona.scale"] = media.corona_scale
    return values


def lander_with(lander: Lander, values: Mapping[str, float]) -> Lander:
    """A lander with the values of its parameters, which stand among all others by name."""
    values = _values_of(f"lander.{lander.name}", values)
    moved = lander.moved(np.array([values[axis] for axis in "xyz"]))
    oscillator = lander.oscillator
    if oscillator is not None:
        oscillator = replace(
            oscillator, bias=values["oscillator_bias"], drift=values["oscillator_drift"]
        )
    return replace(
        moved,
        transponder_delay=values["transponder_delay"],
        zenith_delay=values.get("zenith_delay"),
        oscillator=oscillator,
    )


def station_with(end: StationEnd, values: Mapping[str, float]) -> StationEnd:
    """A station with the values of its parameters, which stand among all others by name."""
    values = _values_of(f"station.{end.station.name}", values)
    numbers = {name: values[name] for name in STATION_NUMBERS}
    return end.changed(position=np.array([values[axis] for axis in "xyz"]), **numbers)


def orbit_offset_of(body: Body, values: Mapping[str, float]) -> tuple[float, float, float]:
    """How far the body is off its ephemeris, m: radial, transverse, normal."""
    radial, transverse, normal = (values[f"ephemeris.{body.name}.{axis}"] for axis in ORBIT_AXES)
    return radial, transverse, normal


def media_with(media: Media, values: Mapping[str, float]) -> Media:
    """The media with the values of their parameters; zero for those that are not modelled."""
    return replace(
        media,
        ionosphere_content=values.get("ionosphere.content", 0.0),
        corona_scale=values.get("corona.scale", 0.0),
    )


def _values_of(prefix: str, values: Mapping[str, float]) -> dict[str, float]:
    """The parameters of one end, by the last part of their names."""
    return {
        name.removeprefix(f"{prefix}."): value
        for name, value in values.items()
        if name.startswith(f"{prefix}.")
    }


def _named(prefix: str, axes: Iterable[str], numbers: Iterable[float]) -> dict[str, float]:
    return {f"{prefix}.{axis}": float(v) for axis, v in zip(axes, numbers, strict=True)}
