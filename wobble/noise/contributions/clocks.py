"""Noise of clocks and oscillators, on the ground and on the lander.

In: Allan deviations, or the level in range rate. Out: white and flicker noise of frequency
with the legs on which each oscillator is heard.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

from wobble.noise.contributions.base import (
    REFERENCE_COUNT,
    Contribution,
    parameter,
    path_factor,
    station_terms,
)
from wobble.noise.geometry import PathPoints
from wobble.noise.path_covariance import Leg, Term
from wobble.noise.power_laws import PowerLaw, VonKarman
from wobble.noise.processes import Process, Sum

__all__ = ["FrequencyStandard", "LanderOscillator", "Transponder", "oscillator_process"]

CLOCK_LIFE = 1e6
"""Time over which white and flicker noise of a clock's frequency are carried on, s."""


def oscillator_process(white_frequency: float, flicker_floor: float) -> Process:
    """White frequency noise (Allan deviation at 1 s) with a flicker floor, as a path."""
    cutoff = 1.0 / CLOCK_LIFE
    white = VonKarman(1.0, -2.0, cutoff).with_allan_deviation(white_frequency, 1.0)
    # At a thousandth of the cut-off's period the floor is flat to a per mille.
    flicker = VonKarman(1.0, -3.0, cutoff).with_allan_deviation(flicker_floor, 1e3)
    return Sum((white, flicker))


@dataclass(frozen=True)
class FrequencyStandard(Contribution):
    """Frequency standard of the station: white frequency noise and a flicker floor.

    What is received now is compared with what was sent a round trip ago, so two-way the
    path is ``(c/2) [z(t) - z(t - round trip)]``, and noise slower than the round trip
    cancels. Three-way the two standards are independent. A flicker floor of 6e-16 is that
    of a hydrogen maser at 1e4 s (Uljanov et al. 1990, Proc. 22nd PTTI, 509).
    """

    name: ClassVar[str] = "frequency_standard"

    white_frequency: float = parameter(2e-14, "", "Allan deviation at 1 s", least=0.0)
    flicker_floor: float = parameter(6e-16, "", "flicker floor, Allan deviation", least=0.0)

    @cached_property
    def _process(self) -> Process:
        return oscillator_process(self.white_frequency, self.flicker_floor)

    def terms(self, points: PathPoints) -> list[Term]:
        return station_terms(self._process, points, down_gain=1.0, up_gain=-1.0)


@dataclass(frozen=True)
class LanderOscillator(Contribution):
    """The lander's own oscillator, which only a one-way link hears."""

    name: ClassVar[str] = "lander_oscillator"

    white_frequency: float = parameter(1e-12, "", "Allan deviation at 1 s", least=0.0)
    flicker_floor: float = parameter(1e-13, "", "flicker floor, Allan deviation", least=0.0)

    @cached_property
    def _process(self) -> Process:
        return oscillator_process(self.white_frequency, self.flicker_floor)

    def terms(self, points: PathPoints) -> list[Term]:
        if points.ways != 1:
            return []
        return [Term(self._process, (Leg(1.0),))]


@dataclass(frozen=True)
class Transponder(Contribution):
    """Phase noise that the transponder adds: white frequency noise.

    0.02 mm/s at 60 s is the requirement on a lander's X-band transponder (Kosov et al.
    2019, abstract); the best are tens of times better.
    """

    name: ClassVar[str] = "transponder"

    range_rate: float = parameter(0.02e-3, "m / s", "two-way, at 60 s", least=0.0)

    @cached_property
    def _process(self) -> Process:
        # A random walk of path: D(T) = 2 pi^2 level T, and v = z(T) / (2 T) for one event.
        level = (2.0 * self.range_rate) ** 2 * REFERENCE_COUNT / (2.0 * math.pi**2)
        return PowerLaw(level, -2.0)

    def terms(self, points: PathPoints) -> list[Term]:
        if points.ways == 1:
            return []
        leg = Leg(path_factor(points))
        return [Term(self._process, (leg,), on_range=0.0)]
