"""Distances at a Sun-Earth-probe angle, against those of the days that have this angle."""

from __future__ import annotations

import math

import numpy as np
import pytest

from wobble.campaign.places import greatest_elongation, places_at
from wobble.constants import ASTRONOMICAL_UNIT, DAY
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.link.plasma import sun_earth_probe_angle

EPHEMERIS = open_ephemeris("de440")
EPOCH = Epochs.of(np.array([31 * 365.25 * DAY]))
# Thirty-two years hold fifteen of Mars's returns and twenty of Venus's.
DAYS = Epochs.of(np.arange(0, 32 * 365) * DAY)


def seen(body, angle):
    """Distances (au) on the days when a body is within half a degree of an angle, and whether
    it is then beyond the point of the line of sight that is nearest to the Sun."""
    earth, sun = EPHEMERIS.position("earth", DAYS), EPHEMERIS.position("sun", DAYS)
    there = EPHEMERIS.position(body, DAYS)
    angles = sun_earth_probe_angle(earth, there, sun)
    away = np.linalg.norm(there - earth, axis=1)
    beyond = away > np.linalg.norm(sun - earth, axis=1) * np.cos(angles)
    rows = np.abs(angles - math.radians(angle)) < math.radians(0.5)
    return away[rows] / ASTRONOMICAL_UNIT, beyond[rows]


def places(body, angle):
    return places_at(EPHEMERIS, body, EPOCH, math.radians(angle))


@pytest.mark.parametrize("angle", [3, 10, 45, 90, 120, 170])
def test_an_outer_planet_is_where_the_ephemeris_has_it(angle):
    found = places("mars", angle)
    assert len(found) == 1
    distances, _ = seen("mars", angle)
    nearest, middle, farthest = (
        one / ASTRONOMICAL_UNIT for one in (found[0].nearest, found[0].distance, found[0].farthest)
    )
    # The Earth's own eccentricity, which is left out, is 0.017 au.
    assert nearest - 0.03 < distances.min() < nearest + 0.12
    assert farthest - 0.12 < distances.max() < farthest + 0.03
    assert nearest < middle < farthest
    assert middle == pytest.approx(distances.mean(), rel=0.07)


@pytest.mark.parametrize(("body", "angle"), [("venus", 10), ("venus", 30), ("mercury", 15)])
def test_an_inner_planet_has_a_place_before_the_sun_and_one_beyond(body, angle):
    distances, beyond = seen(body, angle)
    before, behind = places(body, angle)
    assert (before.name, behind.name) == ("before the Sun", "beyond the Sun")
    for place, rows in ((before, ~beyond), (behind, beyond)):
        low, high = place.nearest / ASTRONOMICAL_UNIT, place.farthest / ASTRONOMICAL_UNIT
        assert low - 0.03 < distances[rows].min()
        assert distances[rows].max() < high + 0.03
        assert place.distance / ASTRONOMICAL_UNIT == pytest.approx(distances[rows].mean(), rel=0.07)


def test_the_moon_is_as_far_as_its_orbit_whatever_the_sun_does():
    (place,) = places("moon", 10)
    # The semi-major axis varies with the Sun's pull by one percent about 384 400 km.
    assert place.distance == pytest.approx(3.844e8, rel=0.02)
    assert 3.5e8 < place.nearest < 3.7e8


def test_mercury_may_be_where_only_its_outer_orbit_reaches():
    # Mercury's greatest elongations are 18 to 28 degrees (common knowledge).
    before, behind = places("mercury", 25)
    assert before.nearest <= before.distance <= behind.distance <= behind.farthest


@pytest.mark.parametrize(("body", "reach"), [("venus", 47.8), ("mercury", 28.3)])
def test_beyond_its_greatest_elongation_an_inner_planet_never_is(body, reach):
    # 47.8 degrees for Venus, 28.3 for Mercury: common knowledge of observers.
    places(body, reach - 0.6)
    with pytest.raises(InputError, match=f"{body} is never seen so far .*greatest elongation"):
        places(body, reach + 0.6)


@pytest.mark.parametrize("angle", [0.0, -5.0, 0.26, 181.0])
def test_an_angle_within_the_disc_or_of_no_triangle_says_what_is_expected(angle):
    with pytest.raises(InputError, match=r"more than 0\.27 deg.*at most 180 deg"):
        places("mars", angle)


def test_greatest_elongation_is_that_of_the_mean_orbit():
    # sin(elongation) = 0.723 au / 1 au for Venus (from memory).
    found = greatest_elongation(EPHEMERIS, "venus", EPOCH)
    assert math.sin(found) == pytest.approx(0.7233, rel=2e-3)
    assert greatest_elongation(EPHEMERIS, "mars", EPOCH) == math.pi
    assert greatest_elongation(EPHEMERIS, "moon", EPOCH) == math.pi
