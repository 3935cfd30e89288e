"""The solid tide of a body against the gradient of the tidal potential and known sizes."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from wobble.constants import ASTRONOMICAL_UNIT, GM
from wobble.planet.tide import solid_body_tide

Array = NDArray[np.float64]

H2, L2 = 0.048, 0.0107
MOON_RADIUS = 1737.4e3
EARTH_OVER_MOON = GM["earth"] / GM["moon"]


def moon_tide(place: Array, raiser: Array) -> Array:
    return solid_body_tide(
        place, raiser, mass_ratio=EARTH_OVER_MOON, radius=MOON_RADIUS, h2=H2, l2=L2
    )


def potential(place: Array, raiser: Array, gm: float) -> float:
    """Tidal potential of degree 2, m^2/s^2."""
    distance, radius = np.linalg.norm(raiser), np.linalg.norm(place)
    cosine = place @ raiser / (distance * radius)
    return float(gm * radius**2 / distance**3 * (1.5 * cosine**2 - 0.5))


def test_the_displacement_is_the_potential_and_its_gradient_over_gravity() -> None:
    # u = h2 W/g up + l2 R grad(W)/g across (Love 1911; IERS Conventions 2010, eq. 7.5).
    random = np.random.default_rng(11)
    gravity = GM["moon"] / MOON_RADIUS**2
    for _ in range(20):
        up = random.normal(size=3)
        up /= np.linalg.norm(up)
        place, raiser = MOON_RADIUS * up, 3.8e8 * (np.array([1, 0, 0]) + random.normal(size=3) / 5)
        gradient = np.array(
            [
                (
                    potential(place + d, raiser, GM["earth"])
                    - potential(place - d, raiser, GM["earth"])
                )
                / 200.0
                for d in 100.0 * np.eye(3)
            ]
        )
        across = gradient - (gradient @ up) * up
        expected = H2 / gravity * potential(place, raiser, GM["earth"]) * up
        expected += L2 * MOON_RADIUS / gravity * across
        np.testing.assert_allclose(moon_tide(place, raiser[None])[0], expected, atol=1e-8)


def test_the_earth_lifts_the_near_side_of_the_moon_by_six_tenths_of_a_metre() -> None:
    # By hand: 81.30 * 1737.4 km^4 / 384400 km^3 * 0.048 = 0.626 m; half of it down at the limb.
    earth = np.array([[384400e3, 0.0, 0.0]])
    near, limb = np.array([MOON_RADIUS, 0, 0]), np.array([0, MOON_RADIUS, 0])
    np.testing.assert_allclose(moon_tide(near, earth)[0], [0.626, 0, 0], atol=1e-3)
    np.testing.assert_allclose(moon_tide(limb, earth)[0], [0, -0.313, 0], atol=1e-3)


def test_the_surface_is_drawn_toward_the_raiser() -> None:
    # Between near side and limb the ground also moves sideways, toward the raiser.
    place = MOON_RADIUS * np.array([np.cos(np.pi / 4), np.sin(np.pi / 4), 0.0])
    sideways = moon_tide(place, np.array([[384400e3, 0.0, 0.0]]))[0] @ [1, -1, 0] / np.sqrt(2)
    # 3 l2 / 2 against h2: 0.626 m * 1.5 * 0.0107 / 0.048.
    assert sideways == pytest.approx(0.209, abs=1e-3)


def test_the_sun_lifts_mars_by_a_centimetre() -> None:
    # By hand, h2 = 0.3 at 1.524 astronomical units: 3.10e6 * 3389.5 km^4 / d^3 * 0.3.
    mars = 3389.5e3
    sun = np.array([[1.524 * ASTRONOMICAL_UNIT, 0.0, 0.0]])
    place = np.array([mars, 0.0, 0.0])
    ratio = GM["sun"] / GM["mars"]
    lifted = solid_body_tide(place, sun, mass_ratio=ratio, radius=mars, h2=0.3, l2=0.03)
    np.testing.assert_allclose(lifted[0], [0.0104, 0, 0], atol=1e-4)


def test_many_raisers_and_places_go_together() -> None:
    random = np.random.default_rng(12)
    raisers = 3.8e8 * random.normal(size=(5, 3))
    places = MOON_RADIUS * random.normal(size=(5, 3))
    together = moon_tide(places, raisers)
    for n in range(5):
        np.testing.assert_allclose(moon_tide(places[n], raisers[n : n + 1])[0], together[n])
