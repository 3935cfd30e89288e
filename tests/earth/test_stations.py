"""Tracking stations against astropy's coordinates and elementary geometry."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.coordinates import ITRS, AltAz, CartesianRepresentation, EarthLocation
from astropy.time import Time
from astropy.units import Quantity
from numpy.typing import NDArray

from wobble.constants import JULIAN_YEAR
from wobble.earth.stations import HorizonMask, Station, azimuth_elevation, east_north_up
from wobble.epochs import Epochs
from wobble.errors import InputError

Array = NDArray[np.float64]

PLACE = np.array([4075578.385, 931852.890, 4801570.154])
DRIFT = np.array([-0.015, 0.018, 0.011]) / JULIAN_YEAR


def station(**changes: object) -> Station:
    fields = {
        "name": "alpha",
        "position": PLACE,
        "velocity": DRIFT,
        "epoch": 2010.0,
        "mask": HorizonMask.flat(np.radians(6.0)),
    }
    return Station(**(fields | changes))


# ---------------------------------------------------------------------------------------------
# Place


def test_geodetic_coordinates_are_those_of_astropy() -> None:
    location = EarthLocation.from_geocentric(*PLACE, unit="m").to_geodetic("GRS80")
    longitude, latitude, height = station().geodetic
    assert longitude == pytest.approx(location.lon.rad, abs=1e-14)
    assert latitude == pytest.approx(location.lat.rad, abs=1e-14)
    assert height == pytest.approx(location.height.to_value("m"), abs=1e-8)


def test_the_plate_carries_a_station_by_its_velocity_from_the_reference_epoch() -> None:
    dates = Epochs.from_time(Time([2010.0, 2020.0, 2005.0], format="jyear", scale="tt"), "tt")
    moved = station().itrf(dates) - PLACE
    expected = np.outer([0.0, 10.0, -5.0], DRIFT * JULIAN_YEAR)
    np.testing.assert_allclose(moved, expected, atol=1e-9)


def test_the_horizon_and_the_angles_over_it_are_those_of_astropy() -> None:
    random = np.random.default_rng(6)
    directions = random.normal(size=(200, 3))
    time = Time("2021-03-04", scale="utc")
    location = EarthLocation.from_geocentric(*PLACE, unit="m")
    # astropy's horizon is that of WGS84, of which the flattening is that of GRS80 to 1e-11.
    seen = ITRS(
        CartesianRepresentation(*Quantity(directions.T, "m")), obstime=time, location=location
    ).transform_to(AltAz(obstime=time, location=location))
    azimuth, elevation = azimuth_elevation(directions @ station().horizon.T)
    np.testing.assert_allclose(azimuth, seen.az.rad, atol=1e-9)
    np.testing.assert_allclose(elevation, seen.alt.rad, atol=1e-9)


def test_local_axes_are_orthonormal_and_right_handed() -> None:
    axes = east_north_up(2.1, -0.7)
    np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-15)
    np.testing.assert_allclose(np.cross(axes[0], axes[1]), axes[2], atol=1e-15)


def test_angles_over_the_horizon_go_from_north_over_east() -> None:
    local = np.array([[0.0, 1, 0], [1, 0, 0], [0, -1, 0], [-1, 0, 0], [0, 0, 1], [0, 1, 1]])
    azimuth, elevation = np.degrees(azimuth_elevation(local))
    np.testing.assert_allclose(azimuth[:4], [0, 90, 180, 270])
    np.testing.assert_allclose(elevation, [0, 0, 0, 0, 90, 45], atol=1e-13)


# ---------------------------------------------------------------------------------------------
# Mask


def test_a_mask_is_linear_between_its_points_and_closes_over_north() -> None:
    mask = HorizonMask(np.radians([10.0, 100.0, 350.0]), np.radians([5.0, 15.0, 9.0]))
    azimuths = np.radians([10.0, 55.0, 100.0, 225.0, 350.0, 0.0, 355.0, 360.0])
    found = np.degrees(mask.at(azimuths))
    np.testing.assert_allclose(found, [5.0, 10.0, 15.0, 12.0, 9.0, 7.0, 8.0, 7.0])


def test_a_flat_mask_is_the_same_all_around() -> None:
    mask = HorizonMask.flat(np.radians(6.0))
    np.testing.assert_allclose(mask.at(np.linspace(0, 2 * np.pi, 9)), np.radians(6.0))


@pytest.mark.parametrize(
    ("azimuth", "elevation", "message"),
    [
        ([], [], "as many azimuths as elevations, at least one"),
        ([0.0, 1.0], [0.1], "as many azimuths as elevations"),
        ([0.0, 2.0, 1.0], [0.1, 0.1, 0.1], "azimuth: .* must increase"),
        ([0.0, np.nan], [0.1, 0.1], "azimuth: .* must increase"),
        ([0.0, 90.0], [0.1, 0.1], "azimuth: an azimuth lies between 0 and 360 degrees"),
        ([-0.1], [0.1], "azimuth: an azimuth lies between 0 and 360 degrees"),
        ([0.0], [10.0], "elevation: an elevation lies between -90 and 90 degrees"),
        ([0.0], [np.nan], "elevation: an elevation lies between -90 and 90 degrees"),
    ],
)
def test_a_mask_that_makes_no_sense_is_refused(
    azimuth: list[float], elevation: list[float], message: str
) -> None:
    with pytest.raises(InputError, match=message):
        HorizonMask(np.array(azimuth), np.array(elevation))


# ---------------------------------------------------------------------------------------------
# What is refused


def test_coordinates_in_kilometres_are_refused() -> None:
    with pytest.raises(InputError) as caught:
        station(position=PLACE / 1e3)
    assert str(caught.value) == (
        "station alpha: a station stands on the Earth; found '6.367 km from the geocentre'; "
        "expected 6300 km to 6400 km: are the coordinates in metres?"
    )


def test_coordinates_that_are_no_numbers_are_refused() -> None:
    with pytest.raises(InputError, match="stands on the Earth; found 'nan km"):
        station(position=PLACE * np.nan)
    with pytest.raises(InputError, match="less than a metre a year; found 'nan m/yr'"):
        station(velocity=DRIFT * np.nan)


def test_a_velocity_in_millimetres_a_year_is_refused() -> None:
    with pytest.raises(InputError, match="drifts by less than a metre a year"):
        station(velocity=DRIFT * 1e3)


def test_a_station_shows_its_place() -> None:
    text = repr(station())
    assert text == "<Station alpha: +49.1442 deg N, +12.8789 deg E, 666 m>"
    assert station()._repr_html_() == (
        "<code>&lt;Station alpha: +49.1442 deg N, +12.8789 deg E, 666 m&gt;</code>"
    )
