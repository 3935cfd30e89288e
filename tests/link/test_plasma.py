"""Columns of electrons against closed forms and against adaptive quadrature in z itself."""

import itertools
import math

import erfa
import numpy as np
import pytest
from scipy.integrate import quad

from wobble.constants import ASTRONOMICAL_UNIT, SUN_RADIUS
from wobble.errors import InputError
from wobble.link.plasma import (
    LATITUDE_CORONA,
    SPHERICAL_CORONA,
    SUN_POLE,
    Corona,
    CoronaTerm,
    coronal_delay,
    electron_column,
    impact_parameter,
    sun_earth_probe_angle,
)

AU = ASTRONOMICAL_UNIT
IDENTITY = np.eye(3)
SUN = np.array([4.0e8, -9.0e8, -3.0e8])  # off the barycentre, as it is


def earth_and_probe(angle, probe_distance=1.524 * AU, rotation=IDENTITY):
    """Two ends with a given Sun-Earth-probe angle, the probe beyond the Earth's orbit."""
    angle = np.atleast_1d(angle)[:, None]
    length = AU * np.cos(angle) + np.sqrt(probe_distance**2 - (AU * np.sin(angle)) ** 2)
    earth = np.array([AU, 0.0, 0.0])
    direction = np.hstack([-np.cos(angle), np.sin(angle), 0.0 * angle])
    return (
        SUN + np.broadcast_to(earth, direction.shape) @ rotation.T,
        SUN + (earth + length * direction) @ rotation.T,
    )


def column_by_quadrature(model, start, stop):
    """Integral over z, split at multiples of the impact parameter where the density peaks."""
    start, stop = start - SUN, stop - SUN
    length = np.linalg.norm(stop - start)
    along = (stop - start) / length
    nearest = -start @ along
    impact = np.linalg.norm(start + nearest * along)

    def density(z):
        point = start + z * along
        distance = np.linalg.norm(point)
        return float(model.density(distance, np.arcsin(point @ SUN_POLE / distance)))

    steps = impact * np.array([-50, -20, -5, -2, -1, -0.5, -0.2, 0, 0.2, 0.5, 1, 2, 5, 20, 50])
    edges = np.clip(np.concatenate([[0.0], nearest + steps, [length]]), 0.0, length)
    return sum(
        quad(density, low, high, epsabs=0.0, epsrel=1e-11, limit=200)[0]
        for low, high in itertools.pairwise(edges)
        if high > low
    )


def rotations(count):
    rng = np.random.default_rng(11)
    return [np.linalg.qr(rng.normal(size=(3, 3)))[0] for _ in range(count)]


@pytest.mark.parametrize(
    ("model", "tolerance"), [(SPHERICAL_CORONA, 1e-10), (LATITUDE_CORONA, 3e-5)]
)
def test_column_agrees_with_adaptive_quadrature_from_four_solar_radii_to_opposition(
    model, tolerance
):
    angles = np.radians([1.07, 2.0, 10.0, 60.0, 90.0, 150.0, 180.0])
    for rotation, distance in zip(rotations(3), (1.381 * AU, 1.666 * AU, 5.2 * AU), strict=True):
        earth, probe = earth_and_probe(angles, distance, rotation)
        assert impact_parameter(earth, probe, SUN)[0] < 4.05 * SUN_RADIUS
        expected = [column_by_quadrature(model, *ends) for ends in zip(earth, probe, strict=True)]
        np.testing.assert_allclose(
            electron_column(model, earth, probe, SUN), expected, rtol=tolerance
        )


def test_column_through_the_equator_of_the_sun_close_by_agrees_with_adaptive_quadrature():
    # The hardest path: along the Sun's axis, so that it crosses the narrow belt at right angles.
    side = np.cross(SUN_POLE, [1.0, 0.0, 0.0])
    side *= 4.0 * SUN_RADIUS / np.linalg.norm(side)
    start, stop = SUN + side - AU * SUN_POLE, SUN + side + 1.5 * AU * SUN_POLE
    expected = column_by_quadrature(LATITUDE_CORONA, start, stop)
    assert electron_column(LATITUDE_CORONA, start, stop, SUN) == pytest.approx(expected, rel=3e-5)


@pytest.mark.parametrize("longitude", [0.0, 1.3, 2.6, 4.0])
def test_columns_in_the_ecliptic_agree_with_adaptive_quadrature(longitude):
    to_icrf = erfa.ecm06(2451545.0, 0.0).T @ erfa.rz(longitude, IDENTITY)
    earth, probe = earth_and_probe(np.radians([1.08, 5.0, 30.0, 150.0]), rotation=to_icrf)
    expected = [
        column_by_quadrature(LATITUDE_CORONA, *ends) for ends in zip(earth, probe, strict=True)
    ]
    np.testing.assert_allclose(
        electron_column(LATITUDE_CORONA, earth, probe, SUN), expected, rtol=1e-9
    )


def test_column_of_an_inverse_square_corona_is_the_angle_over_the_impact_parameter():
    # Integral of dz / (b^2 + z^2) = angle swept at the Sun / b (elementary).
    model = Corona((CoronaTerm(1e12, 2.0),))
    earth, probe = earth_and_probe(np.radians([1.1, 30.0, 90.0, 120.0, 179.0]))
    swept = erfa.sepp(earth - SUN, probe - SUN)
    toward_sun, toward_probe = SUN - earth, probe - earth
    impact = np.linalg.norm(np.cross(toward_sun, toward_probe), axis=1)
    impact /= np.linalg.norm(toward_probe, axis=1)
    np.testing.assert_allclose(
        electron_column(model, earth, probe, SUN), 1e12 * SUN_RADIUS**2 * swept / impact, rtol=1e-10
    )


def test_column_at_opposition_is_the_radial_integral_outward_from_the_earth():
    # Integral of r^-k from 1 to 1.524 au (elementary), coefficients of TDA Progress Report 42-71.
    earth, probe = earth_and_probe(np.pi)
    inner, outer = AU / SUN_RADIUS, 1.524 * AU / SUN_RADIUS
    expected = SUN_RADIUS * sum(
        density * 1e6 * (inner ** (1 - k) - outer ** (1 - k)) / (k - 1)
        for density, k in ((2.21e8, 6.0), (1.55e6, 2.3))
    )
    assert electron_column(SPHERICAL_CORONA, earth, probe, SUN)[0] == pytest.approx(
        expected, rel=1e-11
    )


def test_density_at_the_earth_is_that_of_the_solar_wind():
    # 3 to 10 per cm^3 (common practice, no source).
    for model in (SPHERICAL_CORONA, LATITUDE_CORONA):
        assert 3e6 < model.density(AU) < 10e6


def test_latitude_corona_thins_out_away_from_the_equator():
    # Muhleman & Anderson 1981 (abstract): away from the equator only the r^-2.04 term is left.
    ratio = LATITUDE_CORONA.density(4.0 * SUN_RADIUS, 1.0) / LATITUDE_CORONA.density(
        8.0 * SUN_RADIUS, 1.0
    )
    assert ratio == pytest.approx(2.0**2.04, rel=1e-10)
    at_width = LATITUDE_CORONA.density(10.0 * SUN_RADIUS, math.radians(8.1))
    expected = (1.32e12 * 10.0**-2.7) / math.e + 2.3e11 * 10.0**-2.04
    assert at_width == pytest.approx(expected, rel=1e-12)


def test_pole_of_the_sun_has_carringtons_inclination_and_node():
    # Inclination 7.25 degrees and node 75.76 degrees of the Sun's equator on the ecliptic of
    # J2000 (Explanatory Supplement to the Astronomical Almanac 1992; from memory).
    ecliptic_pole_longitude, latitude = erfa.c2s(erfa.ecm06(2451545.0, 0.0) @ SUN_POLE)
    assert 90.0 - np.degrees(latitude) == pytest.approx(7.25, abs=0.01)
    node = np.degrees(ecliptic_pole_longitude) + 90.0
    assert node % 360.0 == pytest.approx(75.76, abs=0.02)


def test_direction_of_travel_does_not_matter():
    earth, probe = earth_and_probe(np.radians([1.2, 90.0, 180.0]))
    there = electron_column(LATITUDE_CORONA, earth, probe, SUN)
    np.testing.assert_allclose(
        electron_column(LATITUDE_CORONA, probe, earth, SUN), there, rtol=1e-12
    )


def test_delay_scales_with_the_inverse_square_of_the_frequency():
    # Coherent S and X downlinks, 240/221 and 880/221 (CCSDS 401.0-B): (880 / 240)^2 = 13.44.
    earth, probe = earth_and_probe(np.radians([5.0]))
    uplink = 2.1e9
    s_band, x_band = (
        coronal_delay(SPHERICAL_CORONA, probe, earth, SUN, uplink * ratio)
        for ratio in (240 / 221, 880 / 221)
    )
    assert s_band / x_band == pytest.approx(13.44, abs=0.005)
    column = electron_column(SPHERICAL_CORONA, probe, earth, SUN)
    # 5.71 mm per 1e16 electrons per m^2 at 8.4 GHz (40.31 m^3/s^2, standard constant).
    delay = coronal_delay(SPHERICAL_CORONA, probe, earth, SUN, 8.4e9)
    np.testing.assert_allclose(delay, 40.31 * column / 8.4e9**2, rtol=1e-4)


def test_impact_parameter_is_the_distance_of_the_nearest_point_of_the_path():
    earth, probe = earth_and_probe(np.radians([5.0, 45.0, 90.0, 135.0, 180.0]))
    expected = AU * np.array([math.sin(math.radians(5.0)), math.sqrt(0.5), 1.0, 1.0, 1.0])
    np.testing.assert_allclose(impact_parameter(earth, probe, SUN), expected, rtol=1e-12)
    np.testing.assert_allclose(impact_parameter(probe, earth, SUN), expected, rtol=1e-12)


def test_sun_earth_probe_angle_is_exact_at_conjunction_and_opposition():
    angles = np.array([0.0, 1e-9, 0.3, np.pi / 2.0, np.pi - 1e-9, np.pi])
    earth = np.array([AU, 0.0, 0.0])
    probe = earth + 2.5 * AU * np.stack([-np.cos(angles), np.sin(angles), 0.0 * angles], axis=1)
    np.testing.assert_allclose(
        sun_earth_probe_angle(earth, probe, np.zeros(3)), angles, rtol=0.0, atol=1e-15
    )


def test_paths_through_the_sun_are_refused():
    earth, probe = earth_and_probe(np.radians([5.0, 0.2, 0.0]))
    with pytest.raises(InputError, match=r"2 of 3 paths.*index 2.*more than one solar radius"):
        electron_column(SPHERICAL_CORONA, earth, probe, SUN)


def test_a_planet_on_this_side_of_the_sun_is_seen_at_angle_zero():
    # Inferior conjunction: the line prolonged meets the Sun, the path does not.
    earth, venus = SUN + np.array([AU, 0.0, 0.0]), SUN + np.array([0.72 * AU, 0.0, 0.0])
    column = electron_column(SPHERICAL_CORONA, earth, venus, SUN)
    assert column == pytest.approx(column_by_quadrature(SPHERICAL_CORONA, venus, earth), rel=1e-10)


@pytest.mark.parametrize("probe", [SUN + np.array([AU, 0.0, 0.0]), np.full(3, np.nan)])
def test_no_path_is_refused(probe):
    with pytest.raises(InputError, match="coincide"):
        electron_column(SPHERICAL_CORONA, SUN + np.array([AU, 0.0, 0.0]), probe, SUN)


def test_a_corona_without_density_is_refused():
    with pytest.raises(InputError, match="positive"):
        CoronaTerm(0.0, 2.0)
