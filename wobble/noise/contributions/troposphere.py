"""Noise of the troposphere, dry and wet, at the elevation of each leg.

In: the error of the surface pressure, the level of the water vapour's fluctuations, the
part that calibration leaves. Out: path processes of the zenith delay, mapped to the
elevation along the pass, a round trip apart on the two legs.

A constant zenith error is noise of the range rate as well: the mapping changes through
the count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

from wobble.noise.contributions.base import KOLMOGOROV, Contribution, parameter, station_terms
from wobble.noise.geometry import PathPoints
from wobble.noise.path_covariance import Term
from wobble.noise.power_laws import VonKarman
from wobble.noise.processes import Constant, Process

__all__ = ["DryTroposphere", "WetTroposphere"]


HYDROSTATIC_PER_PASCAL = 0.0022768e-2
"""Zenith delay, m per Pa (Saastamoinen 1972; Davis et al. 1985, Radio Sci. 20, 1593)."""


def _mapped(process: Process, points: PathPoints) -> list[Term]:
    return station_terms(process, points, down=points.airmass, up=points.transmit_airmass)


@dataclass(frozen=True)
class WetTroposphere(Contribution):
    """Water vapour: Kolmogorov fluctuations, and the error of the zenith delay as a whole.

    Fluctuations of 1e-14 at zenith, one way, 1000 s, lie in the range 3e-15 to 3e-14
    (Armstrong 2006, Living Rev. Relativ. 9, 1, table 2, from memory); a zenith error of 3 cm
    is that of surface meteorology (common practice, no source). With calibration by
    radiometer or satellite navigation ``residual`` is 0.2 to 0.3, without any 1.
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
    def _zenith_delays(self) -> list[Process]:
        low_cutoff = 1.0 / (2.0 * math.pi * self.correlation_time)
        unit = VonKarman(1.0, KOLMOGOROV, low_cutoff)
        fluctuations = unit.with_allan_deviation(self.allan_deviation, 1000.0)
        parts = (fluctuations, Constant(self.zenith_error**2))
        return [part.scaled(self.residual**2) for part in parts]

    def terms(self, points: PathPoints) -> list[Term]:
        return [term for process in self._zenith_delays for term in _mapped(process, points)]


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

    @cached_property
    def _zenith_delay(self) -> Process:
        rms = self.pressure_error * HYDROSTATIC_PER_PASCAL
        return VonKarman.from_rms(rms, self.correlation_time, -4.0)

    def terms(self, points: PathPoints) -> list[Term]:
        return _mapped(self._zenith_delay, points)
