"""Motion of the antennas at both ends.

In: an Allan deviation for the station's antenna, an amplitude for the lander's. Out: path
processes with the legs that each motion lengthens.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

from wobble.noise.contributions.base import Contribution, parameter, station_terms
from wobble.noise.geometry import PathPoints
from wobble.noise.path_covariance import Leg, Term
from wobble.noise.power_laws import VonKarman
from wobble.noise.processes import Process, Sinusoid

__all__ = ["AntennaMechanics", "LanderPhaseCentre"]


@dataclass(frozen=True)
class AntennaMechanics(Contribution):
    """Motion of the station antenna's phase centre under wind, gravity and heat.

    Both legs are lengthened alike, a round trip apart. 2e-15 at 1000 s is the leading noise
    of the best links (Armstrong 2006, Living Rev. Relativ. 9, 1, table 2; the number is from
    memory); the spectrum is taken as white in frequency.
    """

    name: ClassVar[str] = "antenna_mechanics"

    allan_deviation: float = parameter(2e-15, "", "two-way, at 1000 s", least=0.0)
    correlation_time: float = parameter(1e4, "s", "over which the path saturates", least=1.0)

    @cached_property
    def _process(self) -> Process:
        unit = VonKarman(1.0, -2.0, 1.0 / (2.0 * math.pi * self.correlation_time))
        # Two passages, independent on either side of a long round trip.
        return unit.with_allan_deviation(self.allan_deviation / math.sqrt(2.0), 1000.0)

    def terms(self, points: PathPoints) -> list[Term]:
        return station_terms(self._process, points)


@dataclass(frozen=True)
class LanderPhaseCentre(Contribution):
    """The lander's phase centre, moved by thermal expansion through the planet's day.

    The amplitude along the line of sight is common practice, without source: a structure
    of 1 m, 2e-5 per kelvin, a swing of 80 K.
    """

    name: ClassVar[str] = "lander_phase_centre"

    amplitude: float = parameter(0.8e-3, "m", "of the daily motion", least=0.0)
    solar_day: float = parameter(88775.244, "s", "of the planet (default: Mars)", least=1.0)

    @cached_property
    def _process(self) -> Process:
        return Sinusoid(self.amplitude**2 / 2.0, self.solar_day)

    def terms(self, points: PathPoints) -> list[Term]:
        # Moved in one event, it lengthens both legs at once: all of it is one-way range.
        return [Term(self._process, (Leg(1.0),))]
