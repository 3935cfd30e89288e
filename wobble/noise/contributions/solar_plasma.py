"""Noise of the solar wind and corona, by the Sun-Earth-probe angle and the band.

In: the angle (from the pass), the carriers. Out: Kolmogorov turbulence on both legs,
correlated between them, with opposite signs for range (group delay) and range rate (phase
advance); and the combination of two carriers that is free of it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import ASTRONOMICAL_UNIT, SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.noise.contributions.base import (
    KOLMOGOROV,
    X_DOWNLINK,
    X_UPLINK,
    Contribution,
    parameter,
    path_factor,
)
from wobble.noise.geometry import PathPoints
from wobble.noise.path_covariance import Leg, Term
from wobble.noise.power_laws import VonKarman
from wobble.noise.processes import Process

__all__ = ["SolarPlasma", "plasma_allan_deviation", "plasma_free_combination"]

Array = NDArray[np.float64]


FAR_FROM_SUN = math.radians(160.0)
"""Angle beyond which the published law is held, rad."""


def plasma_allan_deviation(sun_angle: ArrayLike) -> Array:
    """Allan deviation at 1000 s of a two-way X-band link by solar plasma.

    ``1.76e-14 sin(SEP)^-1.98 + 6.25e-14 sin(SEP)^0.06`` up to 90 degrees and
    ``(1.76e-14 + 6.25e-14) sin(SEP)^1.05`` beyond (Iess et al. 2014, Acta Astronaut. 94,
    699; the numbers are from memory). At 160 degrees, to which the tracking behind the fits
    reaches, the second law is held, for it would end at zero.

    Parameters
    ----------
    sun_angle : array_like
        Sun-Earth-probe angle, rad.
    """
    sine = np.sin(np.minimum(sun_angle, FAR_FROM_SUN))
    near = 1.76e-14 * sine**-1.98 + 6.25e-14 * sine**0.06
    far = (1.76e-14 + 6.25e-14) * sine**1.05
    return np.where(np.asarray(sun_angle) <= math.pi / 2, near, far)


def plasma_free_combination(frequency: float, second_frequency: float) -> tuple[float, float]:
    """Weights of two coherent carriers whose sum has the path and no plasma.

    ``w = f^2 / (f^2 - f_2^2)`` and ``1 - w``: delays of a plasma go as ``1/f^2`` (Bertotti,
    Comoretto & Iess 1993, Astron. Astrophys. 269, 608).

    Raises
    ------
    InputError
        If the carriers have one frequency.
    """
    if frequency == second_frequency:
        raise InputError(
            "two carriers of one frequency cannot tell a plasma",
            field="second_downlink_frequency",
            found=second_frequency,
        )
    weight = frequency**2 / (frequency**2 - second_frequency**2)
    return weight, 1.0 - weight


@dataclass(frozen=True)
class SolarPlasma(Contribution):
    """Solar wind and corona: Kolmogorov turbulence, stronger toward the Sun.

    The turbulence is taken to lie where the ray passes nearest the Sun, ``cos(SEP)``
    astronomical units from the Earth (at the Earth beyond 90 degrees): the legs pass it the
    round trip less twice that light time apart, and see the same plasma with the weights of
    their bands (Armstrong 2006, Living Rev. Relativ. 9, 1, sect. 4). The level is such
    that two independent legs of an X-band link have the published Allan deviation.
    With ``second_downlink_frequency`` the downlink is free of plasma (the combination of
    two coherent downlinks removes it); the uplink's remains.
    """

    name: ClassVar[str] = "solar_plasma"

    uplink_frequency: float = parameter(X_UPLINK, "Hz", "uplink carrier", least=1e6)
    downlink_frequency: float = parameter(X_DOWNLINK, "Hz", "downlink carrier", least=1e6)
    second_downlink_frequency: float = parameter(
        0.0, "Hz", "second coherent downlink, 0 for none", least=0.0
    )
    low_cutoff: float = parameter(1e-5, "Hz", "outer scale of the turbulence", least=1e-9)

    @cached_property
    def _process(self) -> Process:
        """Path of one leg at the X-band downlink, unit two-way Allan deviation at 1000 s."""
        one_leg = 1.0 / math.hypot(1.0, (X_DOWNLINK / X_UPLINK) ** 2)
        return VonKarman(1.0, KOLMOGOROV, self.low_cutoff).with_allan_deviation(one_leg, 1000.0)

    def terms(self, points: PathPoints) -> list[Term]:
        level = plasma_allan_deviation(points.sun_angle) * path_factor(points)
        to_screen = ASTRONOMICAL_UNIT * np.maximum(np.cos(points.sun_angle), 0.0) / SPEED_OF_LIGHT
        lag = np.maximum(points.round_trip - 2.0 * to_screen, 0.0)
        legs = []
        if self.second_downlink_frequency:
            plasma_free_combination(self.downlink_frequency, self.second_downlink_frequency)
        else:
            legs.append(Leg(level * (X_DOWNLINK / self.downlink_frequency) ** 2))
        if points.ways > 1:
            legs.append(Leg(level * (X_DOWNLINK / self.uplink_frequency) ** 2, lag))
        return [Term(self._process, tuple(legs), 1.0, -1.0)]
