"""Geometry and media of the link on the back of an envelope.

In: a `Scene`. Out: `HandLine`s: light time, Doppler swing of the lander by latitude and of the
station, gravitational delay near conjunction, corona, troposphere, ionosphere.

With r_e = 1 au, a circular orbit of radius a, and the Sun-Earth-probe angle S:

    light time           d = r_e cos S + sqrt(a^2 - r_e^2 sin^2 S)        (outer planets)
    Doppler swing        2 pi R cos(latitude) / T, times at most cos(declination)
    delay by the Sun     4 GM/c^3 ln(4 r_e a / b^2) both ways, b = r_e sin S
                         (Shapiro 1964, Phys. Rev. Lett. 13, 789, for b much smaller than both)
    corona               40.3 N/f^2, N the whole line's column of 1.55e6 r^-2.3 cm^-3
    troposphere          2.3 m exp(-height / 8 km) / sin(elevation)
    ionosphere           40.3 N/f^2 / sin(elevation)
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from wobble.check.lines import HandLine
from wobble.check.scene import AU, EMPTY, Scene, degrees, over
from wobble.constants import DAY, SPEED_OF_LIGHT
from wobble.link.delays import elevation_at_station

__all__ = ["link_lines"]

SUN_TIME = 4.925e-6
"""GM/c^3 of the Sun, s (from memory)."""
SUN_RADIUS = 6.96e8
"""m (from memory)."""
SIDEREAL_DAY = 86164.0
"""s (from memory)."""
EARTH_RADIUS = 6.371e6
"""Mean, m (from memory)."""
LUNAR_DISTANCE = 3.844e8
"""Mean, m (from memory)."""
LATITUDES = (0.0, 30.0, 60.0)
NEAR_CONJUNCTION = np.radians(15.0)
LEAST_ELEVATION = np.radians(25.0)
CORONA_DENSITY, CORONA_POWER = 1.55e12, 2.3
"""m^-3 at one solar radius carried in, and its fall (TDA Progress Report 42-71, 1982, p. 117)."""
BOTH_SIDES = 2.63
"""sqrt(pi) Gamma(0.65) / Gamma(1.15): the integral of (1 + x^2)^-1.15 over a line."""


def link_lines(scene: Scene) -> list[HandLine]:
    """All lines that the scene's body and media allow."""
    found = [
        _light_time(scene),
        *_lander_doppler(scene),
        _station_doppler(scene),
        _solar_delay(scene),
        _corona(scene),
        *_air(scene),
    ]
    return [line for line in found if line is not None]


def _light_time(scene: Scene) -> HandLine | None:
    day = len(scene.days) // 2
    tags = scene.days[day : day + 1]
    orbit, angle = scene.orbit, float(scene.geometry[0][day])
    if scene.network.body.name == "moon":
        distance, eccentricity = LUNAR_DISTANCE, 0.055
        text = f"{LUNAR_DISTANCE / 1e3:.0f} km / c"
    elif orbit is not None and orbit.radius > 1.0:
        distance = AU * (np.cos(angle) + np.sqrt(orbit.radius**2 - np.sin(angle) ** 2))
        eccentricity = orbit.eccentricity
        text = f"[cos S + sqrt({orbit.radius:.3f}^2 - sin^2 S)] au/c, S = {degrees(angle)}"
    else:
        return None
    return HandLine(
        f"light time on {tags[0].isot[:10]}",
        text,
        distance / SPEED_OF_LIGHT,
        scene.link(scene.empty, tags).range(tags).value[0] / SPEED_OF_LIGHT,
        "s",
        (1.0 - 2.0 * eccentricity, 1.0 + 2.0 * eccentricity),
        "the orbits are not circles",
    )


def _lander_doppler(scene: Scene) -> list[HandLine]:
    rotation = scene.rotation
    if rotation is None or "spin.rate" not in rotation.values or scene.length < 2.0 * DAY:
        return []
    day = 2.0 * np.pi / abs(rotation.values["spin.rate"])
    body, name = scene.network.body, scene.lander
    own = scene.network.landers[name].position
    longitude, latitude, _ = body.geodetic(own)
    places = {f"latitude {degree:.0f} deg": np.radians(degree) for degree in LATITUDES}
    places[f"{name}, latitude {np.degrees(latitude):.1f} deg"] = latitude
    tags = over(scene.middle, min(day, scene.length / 2.0))
    lines = []
    for where, angle in places.items():
        place = own if angle == latitude else body.from_geodetic(longitude, angle, 0.0)
        moved = replace(
            scene,
            network=scene.network.with_values(
                {f"lander.{name}.{axis}": float(x) for axis, x in zip("xyz", place, strict=True)}
            ),
        )
        radius = float(np.linalg.norm(place))
        lines.append(
            HandLine(
                f"Doppler swing of a lander, {where}",
                f"2 pi {radius / 1e3:.0f} km cos({degrees(angle)}) / {day / 3600.0:.3f} h",
                2.0 * np.pi * radius * np.cos(angle) / day,
                moved.daily_amplitude({f"lander.{name}.x": 1.0, f"lander.{name}.y": 0.0}, tags),
                "m/s",
                (0.87, 1.01),
                "the Earth stands out of the equator's plane by up to 27 deg; the flattening",
            )
        )
    return lines


def _station_doppler(scene: Scene) -> HandLine | None:
    if scene.length < 2.0 * DAY:
        return None
    name = scene.station
    _, latitude, _ = scene.network.stations[name].station.geodetic
    tags = over(scene.middle, SIDEREAL_DAY)
    pole = dict(zip((f"station.{name}.{axis}" for axis in "xyz"), (0.0, 0.0, 6.357e6), strict=True))
    return HandLine(
        f"Doppler swing of the station {name}",
        f"2 pi {EARTH_RADIUS / 1e3:.0f} km cos({degrees(latitude)}) / {SIDEREAL_DAY:.0f} s",
        2.0 * np.pi * EARTH_RADIUS * np.cos(latitude) / SIDEREAL_DAY,
        scene.daily_amplitude(pole, tags),
        "m/s",
        (0.86, 1.02),
        "the body's declination, up to 29 deg; the two legs are a round trip apart",
    )


def _solar_delay(scene: Scene) -> HandLine | None:
    orbit = scene.orbit
    if orbit is None:
        return None
    day = scene.day_of_angle(0.0)
    angle = float(scene.geometry[0][day])
    if not 0.0 < angle < NEAR_CONJUNCTION:
        return None
    tags = scene.days[day : day + 1]
    added, _ = scene.ranges(replace(EMPTY, gravity=("sun",)), tags)
    nearest = np.sin(angle)
    return HandLine(
        f"two-way gravitational delay at conjunction, {tags[0].isot[:10]}",
        f"4 x 4.925 us ln(4 x {orbit.radius:.3f} / {nearest:.4f}^2), S = {degrees(angle)}",
        4.0 * SUN_TIME * np.log(4.0 * orbit.radius / nearest**2) * 1e6,
        2.0 * added[0] / SPEED_OF_LIGHT * 1e6,
        "us",
        (0.93, 1.07),
        "the Sun is not far nearer to the ray than to both ends; the orbits are not circles",
    )


def _corona(scene: Scene) -> HandLine | None:
    scale, orbit = scene.network.media.corona_scale, scene.orbit
    if not scale or orbit is None:
        return None
    day = scene.day_of_angle(max(scene.campaign.view_limits.sun_earth_probe, np.radians(5.0)))
    angle = float(scene.geometry[0][day])
    if not 0.0 < angle < NEAR_CONJUNCTION:
        return None
    tags = scene.days[day : day + 1]
    media = scene.network.media
    added, _ = scene.ranges(replace(EMPTY, corona_scale=scale, turnaround=media.turnaround), tags)
    nearest = AU * np.sin(angle) / SUN_RADIUS
    column = CORONA_DENSITY * SUN_RADIUS * BOTH_SIDES * nearest ** (1.0 - CORONA_POWER)
    up, pencil = scene.frequency, 0.0
    for frequency in (up, up * media.turnaround):
        pencil += 40.3 * column * scale / frequency**2 / 2.0
    return HandLine(
        f"corona at {degrees(angle)} from the Sun",
        f"40.3 N/f^2, N = {column * scale:.2g} m^-2 at {nearest:.1f} solar radii, "
        f"f = {up / 1e9:.3g} GHz up",
        pencil,
        float(added[0]),
        "m",
        (0.85, 1.1),
        "the ends of the line are not infinitely far; the inner corona",
    )


def _air(scene: Scene) -> list[HandLine]:
    """Troposphere and ionosphere when the lander stands highest over the station."""
    media = scene.network.media
    tags = over(scene.middle, min(DAY, scene.length / 2.0))
    trip = scene.link(scene.empty, tags).range(tags).trip
    end = scene.network.stations[scene.station]
    elevation = elevation_at_station(end, trip.down)
    k = int(np.argmax(elevation))
    if elevation[k] < LEAST_ELEVATION:
        return []
    tag, sine = tags[k : k + 1], float(np.sin(elevation[k]))
    lines = []
    if media.troposphere != "none":
        height = float(end.station.geodetic[2])
        zenith = 2.3 if media.troposphere == "radio" else 2.4
        added, _ = scene.ranges(replace(EMPTY, troposphere=media.troposphere), tag)
        lines.append(
            HandLine(
                f"troposphere over {scene.station} at {degrees(elevation[k])}",
                f"{zenith} m exp(-{height / 1e3:.2f} km / 8 km) / sin({degrees(elevation[k])})",
                zenith * np.exp(-height / 8e3) / sine,
                float(added[0]),
                "m",
                (0.92, 1.15),
                "water vapour (0.1 m), the planet's own air, the round trip's elevation",
            )
        )
    if media.ionosphere_content:
        content, up = media.ionosphere_content, scene.frequency
        added, _ = scene.ranges(
            replace(EMPTY, ionosphere_content=content, turnaround=media.turnaround), tag
        )
        mean = (up**-2.0 + (up * media.turnaround) ** -2.0) / 2.0
        lines.append(
            HandLine(
                f"ionosphere over {scene.station} at {degrees(elevation[k])}",
                f"40.3 x {content:.2g} / f^2 / sin({degrees(elevation[k])}), "
                f"f = {up / 1e9:.3g} GHz up",
                40.3 * content * mean / sine * 1e3,
                float(added[0]) * 1e3,
                "mm",
                (0.75, 1.05),
                "the shell is curved",
            )
        )
    return lines
