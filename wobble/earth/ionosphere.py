"""Delay of radio waves in the ionosphere, all electrons put into a thin shell.

In: elevation of the body, vertical content of electrons (from a map of the ionosphere or
a model), frequency. Out: group delay of one passage in metres, and the point where the
line of sight pierces the shell, which is where a map is to be read.

Sign: the modulation (range) is delayed, the phase of the carrier is advanced by the same
amount. So

    range      + group_delay(tec, f)
    phase path - group_delay(tec, f)

and Doppler, which counts the carrier's cycles, sees the *negative* rate of the group delay.
The delay is d = 40.308 m^3/s^2 TEC / f^2 (IERS Conventions 2010, section 9.4). The next term,
in 1 / f^3 and from the Earth's magnetic field, is left out: with 1e18 m^-2 it is about
0.1 mm at 8.4 GHz and 5 mm at 2.3 GHz.

Size at 8.4 GHz: 5.7 mm for 1e16 electrons per m^2; the zenith has 5e16 at night to 1e18 on
a day of high activity, 3 cm to 0.6 m, three times as much near the horizon. A content that
changes by 1e15 per minute is 0.01 mm/s. The shell's slant factor is wrong by up to 10 %
below 20 degrees of elevation, because the true layers are thick and their gradients large.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import CARRIER_DISPERSION
from wobble.earth.weather import within

__all__ = ["SHELL_HEIGHT", "group_delay", "pierce_point", "slant_factor"]

Array = NDArray[np.float64]

SHELL_HEIGHT = 450e3
"""Height of the thin shell, m: the one of the usual global maps."""

SHELL_BASE_RADIUS = 6_371e3
"""Mean radius of the Earth, m, from which the shell's height counts."""


def group_delay(tec: ArrayLike, frequency: ArrayLike) -> Array:
    """Delay of the modulation by a column of electrons, m; the phase advances by as much.

    Parameters
    ----------
    tec : array_like, shape (n,)
        Electrons along the path, m^-2. For the ionosphere the vertical content times
        `slant_factor`; a difference of contents may be negative.
    frequency : array_like, shape (n,)
        Frequency of the carrier on this passage, Hz.

    Raises
    ------
    InputError
        If a frequency is not between 0.1 and 1000 GHz.
    """
    f = within(frequency, 1e8, 1e12, field="frequency", unit="Hz")
    return CARRIER_DISPERSION * np.asarray(tec, float) / f**2


def slant_factor(elevation: ArrayLike, shell_height: float = SHELL_HEIGHT) -> Array:
    """Content along the line of sight over the vertical content, 1 / cos z'.

    The zenith distance z' at the shell follows from sin z' = R cos e / (R + H).

    Parameters
    ----------
    elevation : array_like, shape (n,)
        Elevation at the station, rad.
    shell_height : float
        Height of the shell, m.

    Raises
    ------
    InputError
        If an elevation is not between 0 and 90 degrees or the height not between 100 and
        2000 km.
    """
    return 1.0 / np.cos(_zenith_distance_at_shell(elevation, shell_height))


def pierce_point(
    latitude: ArrayLike,
    longitude: ArrayLike,
    elevation: ArrayLike,
    azimuth: ArrayLike,
    shell_height: float = SHELL_HEIGHT,
) -> tuple[Array, Array]:
    """Latitude and longitude where the line of sight pierces the shell, rad.

    On a sphere, as the maps are made: geocentric latitudes; longitude from -pi to pi.

    Parameters
    ----------
    latitude, longitude : array_like, shape (n,)
        Geocentric latitude and east longitude of the station, rad.
    elevation, azimuth : array_like, shape (n,)
        Direction of the body, rad, azimuth from north through east.
    shell_height : float
        Height of the shell, m.

    Raises
    ------
    InputError
        As `slant_factor`.
    """
    at_shell = _zenith_distance_at_shell(elevation, shell_height)
    arc = np.pi / 2.0 - np.asarray(elevation, float) - at_shell
    sine = np.sin(latitude) * np.cos(arc) + np.cos(latitude) * np.sin(arc) * np.cos(azimuth)
    east = np.sin(arc) * np.sin(azimuth)
    north = np.cos(latitude) * np.cos(arc) - np.sin(latitude) * np.sin(arc) * np.cos(azimuth)
    pierced = np.asarray(longitude, float) + np.arctan2(east, north)
    return np.arcsin(sine), np.mod(pierced + np.pi, 2.0 * np.pi) - np.pi


def _zenith_distance_at_shell(elevation: ArrayLike, shell_height: float) -> Array:
    within(elevation, 0.0, np.pi / 2.0, field="elevation", unit="rad (0 to 90 deg)")
    within(shell_height, 100e3, 2000e3, field="shell_height", unit="m")
    ratio = SHELL_BASE_RADIUS / (SHELL_BASE_RADIUS + shell_height)
    return np.arcsin(ratio * np.cos(elevation))
