"""Landers in a scenario.

In: the sections ``lander.NAME`` and their antennas. Out: `Lander` objects on their body.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from wobble.errors import InputError
from wobble.formats.toml_section import Section
from wobble.planet.body import Body
from wobble.planet.lander import Antenna, Lander

__all__ = ["read_lander"]


def read_lander(name: str, section: Section, body: Body) -> Lander:
    others: dict[str, Any] = {
        "antennas": tuple(_antenna(s) for s in section.sections("antenna")),
        "transponder_delay": section.quantity("transponder_delay", "s", "0 s"),
        "minimum_elevation": section.quantity("minimum_elevation", "rad", "0 deg"),
    }
    if "latitude" in section:
        lander = Lander.geodetic(
            name,
            body,
            section.quantity("longitude", "rad"),
            section.quantity("latitude", "rad"),
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
    antenna = Antenna(
        section.text("name"),
        section.quantity("azimuth", "rad"),
        section.quantity("elevation", "rad"),
        section.quantity("half_width", "rad"),
    )
    section.finish()
    return antenna
