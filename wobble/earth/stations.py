"""Tracking stations on the Earth.

In: coordinates and velocity as a catalogue gives them, a horizon mask. Out: the station's
place in the ITRF at an epoch, m, shape (n, 3); its local axes; azimuth and elevation of
local vectors, rad.
"""

from __future__ import annotations

import html
import math
from dataclasses import dataclass, field
from functools import cached_property

import erfa
import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.constants import JULIAN_YEAR
from wobble.earth.displacement import OceanLoading
from wobble.earth.station_calendar import StationCalendar
from wobble.epochs import Epochs
from wobble.errors import InputError, UnknownNameError

__all__ = [
    "MOUNTS",
    "HorizonMask",
    "Station",
    "azimuth_elevation",
    "east_north_up",
    "hour_angle",
]

Array = NDArray[np.float64]
GRS80 = 2  # the ellipsoid's number in the SOFA library
MOUNTS = ("azimuth-elevation", "equatorial", "x-y north", "x-y east")
"""Mounts of antennas, by the axis that is fixed to the ground: vertical, parallel to the
Earth's axis, horizontal to the north or to the east."""


@dataclass(frozen=True, eq=False)
class HorizonMask:
    """Lowest usable elevation as a function of azimuth, linear between the given points.

    Parameters
    ----------
    azimuth : ndarray, shape (m,)
        rad, increasing, from 0 to less than 2 pi, north over east; one point is a flat mask.
    elevation : ndarray, shape (m,)
        rad.
    """

    azimuth: Array
    elevation: Array

    def __post_init__(self) -> None:
        if self.azimuth.shape != self.elevation.shape or not self.azimuth.size:
            raise InputError("a horizon mask needs as many azimuths as elevations, at least one")
        if not (np.diff(self.azimuth) > 0).all():
            raise InputError("the azimuths of a horizon mask must increase", field="azimuth")
        if not ((self.azimuth >= 0) & (self.azimuth < 2 * np.pi)).all():
            raise InputError("an azimuth lies between 0 and 360 degrees", field="azimuth")
        if not (np.abs(self.elevation) <= np.pi / 2).all():
            raise InputError("an elevation lies between -90 and 90 degrees", field="elevation")

    @classmethod
    def flat(cls, elevation: float) -> HorizonMask:
        """The same lowest elevation (rad) all around."""
        return cls(np.array([0.0]), np.array([elevation]))

    def at(self, azimuth: Array) -> Array:
        """Lowest elevation at these azimuths, rad, shape (n,)."""
        return np.interp(azimuth, self.azimuth, self.elevation, period=2 * np.pi)


@dataclass(frozen=True, eq=False)
class Station:
    """A tracking station.

    Parameters
    ----------
    name : str
        Its name in the data.
    position : ndarray, shape (3,)
        ITRF coordinates at `epoch`, m.
    velocity : ndarray, shape (3,)
        ITRF velocity, m/s.
    epoch : float
        Reference epoch of the position, decimal Julian years.
    mask : HorizonMask
        Lowest elevation for receiving.
    transmit_elevation : float
        Lowest elevation at which the station may transmit, rad. It is a limit of radiation
        safety that the station's own authority sets; the default of 10 degrees is common
        practice and replaces no local rule.
    delay : float
        Delay of the station's electronics, round trip, s; half of it counts at the transmission,
        half at the reception.
    clock_offset : float
        By how much the station's clock is ahead of UTC, s.
    zenith_wet_delay : float
        What is to be added to the wet delay at the zenith, m.
    range_bias : float
        What is to be added to its ranges, one-way, m.
    axis_offset : float
        Distance between the axes of the antenna's mount, m.
    mount : str
        One of `MOUNTS`: which axis is fixed to the ground.
    ocean_loading : OceanLoading, optional
        Response to the ocean's tides; none if left out.
    valid : (float, float)
        From when to when the coordinates hold, decimal Julian years: a station may jump in an
        earthquake.
    calendar : StationCalendar
        When it is to be had.
    """

    name: str
    position: Array
    velocity: Array
    epoch: float
    mask: HorizonMask
    transmit_elevation: float = np.radians(10.0)
    delay: float = 0.0
    clock_offset: float = 0.0
    zenith_wet_delay: float = 0.0
    range_bias: float = 0.0
    axis_offset: float = 0.0
    mount: str = "azimuth-elevation"
    ocean_loading: OceanLoading | None = None
    valid: tuple[float, float] = (-math.inf, math.inf)
    calendar: StationCalendar = field(default_factory=StationCalendar)

    def __post_init__(self) -> None:
        radius = float(np.linalg.norm(self.position))
        if not 6.3e6 < radius < 6.4e6:
            raise InputError(
                "a station stands on the Earth",
                field=f"station {self.name}",
                found=f"{radius / 1e3:.3f} km from the geocentre",
                expected="6300 km to 6400 km: are the coordinates in metres?",
            )
        if not np.linalg.norm(self.velocity) * JULIAN_YEAR < 1.0:
            raise InputError(
                "a station drifts by less than a metre a year",
                field=f"station {self.name}",
                found=f"{np.linalg.norm(self.velocity) * JULIAN_YEAR:.3f} m/yr",
            )
        if self.mount not in MOUNTS:
            raise UnknownNameError("mount", self.mount, MOUNTS, field=f"station {self.name}")

    def require_valid(self, start: Time, stop: Time) -> None:
        """See that the coordinates hold over a span.

        Raises
        ------
        InputError
            If the station jumps within the span, or its coordinates are of another time.
        """
        first, last = self.valid
        if not (first <= start.tt.jyear and stop.tt.jyear <= last):
            raise InputError(
                "the coordinates of the station do not hold over the whole span",
                field=f"station {self.name}",
                found=f"{start.tt.jyear:.4f} to {stop.tt.jyear:.4f}",
                expected=f"within {first:.4f} to {last:.4f}, where its position jumps",
            )

    def itrf(self, epochs: Epochs) -> Array:
        """ITRF position with plate motion, m, shape (n, 3)."""
        years = epochs.since_j2000 / JULIAN_YEAR + 2000.0 - self.epoch
        return self.position + np.outer(years * JULIAN_YEAR, self.velocity)

    @cached_property
    def geodetic(self) -> tuple[float, float, float]:
        """East longitude (rad), geodetic latitude (rad) and height (m) on the GRS80 ellipsoid."""
        longitude, latitude, height = erfa.gc2gd(GRS80, self.position)
        return float(longitude), float(latitude), float(height)

    @cached_property
    def fixed_axis(self) -> Array:
        """Unit vector along the axis of the mount that is fixed to the ground, ITRF, (3,)."""
        east, north, up = self.horizon
        return {
            "azimuth-elevation": up,
            "equatorial": np.array([0.0, 0.0, 1.0]),
            "x-y north": north,
            "x-y east": east,
        }[self.mount]

    @cached_property
    def horizon(self) -> Array:
        """Unit vectors to the east, the north and the zenith in the ITRF, rows of shape (3, 3)."""
        longitude, latitude, _ = self.geodetic
        return east_north_up(longitude, latitude)

    def __repr__(self) -> str:
        longitude, latitude, height = self.geodetic
        return (
            f"<Station {self.name}: {np.degrees(latitude):+.4f} deg N, "
            f"{np.degrees(longitude):+.4f} deg E, {height:.0f} m>"
        )

    def _repr_html_(self) -> str:
        return f"<code>{html.escape(repr(self))}</code>"


def east_north_up(longitude: float, latitude: float) -> Array:
    """Local axes at a place, as rows in the body's frame, shape (3, 3)."""
    sl, cl = np.sin(longitude), np.cos(longitude)
    sp, cp = np.sin(latitude), np.cos(latitude)
    return np.array([[-sl, cl, 0.0], [-sp * cl, -sp * sl, cp], [cp * cl, cp * sl, sp]])


def azimuth_elevation(local: Array) -> tuple[Array, Array]:
    """Azimuth (north over east, 0 to 2 pi) and elevation, rad, of (east, north, up) vectors."""
    east, north, up = np.moveaxis(local, -1, 0)
    return np.arctan2(east, north) % (2 * np.pi), np.arctan2(up, np.hypot(east, north))


def hour_angle(latitude: float, azimuth: Array, elevation: Array) -> Array:
    """Hour angle, rad, west positive, of a direction over the horizon at a latitude (rad).

    The direction's components along the equator toward the west and toward the meridian
    (Urban & Seidelmann 2013, Explanatory Supplement, sect. 7.1.3).
    """
    west = -np.cos(elevation) * np.sin(azimuth)
    toward_meridian = np.cos(latitude) * np.sin(elevation) - np.sin(latitude) * np.cos(
        elevation
    ) * np.cos(azimuth)
    return np.arctan2(west, toward_meridian)
