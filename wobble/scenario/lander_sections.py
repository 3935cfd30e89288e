"""Landers in a scenario.

In: the sections ``lander.NAME``, their antennas, limits and oscillators.
Out: `Lander` objects on their body.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from wobble.earth.stations import HorizonMask
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.body import Body
from wobble.planet.gain_table import GainTable
from wobble.planet.lander import Antenna, Lander
from wobble.planet.lander_limits import LanderLimits
from wobble.planet.oscillator import Oscillator
from wobble.scenario.calendar_sections import day_hours
from wobble.scenario.mask_section import read_mask
from wobble.text.toml_section import Section

__all__ = ["read_lander"]

LIMITS = {"time_per_sol": "s", "power": "W", "energy_per_sol": "J", "rest": "s"}


def _latitude(section: Section) -> float:
    latitude = section.quantity("latitude", "rad")
    if abs(latitude) > np.pi / 2:
        raise section.error(
            "latitude",
            "beyond a pole",
            f"{np.degrees(latitude):g} deg",
            "-90 to 90 deg; are latitude and longitude exchanged?",
        )
    return latitude


def read_lander(name: str, section: Section, body: Body) -> Lander:
    others: dict[str, Any] = {
        "antennas": tuple(_antenna(s) for s in section.sections("antenna")),
        "transponder_delay": section.quantity("transponder_delay", "s", "0 s"),
        "minimum_elevation": section.quantity("minimum_elevation", "rad", "0 deg"),
        "mask": read_mask(section, HorizonMask.flat(-np.pi / 2)),
        "limits": _limits(section.section("limits", {})),
    }
    if "oscillator" in section:
        others["oscillator"] = _oscillator(section.section("oscillator"))
    if "latitude" in section:
        lander = Lander.geodetic(
            name,
            body,
            section.quantity("longitude", "rad"),
            _latitude(section),
            section.quantity("height", "m"),
            **others,
        )
    elif "axis_distance" in section:
        lander = Lander.cylindrical(
            name,
            section.quantity("axis_distance", "m"),
            section.quantity("longitude", "rad"),
            section.quantity("z", "m"),
            **others,
        )
    elif "x" in section:
        place = np.array([section.quantity(axis, "m") for axis in "xyz"])
        lander = Lander(name, place, **others)
    else:
        raise section.error(
            "x",
            "no coordinates",
            ", ".join(section.keys()) or "nothing",
            "x, y, z; or axis_distance, longitude, z; or longitude, latitude, height",
        )
    section.finish()
    radius = float(np.linalg.norm(lander.position))
    if not 0.9 * body.polar_radius < radius < 1.1 * body.equatorial_radius:
        raise InputError(
            f"the lander does not stand on {body.name}",
            source=section.path,
            line=section.line(name),
            field=section.name,
            found=f"{radius / 1e3:.3f} km from its centre",
            expected=f"near {body.equatorial_radius / 1e3:.1f} km",
        )
    return lander


def _antenna(section: Section) -> Antenna:
    pattern = _pattern(section) if "gain_angle" in section else None
    antenna = Antenna(
        section.text("name"),
        section.quantity("azimuth", "rad"),
        section.quantity("elevation", "rad"),
        section.quantity("half_width", "rad") if pattern is None else np.pi,
        pattern,
    )
    section.finish()
    return antenna


def _pattern(section: Section) -> GainTable:
    try:
        return GainTable(
            section.quantities("gain_angle", "rad"),
            section.numbers("gain_db"),
            section.number("least_gain_db"),
        )
    except InputError as error:
        raise section.located(error) from error


def _oscillator(section: Section) -> Oscillator:
    """The section ``lander.NAME.oscillator``; bias and drift hold at its ``epoch``, UTC."""
    epoch = Epochs.from_time(section.epoch("epoch").reshape(1)).since_j2000
    try:
        oscillator = Oscillator(
            section.quantity("frequency", "Hz"),
            float(epoch[0]),
            section.number("bias", 0.0),
            section.quantity("drift", "1 / s", "0 1/s"),
        )
    except InputError as error:
        raise section.located(error) from error
    section.finish()
    return oscillator


def _limits(section: Section) -> LanderLimits:
    """The section ``lander.NAME.limits``; hours are of the lander's true solar time."""
    hours = []
    for text in section.texts("local_times", []):
        try:
            hours.append(day_hours(text))
        except ValueError as error:
            raise section.error(
                "local_times", "cannot be understood", text, '"08:00-17:00", 24 hours in a sol'
            ) from error
    given = {key: section.quantity(key, unit) for key, unit in LIMITS.items() if key in section}
    try:
        limits = LanderLimits(local_times=tuple(hours), **given)
    except InputError as error:
        raise section.located(error) from error
    for key in LIMITS:
        section.ask(key)
    section.finish()
    return limits
