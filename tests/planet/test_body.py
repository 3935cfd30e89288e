"""Bodies: coordinates against SOFA, tides along the ephemeris, what is refused."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from numpy.typing import NDArray

from wobble.constants import DAY, GM
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError, UnknownNameError
from wobble.files.body_file import read_body
from wobble.planet.body import Body

Array = NDArray[np.float64]


@pytest.fixture(scope="module")
def mars() -> Body:
    return read_body("mars")


@pytest.fixture(scope="module")
def moon() -> Body:
    return read_body("moon")


def changed(body: Body, **changes: object) -> Body:
    fields = ("name", "gm", "equatorial_radius", "polar_radius", "orientation", "tide_raisers")
    return Body(**({f: getattr(body, f) for f in fields} | changes))


# ---------------------------------------------------------------------------------------------
# Shape


def test_mars_has_its_published_size(mars: Body) -> None:
    # Archinal et al. 2018, Celest. Mech. Dyn. Astron. 130, 22; DE440 (Park et al. 2021).
    assert (mars.equatorial_radius, mars.polar_radius) == (3396.19e3, 3376.20e3)
    assert 1 / mars.flattening == pytest.approx(169.894, abs=1e-3)
    assert mars.gm == GM["mars"]


@pytest.mark.parametrize("latitude", [-90.0, -45.0, 0.0, 18.4, 89.9])
def test_geodetic_coordinates_go_there_and_back(mars: Body, moon: Body, latitude: float) -> None:
    for body in (mars, moon):
        there = body.from_geodetic(2.5, np.radians(latitude), -1234.5)
        longitude, back, height = body.geodetic(there)
        assert np.degrees(back) == pytest.approx(latitude, abs=1e-10)
        assert height == pytest.approx(-1234.5, abs=1e-6)
        if latitude > -90:
            assert longitude == pytest.approx(2.5, abs=1e-12)


def test_geodetic_coordinates_are_those_of_sofa(mars: Body) -> None:
    f = 1 - 3376.20 / 3396.19
    expected = erfa.gd2gce(3396.19e3, f, 2.5, 0.7, 800.0)
    np.testing.assert_allclose(mars.from_geodetic(2.5, 0.7, 800.0), expected, atol=1e-9)
    np.testing.assert_allclose(mars.geodetic(expected), erfa.gc2gde(3396.19e3, f, expected))


def test_on_a_sphere_the_zenith_is_the_radius(moon: Body) -> None:
    place = moon.from_geodetic(0.0, np.radians(60.0), 600.0)
    np.testing.assert_allclose(place, 1738.0e3 * np.array([0.5, 0.0, np.sqrt(0.75)]), atol=1e-6)


# ---------------------------------------------------------------------------------------------
# Tides


def test_the_tide_of_the_moon_swings_by_a_tenth_of_a_metre_within_a_month(moon: Body) -> None:
    # 0.63 m toward the Earth at the mean distance, and +- 3 times the eccentricity of 0.055
    # of it: 0.1 m up and down (elementary).
    epochs = Epochs.of((7600 + np.arange(0, 29.5, 0.25)) * DAY)
    place = np.array([moon.equatorial_radius, 0.0, 0.0])
    up = moon.tidal_displacement(place, open_ephemeris("de421"), epochs)[:, 0]
    assert up.mean() == pytest.approx(0.62, abs=0.03)
    assert 0.15 < np.ptp(up) < 0.30


def test_the_tide_of_mars_is_the_suns_and_follows_its_day(mars: Body) -> None:
    sol = 88775.244  # s, from one noon to the next (common knowledge of astronomers)
    epochs = Epochs.of(6.5e8 + np.arange(0.0, 1.0, 0.02) * sol)
    place = np.array([mars.equatorial_radius, 0.0, 0.0])
    up = mars.tidal_displacement(place, open_ephemeris("de440"), epochs)[:, 0]
    # Two tides a day, a centimetre in all; the second half of the day repeats the first.
    assert 5e-3 < np.ptp(up) < 20e-3
    np.testing.assert_allclose(up[:25], up[25:], atol=1e-4)


def test_a_rigid_body_has_no_tide(mars: Body) -> None:
    rigid = changed(mars, love_h2=0.0, love_l2=0.0)
    still = rigid.tidal_displacement(np.ones(3), open_ephemeris("de440"), Epochs.of([0.0, 1.0]))
    np.testing.assert_array_equal(still, np.zeros((2, 3)))


# ---------------------------------------------------------------------------------------------
# Parameters, and what is refused


def test_rotation_parameters_can_be_changed(mars: Body) -> None:
    other = mars.with_rotation({"core.factor": 0.07})
    assert other.orientation.values["core.factor"] == 0.07
    assert other.equatorial_radius == mars.equatorial_radius
    with pytest.raises(UnknownNameError, match=r"perhaps 'core.factor'"):
        mars.with_rotation({"core.factors": 0.07})


@pytest.mark.parametrize("polar", [0.0, -1.0, 3397e3, np.nan])
def test_an_impossible_shape_is_refused(mars: Body, polar: float) -> None:
    with pytest.raises(InputError, match="body mars: the polar radius lies between"):
        changed(mars, polar_radius=polar)


@pytest.mark.parametrize("gm", [0.0, -1.0, np.nan])
def test_an_impossible_mass_is_refused(mars: Body, gm: float) -> None:
    with pytest.raises(InputError, match="body mars: a mass is positive"):
        changed(mars, gm=gm)


def test_a_tide_raiser_that_is_unknown_or_the_body_itself_is_refused(mars: Body) -> None:
    with pytest.raises(UnknownNameError, match="body mars: unknown body that raises a tide"):
        changed(mars, tide_raisers=("sun", "vulcan"))
    with pytest.raises(UnknownNameError, match="found 'mars'"):
        changed(mars, tide_raisers=("mars",))


def test_a_body_shows_its_shape_and_parameters(mars: Body, moon: Body) -> None:
    assert repr(mars) == "<Body mars: 3396.19 km, flattening 1/169.89, 28 rotation parameters>"
    assert repr(moon) == "<Body moon: 1737.40 km, a sphere, 0 rotation parameters>"
    assert moon._repr_html_().startswith("<code>&lt;Body moon")
