"""Noise of the ionosphere at the elevation of each leg.

In: the error of the vertical electron content. Out: a dispersive path, delaying the range
and advancing the phase, by the band of each leg.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import CARRIER_DISPERSION, EARTH_EQUATORIAL_RADIUS
from wobble.noise.contributions.base import (
    KOLMOGOROV,
    X_DOWNLINK,
    X_UPLINK,
    Contribution,
    parameter,
    station_terms,
)
from wobble.noise.contributions.solar_plasma import plasma_free_combination
from wobble.noise.geometry import PathPoints
from wobble.noise.path_covariance import Term
from wobble.noise.power_laws import VonKarman
from wobble.noise.processes import Process

__all__ = ["Ionosphere", "shell_obliquity"]

Array = NDArray[np.float64]


def shell_obliquity(elevation: ArrayLike, height: float) -> Array:
    """Slant over vertical content of a thin ionospheric shell at ``height`` (m)."""
    sine = EARTH_EQUATORIAL_RADIUS / (EARTH_EQUATORIAL_RADIUS + height) * np.cos(elevation)
    return 1.0 / np.sqrt(1.0 - sine**2)


@dataclass(frozen=True)
class Ionosphere(Contribution):
    """Error of the electron content above the station, mapped by a thin shell.

    5e16 electrons per square metre is the error of global maps (2 to 8, common practice,
    no source); without calibration the content itself, 20e16 to 50e16, stands here. A second
    coherent downlink removes it from the downlink, as it does the solar plasma.
    """

    name: ClassVar[str] = "ionosphere"

    vertical_content: float = parameter(5e16, "1 / m2", "standard deviation", least=0.0)
    correlation_time: float = parameter(21600.0, "s", "over which it changes", least=1.0)
    shell_height: float = parameter(450e3, "m", "height of the thin shell", least=0.0)
    uplink_frequency: float = parameter(X_UPLINK, "Hz", "uplink carrier", least=1e6)
    downlink_frequency: float = parameter(X_DOWNLINK, "Hz", "downlink carrier", least=1e6)

    second_downlink_frequency: float = parameter(
        0.0, "Hz", "second coherent downlink, 0 for none", least=0.0
    )

    @cached_property
    def _process(self) -> Process:
        """Vertical electron content, 1/m^2; the legs turn it into a path."""
        return VonKarman.from_rms(self.vertical_content, self.correlation_time, KOLMOGOROV)

    @cached_property
    def _downlink_dispersion(self) -> float:
        """Path for each electron per square metre; none in the combination of two carriers."""
        if self.second_downlink_frequency:
            plasma_free_combination(self.downlink_frequency, self.second_downlink_frequency)
            return 0.0
        return CARRIER_DISPERSION / self.downlink_frequency**2

    def terms(self, points: PathPoints) -> list[Term]:
        down = shell_obliquity(points.elevation, self.shell_height)
        same = points.transmit_elevation is points.elevation
        up = down if same else shell_obliquity(points.transmit_elevation, self.shell_height)
        return station_terms(
            self._process,
            points,
            down=down,
            up=up,
            down_gain=self._downlink_dispersion,
            up_gain=CARRIER_DISPERSION / self.uplink_frequency**2,
            on_range=1.0,
            on_range_rate=-1.0,
        )
