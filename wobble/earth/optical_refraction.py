"""Delay of laser pulses in the neutral atmosphere.

In: elevation of the target, latitude and height of the telescope, surface weather,
wavelength. Out: delay of one passage in metres, positive, to be added to the geometric
range; zenith delays and mapping function one by one for those who want them.

The delay is D = m(e) (D_h + D_nh) (IERS Conventions 2010, section 9.1), with

- zenith delays of Mendes & Pavlis 2004 (Geophys. Res. Lett. 31, L14602), P and e in hPa:
  D_h = 0.002416579 f_h P / f_s (eq. 9.3), D_nh = 1e-4 (5.316 f_nh - 3.759 f_h) e / f_s
  (eq. 9.6). The dispersion f_h, f_nh is that of the group refractivity of dry air (eq.
  9.5, 375 ppm of carbon dioxide; today's 425 ppm would add 0.06 mm) and of water vapour
  (eq. 9.7); f_s is the gravity factor of eq. 9.4. Hydrostatic 2.4 m at 532 nm and sea
  level, 1 hPa is 2.4 mm; non-hydrostatic some mm; rms below 1 mm.
- mapping function of Mendes et al. 2002 (Geophys. Res. Lett. 29, 1414), the one that knows
  the surface temperature (routine FCUL_A, eqs 9.9 and 9.10), good to 1 cm at 6 degrees.

Valid from 355 to 1064 nm; here 354 to 1070 nm is accepted, the actual lines of the lasers.
Elevations are those of the straight line in vacuum. The vapour pressure that belongs to
these formulas is `wobble.earth.weather.water_vapour_pressure`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.earth.troposphere import gravity_factor, marini_fraction
from wobble.earth.weather import (
    ZERO_CELSIUS,
    measurable,
    water_vapour_pressure,
    within,
)

__all__ = [
    "optical_delay",
    "optical_mapping",
    "zenith_hydrostatic_delay",
    "zenith_nonhydrostatic_delay",
]

Array = NDArray[np.float64]

WAVELENGTH_RANGE = (354e-9, 1070e-9)

# Dispersion of dry air, eq. 9.5: um^-2 and dimensionless.
K0, K1, K2, K3 = 238.0185, 19_990.975, 57.362, 579.55174
CARBON_DIOXIDE_PPM = 375.0
# Dispersion of water vapour, eq. 9.7: um^0, um^2, um^4, um^6.
W0, W1, W2, W3 = 295.235, 2.6422, -0.032380, 0.004028

# Coefficients of FCUL_A, eq. 9.10: constant, per degree Celsius, with cos(latitude), per metre.
MAPPING_COEFFICIENTS = np.array(
    [
        [12_100.8e-7, 1_729.5e-9, 319.1e-7, -1_847.8e-11],
        [30_496.5e-7, 234.6e-8, -103.5e-6, -185.6e-10],
        [6_877.7e-5, 197.2e-7, -345.8e-5, 106.0e-9],
    ]
)


def optical_delay(
    elevation: ArrayLike,
    latitude: ArrayLike,
    height: ArrayLike,
    pressure_hpa: ArrayLike,
    temperature_k: ArrayLike,
    humidity_percent: ArrayLike,
    wavelength_m: ArrayLike,
) -> Array:
    """Delay of one passage through the whole atmosphere, m, shape (n,).

    Parameters
    ----------
    elevation : array_like, shape (n,)
        Elevation in vacuum, rad, from 3 degrees to the zenith.
    latitude : array_like, shape (n,)
        Geodetic latitude, rad.
    height : array_like, shape (n,)
        Height above the ellipsoid, m.
    pressure_hpa, temperature_k, humidity_percent : array_like, shape (n,)
        Surface weather: hPa, K, per cent of relative humidity.
    wavelength_m : array_like, shape (n,)
        Wavelength in vacuum, m.

    Raises
    ------
    InputError
        If an elevation is below 3 degrees, a wavelength outside 354 to 1070 nm, or a value
        has clearly another unit.
    """
    vapour = water_vapour_pressure(humidity_percent, temperature_k, pressure_hpa)
    zenith = zenith_hydrostatic_delay(
        pressure_hpa, latitude, height, wavelength_m
    ) + zenith_nonhydrostatic_delay(vapour, latitude, height, wavelength_m)
    return zenith * optical_mapping(elevation, latitude, height, temperature_k)


def zenith_hydrostatic_delay(
    pressure_hpa: ArrayLike, latitude: ArrayLike, height: ArrayLike, wavelength_m: ArrayLike
) -> Array:
    """Hydrostatic zenith delay, m (IERS Conventions 2010, eq. 9.3).

    Parameters
    ----------
    pressure_hpa : array_like, shape (n,)
        Total pressure at the telescope, hPa.
    latitude, height : array_like, shape (n,)
        Geodetic latitude, rad, and height above the ellipsoid, m.
    wavelength_m : array_like, shape (n,)
        Wavelength in vacuum, m.

    Raises
    ------
    InputError
        If a pressure is not between 300 and 1100 hPa or a wavelength out of range.
    """
    pressure = measurable("pressure_hpa", pressure_hpa)
    dispersion = _dry_dispersion(wavelength_m)
    return 0.002416579 * dispersion * pressure / gravity_factor(latitude, height)


def zenith_nonhydrostatic_delay(
    vapour_pressure_hpa: ArrayLike, latitude: ArrayLike, height: ArrayLike, wavelength_m: ArrayLike
) -> Array:
    """Non-hydrostatic zenith delay, m (IERS Conventions 2010, eq. 9.6).

    Parameters
    ----------
    vapour_pressure_hpa : array_like, shape (n,)
        Surface pressure of water vapour, hPa.
    latitude, height : array_like, shape (n,)
        Geodetic latitude, rad, and height above the ellipsoid, m.
    wavelength_m : array_like, shape (n,)
        Wavelength in vacuum, m.

    Raises
    ------
    InputError
        If a vapour pressure is not between 0 and 150 hPa or a wavelength out of range.
    """
    vapour = within(vapour_pressure_hpa, 0.0, 150.0, field="vapour_pressure_hpa", unit="hPa")
    dispersion = 5.316 * _vapour_dispersion(wavelength_m) - 3.759 * _dry_dispersion(wavelength_m)
    return 1e-4 * dispersion * vapour / gravity_factor(latitude, height)


def optical_mapping(
    elevation: ArrayLike, latitude: ArrayLike, height: ArrayLike, temperature_k: ArrayLike
) -> Array:
    """Delay at an elevation over that at the zenith (FCUL_A, IERS Conventions 2010, eqs 9.9
    and 9.10).

    Parameters
    ----------
    elevation : array_like, shape (n,)
        Elevation in vacuum, rad.
    latitude, height : array_like, shape (n,)
        Geodetic latitude, rad, and height above the ellipsoid, m.
    temperature_k : array_like, shape (n,)
        Surface temperature, K.

    Raises
    ------
    InputError
        If an elevation is not between 3 and 90 degrees or a temperature not between 180 and
        335 K.
    """
    t = measurable("temperature_k", temperature_k)
    celsius, cosine, h = t - ZERO_CELSIUS, np.cos(latitude), np.asarray(height, float)
    a1, a2, a3 = (
        constant + thermal * celsius + zonal * cosine + vertical * h
        for constant, thermal, zonal, vertical in MAPPING_COEFFICIENTS
    )
    return marini_fraction(elevation, a1, a2, a3)


def _dry_dispersion(wavelength_m: ArrayLike) -> Array:
    """f_h, group refractivity of dry air, one near 532 nm (eq. 9.5)."""
    s = _squared_wavenumber(wavelength_m)
    carbon_dioxide = 1.0 + 0.534e-6 * (CARBON_DIOXIDE_PPM - 450.0)
    return 0.01 * carbon_dioxide * (K1 * (K0 + s) / (K0 - s) ** 2 + K3 * (K2 + s) / (K2 - s) ** 2)


def _vapour_dispersion(wavelength_m: ArrayLike) -> Array:
    """f_nh, group refractivity of water vapour, one near 532 nm (eq. 9.7)."""
    s = _squared_wavenumber(wavelength_m)
    return 0.003101 * (W0 + 3.0 * W1 * s + 5.0 * W2 * s**2 + 7.0 * W3 * s**3)


def _squared_wavenumber(wavelength_m: ArrayLike) -> Array:
    """Square of the wave number in vacuum, um^-2."""
    wavelength = within(wavelength_m, *WAVELENGTH_RANGE, field="wavelength_m", unit="m")
    return (1e-6 / wavelength) ** 2
