"""Noise of the ranging signal and of its calibration.

In: the strength and frequency of the range clock, the error of the calibration. Out: a
variance for each range, and an error common to the ranges of a pass.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.noise.contributions.base import Contribution, parameter
from wobble.noise.geometry import PassGeometry, PathPoints
from wobble.noise.link_performance import decibel_ratio
from wobble.noise.path_covariance import Leg, Term
from wobble.noise.processes import Constant

__all__ = ["RangeCalibration", "RangeThermal"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class RangeThermal(Contribution):
    """Thermal noise of the ranging signal, independent from point to point.

    ``sigma = c / (f_R sqrt(32 pi^2 T P_R/N0))`` in one-way range for a sinusoidal range
    clock of frequency f_R with ranging power over noise density P_R/N0 integrated over T:
    a phase error of ``1/sqrt(2 T P_R/N0)`` of half a wavelength over 2 pi (two-way); common
    practice, from memory.
    """

    name: ClassVar[str] = "range_thermal"

    ranging_power_to_noise_density_db: float = parameter(10.0, "", "P_R/N0", level="dB Hz")
    clock_frequency: float = parameter(1e6, "Hz", "of the range clock", least=1.0)
    integration_time: float = parameter(100.0, "s", "of one range point", least=1e-3)

    def sample_variance(self, geometry: PassGeometry) -> Array:
        ratio = float(decibel_ratio(self.ranging_power_to_noise_density_db))
        phase_variance = 1.0 / (2.0 * self.integration_time * ratio)
        path = SPEED_OF_LIGHT / (2.0 * math.pi * self.clock_frequency)
        half = 1.0 if geometry.ways == 1 else 0.5
        return np.where(geometry.is_range, (half * path) ** 2 * phase_variance, 0.0)


@dataclass(frozen=True)
class RangeCalibration(Contribution):
    """Error of the station's range calibration, the same for all ranges of a pass.

    0.5 m is a few nanoseconds of the two-way delay (common practice, no source). A fit that
    estimates a range bias for each pass does not see it.
    """

    name: ClassVar[str] = "range_calibration"

    range_error: float = parameter(0.5, "m", "standard deviation, one-way", least=0.0)

    def terms(self, points: PathPoints) -> list[Term]:
        return [Term(Constant(self.range_error**2), (Leg(1.0),), on_range_rate=0.0)]
