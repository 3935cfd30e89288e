"""Thermal phase noise of the carrier, down and up.

In: carrier-to-noise densities, or the hardware that gives them. Out: white phase noise of
the range rate, from samples that share the phase at the end of one count and the start of
the next. The ranging signal has its own noise (`ranging`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.noise.contributions.base import (
    X_DOWNLINK,
    X_UPLINK,
    Contribution,
    parameter,
    path_factor,
)
from wobble.noise.contributions.solar_plasma import plasma_free_combination
from wobble.noise.geometry import PathPoints
from wobble.noise.link_performance import LinkPerformance, decibel_ratio
from wobble.noise.path_covariance import Leg, Term
from wobble.noise.power_laws import WhitePhase
from wobble.noise.processes import Process

__all__ = ["LinkThermalPhase", "ThermalPhase", "TransponderThermal", "carrier_noise_level"]

Array = NDArray[np.float64]


def carrier_noise_level(carrier_to_noise_density: ArrayLike, frequency: float) -> Array:
    """Path spectrum of thermal phase noise, m^2/Hz.

    The phase has the one-sided density ``N0/C`` (rad^2/Hz), so that its variance in a loop
    of bandwidth B is ``B / (C/N0)``; a radian is ``c / (2 pi f)`` of path.
    """
    path_per_radian = SPEED_OF_LIGHT / (2.0 * math.pi * frequency)
    return np.asarray(path_per_radian**2 / np.asarray(carrier_to_noise_density, float))


@dataclass(frozen=True)
class ThermalPhase(Contribution):
    """Thermal phase noise of the downlink carrier in the station's receiver.

    Two-way at 8.4 GHz, 60 s and a loop signal-to-noise ratio ``rho`` it gives
    ``c / (2 sqrt(2) pi f T) / sqrt(rho)``, 0.0067 mm/s at 20 dB (handbook 810-005, module 202,
    from memory). With a second coherent
    downlink the noise is that of the combination free of plasma.
    """

    name: ClassVar[str] = "thermal_phase"

    carrier_to_noise_density_db: float = parameter(30.0, "", "C/N0 of the downlink", level="dB Hz")
    downlink_frequency: float = parameter(X_DOWNLINK, "Hz", "downlink carrier", least=1e6)
    loop_bandwidth: float = parameter(5.0, "Hz", "one-sided noise bandwidth", least=1e-3)
    second_downlink_frequency: float = parameter(
        0.0, "Hz", "second coherent downlink, 0 for none", least=0.0
    )
    second_carrier_to_noise_density_db: float = parameter(30.0, "", "its C/N0", level="dB Hz")

    @cached_property
    def _process(self) -> Process:
        level = carrier_noise_level(
            decibel_ratio(self.carrier_to_noise_density_db), self.downlink_frequency
        )
        if self.second_downlink_frequency:
            weights = plasma_free_combination(
                self.downlink_frequency, self.second_downlink_frequency
            )
            second = carrier_noise_level(
                decibel_ratio(self.second_carrier_to_noise_density_db),
                self.second_downlink_frequency,
            )
            level = weights[0] ** 2 * level + weights[1] ** 2 * second
        return WhitePhase(float(level), self.loop_bandwidth)

    def terms(self, points: PathPoints) -> list[Term]:
        return [Term(self._process, (Leg(path_factor(points)),), on_range=0.0)]


@dataclass(frozen=True)
class LinkThermalPhase(LinkPerformance):
    """Thermal phase noise of the downlink carrier from the hardware of the link."""

    name: ClassVar[str] = "link_thermal_phase"

    loop_bandwidth: float = parameter(5.0, "Hz", "one-sided noise bandwidth", least=1e-3)

    def terms(self, points: PathPoints) -> list[Term]:
        ratio = self.carrier_to_noise_density(
            points.along("distance"),
            points.elevation,
            np.maximum(points.along("off_boresight"), 0.0),
            points.along("antenna_gain_db"),
        )
        amplitude = np.sqrt(carrier_noise_level(ratio, self.downlink_frequency))
        leg = Leg(path_factor(points), 0.0, amplitude)
        return [Term(WhitePhase(1.0, self.loop_bandwidth), (leg,), on_range=0.0)]


@dataclass(frozen=True)
class TransponderThermal(Contribution):
    """Thermal phase noise of the uplink carrier in the transponder's loop, turned around."""

    name: ClassVar[str] = "transponder_thermal"

    carrier_to_noise_density_db: float = parameter(40.0, "", "C/N0 of the uplink", level="dB Hz")
    uplink_frequency: float = parameter(X_UPLINK, "Hz", "uplink carrier", least=1e6)
    loop_bandwidth: float = parameter(20.0, "Hz", "one-sided noise bandwidth", least=1e-3)

    @cached_property
    def _process(self) -> Process:
        ratio = decibel_ratio(self.carrier_to_noise_density_db)
        level = float(carrier_noise_level(ratio, self.uplink_frequency))
        return WhitePhase(level, self.loop_bandwidth)

    def terms(self, points: PathPoints) -> list[Term]:
        if points.ways == 1:
            return []
        leg = Leg(path_factor(points))
        return [Term(self._process, (leg,), on_range=0.0)]
