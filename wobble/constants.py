"""Physical constants, SI units, each with its source.

Masses are TDB-compatible. Values of a planet that a user may want to change
(radius, gravity field, rotation) live with the body, not here.
"""

from __future__ import annotations

import math

from astropy import constants as _codata

__all__ = [
    "ASTRONOMICAL_UNIT",
    "CARRIER_DISPERSION",
    "DAY",
    "EARTH_EQUATORIAL_RADIUS",
    "EARTH_ROTATION_RATE",
    "GM",
    "GPS_MINUS_TAI",
    "J2000_JD",
    "JULIAN_CENTURY",
    "JULIAN_YEAR",
    "L_B",
    "L_C",
    "L_G",
    "MAS",
    "SPEED_OF_LIGHT",
    "SUN_RADIUS",
    "TT_MINUS_TAI",
]

SPEED_OF_LIGHT = 299_792_458.0
"""Speed of light, m/s, exact (SI)."""

ASTRONOMICAL_UNIT = 149_597_870_700.0
"""Astronomical unit, m, exact (IAU 2012 Resolution B2)."""

DAY = 86_400.0
"""Day, s."""

TT_MINUS_TAI = 32.184
"""Terrestrial Time less TAI, s, exact (IAU 1991, resolution A4)."""

GPS_MINUS_TAI = -19.0
"""The time scale of GPS less TAI, s, nominal (IS-GPS-200)."""

JULIAN_YEAR = 365.25 * DAY
"""Julian year, s."""

JULIAN_CENTURY = 36_525.0 * DAY
"""Julian century, s."""

J2000_JD = 2_451_545.0
"""Julian date of J2000.0, in whatever scale the epoch has."""

MAS = math.pi / (180.0 * 3600.0e3)
"""Milliarcsecond, rad."""

L_G = 6.969290134e-10
"""1 - d(TT)/d(TCG), exact (IAU 2000 Resolution B1.9)."""

L_B = 1.550519768e-8
"""1 - d(TDB)/d(TCB), exact (IAU 2006 Resolution B3)."""

L_C = 1.48082686741e-8
"""1 - mean d(TCG)/d(TCB) (IERS Conventions 2010, table 1.1)."""

EARTH_ROTATION_RATE = 2.0 * math.pi * 1.00273781191135448 / DAY
"""Rate of the Earth rotation angle with UT1, rad/s (IERS Conventions 2010, eq. 5.15)."""

EARTH_EQUATORIAL_RADIUS = 6_378_136.6
"""Equatorial radius of the Earth, m (IERS Conventions 2010, table 1.1)."""

SUN_RADIUS = float(_codata.R_sun.value)
"""Nominal solar radius, m (IAU 2015 Resolution B3)."""

CARRIER_DISPERSION = float(
    (_codata.e.si**2 / (8 * math.pi**2 * _codata.eps0 * _codata.m_e)).si.value
)
"""Group delay in metres of one electron per square metre at 1 Hz: 40.308 m^3/s^2 (CODATA)."""

GM: dict[str, float] = {
    "sun": 1.32712440041279419e20,
    "mercury": 2.2031868551e13,
    "venus": 3.24858592e14,
    "earth": 3.98600435507e14,
    "moon": 4.902800118e12,
    "mars": 4.2828375816e13,
    "jupiter": 1.26712764100000e17,
    "saturn": 3.7940584841800e16,
    "uranus": 5.794556400000e15,
    "neptune": 6.836527100580e15,
}
"""Gravitational parameters, m^3/s^2, TDB-compatible: DE440 (Park, Folkner, Williams &
Boggs 2021, Astron. J. 161, 105, table 2). Planets beyond the Earth are system values."""
