"""Radio delays against published test cases and against rays traced through the standard
atmosphere, which no mapping function knows of."""

import numpy as np
import pytest
from scipy.integrate import quad

from wobble.earth.troposphere import (
    MINIMUM_ELEVATION,
    hydrostatic_mapping,
    tropospheric_delay,
    wet_mapping,
    zenith_delay_carbon_dioxide,
    zenith_hydrostatic_delay,
    zenith_wet_delay,
)
from wobble.earth.weather import standard_pressure, water_vapour_pressure
from wobble.errors import InputError

EARTH_RADIUS = 6_371e3
TOP = 90e3
# Heights of the layers' boundaries, geopotential 11, 20 and 32 km.
LAYERS = (11_019.0, 20_063.0, 32_162.0)
SPRING = 28.0 + 365.25 / 4.0


def dry_refractivity(height):
    """n - 1 in the U.S. Standard Atmosphere 1976, layers to 47 km continued above; 77.6 K/hPa
    (common practice, no source)."""
    h = 6_356_766.0 * height / (6_356_766.0 + height)
    g = 0.0341631947  # g0 M / R of the standard, K/m
    if h < 11e3:
        t = 288.15 - 0.0065 * h
        p = 1013.25 * (t / 288.15) ** (g / 0.0065)
    elif h < 20e3:
        t = 216.65
        p = 226.3206 * np.exp(-g * (h - 11e3) / t)
    elif h < 32e3:
        t = 216.65 + 0.001 * (h - 20e3)
        p = 54.74889 * (t / 216.65) ** (-g / 0.001)
    else:
        t = 228.65 + 0.0028 * (h - 32e3)
        p = 8.680187 * (t / 228.65) ** (-g / 0.0028)
    return 77.6e-6 * p / t


def integrate(function, start):
    layers = [layer for layer in LAYERS if layer > start]
    return quad(function, start, TOP, points=layers, limit=200, epsabs=1e-12, epsrel=1e-11)[0]


def traced_ray(apparent_elevation, start=0.0):
    """Elevation in vacuum and delay of a ray through spherical layers, by Bouguer's law."""
    radius = EARTH_RADIUS + start
    constant = (1.0 + dry_refractivity(start)) * radius * np.cos(apparent_elevation)

    def terms(height):
        r, n = EARTH_RADIUS + height, 1.0 + dry_refractivity(height)
        return r, n, np.sqrt((n * r) ** 2 - constant**2)

    def optical_path(height):
        r, n, root = terms(height)
        return n**2 * r / root

    def turned(height):
        r, _, root = terms(height)
        return constant / (r * root)

    arc = integrate(turned, start)
    top = EARTH_RADIUS + TOP
    elevation = np.pi / 2.0 - np.arcsin(constant / top) - arc
    straight = top * np.sin(arc) * np.cos(elevation)
    straight += (top * np.cos(arc) - radius) * np.sin(elevation)
    return elevation, integrate(optical_path, start) - straight


def test_zenith_delay_is_the_integral_of_the_standard_atmosphere():
    # The weight of the air above gives the delay, whatever the profile: Saastamoinen 1972.
    for height in (0.0, 2000.0):
        delay = integrate(dry_refractivity, height)
        modelled = zenith_hydrostatic_delay(standard_pressure(height), np.radians(45.0), height)
        assert modelled == pytest.approx(delay, abs=1e-3)


def test_zenith_delay_falls_with_gravity_as_geodesy_says():
    # Normal gravity is 0.53 % stronger at the pole than at the equator (geodetic reference
    # system 1980), and heavier air is thinner for the same pressure.
    pole, equator = zenith_hydrostatic_delay(1013.25, np.radians([90.0, 0.0]), 0.0)
    assert equator / pole == pytest.approx(9.8321863685 / 9.7803267715, abs=1e-4)


def test_zenith_wet_delay_is_about_six_times_the_precipitable_water():
    # Bevis et al. 1992, J. Geophys. Res. 97, 15787: precipitable water / wet delay is near 0.15.
    # Exponential vapour of scale height 2.0 km (common practice, no source).
    vapour = water_vapour_pressure(60.0, 288.15, 1013.25)
    precipitable_water = vapour * 100.0 / (461.5 * 288.15) * 2000.0 / 1000.0
    assert precipitable_water / zenith_wet_delay(288.15, vapour) == pytest.approx(0.15, abs=0.02)


@pytest.mark.parametrize(
    ("elevation_deg", "tolerance"), [(3.5, 5e-4), (5.0, 4e-4), (10.0, 2e-4), (30.0, 5e-5)]
)
def test_hydrostatic_mapping_agrees_with_rays_traced_in_spring(elevation_deg, tolerance):
    elevation, delay = traced_ray(np.radians(elevation_deg))
    mapping = hydrostatic_mapping(elevation, np.radians(45.0), 0.0, SPRING)
    assert mapping == pytest.approx(delay / integrate(dry_refractivity, 0.0), rel=tolerance)


def test_height_correction_agrees_with_rays_traced_from_a_mountain():
    start = 3000.0
    elevation, delay = traced_ray(np.radians(5.0), start)
    ratio = delay / integrate(dry_refractivity, start)
    assert hydrostatic_mapping(elevation, np.radians(45.0), start, SPRING) == pytest.approx(
        ratio, rel=1.2e-3
    )
    # Without the correction the mapping is wrong by eight times as much.
    assert abs(hydrostatic_mapping(elevation, np.radians(45.0), 0.0, SPRING) / ratio - 1) > 7e-3


def test_mapping_functions_agree_with_the_global_mapping_function():
    # Test case of routine GMF, IERS Conventions 2010, chapter 9: MJD 55055 is 12 August 2009.
    # GMF is another model, from rays through a weather model: they need not agree to better.
    latitude, elevation = 0.6708665767, np.pi / 2.0 - 1.278564131
    hydrostatic = hydrostatic_mapping(elevation, latitude, 844.715, 224.0)
    assert hydrostatic == pytest.approx(3.425245519339138678, rel=2e-4)
    assert wet_mapping(elevation, latitude) == pytest.approx(3.449589116182419257, rel=2e-4)


def test_tables_are_those_of_niell():
    # Niell 1996, tables 3 and 4, at 5 degrees of elevation and the tabulated latitudes, evaluated
    # with 15 digits from another transcription of the tables; not published as such.
    latitude, elevation = np.radians([15.0, 30.0, 45.0, 60.0, 75.0]), np.radians(5.0)
    winter = [10.1003469, 10.1187759, 10.1517617, 10.180796, 10.1996761]
    summer = [10.1003469, 10.0976825, 10.1056626, 10.1239437, 10.1327886]
    wet = [10.7506785, 10.7675985, 10.7508842, 10.7340827, 10.7192841]
    half_a_year = 365.25 / 2.0
    for day, expected in ((28.0, winter), (28.0 + half_a_year, summer)):
        mapping = hydrostatic_mapping(elevation, latitude, 0.0, day)
        np.testing.assert_allclose(mapping, expected, rtol=1e-8)
    np.testing.assert_allclose(wet_mapping(elevation, latitude), wet, rtol=1e-8)
    beyond = np.radians([0.0, 90.0])
    np.testing.assert_allclose(wet_mapping(elevation, beyond), [wet[0], wet[4]], rtol=1e-8)


@pytest.mark.parametrize("latitude_deg", [0.0, 15.0, 30.0, 37.5, 52.5, 60.0, 75.0, 90.0])
def test_no_latitude_strays_from_the_traced_rays(latitude_deg):
    # Guards the tables: climate changes the ratio at 5 degrees by less than 0.8 %.
    elevation, delay = traced_ray(np.radians(5.0))
    ratio = delay / integrate(dry_refractivity, 0.0)
    latitude = np.radians(latitude_deg)
    days = np.array([28.0, SPRING, 210.6])
    np.testing.assert_allclose(
        hydrostatic_mapping(elevation, latitude, 0.0, days), ratio, rtol=8e-3
    )
    # Vapour lies low, where the curvature of the Earth matters less.
    assert 1.03 * ratio < wet_mapping(elevation, latitude) < 1.08 * ratio


def test_southern_seasons_are_half_a_year_later():
    elevation, latitude = np.radians(7.0), np.radians(52.0)
    north = hydrostatic_mapping(elevation, latitude, 100.0, 40.0)
    south = hydrostatic_mapping(elevation, -latitude, 100.0, 40.0 + 365.25 / 2.0)
    assert south == pytest.approx(north, rel=1e-14)
    assert abs(hydrostatic_mapping(elevation, -latitude, 100.0, 40.0) / north - 1.0) > 1e-3


def test_everything_is_one_at_the_zenith():
    zenith = np.pi / 2.0
    assert hydrostatic_mapping(zenith, 0.7, 1000.0, 200.0) == pytest.approx(1.0, abs=1e-14)
    assert wet_mapping(zenith, 0.7) == pytest.approx(1.0, abs=1e-14)


def test_delay_of_many_events_is_the_sum_of_its_two_parts():
    elevation, day = np.radians([10.0, 45.0, 90.0]), np.array([1.0, 100.0, 200.0])
    weather = np.array([1000.0, 950.0, 700.0]), np.array([300.0, 280.0, 270.0])
    delay = tropospheric_delay(elevation, 0.6, 500.0, day, *weather, [50.0, 20.0, 0.0])
    assert delay.shape == (3,)
    # Dry air at the zenith: 2.28 mm per hPa (Davis et al. 1985).
    assert delay[2] == pytest.approx(0.0022768 * 700.0, rel=2e-3)
    vapour = water_vapour_pressure(50.0, 300.0, 1000.0)
    parts = (
        zenith_hydrostatic_delay(1000.0, 0.6, 500.0)
        * hydrostatic_mapping(elevation[0], 0.6, 500.0, 1.0),
        zenith_wet_delay(300.0, vapour) * wet_mapping(elevation[0], 0.6),
    )
    assert delay[0] == pytest.approx(sum(parts), rel=1e-14)
    # 10 degrees at 300 K and 50 %: some 12.8 m dry, a metre wet.
    assert 12.0 < parts[0] < 13.5
    assert 0.8 < parts[1] < 1.3


def test_carbon_dioxide_agrees_with_its_refractive_volume():
    # Refractive volume of the air of Mars 1.804e-23 cm^3 (Hinson et al. 1999, J. Geophys. Res.
    # 104, 26997; from memory), mean molar mass 43.34 g/mol: column density P / (m g).
    pressure, gravity = np.array([610.0, 800.0]), 3.72
    molecules = pressure / (43.34e-3 / 6.02214076e23 * gravity)
    delay = zenith_delay_carbon_dioxide(pressure, gravity)
    np.testing.assert_allclose(delay, 1.804e-29 * molecules, rtol=0.01)


@pytest.mark.parametrize("elevation", [np.radians(2.9), np.radians(-5.0), 30.0, np.nan])
def test_elevations_outside_three_to_ninety_degrees_are_refused(elevation):
    with pytest.raises(InputError, match="1 of 2"):
        wet_mapping(np.array([0.5, elevation]), 0.5)
    with pytest.raises(InputError) as caught:
        hydrostatic_mapping(elevation, 0.5, 0.0, 1.0)
    assert caught.value.field == "elevation"


def test_three_degrees_itself_is_allowed():
    assert wet_mapping(MINIMUM_ELEVATION, 0.5) > 14.0
