"""Surface weather at a station: what was measured, or what to assume when nothing was.

In: relative humidity, temperature and pressure as a station's sensors give them, or only
a height. Out: the pressure of water vapour that the zenith delays need, or pressure and
temperature of the standard atmosphere. Pressures are in hPa, the unit of the trade, and
temperatures in K. A value that no station on the ground can have is refused, for it is
nearly always a wrong unit (Pa, degrees Celsius).

Standard atmosphere below 11 km (ISO 2533:1975, the same as U.S. Standard Atmosphere 1976):
T = 288.15 K - 0.0065 K/m H, P = 1013.25 hPa (T / 288.15 K)^5.25588, with the geopotential
height H = r h / (r + h), r = 6356.766 km.

Vapour pressure: e = RH f P_sat, saturation over water and enhancement factor f of moist
air after Giacomo 1982 (Metrologia 18, 33) with the constants of Davis 1992 (Metrologia
29, 67), the formula that goes with the optical delay of IERS Conventions 2010, section 9.1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.errors import InputError
from wobble.measurements.tracking import WEATHER_LIMITS

__all__ = [
    "measurable",
    "standard_pressure",
    "standard_temperature",
    "water_vapour_pressure",
    "within",
]

Array = NDArray[np.float64]

UNITS = {"pressure_hpa": "hPa", "temperature_k": "K", "humidity_percent": "%"}
HEIGHT_RANGE = (-1.0e3, 11.0e3)

SEA_LEVEL_TEMPERATURE_K = 288.15
SEA_LEVEL_PRESSURE_HPA = 1013.25
LAPSE_RATE = 0.0065
# g0 M / (R LAPSE_RATE) with the standard's own constants.
PRESSURE_EXPONENT = 9.80665 * 0.0289644 / (8.31432 * LAPSE_RATE)
GEOPOTENTIAL_RADIUS = 6_356_766.0
ZERO_CELSIUS = 273.15


def standard_temperature(height: ArrayLike) -> Array:
    """Temperature of the standard atmosphere, K.

    Parameters
    ----------
    height : array_like, shape (n,)
        Height above mean sea level, m.

    Raises
    ------
    InputError
        If a height is not between -1 km and 11 km.
    """
    h = within(height, *HEIGHT_RANGE, field="height", unit="m")
    geopotential_height = GEOPOTENTIAL_RADIUS * h / (GEOPOTENTIAL_RADIUS + h)
    return SEA_LEVEL_TEMPERATURE_K - LAPSE_RATE * geopotential_height


def standard_pressure(height: ArrayLike) -> Array:
    """Pressure of the standard atmosphere, hPa.

    Weather moves the true pressure by some 10 hPa (rms), which is 23 mm of zenith delay;
    the ellipsoidal height in place of the height above mean sea level adds up to 100 m of
    geoid, 12 hPa, 27 mm.

    Parameters
    ----------
    height : array_like, shape (n,)
        Height above mean sea level, m.

    Raises
    ------
    InputError
        If a height is not between -1 km and 11 km.
    """
    ratio = standard_temperature(height) / SEA_LEVEL_TEMPERATURE_K
    return SEA_LEVEL_PRESSURE_HPA * ratio**PRESSURE_EXPONENT


def water_vapour_pressure(
    humidity_percent: ArrayLike, temperature_k: ArrayLike, pressure_hpa: ArrayLike
) -> Array:
    """Partial pressure of water vapour, hPa, from relative humidity (over water).

    The saturation pressure is meant for laboratories (15 to 27 degrees Celsius, 600 to
    1100 hPa) and stays within 0.012 % of the international steam formulation from 0 to
    50 degrees, within 0.06 % of supercooled water down to -20 degrees and 0.6 % at -40. A
    sensor's 1 % of humidity is a hundred times more.

    Parameters
    ----------
    humidity_percent : array_like, shape (n,)
        Relative humidity, 0 to 100.
    temperature_k : array_like, shape (n,)
        Temperature, K.
    pressure_hpa : array_like, shape (n,)
        Total pressure, hPa; it enters only the enhancement factor (0.4 %).

    Raises
    ------
    InputError
        If a value is out of the range of a station on the ground.
    """
    humidity = measurable("humidity_percent", humidity_percent)
    t = measurable("temperature_k", temperature_k)
    pressure = measurable("pressure_hpa", pressure_hpa)
    saturation_pa = np.exp(1.2378847e-5 * t**2 - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t)
    enhancement = 1.00062 + 3.14e-6 * pressure + 5.6e-7 * (t - ZERO_CELSIUS) ** 2
    return humidity / 100.0 * enhancement * saturation_pa / 100.0


def measurable(quantity: str, values: ArrayLike) -> Array:
    """The values of a quantity of the weather as floats, if a station can have measured them.

    Parameters
    ----------
    quantity : str
        One of `wobble.measurements.tracking.WEATHER_LIMITS`, which names the unit too.
    values : array_like, shape (n,)

    Raises
    ------
    InputError
        As `within`.
    """
    return within(values, *WEATHER_LIMITS[quantity], field=quantity, unit=UNITS[quantity])


def within(values: ArrayLike, low: float, high: float, *, field: str, unit: str) -> Array:
    """The values as floats, if every one lies from ``low`` to ``high``.

    Raises
    ------
    InputError
        If one does not, or is not a number; it names the field, the first such value and
        their count.
    """
    array = np.asarray(values, float)
    outside = ~((array >= low) & (array <= high))
    if outside.any():
        raise InputError(
            f"out of range ({np.count_nonzero(outside)} of {array.size} values)",
            field=field,
            found=float(array[outside][0]),
            expected=f"{low:g} to {high:g} {unit}",
        )
    return array
