"""How far away a planet is at a Sun-Earth-probe angle, by the orbits that the ephemeris gives.

In: an ephemeris, a body, an epoch, an angle. Out: the places along the line of sight where the
body can be: one for an outer planet or a moon, two for an inner planet, before the Sun and
beyond it.

With R the Earth's distance from the Sun, r the body's and d that between them, the triangle of
the three gives ``r^2 = R^2 + d^2 - 2 R d cos(angle)``, hence
``d = R cos(angle) +- sqrt(r^2 - R^2 sin^2(angle))``. The orbits are the ellipses that position
and velocity give at the epoch: ``1/a = 2/r - v^2/GM``, ``e = |v x (r x v)/GM - r/|r||`` (Vallado
2013, Fundamentals of Astrodynamics, section 2.4). They are taken as lying in one plane; R is the
Earth's semi-major axis, which leaves out 1.7 % of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.constants import ASTRONOMICAL_UNIT, GM, SUN_RADIUS
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError

__all__ = ["SUN_DISC", "Place", "greatest_elongation", "places_at"]

Array = NDArray[np.float64]

SUN_DISC = math.asin(SUN_RADIUS / ASTRONOMICAL_UNIT)
"""Angular radius of the Sun's disc at its mean distance, rad."""
NEAR_THE_EARTH = 0.01 * ASTRONOMICAL_UNIT
"""What is nearer than this goes around the Earth: it is the reach of the Earth's gravity."""


@dataclass(frozen=True)
class Place:
    """Where a body is at an angle from the Sun.

    Parameters
    ----------
    name : str
        In words.
    distance : float
        From the Earth, at the body's mean distance from the Sun, m.
    nearest, farthest : float
        Limits of the distance along an eccentric orbit, m.
    """

    name: str
    distance: float
    nearest: float
    farthest: float


@dataclass(frozen=True)
class _Ellipse:
    """Semi-major axis, m, and eccentricity."""

    axis: float
    eccentricity: float

    @classmethod
    def of(cls, position: Array, velocity: Array, gm: float) -> _Ellipse:
        distance = float(np.linalg.norm(position))
        momentum = np.cross(position, velocity)
        pointing = np.cross(velocity, momentum) / gm - position / distance
        axis = 1.0 / (2.0 / distance - float(velocity @ velocity) / gm)
        return cls(axis, float(np.linalg.norm(pointing)))

    @property
    def least(self) -> float:
        return self.axis * (1.0 - self.eccentricity)

    @property
    def greatest(self) -> float:
        return self.axis * (1.0 + self.eccentricity)


def places_at(ephemeris: Ephemeris, body: str, epoch: Epochs, angle: float) -> tuple[Place, ...]:
    """Where a body is at a Sun-Earth-probe angle, the nearer place first.

    Parameters
    ----------
    ephemeris : Ephemeris
    body : str
    epoch : Epochs, shape (1,)
        At which the orbits are taken.
    angle : float
        Sun-Earth-probe angle, rad.

    Raises
    ------
    InputError
        If the angle lies within the Sun's disc or is more than 180 degrees, or the body never
        comes so far from the Sun.
    """
    if not SUN_DISC < angle <= math.pi:
        raise InputError(
            "not outside the Sun's disc" if angle <= SUN_DISC else "no angle of a triangle",
            field="Sun-Earth-probe angle",
            found=f"{math.degrees(angle):.3g} deg",
            expected=f"more than {math.degrees(SUN_DISC):.2g} deg, the radius of the Sun's disc, "
            "and at most 180 deg",
        )
    if _is_moon(ephemeris, body, epoch):
        orbit = _orbit(ephemeris, body, "earth", epoch)
        return (Place("around the Earth", orbit.axis, orbit.least, orbit.greatest),)
    earth, orbit = (_orbit(ephemeris, name, "sun", epoch) for name in ("earth", body))
    if orbit.axis > earth.axis:
        name = "beyond the Sun" if angle < math.pi / 2 else "outside the Earth's orbit"
        return (_place(name, 1.0, earth.axis, orbit, angle),)
    _require_reached(body, earth, orbit, angle)
    return (
        _place("before the Sun", -1.0, earth.axis, orbit, angle),
        _place("beyond the Sun", 1.0, earth.axis, orbit, angle),
    )


def greatest_elongation(ephemeris: Ephemeris, body: str, epoch: Epochs) -> float:
    """The angle that a body reaches at its mean distance from the Sun, rad; pi for an outer one."""
    if _is_moon(ephemeris, body, epoch):
        return math.pi
    earth, orbit = (_orbit(ephemeris, name, "sun", epoch) for name in ("earth", body))
    return math.pi if orbit.axis >= earth.axis else math.asin(orbit.axis / earth.axis)


def _place(name: str, side: float, base: float, orbit: _Ellipse, angle: float) -> Place:
    """One of the two roots of the triangle, with what the eccentricity makes of it."""
    least = base * math.sin(angle) if angle < math.pi / 2 else 0.0

    def distance(radius: float) -> float:
        # At the very elongation the line of sight touches the orbit.
        root = math.sqrt(max(radius**2 - (base * math.sin(angle)) ** 2, 0.0))
        return base * math.cos(angle) + side * root

    ends = sorted(distance(max(radius, least)) for radius in (orbit.least, orbit.greatest))
    return Place(name, distance(max(orbit.axis, least)), *ends)


def _require_reached(body: str, earth: _Ellipse, orbit: _Ellipse, angle: float) -> None:
    farthest = math.asin(min(orbit.greatest / earth.least, 1.0))
    if angle > farthest:
        raise InputError(
            f"{body} is never seen so far from the Sun",
            field="Sun-Earth-probe angle",
            found=f"{math.degrees(angle):.3g} deg",
            expected=f"at most {math.degrees(farthest):.3g} deg, its greatest elongation",
        )


def _is_moon(ephemeris: Ephemeris, body: str, epoch: Epochs) -> bool:
    offset = ephemeris.position(body, epoch) - ephemeris.position("earth", epoch)
    return float(np.linalg.norm(offset)) < NEAR_THE_EARTH


def _orbit(ephemeris: Ephemeris, body: str, centre: str, epoch: Epochs) -> _Ellipse:
    (here, moving), (there, drifting) = (ephemeris.state(name, epoch) for name in (body, centre))
    gm = GM[centre] + GM[body]
    return _Ellipse.of((here - there)[0], (moving - drifting)[0], gm)
