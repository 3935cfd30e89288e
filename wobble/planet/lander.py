"""A lander: where it stands, where its fixed antennas look, what its transponder adds.

In: body-fixed coordinates in one of three forms. Out: an object with a Cartesian
position (m), the direction of a target over its horizon, which antenna sees it, and the
limits within which it may be tracked.
"""

from __future__ import annotations

import html
from dataclasses import dataclass, field, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from wobble.earth.stations import HorizonMask, azimuth_elevation, east_north_up
from wobble.errors import InputError
from wobble.planet.body import Body
from wobble.planet.gain_table import GainTable
from wobble.planet.lander_limits import LanderLimits
from wobble.planet.oscillator import Oscillator

__all__ = ["Antenna", "Lander"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Antenna:
    """An antenna fixed to the lander.

    Parameters
    ----------
    name : str
        For example ``"east"``.
    azimuth, elevation : float
        Of the boresight over the lander's horizon, north over east, rad.
    half_width : float
        Largest usable angle from the boresight, rad; of no effect beside a gain table.
    pattern : GainTable, optional
        Gain against the angle from the boresight, and the least that is usable.
    """

    name: str
    azimuth: float
    elevation: float
    half_width: float = np.pi
    pattern: GainTable | None = None

    def __post_init__(self) -> None:
        if not 0 < self.half_width <= np.pi:
            raise InputError(
                "the half-width of a beam lies between 0 and 180 degrees",
                field=f"antenna {self.name}",
                found=f"{np.degrees(self.half_width):.3f} deg",
            )

    def boresight(self) -> Array:
        """Unit vector (east, north, up), shape (3,)."""
        ce = np.cos(self.elevation)
        return np.array(
            [ce * np.sin(self.azimuth), ce * np.cos(self.azimuth), np.sin(self.elevation)]
        )

    def off_boresight(self, local: Array) -> Array:
        """Angle between (east, north, up) directions (n, 3) and the boresight, rad, (n,)."""
        unit = local / np.linalg.norm(local, axis=-1, keepdims=True)
        axis = self.boresight()
        return np.arctan2(np.linalg.norm(np.cross(unit, axis), axis=-1), unit @ axis)

    @property
    def width_in_words(self) -> str:
        """What limits the beam, for a reader."""
        if self.pattern is None:
            return f"half-width {np.degrees(self.half_width):.0f} deg"
        return f"gain above {self.pattern.least:g} dB"

    def margin(self, local: Array) -> Array:
        """How far inside the usable beam directions (n, 3) are, (n,): rad, or dB of a pattern."""
        angle = self.off_boresight(local)
        if self.pattern is None:
            return self.half_width - angle
        return self.pattern.at(angle) - self.pattern.least


@dataclass(frozen=True, eq=False)
class Lander:
    """A lander on a body.

    Parameters
    ----------
    name : str
        Its name in the data.
    position : ndarray, shape (3,)
        Body-fixed Cartesian coordinates, m.
    antennas : tuple of Antenna
        Empty: it is seen wherever the body does not hide it.
    transponder_delay : float
        s.
    zenith_delay : float, optional
        Delay of the planet's air at the zenith, m; that of its surface pressure if left out.
    minimum_elevation : float
        Of the Earth over the lander's horizon, rad.
    mask : HorizonMask
        The terrain around, against the azimuth; it counts where it is higher than that.
    limits : LanderLimits
        How much and when it may be tracked.
    oscillator : Oscillator, optional
        With which it sends one-way.
    """

    name: str
    position: Array
    antennas: tuple[Antenna, ...] = ()
    transponder_delay: float = 0.0
    zenith_delay: float | None = None
    minimum_elevation: float = 0.0
    mask: HorizonMask = field(default_factory=lambda: HorizonMask.flat(-np.pi / 2))
    limits: LanderLimits = field(default_factory=LanderLimits)
    oscillator: Oscillator | None = None

    def __post_init__(self) -> None:
        place = np.asarray(self.position, float)
        if place.shape != (3,) or not np.isfinite(place).all() or not place.any():
            raise InputError(
                "a lander's place is three finite coordinates",
                field=f"lander {self.name}",
                found=self.position,
                expected="x, y, z in metres",
            )

    @classmethod
    def cylindrical(
        cls, name: str, radius: float, longitude: float, z: float, **others: Any
    ) -> Self:
        """From the distance to the spin axis (m), east longitude (rad) and axial z (m)."""
        place = np.array([radius * np.cos(longitude), radius * np.sin(longitude), z])
        return cls(name, place, **others)

    @classmethod
    def geodetic(
        cls,
        name: str,
        body: Body,
        longitude: float,
        latitude: float,
        height: float,
        **others: Any,
    ) -> Self:
        """From east longitude, geodetic latitude (rad) and height (m) on the body's ellipsoid."""
        return cls(name, body.from_geodetic(longitude, latitude, height), **others)

    def moved(self, position: Array) -> Lander:
        """The same lander at another place."""
        return replace(self, position=np.asarray(position, float))

    def horizon(self, body: Body) -> Array:
        """Unit vectors east, north and up in the body's frame, rows of shape (3, 3)."""
        longitude, latitude, _ = body.geodetic(self.position)
        return east_north_up(longitude, latitude)

    def look(self, body: Body, target: Array) -> tuple[Array, Array, Array]:
        """(east, north, up), azimuth and elevation of body-fixed directions (n, 3)."""
        local = target @ self.horizon(body).T
        return local, *azimuth_elevation(local)

    def height_over_horizon(self, local: Array) -> Array:
        """Elevation of (east, north, up) directions (n, 3) over the least usable, rad, (n,)."""
        azimuth, elevation = azimuth_elevation(local)
        return elevation - np.maximum(self.mask.at(azimuth), self.minimum_elevation)

    def __repr__(self) -> str:
        x, y, z = self.position / 1e3
        antennas = ", ".join(
            f"{a.name} (azimuth {np.degrees(a.azimuth):.0f} deg, elevation "
            f"{np.degrees(a.elevation):.0f} deg, {a.width_in_words})"
            for a in self.antennas
        )
        return (
            f"<Lander {self.name}: x {x:.3f}, y {y:.3f}, z {z:.3f} km; "
            f"antennas {antennas or 'any'}>"
        )

    def _repr_html_(self) -> str:
        return f"<code>{html.escape(repr(self))}</code>"
