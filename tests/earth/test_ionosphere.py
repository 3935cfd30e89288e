import astropy.units as u
import numpy as np
import pytest
from astropy.coordinates import SphericalRepresentation

from wobble.earth.ionosphere import group_delay, pierce_point, slant_factor
from wobble.errors import InputError

EARTH_RADIUS = 6_371e3


def test_one_tec_unit_at_x_band_is_5_71_mm():
    # 40.308 m^3/s^2 (IERS Conventions 2010, section 9.4).
    assert group_delay(1e16, 8.4e9) == pytest.approx(40.308e16 / 8.4e9**2, rel=1e-5)
    assert group_delay(1e16, 8.4e9) == pytest.approx(5.71e-3, abs=5e-6)


def test_group_delay_is_how_a_plasma_slows_a_wave():
    # Group speed c sqrt(1 - (f_p / f)^2), f_p = 8.98 Hz sqrt(N) with N in m^-3 (plasma physics;
    # 8.97866 in more digits, from memory): the first order in 1 / f^2 is the model.
    density, length, frequency = 1e12, 1e6, 8.4e9
    plasma_frequency = 8.97866 * np.sqrt(density)
    slowed = length / np.sqrt(1.0 - (plasma_frequency / frequency) ** 2)
    assert group_delay(density * length, frequency) == pytest.approx(slowed - length, rel=1e-5)


def distance_to_shell(elevation, radius):
    return np.sqrt(radius**2 - (EARTH_RADIUS * np.cos(elevation)) ** 2) - EARTH_RADIUS * np.sin(
        elevation
    )


@pytest.mark.parametrize("height", [350e3, 450e3])
def test_slant_factor_is_the_path_through_a_thin_layer_over_its_thickness(height):
    elevation = np.radians(np.array([0.0, 5.0, 30.0, 60.0, 89.9]))
    thickness = 10.0
    inner, outer = EARTH_RADIUS + height - thickness / 2, EARTH_RADIUS + height + thickness / 2
    path = distance_to_shell(elevation, outer) - distance_to_shell(elevation, inner)
    np.testing.assert_allclose(slant_factor(elevation, height), path / thickness, rtol=1e-7)


def test_slant_factor_is_one_at_the_zenith():
    assert slant_factor(np.pi / 2.0) == pytest.approx(1.0, abs=1e-15)


def test_pierce_point_lies_on_the_shell_along_the_line_of_sight():
    rng = np.random.default_rng(4)
    n = 200
    latitude, azimuth = rng.uniform(-1.5, 1.5, n), rng.uniform(0.0, 2.0 * np.pi, n)
    longitude, elevation = rng.uniform(-np.pi, np.pi, n), rng.uniform(0.0, np.pi / 2.0, n)
    station = SphericalRepresentation(longitude * u.rad, latitude * u.rad, EARTH_RADIUS * u.m)
    axes = station.unit_vectors()
    sight = (
        np.cos(elevation) * np.sin(azimuth) * axes["lon"]
        + np.cos(elevation) * np.cos(azimuth) * axes["lat"]
        + np.sin(elevation) * axes["distance"]
    )
    pierced = station.to_cartesian() + sight * (
        distance_to_shell(elevation, EARTH_RADIUS + 450e3) * u.m
    )
    found_latitude, found_longitude = pierce_point(latitude, longitude, elevation, azimuth)
    found = SphericalRepresentation(
        found_longitude * u.rad, found_latitude * u.rad, (EARTH_RADIUS + 450e3) * u.m
    )
    assert (pierced - found.to_cartesian()).norm().max() < 1e-3 * u.m
    assert np.all(np.abs(found_longitude) <= np.pi)


@pytest.mark.parametrize("frequency", [8.4, 8400.0, 0.0, np.nan])
def test_frequencies_that_are_not_in_hertz_are_refused(frequency):
    with pytest.raises(InputError, match="frequency"):
        group_delay(1e17, frequency)


def test_bodies_below_the_horizon_and_shells_in_kilometres_are_refused():
    with pytest.raises(InputError, match="elevation"):
        slant_factor(-0.1)
    with pytest.raises(InputError, match="shell_height"):
        slant_factor(0.5, shell_height=450.0)
