"""Delay of radio waves in the neutral atmosphere.

In: elevation of the body, latitude and height of the station, surface weather, day of the
year. Out: delay of one passage in metres, positive, to be added to the geometric range;
zenith delays and mapping functions one by one for those who estimate them.

The delay is D = m_h(e) D_hz + m_w(e) D_wz (IERS Conventions 2010, section 9.2), with

- hydrostatic zenith delay (Saastamoinen 1972, Geophys. Monogr. 15, 247, as given by Davis
  et al. 1985, Radio Sci. 20, 1593): D_hz = 0.0022768 P / f_s, P in hPa,
  f_s = 1 - 0.00266 cos 2 phi - 0.00000028 h (IERS 2010, eq. 9.4). It is 2.31 m at sea
  level; 1 hPa of pressure is 2.3 mm, and the constant is good to 0.5 mm.
- wet zenith delay (Saastamoinen 1972): D_wz = 0.002277 (1255 / T + 0.05) e, e in hPa. It
  is 0 to 0.4 m and known from surface weather to 2 to 5 cm only, the largest error here.
- mapping functions of Niell 1996 (J. Geophys. Res. 101, 3227), from latitude, height and
  season, no weather. In the standard atmosphere the hydrostatic one is within 0.03 % of
  a traced ray at 5 degrees of elevation (7 mm) and 0.015 % at 10 (2 mm); from a site at
  3 km within 0.09 % and 0.03 %. A day's weather departs from the season by more, a few
  tenths of a per cent at 5 degrees.

Troposphere does not disperse: the delay of the carrier's phase and of its modulation are
the same at all radio frequencies. Elevations are those of the straight line in vacuum.
"""

from __future__ import annotations

import math

import numpy as np
import scipy.constants
from numpy.typing import ArrayLike, NDArray

from wobble.earth.weather import (
    measurable,
    water_vapour_pressure,
    within,
)

__all__ = [
    "MINIMUM_ELEVATION",
    "gravity_factor",
    "hydrostatic_mapping",
    "marini_fraction",
    "tropospheric_delay",
    "wet_mapping",
    "zenith_delay_carbon_dioxide",
    "zenith_hydrostatic_delay",
    "zenith_wet_delay",
]

Array = NDArray[np.float64]

MINIMUM_ELEVATION = math.radians(3.0)
"""Lowest elevation, rad, that the mapping functions were made for."""

# Niell 1996, tables 3 and 4: coefficients a, b, c at these latitudes in degrees.
NIELL_LATITUDES = np.array([15.0, 30.0, 45.0, 60.0, 75.0])
HYDROSTATIC_MEAN = np.array(
    [
        [1.2769934e-3, 1.2683230e-3, 1.2465397e-3, 1.2196049e-3, 1.2045996e-3],
        [2.9153695e-3, 2.9152299e-3, 2.9288445e-3, 2.9022565e-3, 2.9024912e-3],
        [62.610505e-3, 62.837393e-3, 63.721774e-3, 63.824265e-3, 64.258455e-3],
    ]
)
HYDROSTATIC_AMPLITUDE = np.array(
    [
        [0.0, 1.2709626e-5, 2.6523662e-5, 3.4000452e-5, 4.1202191e-5],
        [0.0, 2.1414979e-5, 3.0160779e-5, 7.2562722e-5, 11.723375e-5],
        [0.0, 9.0128400e-5, 4.3497037e-5, 84.795348e-5, 170.37206e-5],
    ]
)
WET = np.array(
    [
        [5.8021897e-4, 5.6794847e-4, 5.8118019e-4, 5.9727542e-4, 6.1641693e-4],
        [1.4275268e-3, 1.5138625e-3, 1.4572752e-3, 1.5007428e-3, 1.7599082e-3],
        [4.3472961e-2, 4.6729510e-2, 4.3908931e-2, 4.4626982e-2, 5.4736038e-2],
    ]
)
HEIGHT_COEFFICIENTS = (2.53e-5, 5.49e-3, 1.14e-3)
COLDEST_DAY = 28.0
DAYS_PER_YEAR = 365.25

# Refractivity of carbon dioxide, (n - 1) T / P in K/Pa: 494.0e-6 at 0 degrees Celsius and one
# atmosphere (Essen & Froome 1951, Proc. Phys. Soc. B 64, 862; from memory).
CARBON_DIOXIDE_REFRACTIVITY = 494.0e-6 * 273.15 / 101_325.0
CARBON_DIOXIDE_MOLAR_MASS = 0.0440095


def tropospheric_delay(
    elevation: ArrayLike,
    latitude: ArrayLike,
    height: ArrayLike,
    day_of_year: ArrayLike,
    pressure_hpa: ArrayLike,
    temperature_k: ArrayLike,
    humidity_percent: ArrayLike,
) -> Array:
    """Delay of one passage through the whole neutral atmosphere, m, shape (n,).

    Parameters
    ----------
    elevation : array_like, shape (n,)
        Elevation in vacuum, rad, from 3 degrees to the zenith.
    latitude : array_like, shape (n,)
        Geodetic latitude, rad.
    height : array_like, shape (n,)
        Height above the ellipsoid, m.
    day_of_year : array_like, shape (n,)
        Days since the beginning of the year, UTC (1 to 367, with fraction).
    pressure_hpa, temperature_k, humidity_percent : array_like, shape (n,)
        Surface weather: hPa, K, per cent of relative humidity.

    Raises
    ------
    InputError
        If an elevation is below 3 degrees or a value has clearly another unit.
    """
    vapour = water_vapour_pressure(humidity_percent, temperature_k, pressure_hpa)
    hydrostatic = zenith_hydrostatic_delay(pressure_hpa, latitude, height)
    wet = zenith_wet_delay(temperature_k, vapour)
    return hydrostatic * hydrostatic_mapping(
        elevation, latitude, height, day_of_year
    ) + wet * wet_mapping(elevation, latitude)


def zenith_hydrostatic_delay(
    pressure_hpa: ArrayLike, latitude: ArrayLike, height: ArrayLike
) -> Array:
    """Hydrostatic zenith delay, m (Davis et al. 1985; IERS Conventions 2010, section 9.2).

    Parameters
    ----------
    pressure_hpa : array_like, shape (n,)
        Total pressure at the antenna's reference point, hPa.
    latitude : array_like, shape (n,)
        Geodetic latitude, rad.
    height : array_like, shape (n,)
        Height above the ellipsoid, m.

    Raises
    ------
    InputError
        If a pressure is not between 300 and 1100 hPa.
    """
    pressure = measurable("pressure_hpa", pressure_hpa)
    return 0.0022768 * pressure / gravity_factor(latitude, height)


def zenith_wet_delay(temperature_k: ArrayLike, vapour_pressure_hpa: ArrayLike) -> Array:
    """Wet zenith delay, m (Saastamoinen 1972).

    Parameters
    ----------
    temperature_k : array_like, shape (n,)
        Surface temperature, K.
    vapour_pressure_hpa : array_like, shape (n,)
        Surface pressure of water vapour, hPa.

    Raises
    ------
    InputError
        If a temperature is not between 180 and 335 K or a vapour pressure not between 0
        and 150 hPa.
    """
    t = measurable("temperature_k", temperature_k)
    vapour = within(vapour_pressure_hpa, 0.0, 150.0, field="vapour_pressure_hpa", unit="hPa")
    return 0.002277 * (1255.0 / t + 0.05) * vapour


def hydrostatic_mapping(
    elevation: ArrayLike, latitude: ArrayLike, height: ArrayLike, day_of_year: ArrayLike
) -> Array:
    """Hydrostatic delay at an elevation over that at the zenith (Niell 1996, eqs 4 to 6).

    Parameters
    ----------
    elevation : array_like, shape (n,)
        Elevation in vacuum, rad.
    latitude : array_like, shape (n,)
        Geodetic latitude, rad, north positive.
    height : array_like, shape (n,)
        Height above the ellipsoid, m; the higher station has the thinner, flatter air.
    day_of_year : array_like, shape (n,)
        Days since the beginning of the year, UTC.

    Raises
    ------
    InputError
        If an elevation is not between 3 and 90 degrees.
    """
    phase = 2.0 * np.pi * (np.asarray(day_of_year, float) - COLDEST_DAY) / DAYS_PER_YEAR
    # The seasons of the south are half a year later.
    season = np.where(np.asarray(latitude) < 0.0, -np.cos(phase), np.cos(phase))
    a, b, c = (
        _at_latitude(mean, latitude) - _at_latitude(amplitude, latitude) * season
        for mean, amplitude in zip(HYDROSTATIC_MEAN, HYDROSTATIC_AMPLITUDE, strict=True)
    )
    at_sea_level = marini_fraction(elevation, a, b, c)
    per_kilometre = 1.0 / np.sin(elevation) - marini_fraction(elevation, *HEIGHT_COEFFICIENTS)
    return at_sea_level + per_kilometre * np.asarray(height, float) / 1e3


def wet_mapping(elevation: ArrayLike, latitude: ArrayLike) -> Array:
    """Wet delay at an elevation over that at the zenith (Niell 1996, eq. 4).

    Parameters
    ----------
    elevation : array_like, shape (n,)
        Elevation in vacuum, rad.
    latitude : array_like, shape (n,)
        Geodetic latitude, rad.

    Raises
    ------
    InputError
        If an elevation is not between 3 and 90 degrees.
    """
    return marini_fraction(elevation, *(_at_latitude(row, latitude) for row in WET))


def marini_fraction(elevation: ArrayLike, a: ArrayLike, b: ArrayLike, c: ArrayLike) -> Array:
    """Continued fraction of the mapping functions, one at the zenith (Marini 1972, Radio
    Sci. 7, 223; normalised as in IERS Conventions 2010, eq. 9.9).

    Raises
    ------
    InputError
        If an elevation is not between 3 and 90 degrees.
    """
    within(elevation, MINIMUM_ELEVATION, np.pi / 2.0, field="elevation", unit="rad (3 to 90 deg)")
    sine = np.sin(elevation)
    a, b, c = np.asarray(a, float), np.asarray(b, float), np.asarray(c, float)
    return (1.0 + a / (1.0 + b / (1.0 + c))) / (sine + a / (sine + b / (sine + c)))


def gravity_factor(latitude: ArrayLike, height: ArrayLike) -> Array:
    """Gravity at the centre of mass of the air column over 9.784 m/s^2 (IERS Conventions
    2010, eq. 9.4), from geodetic latitude (rad) and height (m)."""
    return 1.0 - 0.00266 * np.cos(2.0 * np.asarray(latitude)) - 2.8e-7 * np.asarray(height, float)


def zenith_delay_carbon_dioxide(pressure_pa: ArrayLike, gravity: float) -> Array:
    """Hydrostatic zenith delay of an atmosphere of carbon dioxide, m: the air of Mars.

    D = (K R / (M g)) P with the refractivity (n - 1) = K P / T, independent of the profile
    of temperature. At 610 Pa and 3.72 m/s^2 it is 4.1 cm and follows the seasons of the
    pressure by some 15 %. As the planet turns, a lander at its equator sees D / sin e change
    by up to 0.01 mm/s at 30 degrees of elevation and 0.02 mm/s at 20.

    Parameters
    ----------
    pressure_pa : array_like, shape (n,)
        Surface pressure, Pa.
    gravity : float
        Surface gravity, m/s^2.
    """
    per_pascal = scipy.constants.R / (CARBON_DIOXIDE_MOLAR_MASS * gravity)
    return CARBON_DIOXIDE_REFRACTIVITY * per_pascal * np.asarray(pressure_pa, float)


def _at_latitude(row: Array, latitude: ArrayLike) -> Array:
    """Linear between the tabulated latitudes, constant beyond them."""
    return np.interp(np.abs(np.degrees(latitude)), NIELL_LATITUDES, row)
