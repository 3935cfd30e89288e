"""Noise given by its numbers alone: a spectrum, Allan deviations or a structure function.

In: what a data sheet, a measurement or a paper gives: a power law or a table of spectral
density, a table of Allan deviations, a structure function. Out: a process on the legs of
the link.

By itself the noise is that of the received signal: two- and three-way half of its path is
one-way range, as in ``y = 2 v / c``. ``downlink_weight`` and ``uplink_weight`` say how each
leg passes it at the station: 1 and 1 for an antenna that moves, 1 and -1 for a clock, whose
legs are a round trip apart (two-way) or independent (three-way). ``range_weight`` is the
factor on ranges beside that on range rates: 0 for noise of the carrier alone, -1 for a
plasma.
"""

from __future__ import annotations

from abc import abstractmethod
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from wobble.errors import InputError
from wobble.noise.allan import process_from_allan_deviations
from wobble.noise.contributions.base import Contribution, column, parameter, station_terms
from wobble.noise.geometry import PathPoints
from wobble.noise.path_covariance import Term
from wobble.noise.power_laws import PowerLaw, VonKarman, path_level, power_law_process
from wobble.noise.processes import Process, SpectrumTable, demand

__all__ = [
    "AllanDeviations",
    "GeneralNoise",
    "PowerLawSpectrum",
    "StructureFunction",
    "TabulatedSpectrum",
]

NEEDED = float("nan")
"""Default of a number that has to be given: no noise is guessed."""


@dataclass(frozen=True)
class GeneralNoise(Contribution):
    """What noise that is given by numbers has in common: how the legs pass it."""

    downlink_weight: float = parameter(1.0, "", "of the process at reception")
    uplink_weight: float = parameter(0.0, "", "of the process at transmission")
    range_weight: float = parameter(1.0, "", "factor on ranges, 0 if they do not feel it")

    def __post_init__(self) -> None:
        super().__post_init__()
        try:
            self._process  # noqa: B018  # made once, so that what cannot be is refused here
        except InputError as error:
            error.problem += f" (noise contribution {self.name})"
            error.args = (str(error),)
            raise

    @property
    @abstractmethod
    def _process(self) -> Process:
        """Path of one leg, m."""

    def terms(self, points: PathPoints) -> list[Term]:
        return station_terms(
            self._process,
            points,
            down_gain=self.downlink_weight,
            up_gain=self.uplink_weight,
            on_range=self.range_weight,
        )


@dataclass(frozen=True)
class PowerLawSpectrum(GeneralNoise):
    """Power law of the fractional frequency, ``S_y = level (f / 1 Hz)^exponent``.

    Exponents (IEEE Std 1139): 2 white phase, 1 flicker phase, 0 white frequency, -2/3
    Kolmogorov turbulence, -1 flicker frequency, -2 random walk of frequency. White phase
    needs the high cut-off, flicker phase both, -1 and steeper the low one; ranges need the
    low one for every exponent below 1.
    """

    name: ClassVar[str] = "power_law"

    level: float = parameter(NEEDED, "1 / Hz", "one-sided density at 1 Hz", least=0.0)
    exponent: float = parameter(NEEDED, "", "of the frequency")
    low_cutoff: float = parameter(0.0, "Hz", "below which the path is flat, 0 for none", least=0.0)
    high_cutoff: float = parameter(0.0, "Hz", "loop or band limit, 0 for none", least=0.0)

    @cached_property
    def _process(self) -> Process:
        return power_law_process(
            path_level(self.level),
            self.exponent - 2.0,
            self.low_cutoff or None,
            self.high_cutoff or None,
        )


@dataclass(frozen=True)
class TabulatedSpectrum(GeneralNoise):
    """One-sided spectral density of the path, linear between given frequencies."""

    name: ClassVar[str] = "tabulated_spectrum"

    frequency: tuple[float, ...] = column("Hz", "increasing")
    density: tuple[float, ...] = column("m2 / Hz", "one-sided, of the path")

    @cached_property
    def _process(self) -> Process:
        return SpectrumTable(np.array(self.frequency), np.array(self.density))


@dataclass(frozen=True)
class AllanDeviations(GeneralNoise):
    """Allan deviations of the fractional frequency, as on the data sheet of an oscillator.

    The sum of white phase, white, flicker and random-walk frequency noise that comes within
    20 % of each of them; a table that no such sum has is refused.
    """

    name: ClassVar[str] = "allan_deviations"

    averaging_times: tuple[float, ...] = column("s", "increasing")
    deviations: tuple[float, ...] = column("", "Allan deviation at each")
    bandwidth: float = parameter(1.0, "Hz", "of the white phase noise", least=1e-6)
    low_cutoff: float = parameter(1e-6, "Hz", "below which the noise ends", least=1e-12)

    @cached_property
    def _process(self) -> Process:
        return process_from_allan_deviations(
            self.averaging_times,
            self.deviations,
            bandwidth=self.bandwidth,
            low_cutoff=self.low_cutoff,
        )


@dataclass(frozen=True)
class StructureFunction(GeneralNoise):
    """Structure function of the path, ``D(lag) = value (lag / reference_lag)^exponent``.

    The exponent of Kolmogorov turbulence carried past the ray is 5/3, that of a random walk
    1. Beyond ``1 / (2 pi low_cutoff)`` the function is level; ranges need that cut-off.
    """

    name: ClassVar[str] = "structure_function"

    value: float = parameter(NEEDED, "m2", "at the reference lag", least=0.0)
    reference_lag: float = parameter(NEEDED, "s", "lag of the value", least=1e-9)
    exponent: float = parameter(5.0 / 3.0, "", "of the lag, between 0 and 2 exclusive")
    low_cutoff: float = parameter(0.0, "Hz", "where it becomes level, 0 for none", least=0.0)

    @cached_property
    def _process(self) -> Process:
        demand("exponent", 0.0 < self.exponent < 2.0, self.exponent, "between 0 and 2")
        law = PowerLaw.from_structure_function(self.value, self.reference_lag, self.exponent)
        if not self.low_cutoff:
            return law
        return VonKarman(law.level, law.exponent, self.low_cutoff)
