"""A planet or moon that carries a lander.

In: its constants, from a body file (`wobble.files.body_file`). Out: an object that knows
its size, its mass, how it is turned, and what tides move its surface.
"""

from __future__ import annotations

import html
from dataclasses import dataclass, field, replace

import erfa
import numpy as np
from numpy.typing import NDArray

from wobble.constants import GM
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError, UnknownNameError
from wobble.planet.rotation import Orientation
from wobble.planet.tide import solid_body_tide

__all__ = ["Body"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Body:
    """A body of the ephemeris with its shape, rotation and tides.

    Parameters
    ----------
    name : str
        Its name in the ephemeris.
    gm : float
        Gravitational parameter, m^3/s^2.
    equatorial_radius, polar_radius : float
        Of the reference ellipsoid, m.
    orientation : Orientation
        From its body-fixed axes to the ICRF.
    love_h2, love_l2 : float
        Of the solid tide; zero for a rigid body.
    tide_raisers : tuple of str
        Bodies of the ephemeris that raise its tide.
    surface_pressure : float
        Of its air, taken as carbon dioxide, Pa; zero for none.
    source : str
        Where the numbers of its orientation come from.
    """

    name: str
    gm: float
    equatorial_radius: float
    polar_radius: float
    orientation: Orientation = field(repr=False)
    love_h2: float = 0.0
    love_l2: float = 0.0
    tide_raisers: tuple[str, ...] = ("sun",)
    surface_pressure: float = 0.0
    source: str = field(default="", repr=False)

    def __post_init__(self) -> None:
        if not 0 < self.polar_radius <= self.equatorial_radius:
            raise InputError(
                "the polar radius lies between zero and the equatorial radius",
                field=f"body {self.name}",
                found=f"{self.polar_radius} m and {self.equatorial_radius} m",
            )
        if not self.gm > 0:
            raise InputError("a mass is positive", field=f"body {self.name}", found=self.gm)
        for raiser in self.tide_raisers:
            if raiser not in GM or raiser == self.name:
                raise UnknownNameError(
                    "body that raises a tide",
                    raiser,
                    set(GM) - {self.name},
                    field=f"body {self.name}",
                )

    def with_rotation(self, values: dict[str, float]) -> Body:
        """The same body with other values of some rotation parameters."""
        return replace(self, orientation=self.orientation.with_values(values))

    @property
    def flattening(self) -> float:
        """Of the reference ellipsoid."""
        return 1.0 - self.polar_radius / self.equatorial_radius

    def from_geodetic(self, longitude: float, latitude: float, height: float) -> Array:
        """Body-fixed place of east longitude, geodetic latitude (rad) and height (m), (3,)."""
        a, f = self.equatorial_radius, self.flattening
        if f == 0.0:  # the library wants an ellipsoid that is not a sphere
            radius, planar = a + height, np.cos(latitude)
            return radius * np.array(
                [planar * np.cos(longitude), planar * np.sin(longitude), np.sin(latitude)]
            )
        return np.asarray(erfa.gd2gce(a, f, longitude, latitude, height), float)

    def geodetic(self, position: Array) -> tuple[float, float, float]:
        """East longitude, geodetic latitude (rad) and height (m) of a body-fixed place."""
        if self.flattening == 0.0:
            radius = float(np.linalg.norm(position))
            return (
                float(np.arctan2(position[1], position[0])),
                float(np.arcsin(position[2] / radius)),
                radius - self.equatorial_radius,
            )
        values = erfa.gc2gde(self.equatorial_radius, self.flattening, position)
        return float(values[0]), float(values[1]), float(values[2])

    def tidal_displacement(self, position: Array, ephemeris: Ephemeris, epochs: Epochs) -> Array:
        """Body-fixed displacement of a place by the solid tide, m, shape (n, 3)."""
        total = np.zeros((len(epochs), 3))
        if self.love_h2 == 0.0 and self.love_l2 == 0.0:
            return total
        center = ephemeris.position(self.name, epochs)
        radius = (2.0 * self.equatorial_radius + self.polar_radius) / 3.0
        for raiser in self.tide_raisers:
            relative = ephemeris.position(raiser, epochs) - center
            total += solid_body_tide(
                position,
                self.orientation.body_fixed(relative, epochs),
                mass_ratio=GM[raiser] / self.gm,
                radius=radius,
                h2=self.love_h2,
                l2=self.love_l2,
            )
        return total

    def __repr__(self) -> str:
        shape = f"flattening 1/{1 / self.flattening:.2f}" if self.flattening else "a sphere"
        return (
            f"<Body {self.name}: {self.equatorial_radius / 1e3:.2f} km, {shape}, "
            f"{len(self.orientation.values)} rotation parameters>"
        )

    def _repr_html_(self) -> str:
        return f"<code>{html.escape(repr(self))}</code>"
