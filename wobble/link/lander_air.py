"""The neutral air over a lander.

In: a `Leg` and the zenith delay of the planet's atmosphere. Out: seconds, shape (n,), and how
they change when the lander is displaced. Size at Mars, one way: 4 cm at the zenith, 0.01 mm/s at
30 degrees of elevation.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.earth.troposphere import zenith_delay_carbon_dioxide
from wobble.link.delays import Effect
from wobble.link.ends import LanderEnd
from wobble.link.path import Leg
from wobble.planet.body import Body
from wobble.planet.lander import Lander

__all__ = ["PlanetAtmosphere", "zenith_delay"]

Array = NDArray[np.float64]


def zenith_delay(lander: Lander, body: Body) -> float:
    """Delay of the air over a lander at the zenith, m."""
    if lander.zenith_delay is not None:
        return lander.zenith_delay
    gravity = body.gm / body.equatorial_radius**2
    return float(zenith_delay_carbon_dioxide(body.surface_pressure, gravity))


@dataclass(frozen=True, eq=False)
class PlanetAtmosphere(Effect):
    """Neutral atmosphere over the lander, a thin shell at its scale height.

    Parameters
    ----------
    lander : LanderEnd
    zenith : float
        Delay at the zenith, m (`zenith_delay`).
    scale_height : float
        m; that of Mars if left out (from memory).
    """

    lander: LanderEnd
    zenith: float
    scale_height: float = 10.8e3

    @property
    def _ratio(self) -> float:
        """Of the shell's radius to the planet's."""
        return 1.0 + self.scale_height / self.lander.body.equatorial_radius

    def _sine(self, leg: Leg) -> Array:
        """Of the station's elevation at the lander."""
        body, lander = self.lander.body, self.lander.lander
        up = body.orientation.inertial(lander.horizon(body)[2], leg.lander.epochs)
        return -np.einsum("ni,ni->n", up, leg.to_lander) / leg.distance

    def _mapping(self, sine: Array) -> Array:
        return 1.0 / np.sqrt(1.0 - (1.0 - sine**2) / self._ratio**2)

    def _per_zenith(self, leg: Leg) -> Array:
        """s/m."""
        return self._mapping(self._sine(leg)) / SPEED_OF_LIGHT

    def group(self, leg: Leg) -> Array:
        return self.zenith * self._per_zenith(leg)

    def by_lander(self, leg: Leg) -> Array:
        """Derivatives of the group delay by the lander's place, ICRF, s/m, shape (n, 3).

        The zenith tilts by as much as the place moves around the planet. At 10 degrees of
        elevation on Mars 3e-7 of a range's derivative and 3e-6 of a range rate's, which becomes
        2e-5 at the horizon; the flattening, 1 % of that, is left out.
        """
        sine = self._sine(leg)
        per_sine = -sine / self._ratio**2 * self._mapping(sine) ** 3
        away, radius = leg.to_lander / leg.distance[:, None], leg.lander.turned
        length = np.linalg.norm(radius, axis=1)[:, None]
        level = away - radius * np.einsum("ni,ni->n", away, radius)[:, None] / length**2
        return -self.zenith / SPEED_OF_LIGHT * per_sine[:, None] * level / length

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """With respect to ``lander.NAME.zenith_delay``, s/m."""
        name = f"lander.{self.lander.lander.name}.zenith_delay"
        return {name: self._per_zenith(leg)} if name in names else {}
