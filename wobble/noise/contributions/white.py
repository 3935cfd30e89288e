"""Noise without physics: white levels, and the rounding of the computer.

In: standard deviations. Out: variances independent from sample to sample, as a fit with
plain weights takes them; and the rounding noise of the computed observable.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from wobble.noise.contributions.base import REFERENCE_COUNT, Contribution, parameter
from wobble.noise.geometry import PassGeometry, PathPoints
from wobble.noise.path_covariance import Leg, Term
from wobble.noise.power_laws import WhitePhase
from wobble.noise.processes import Process

__all__ = ["NumericalNoise", "WhiteRange", "WhiteRangeRate"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class WhiteRange(Contribution):
    """Ranges independent of one another, of one standard deviation."""

    name: ClassVar[str] = "white_range"

    sigma: float = parameter(1.0, "m", "standard deviation, one-way", least=0.0)

    def sample_variance(self, geometry: PassGeometry) -> Array:
        return np.where(geometry.is_range, self.sigma**2, 0.0)


@dataclass(frozen=True)
class WhiteRangeRate(Contribution):
    """Range rates independent of one another: ``sigma(T) = sigma sqrt(60 s / T)``.

    This is white frequency noise: twice the count time is as good as two samples averaged.
    """

    name: ClassVar[str] = "white_range_rate"

    sigma: float = parameter(0.05e-3, "m / s", "standard deviation at 60 s, one-way", least=0.0)

    def sample_variance(self, geometry: PassGeometry) -> Array:
        count = np.where(geometry.is_range, math.inf, geometry.count_time)
        return self.sigma**2 * REFERENCE_COUNT / count


@dataclass(frozen=True)
class NumericalNoise(Contribution):
    """Rounding in the computed observable: white noise of the path, shared between counts.

    The level is that of this package; light times of single-float epochs have 0.06 mm/s
    (Zannoni & Tortora 2013, J. Guid. Control Dyn. 36, 1008).
    """

    name: ClassVar[str] = "numerical_noise"

    range_rate: float = parameter(1e-10, "m / s", "at 60 s", least=0.0)

    @cached_property
    def _process(self) -> Process:
        bandwidth = 1e3  # Independent from one instant to the next.
        variance = (self.range_rate * REFERENCE_COUNT) ** 2 / 2.0
        return WhitePhase(variance / bandwidth, bandwidth)

    def terms(self, points: PathPoints) -> list[Term]:
        return [Term(self._process, (Leg(1.0),))]
