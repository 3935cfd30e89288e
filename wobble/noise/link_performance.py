"""Carrier-to-noise density of the downlink from the hardware at both ends.

In: transmitter power, the lander's fixed antenna and its pattern, distance, the station's
antenna and system temperature. Out: carrier-to-noise density (Hz, a plain ratio), so that
thermal noise is no free number: a pass at the edge of the lander's beam, far away, or low
above the horizon is noisier.

    C/N0 = P_c G_l(theta) G_s (lambda / (4 pi d))^2 / (losses k T(E))

(link equation of Friis 1946, Proc. IRE 34, 254). The pattern falls as a parabola in
decibels, 3 dB at half the half-power width, down to the level of the side lobes; the
system temperature rises toward the horizon by what the atmosphere emits.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from astropy import constants as codata
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.noise.contributions.base import X_DOWNLINK, Contribution, parameter

__all__ = ["LinkPerformance", "decibel_ratio", "dish_gain", "pattern_loss"]

Array = NDArray[np.float64]

BOLTZMANN = float(codata.k_B.si.value)
PHYSICAL_TEMPERATURE = 275.0
"""Effective temperature of the emitting atmosphere, K (common practice, no source)."""


def decibel_ratio(decibels: ArrayLike) -> Array:
    """Power ratio of so many decibels."""
    return np.asarray(10.0 ** (np.asarray(decibels, float) / 10.0))


def dish_gain(diameter: float, efficiency: float, frequency: float) -> float:
    """Gain (ratio) of a circular aperture: ``efficiency (pi D f / c)^2``."""
    return efficiency * (math.pi * diameter * frequency / SPEED_OF_LIGHT) ** 2


def pattern_loss(off_boresight: ArrayLike, beam_width: float, side_lobe: float) -> Array:
    """Loss off boresight, dB: ``12 (theta / beam_width)^2``, at most ``side_lobe`` (dB down).

    Parameters
    ----------
    off_boresight : array_like
        Angle from the boresight, rad.
    beam_width : float
        Full width between the half-power directions, rad.
    side_lobe : float
        Level of the side lobes below the peak, dB.
    """
    return np.minimum(12.0 * (np.asarray(off_boresight, float) / beam_width) ** 2, side_lobe)


@dataclass(frozen=True)
class LinkPerformance(Contribution):
    """Hardware of a downlink, as parameters that a contribution of thermal noise inherits.

    The defaults are a small lander's transmitter of 5 W into a horn of 15 dBi, heard by a
    34 m antenna (common practice, no source).
    """

    name: ClassVar[str] = "link_performance"

    downlink_frequency: float = parameter(X_DOWNLINK, "Hz", "downlink carrier", least=1e6)
    transmitter_power: float = parameter(5.0, "W", "of the lander", least=1e-9)
    lander_gain_dbi: float = parameter(15.0, "", "peak gain of the lander's antenna, dBi")
    beam_width: float = parameter(
        math.radians(30.0), "rad", "its full half-power width", least=1e-6
    )
    side_lobe_db: float = parameter(20.0, "", "its side lobes below the peak, dB", least=0.0)
    carrier_fraction: float = parameter(1.0, "", "of the power in the carrier", least=1e-9)
    loss_db: float = parameter(2.0, "", "circuits, pointing, polarisation, dB", least=0.0)
    station_diameter: float = parameter(34.0, "m", "of the antenna on the Earth", least=0.01)
    station_efficiency: float = parameter(0.7, "", "of its aperture", least=1e-3)
    zenith_temperature: float = parameter(30.0, "K", "system temperature at zenith", least=1.0)
    zenith_opacity_db: float = parameter(0.04, "", "atmospheric loss at zenith, dB", least=0.0)

    def system_temperature(self, elevation: ArrayLike) -> Array:
        """System temperature, K: that of the zenith and the emission of more atmosphere."""
        airmass = 1.0 / np.sin(elevation)
        clear = decibel_ratio(-self.zenith_opacity_db)
        return self.zenith_temperature + PHYSICAL_TEMPERATURE * (clear - clear**airmass)

    def carrier_to_noise_density(
        self,
        distance: ArrayLike,
        elevation: ArrayLike,
        off_boresight: ArrayLike,
        measured: ArrayLike = np.nan,
    ) -> Array:
        """Carrier power over noise density at the station, Hz.

        Parameters
        ----------
        distance : array_like
            Distance, m.
        elevation : array_like
            Elevation at the station, rad.
        off_boresight : array_like
            Angle of the Earth from the boresight of the lander's antenna, rad.
        measured : array_like, optional
            Gain of the lander's antenna over an isotropic one, dB, which goes before the
            parabola; NaN where it is not known.
        """
        pattern = pattern_loss(off_boresight, self.beam_width, self.side_lobe_db)
        gain = np.where(np.isnan(measured), self.lander_gain_dbi - pattern, measured)
        atmosphere = self.zenith_opacity_db / np.sin(elevation)
        gains = decibel_ratio(gain - self.loss_db - atmosphere)
        gains = gains * dish_gain(
            self.station_diameter, self.station_efficiency, self.downlink_frequency
        )
        wavelength = SPEED_OF_LIGHT / self.downlink_frequency
        spreading = (wavelength / (4.0 * math.pi * np.asarray(distance, float))) ** 2
        carrier = self.transmitter_power * self.carrier_fraction * gains * spreading
        return np.asarray(carrier / (BOLTZMANN * self.system_temperature(elevation)))
