"""Displacements of a tracking station by tides, in the terrestrial frame (ITRF).

In: the station's ITRF position (m), epochs in TT and what drives the tide: the Sun and the
Moon, the pole, or the ocean's load at the station. Out: what is to be added to the station's
position, m, ITRF, shape (n, 3).

Three effects, all of the IERS Conventions 2010 (Petit & Luzum 2010, IERS Technical Note 36),
chapter 7, with their largest values:

- `solid_earth_tide`, section 7.1.1: 0.37 m up, 0.08 m sideways, within half a day;
- `pole_tide`, section 7.1.4: 10 mm up and down, 3 mm sideways, within 14 months;
- `ocean_loading`, section 7.1.2: some mm inland, some cm at exposed coasts, within half a day.

Left out: atmospheric S1-S2 loading (1.5 mm), ocean pole tide loading (2 mm) and non-tidal
loading (mm, not in the ITRF's conventional model).

Vertical, north and east are those of the sphere (geocentric latitude), for which the Love and
load numbers hold; from the ellipsoid's they differ by 0.2 degrees, 0.1 mm of 3 cm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.polynomial.polynomial import polyval
from numpy.typing import ArrayLike, NDArray

from wobble.constants import (
    EARTH_EQUATORIAL_RADIUS,
    GM,
    J2000_JD,
    JULIAN_CENTURY,
    JULIAN_YEAR,
    MAS,
)
from wobble.earth.subdaily import tidal_arguments, tidal_table, utc_date
from wobble.epochs import Epochs
from wobble.errors import InputError

__all__ = ["MAIN_TIDES", "OceanLoading", "ocean_loading", "pole_tide", "solid_earth_tide"]

Array = NDArray[np.float64]
Vectors = NDArray[np.float64]

MILLIMETRE = 1e-3
ARCSECOND = 1e3 * MAS


class _Site(NamedTuple):
    """Geocentric place of a station and its local axes (unit vectors in the ITRF)."""

    sin_latitude: float
    cos_latitude: float
    longitude: float
    up: Array
    north: Array
    east: Array

    @property
    def cos_twice_latitude(self) -> float:
        return self.cos_latitude**2 - self.sin_latitude**2

    @property
    def sin_twice_latitude(self) -> float:
        return 2.0 * self.sin_latitude * self.cos_latitude

    def displacement(self, up: Array, north: Array, east: Array) -> Vectors:
        """From local components, shape (n,), to the ITRF, shape (n, 3)."""
        return np.outer(up, self.up) + np.outer(north, self.north) + np.outer(east, self.east)


def _site(station: ArrayLike) -> _Site:
    position = np.asarray(station, float)
    if position.shape != (3,) or not np.isfinite(position).all() or not position.any():
        raise InputError(
            "no position of a station",
            field="station",
            found=station,
            expected="three ITRF coordinates in metres",
        )
    x, y, z = position / np.linalg.norm(position)
    longitude = float(np.arctan2(y, x))
    sin_longitude, cos_longitude = np.sin(longitude), np.cos(longitude)
    cos_latitude = float(np.hypot(x, y))
    return _Site(
        sin_latitude=float(z),
        cos_latitude=cos_latitude,
        longitude=longitude,
        up=np.array([x, y, z]),
        north=np.array([-z * cos_longitude, -z * sin_longitude, cos_latitude]),
        east=np.array([-sin_longitude, cos_longitude, 0.0]),
    )


def _per_epoch(values: ArrayLike, epochs: Epochs, field: str, *tail: int) -> Array:
    """The values, if there is one of them for each epoch."""
    array = np.asarray(values, float)
    if array.shape != (len(epochs), *tail):
        raise InputError(
            "not one value for each epoch",
            field=field,
            found=array.shape,
            expected=(len(epochs), *tail),
        )
    if not np.isfinite(array).all():
        raise InputError("a value is not finite", field=field)
    return array


# ---------------------------------------------------------------------------------------------
# Solid Earth tide

# Nominal Love and Shida numbers (IERS Conventions 2010, table 7.2 and eq. 7.2, 7.5, 7.6): of
# degree 2, their change with P2(sin latitude), of degree 3.
H_2, H_2_LATITUDE, H_3 = 0.6078, -0.0006, 0.292
L_2, L_2_LATITUDE, L_3 = 0.0847, 0.0002, 0.015
# l^(1) of the diurnal and the semidiurnal band, section 7.1.1.1.
L_1_DIURNAL, L_1_SEMIDIURNAL = 0.0012, 0.0024
# Imaginary parts, which mantle anelasticity causes, eq. 7.10 and 7.11.
H_IMAGINARY_DIURNAL, H_IMAGINARY_SEMIDIURNAL = -0.0025, -0.0022
L_IMAGINARY = -0.0007


def solid_earth_tide(
    station: ArrayLike, sun: ArrayLike, moon: ArrayLike, epochs: Epochs
) -> Vectors:
    """Displacement by the tide that Sun and Moon raise in the solid Earth.

    Steps 1 and 2 of the IERS Conventions 2010, section 7.1.1, as in their routine
    DEHANTTIDEINEL, with the permanent part, as the "conventional tide free" coordinates of
    the ITRF want it.

    Parameters
    ----------
    station : array_like, shape (3,)
        ITRF position, m.
    sun, moon : array_like, shape (n, 3)
        Geocentric positions in the ITRF, m; 1e-5 rad of direction are 4 micrometres.
    epochs : Epochs
        Instants in TT.

    Returns
    -------
    ndarray, shape (n, 3)
        Displacement, m, ITRF.

    Raises
    ------
    InputError
        If shapes do not fit, a value is not finite or the epochs are not in TT.

    Notes
    -----
    Largest values: 0.36 m (degree 2, in phase), 2.3 mm (degree 3), 1.0 mm (out of phase, in
    each band), 1.4 mm (latitude dependence), 16 mm (step 2, diurnal) and 1.0 mm (step 2, long
    period). The amplitudes of step 2 are tabulated to 0.01 mm.
    """
    site = _site(station)
    bodies = {
        "sun": _per_epoch(sun, epochs, "sun", 3),
        "moon": _per_epoch(moon, epochs, "moon", 3),
    }
    doodson = _doodson_arguments(epochs)
    total = _step_2_diurnal(site, doodson) + _step_2_long_period(site, doodson)
    for body, position in bodies.items():
        distance = np.linalg.norm(position, axis=1)
        direction = position / distance[:, None]
        parallax = EARTH_EQUATORIAL_RADIUS / distance
        size = GM[body] / GM["earth"] * EARTH_EQUATORIAL_RADIUS * parallax**3
        total += _step_1_in_phase(site, direction, size, parallax)
        total += _step_1_out_of_phase_diurnal(site, direction, size)
        total += _step_1_out_of_phase_semidiurnal(site, direction, size)
        total += _step_1_latitude_dependence(site, direction, size)
    return total


def _step_1_in_phase(site: _Site, direction: Vectors, size: Array, parallax: Array) -> Vectors:
    """Degrees 2 and 3 with real, frequency-independent Love numbers, eq. 7.5 and 7.6."""
    p2_latitude = 1.0 - 1.5 * site.cos_latitude**2
    h2 = H_2 + H_2_LATITUDE * p2_latitude
    l2 = L_2 + L_2_LATITUDE * p2_latitude
    cosine = direction @ site.up
    horizontal = direction - cosine[:, None] * site.up
    radial = h2 * (1.5 * cosine**2 - 0.5) + parallax * H_3 * (2.5 * cosine**3 - 1.5 * cosine)
    transverse = l2 * 3.0 * cosine + parallax * L_3 * (7.5 * cosine**2 - 1.5)
    return np.outer(size * radial, site.up) + (size * transverse)[:, None] * horizontal


def _meridian_components(site: _Site, direction: Vectors) -> tuple[Array, Array, Array]:
    """Towards the station's meridian in the equator, 90 degrees east of that, to the pole."""
    cos_longitude, sin_longitude = np.cos(site.longitude), np.sin(site.longitude)
    x, y, z = direction.T
    return x * cos_longitude + y * sin_longitude, y * cos_longitude - x * sin_longitude, z


def _step_1_out_of_phase_diurnal(site: _Site, direction: Vectors, size: Array) -> Vectors:
    """Imaginary parts of the diurnal Love numbers, eq. 7.10 (routine ST1IDIU)."""
    meridian, east, pole = _meridian_components(site, direction)
    return site.displacement(
        up=1.5 * H_IMAGINARY_DIURNAL * site.sin_twice_latitude * size * pole * east,
        north=3.0 * L_IMAGINARY * site.cos_twice_latitude * size * pole * east,
        east=-3.0 * L_IMAGINARY * site.sin_latitude * size * pole * meridian,
    )


def _step_1_out_of_phase_semidiurnal(site: _Site, direction: Vectors, size: Array) -> Vectors:
    """Imaginary parts of the semidiurnal Love numbers, eq. 7.11 (routine ST1ISEM)."""
    meridian, east, _ = _meridian_components(site, direction)
    return site.displacement(
        up=1.5 * H_IMAGINARY_SEMIDIURNAL * site.cos_latitude**2 * size * meridian * east,
        north=-1.5 * L_IMAGINARY * site.sin_twice_latitude * size * meridian * east,
        east=-1.5 * L_IMAGINARY * site.cos_latitude * size * (meridian**2 - east**2),
    )


def _step_1_latitude_dependence(site: _Site, direction: Vectors, size: Array) -> Vectors:
    """The Shida number l^(1) of both bands, eq. 7.8 and 7.9 (routine ST1L1)."""
    meridian, east, pole = _meridian_components(site, direction)
    sine, cosine = site.sin_latitude, site.cos_latitude
    diurnal = 3.0 * L_1_DIURNAL * size * pole * sine
    semidiurnal = 1.5 * L_1_SEMIDIURNAL * size * sine * cosine
    return site.displacement(
        up=np.zeros_like(size),
        north=-diurnal * sine * meridian - semidiurnal * (meridian**2 - east**2),
        east=-diurnal * site.cos_twice_latitude * east + semidiurnal * 2.0 * sine * meridian * east,
    )


# Mean longitudes in degrees, coefficients of powers of Julian centuries, as in the routines
# STEP2DIU and STEP2LON.
MOON = (218.31664563, 481267.88194, -0.0014663889, 0.00000185139)
SUN = (280.46645, 36000.7697489, 0.00030322222, 0.000000020, -0.00000000654)
LUNAR_PERIGEE = (83.35324312, 4069.01363525, -0.01032172222, -0.0000124991, 0.00000005263)
NEGATIVE_NODE = (234.95544499, 1934.13626197, -0.00207561111, -0.00000213944, 0.00000001650)
SOLAR_PERIGEE = (282.93734098, 1.71945766667, 0.00045688889, -0.00000001778, -0.00000000334)
SIDEREAL_TIME = (280.4606184, 36000.7700536, 0.00038793, -0.0000000258)
PRECESSION = (0.0, 1.396971278, 0.000308889, 0.000000021, 0.000000007)


def _doodson_arguments(epochs: Epochs) -> Array:
    """Doodson's tau, s, h, p, N', p_s, rad, shape (n, 6), for step 2 of the solid tide."""
    day, fraction = utc_date(epochs)
    # The pair counts from noon, the routine's hour from midnight.
    hours = 24.0 * np.mod((day - J2000_JD) + fraction + 0.5, 1.0)
    return _doodson_of(epochs.since_j2000 / JULIAN_CENTURY, hours)


def _doodson_of(centuries: ArrayLike, utc_hours: ArrayLike) -> Array:
    """The same of TT centuries since J2000.0 and of the hour of the UTC day.

    As in the routines, s contains the general precession on top of a longitude that is of
    date already, which turns the phase of K1 by 1.4 degrees a century: 0.03 mm in 2010,
    0.08 mm in 2026. It is kept, since the Conventions' test cases contain it.
    """
    t = np.asarray(centuries, float)
    moon = polyval(t, MOON)
    degrees = [
        np.asarray(utc_hours) * 15.0 + polyval(t, SIDEREAL_TIME) - moon,
        moon + polyval(t, PRECESSION),
        polyval(t, SUN),
        polyval(t, LUNAR_PERIGEE),
        polyval(t, NEGATIVE_NODE),
        polyval(t, SOLAR_PERIGEE),
    ]
    return np.radians(np.stack(degrees, axis=-1))


_STEP_2 = tidal_table("solid_tide_step2.csv")
_DIURNAL = _STEP_2[_STEP_2[:, 0] == 1]
_LONG_PERIOD = _STEP_2[_STEP_2[:, 0] == 0]


def _step_2_diurnal(site: _Site, doodson: Array) -> Vectors:
    """Frequency dependence in the diurnal band, eq. 7.12 (routine STEP2DIU)."""
    angle = doodson @ _DIURNAL[:, :6].T + site.longitude
    sine, cosine = np.sin(angle), np.cos(angle)
    radial_in, radial_out, transverse_in, transverse_out = _DIURNAL[:, 6:].T * MILLIMETRE
    return site.displacement(
        up=site.sin_twice_latitude * (sine @ radial_in + cosine @ radial_out),
        north=site.cos_twice_latitude * (sine @ transverse_in + cosine @ transverse_out),
        east=site.sin_latitude * (cosine @ transverse_in - sine @ transverse_out),
    )


def _step_2_long_period(site: _Site, doodson: Array) -> Vectors:
    """Frequency dependence in the long-period band, eq. 7.13 (routine STEP2LON)."""
    angle = doodson @ _LONG_PERIOD[:, :6].T
    sine, cosine = np.sin(angle), np.cos(angle)
    radial_in, radial_out, transverse_in, transverse_out = _LONG_PERIOD[:, 6:].T * MILLIMETRE
    p2_latitude = 1.5 * site.sin_latitude**2 - 0.5
    return site.displacement(
        up=p2_latitude * (cosine @ radial_in + sine @ radial_out),
        north=site.sin_twice_latitude * (cosine @ transverse_in + sine @ transverse_out),
        east=np.zeros(len(angle)),
    )


# ---------------------------------------------------------------------------------------------
# Pole tide

# Secular pole of the 2018 update of section 7.1.4: value at 2000.0 (mas) and rate (mas/yr).
SECULAR_POLE_X = (55.0, 1.677)
SECULAR_POLE_Y = (320.5, 3.460)
# Response to one arcsecond of the wobble, eq. 7.26.
POLE_TIDE_RADIAL = 33.0 * MILLIMETRE / ARCSECOND
POLE_TIDE_TRANSVERSE = 9.0 * MILLIMETRE / ARCSECOND


def pole_tide(station: ArrayLike, x_pole: ArrayLike, y_pole: ArrayLike, epochs: Epochs) -> Vectors:
    """Displacement by the centrifugal effect of polar motion.

    IERS Conventions 2010, eq. 7.24 to 7.26 (h2 = 0.6207, l2 = 0.0836), about the secular pole
    of the update of 2018-02-01: at most 10 mm up and down and 3 mm sideways with the poles
    of 1980 to 2025; the coefficients are rounded to 1.5 %, 0.15 mm.

    Parameters
    ----------
    station : array_like, shape (3,)
        ITRF position, m.
    x_pole, y_pole : array_like, shape (n,)
        Pole coordinates, rad.
    epochs : Epochs
        Instants, in TT or TDB.

    Returns
    -------
    ndarray, shape (n, 3)
        Displacement, m, ITRF.

    Raises
    ------
    InputError
        If shapes do not fit or a value is not finite.
    """
    site = _site(station)
    years = epochs.since_j2000 / JULIAN_YEAR
    m1 = _per_epoch(x_pole, epochs, "x_pole") - polyval(years, SECULAR_POLE_X) * MAS
    # y_p is counted towards 90 degrees west, m2 towards 90 degrees east.
    m2 = polyval(years, SECULAR_POLE_Y) * MAS - _per_epoch(y_pole, epochs, "y_pole")
    sin_longitude, cos_longitude = np.sin(site.longitude), np.cos(site.longitude)
    along = m1 * cos_longitude + m2 * sin_longitude
    across = m1 * sin_longitude - m2 * cos_longitude
    # Of the colatitude, sin 2 theta = sin 2 phi and cos 2 theta = -cos 2 phi; theta runs south.
    return site.displacement(
        up=-POLE_TIDE_RADIAL * site.sin_twice_latitude * along,
        north=-POLE_TIDE_TRANSVERSE * site.cos_twice_latitude * along,
        east=POLE_TIDE_TRANSVERSE * site.sin_latitude * across,
    )


# ---------------------------------------------------------------------------------------------
# Ocean tide loading

# For each of the main tides: multiples of tau, s, h, p and the phase in degrees of its argument
# (IERS Conventions 2010, routine ARG2), then the lines beside it that differ from it by -2, -1
# and +1 times the Moon's node, by their amplitude in the tidal potential relative to its own
# (Cartwright & Tayler 1971, Geophys. J. R. Astron. Soc. 23, 45, and Cartwright & Edden 1973,
# ibid. 33, 253; those above 0.01).
MAIN_LINES = {
    "M2": (2, 0, 0, 0, 0, 0.0, 0.0, -0.0373),
    "S2": (2, 2, -2, 0, 0, 0.0, 0.0, 0.0),
    "N2": (2, -1, 0, 1, 0, 0.0, 0.0, -0.0373),
    "K2": (2, 2, 0, 0, 0, 0.0324, 0.2980, -0.0128),
    "K1": (1, 1, 0, 0, 90, 0.0, 0.1356, -0.0198),
    "O1": (1, -1, 0, 0, -90, 0.0, 0.0, 0.1886),
    "P1": (1, 1, -2, 0, -90, 0.0, 0.0, -0.0112),
    "Q1": (1, -2, 0, 1, -90, 0.0, 0.0, 0.1886),
    "Mf": (0, 2, 0, 0, 0, 0.0387, 0.4145, 0.0),
    "Mm": (0, 1, 0, -1, 0, 0.0, -0.0651, -0.0657),
    "Ssa": (0, 0, 2, 0, 0, 0.0, -0.0248, 0.0),
}
NODE_MULTIPLES = np.array([-2, -1, 1])
MULTIPLIERS, PHASES_DEG, NODAL_LINES = np.split(np.array(list(MAIN_LINES.values())), [4, 5], axis=1)

MAIN_TIDES = tuple(MAIN_LINES)
"""The tides of a table of ocean loading, in its order."""


@dataclass(frozen=True, eq=False)
class OceanLoading:
    """Response of one station to the ocean's main tides, as tabulated in a BLQ file.

    Parameters
    ----------
    amplitudes : array_like, shape (11, 3)
        Amplitudes of the displacement up, west and south, m; tides in the order of
        `MAIN_TIDES`.
    phases_deg : array_like, shape (11, 3)
        Greenwich phase lags, degrees.

    Raises
    ------
    InputError
        If a shape is different, a value is not finite or an amplitude is negative.
    """

    amplitudes: Array
    phases_deg: Array

    def __post_init__(self) -> None:
        for field in ("amplitudes", "phases_deg"):
            values = np.array(getattr(self, field), float)
            if values.shape != (len(MAIN_TIDES), 3) or not np.isfinite(values).all():
                raise InputError(
                    "no table of ocean loading",
                    field=field,
                    found=values.shape,
                    expected="finite numbers, 11 tides by up, west, south",
                )
            object.__setattr__(self, field, values)
        if (self.amplitudes < 0.0).any():
            raise InputError("an amplitude is negative", field="amplitudes")


def ocean_loading(station: ArrayLike, coefficients: OceanLoading, epochs: Epochs) -> Vectors:
    """Displacement by the weight of the ocean's tides.

    The 11 main tides of the IERS Conventions 2010, section 7.1.2, eq. 7.15, each with the
    lines beside it that the Moon's node makes (18.6 years; up to 41 % for Mf, 30 % for K2,
    19 % for O1, 14 % for K1, 4 % for M2), formed as ``f exp(iu)`` = 1 + sum r_k exp(ik Omega).

    Parameters
    ----------
    station : array_like, shape (3,)
        ITRF position, m.
    coefficients : OceanLoading
        The station's amplitudes and phases.
    epochs : Epochs
        Instants in TT.

    Returns
    -------
    ndarray, shape (n, 3)
        Displacement, m, ITRF.

    Raises
    ------
    InputError
        If the station is no position or the epochs are not in TT.

    Notes
    -----
    Left out are the minor tides, which the Conventions interpolate between the main ones:
    nu2, mu2, L2, T2, 2N2, J1, M1, rho1 and others. In the potential their root sum of squares
    is 6 % of that of the main semidiurnal tides and 8 % of the diurnal ones: 0.3 mm rms
    where the whole is 5 mm.
    """
    site = _site(station)
    arguments = tidal_arguments(epochs)
    tides = _nodal_factors(arguments) * np.exp(1j * _main_angles(arguments))
    response = coefficients.amplitudes * np.exp(-1j * np.radians(coefficients.phases_deg))
    up, west, south = (tides @ response).real.T
    return site.displacement(up, -south, -west)


def _main_angles(arguments: Array) -> Array:
    """Astronomical arguments of the main tides, rad, shape (n, 11)."""
    sidereal, moon_anomaly, _, moon_latitude, elongation, node = arguments.T
    moon = moon_latitude + node
    doodson = np.stack([sidereal - moon, moon, moon - elongation, moon - moon_anomaly], axis=-1)
    return doodson @ MULTIPLIERS.T + np.radians(PHASES_DEG[:, 0])


def _nodal_factors(arguments: Array) -> NDArray[np.complex128]:
    """Modulation ``f exp(iu)`` of the main tides by the Moon's node, shape (n, 11)."""
    return 1.0 + np.exp(1j * np.outer(arguments[:, 5], NODE_MULTIPLES)) @ NODAL_LINES.T
