"""Landers: coordinates against SOFA and astropy, antennas against geometry."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from astropy.coordinates import CylindricalRepresentation
from astropy.units import Quantity
from numpy.typing import NDArray

from wobble.errors import InputError
from wobble.files.body_file import read_body
from wobble.planet.body import Body
from wobble.planet.lander import Antenna, Lander

Array = NDArray[np.float64]

EAST, NORTH, UP = np.eye(3)


@pytest.fixture(scope="module")
def mars() -> Body:
    return read_body("mars")


def test_geodetic_coordinates_are_those_of_sofa(mars: Body) -> None:
    longitude, latitude, height = np.radians(-22.3), np.radians(18.4), -3900.0
    lander = Lander.geodetic("alpha", mars, longitude, latitude, height)
    expected = erfa.gd2gce(3396.19e3, 1 - 3376.20 / 3396.19, longitude, latitude, height)
    np.testing.assert_allclose(lander.position, expected, atol=1e-9)


def test_cylindrical_coordinates_are_those_of_astropy() -> None:
    lander = Lander.cylindrical("alpha", 3.2e6, np.radians(200.0), 1.1e6)
    expected = CylindricalRepresentation(
        Quantity(3.2e6, "m"), Quantity(200.0, "deg"), Quantity(1.1e6, "m")
    ).to_cartesian()
    np.testing.assert_allclose(lander.position, expected.xyz.to_value("m"), atol=1e-9)


def test_the_three_forms_take_the_other_properties_too(mars: Body) -> None:
    antenna = Antenna("east", 1.5, 0.4, 0.5)
    for lander in (
        Lander.cylindrical("alpha", 3.2e6, 0.0, 1.1e6, antennas=(antenna,), transponder_delay=1e-6),
        Lander.geodetic("alpha", mars, 0, 0, 0, antennas=(antenna,), transponder_delay=1e-6),
    ):
        assert lander.antennas == (antenna,)
        assert lander.transponder_delay == 1e-6
        assert lander.moved(np.array([1e6, 2e6, 3e6])).antennas == (antenna,)


def test_directions_over_the_horizon_have_their_azimuth_and_elevation(mars: Body) -> None:
    # On the equator at 90 degrees east: east is -x, north is z, up is y.
    lander = Lander("alpha", np.array([0.0, 3396.19e3, 0.0]))
    targets = np.array([[-1.0, 0, 0], [0, 0, 1], [1, 0, 0], [0, 1, 0], [0, 1, -1]])
    local, azimuth, elevation = lander.look(mars, targets)
    np.testing.assert_allclose(local[0], EAST, atol=1e-15)
    np.testing.assert_allclose(np.degrees(azimuth[[0, 2, 4]]), [90, 270, 180])
    np.testing.assert_allclose(np.degrees(elevation), [0, 0, 0, 90, 45], atol=1e-12)


def test_the_zenith_is_that_of_the_ellipsoid(mars: Body) -> None:
    # Geodetic and planetocentric latitude of Mars differ by up to 0.34 degrees: f sin(2 lat).
    lander = Lander.geodetic("alpha", mars, 0.3, np.radians(45.0), 0.0)
    up = lander.horizon(mars)[2]
    assert np.degrees(np.arcsin(up[2])) == pytest.approx(45.0, abs=1e-9)
    tilt = np.degrees(np.arccos(up @ lander.position / np.linalg.norm(lander.position)))
    assert tilt == pytest.approx(np.degrees(mars.flattening), rel=0.01)


def test_the_boresight_looks_where_azimuth_and_elevation_say() -> None:
    np.testing.assert_allclose(Antenna("a", 0.0, 0.0, 1.0).boresight(), NORTH, atol=1e-16)
    np.testing.assert_allclose(Antenna("a", np.pi / 2, 0.0, 1.0).boresight(), EAST, atol=1e-16)
    np.testing.assert_allclose(Antenna("a", 1.0, np.pi / 2, 1.0).boresight(), UP, atol=1e-15)


def test_angles_off_the_boresight_are_true_however_small() -> None:
    antenna = Antenna("east", np.pi / 2, np.radians(20.0), 0.5)
    axis, across = antenna.boresight(), NORTH
    angles = np.array([0.0, 1e-9, 1e-3, 1.0, np.pi / 2, 3.0, np.pi])
    local = np.cos(angles)[:, None] * axis + np.sin(angles)[:, None] * across
    np.testing.assert_allclose(antenna.off_boresight(5.0 * local), angles, rtol=1e-12, atol=1e-15)


@pytest.mark.parametrize("half_width", [0.0, -0.1, 3.2, np.nan])
def test_a_beam_without_a_sensible_width_is_refused(half_width: float) -> None:
    with pytest.raises(InputError, match="antenna east: the half-width of a beam lies between"):
        Antenna("east", 0.0, 0.0, half_width)


@pytest.mark.parametrize(
    "position", [[1e6, np.nan, 0.0], [np.inf, 0.0, 0.0], [0.0, 0.0, 0.0], [1e6, 2e6]]
)
def test_a_place_that_is_none_is_refused(position: list[float]) -> None:
    with pytest.raises(InputError, match="lander alpha: a lander's place is three finite"):
        Lander("alpha", np.array(position))


def test_a_lander_shows_its_place_and_its_antennas() -> None:
    lander = Lander(
        "alpha", np.array([3.0e6, -1.5e6, 0.0]), (Antenna("east", np.pi / 2, 0.35, 0.44),)
    )
    assert repr(lander) == (
        "<Lander alpha: x 3000.000, y -1500.000, z 0.000 km; antennas east (azimuth 90 deg, "
        "elevation 20 deg, half-width 25 deg)>"
    )
    assert repr(Lander("b", np.array([3.0e6, 0.0, 0.0]))).endswith("antennas any>")
    assert lander._repr_html_().startswith("<code>&lt;Lander alpha")
