"""Noise of what lies between the antennas: troposphere, ionosphere, solar plasma.

In: levels at zenith, in electron content, or by the Sun-Earth-probe angle. Out: terms
along the two legs, with the mapping to the elevation of each and, for the charged media,
opposite signs for range (group delay) and range rate (phase advance).

Defaults are the state of the art with calibration by surface meteorology and maps of
electron content; a contribution without calibration has the larger numbers that its
docstring gives.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import (
    ASTRONOMICAL_UNIT,
    CARRIER_DISPERSION,
    EARTH_EQUATORIAL_RADIUS,
    SPEED_OF_LIGHT,
)
from wobble.errors import InputError
from wobble.noise.contribution import Contribution, parameter, path_factor, station_terms
from wobble.noise.covariance import Leg, Term
from wobble.noise.geometry import PathPoints
from wobble.noise.power_laws import VonKarman
from wobble.noise.processes import Constant, Process

__all__ = [
    "DryTroposphere",
    "Ionosphere",
    "SolarPlasma",
    "WetTroposphere",
    "plasma_allan_deviation",
    "plasma_free_combination",
    "shell_obliquity",
    "tropospheric_mapping",
]

Array = NDArray[np.float64]

KOLMOGOROV = -8.0 / 3.0
"""Exponent of the path spectrum of Kolmogorov turbulence carried past the ray."""
X_UPLINK, X_DOWNLINK = 7.17e9, 8.42e9
"""Carriers of a deep-space X-band link, Hz; their ratio is near 749/880."""
HYDROSTATIC_PER_PASCAL = 0.0022768e-2
"""Zenith delay, m per Pa (Saastamoinen 1972; Davis et al. 1985, Radio Sci. 20, 1593)."""


def tropospheric_mapping(elevation: ArrayLike) -> Array:
    """Slant over zenith delay, ``1.001 / sqrt(0.002001 + sin^2 E)`` (Black & Eisner 1984).

    Within 2 % of the mapping functions of precise work from 10 degrees up: enough for noise.
    """
    return 1.001 / np.sqrt(0.002001 + np.sin(elevation) ** 2)


def shell_obliquity(elevation: ArrayLike, height: float) -> Array:
    """Slant over vertical content of a thin ionospheric shell at ``height`` (m)."""
    sine = EARTH_EQUATORIAL_RADIUS / (EARTH_EQUATORIAL_RADIUS + height) * np.cos(elevation)
    return 1.0 / np.sqrt(1.0 - sine**2)


def plasma_allan_deviation(sun_angle: ArrayLike) -> Array:
    """Allan deviation at 1000 s of a two-way X-band link by solar plasma.

    ``1.76e-14 sin(SEP)^-1.98 + 6.25e-14 sin(SEP)^0.06`` up to 90 degrees and
    ``(1.76e-14 + 6.25e-14) sin(SEP)^1.05`` beyond (Iess et al. 2014, Acta Astronaut. 94,
    699). At 160 degrees, to which the tracking behind the fits reaches, the second law is
    held, for it would end at zero.

    Parameters
    ----------
    sun_angle : array_like
        Sun-Earth-probe angle, rad.
    """
    sine = np.sin(np.minimum(sun_angle, FAR_FROM_SUN))
    near = 1.76e-14 * sine**-1.98 + 6.25e-14 * sine**0.06
    far = (1.76e-14 + 6.25e-14) * sine**1.05
    return np.where(np.asarray(sun_angle) <= math.pi / 2, near, far)


FAR_FROM_SUN = math.radians(160.0)


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
        level = float(plasma_allan_deviation(points.sun_angle)) * path_factor(points)
        to_screen = ASTRONOMICAL_UNIT * max(math.cos(points.sun_angle), 0.0) / SPEED_OF_LIGHT
        lag = max(points.round_trip - 2.0 * to_screen, 0.0)
        legs = []
        if self.second_downlink_frequency:
            plasma_free_combination(self.downlink_frequency, self.second_downlink_frequency)
        else:
            legs.append(Leg(level * (X_DOWNLINK / self.downlink_frequency) ** 2))
        if points.ways > 1:
            legs.append(Leg(level * (X_DOWNLINK / self.uplink_frequency) ** 2, lag))
        return [Term(self._process, tuple(legs), 1.0, -1.0)]


@dataclass(frozen=True)
class WetTroposphere(Contribution):
    """Water vapour: Kolmogorov fluctuations, and the error of the zenith delay as a whole.

    Fluctuations of 1e-14 at zenith, one way, 1000 s, lie in the range 3e-15 to 3e-14
    (Armstrong 2006, Living Rev. Relativ. 9, 1, table 2); a zenith error of 3 cm is that of
    surface meteorology (common practice, no source). With calibration by radiometer or
    satellite navigation ``residual`` is 0.2 to 0.3, without any 1.
    """

    name: ClassVar[str] = "wet_troposphere"

    allan_deviation: float = parameter(
        1e-14, "", "of the fluctuations at zenith, one way, at 1000 s", least=0.0
    )
    correlation_time: float = parameter(
        21600.0, "s", "over which the fluctuations saturate", least=1.0
    )
    zenith_error: float = parameter(
        0.03, "m", "standard deviation of the zenith delay over passes", least=0.0
    )
    residual: float = parameter(1.0, "", "part that calibration leaves, 1 for none", least=0.0)

    @cached_property
    def _process(self) -> Process:
        low_cutoff = 1.0 / (2.0 * math.pi * self.correlation_time)
        unit = VonKarman(1.0, KOLMOGOROV, low_cutoff)
        return unit.with_allan_deviation(self.allan_deviation, 1000.0)

    def terms(self, points: PathPoints) -> list[Term]:
        return [
            term
            for process in (self._process, Constant(self.zenith_error**2))
            for term in _mapped(process.scaled(self.residual**2), points)
        ]


@dataclass(frozen=True)
class DryTroposphere(Contribution):
    """Hydrostatic delay through the error of the surface pressure, 2.3 mm per hPa at zenith.

    100 Pa is a station barometer with its height correction, 1000 Pa the weather about a
    standard atmosphere, that is no calibration (common practice, no source). Pressure
    changes smoothly (the spectrum falls with the fourth power) over about a day.
    """

    name: ClassVar[str] = "dry_troposphere"

    pressure_error: float = parameter(100.0, "Pa", "standard deviation", least=0.0)
    correlation_time: float = parameter(86400.0, "s", "over which it changes", least=1.0)

    def terms(self, points: PathPoints) -> list[Term]:
        rms = self.pressure_error * HYDROSTATIC_PER_PASCAL
        return _mapped(VonKarman.from_rms(rms, self.correlation_time, -4.0), points)


def _mapped(process: Process, points: PathPoints) -> list[Term]:
    down = tropospheric_mapping(points.elevation)
    same = points.transmit_elevation is points.elevation
    up = down if same else tropospheric_mapping(points.transmit_elevation)
    return station_terms(process, points, down=down, up=up)


@dataclass(frozen=True)
class Ionosphere(Contribution):
    """Error of the electron content above the station, mapped by a thin shell.

    5e16 electrons per square metre is the error of global maps (2 to 8, common practice,
    no source); without calibration the content itself, 20e16 to 50e16, stands here.
    """

    name: ClassVar[str] = "ionosphere"

    vertical_content: float = parameter(5e16, "1 / m2", "standard deviation", least=0.0)
    correlation_time: float = parameter(21600.0, "s", "over which it changes", least=1.0)
    shell_height: float = parameter(450e3, "m", "height of the thin shell", least=0.0)
    uplink_frequency: float = parameter(X_UPLINK, "Hz", "uplink carrier", least=1e6)
    downlink_frequency: float = parameter(X_DOWNLINK, "Hz", "downlink carrier", least=1e6)

    @cached_property
    def _process(self) -> Process:
        """Vertical electron content, 1/m^2; the legs turn it into a path."""
        return VonKarman.from_rms(self.vertical_content, self.correlation_time, KOLMOGOROV)

    def terms(self, points: PathPoints) -> list[Term]:
        down = shell_obliquity(points.elevation, self.shell_height)
        same = points.transmit_elevation is points.elevation
        up = down if same else shell_obliquity(points.transmit_elevation, self.shell_height)
        return station_terms(
            self._process,
            points,
            down=down,
            up=up,
            down_gain=CARRIER_DISPERSION / self.downlink_frequency**2,
            up_gain=CARRIER_DISPERSION / self.uplink_frequency**2,
            on_range=1.0,
            on_range_rate=-1.0,
        )
