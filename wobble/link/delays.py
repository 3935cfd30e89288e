"""What delays the signal on a leg beyond its geometric light time.

In: a `Leg`. Out: seconds, shape (n,), once for the modulation (range) and once for the phase
of the carrier (Doppler): the two differ in sign where the medium is dispersive.

One class, one effect; a new effect is a new class with `group` and `phase`. Sizes, one way:

* `GravitationalDelay`: the Sun 10 to 125 microseconds (37 km) between opposition and the
  limb; the Earth, Mars and Jupiter at most 0.3 ns (9 cm), 0.1 ns and 0.5 ns;
* `RadioTroposphere`: 2.3 m at the zenith, 13 m at 10 degrees;
* `OpticalTroposphere`: 2.4 m at the zenith;
* `Ionosphere`: 6 mm for 1e16 electrons/m^2 at 8.4 GHz, times 5 to 100 by day;
* `SolarCorona`: decimetres at opposition, tens of metres near conjunction at X band;
* `FixedDelay`: transponder and station electronics.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import erfa
import numpy as np
from numpy.typing import NDArray

from wobble.constants import GM, SPEED_OF_LIGHT
from wobble.earth.ionosphere import group_delay, slant_factor
from wobble.earth.optical_refraction import optical_delay
from wobble.earth.stations import Station, azimuth_elevation
from wobble.earth.troposphere import tropospheric_delay
from wobble.earth.weather import standard_pressure, standard_temperature
from wobble.ephemeris import Ephemeris
from wobble.link.ends import Event, StationEnd
from wobble.link.light_time import Leg
from wobble.link.plasma import Corona, coronal_delay

__all__ = [
    "Delay",
    "FixedDelay",
    "GravitationalDelay",
    "Ionosphere",
    "OpticalTroposphere",
    "RadioTroposphere",
    "SolarCorona",
    "Weather",
    "elevation_at_station",
]

Array = NDArray[np.float64]

# Relative humidity assumed where nothing was measured (common practice, no source).
ASSUMED_HUMIDITY = 50.0


class Delay(Protocol):
    """One effect on a leg."""

    def group(self, leg: Leg) -> Array:
        """Delay of the modulation, s, shape (n,)."""
        ...

    def phase(self, leg: Leg) -> Array:
        """Delay of the carrier's phase, s, shape (n,)."""
        ...


class _NotDispersive:
    def group(self, leg: Leg) -> Array:
        raise NotImplementedError

    def phase(self, leg: Leg) -> Array:
        """The same as for the modulation."""
        return self.group(leg)


@dataclass(frozen=True, eq=False)
class GravitationalDelay(_NotDispersive):
    """Delay by the curvature of space around massive bodies.

    ``(1 + gamma) GM/c^3 ln[(r_1 + r_2 + rho + m) / (r_1 + r_2 - rho + m)]``, ``m = (1 +
    gamma) GM / c^2``, gamma = 1 (Moyer 2000, eq. 8-55; Shapiro 1964, Phys. Rev. Lett. 13,
    789). The m is the bending of the ray, some 0.1 ns at the Sun's limb. The bodies stand where
    they are when the signal passes them: at the middle of the leg for the Sun and planets far
    from both ends, at the event for the body of that end.

    Parameters
    ----------
    ephemeris : Ephemeris
    bodies : sequence of str
        Those whose delay is taken into account.
    """

    ephemeris: Ephemeris
    bodies: Sequence[str]

    def group(self, leg: Leg) -> Array:
        first, last = leg.transmission, leg.reception
        rho = leg.distance
        flight = last.epochs.minus(first.epochs)
        total = np.zeros_like(rho)
        for body in self.bodies:
            passage = first.epochs.shift(flight / 2.0)
            mass_point = self.ephemeris.position(body, passage)
            # A body at one end moves with it: between the middle of the leg and the event it
            # goes further than it is large.
            start = first.local if self._carries(body, first) else first.position - mass_point
            stop = last.local if self._carries(body, last) else last.position - mass_point
            total += _shapiro(start, stop, rho, GM[body])
        return total

    def _carries(self, body: str, event: Event) -> bool:
        place = self.ephemeris.position(body, event.epochs[:1])
        return bool(np.linalg.norm(place - event.center[:1]) < 1.0)


def _shapiro(start: Array, stop: Array, rho: Array, gm: float) -> Array:
    """s, shape (n,); ``r_1 + r_2 - rho`` is formed without cancellation near conjunction."""
    r1, r2 = np.linalg.norm(start, axis=1), np.linalg.norm(stop, axis=1)
    dot = np.einsum("ni,ni->n", start, stop)
    cross = np.linalg.norm(np.cross(start, stop), axis=1)
    # r1 r2 + r1.r2 is a small difference when the body lies between the ends.
    aligned = np.where(dot < 0, cross**2 / np.where(dot < 0, r1 * r2 - dot, 1.0), r1 * r2 + dot)
    total = r1 + r2 + rho
    bending = 2.0 * gm / SPEED_OF_LIGHT**2
    return (
        2.0
        * gm
        / SPEED_OF_LIGHT**3
        * np.log((total + bending) / (2.0 * aligned / total + bending))
    )


@dataclass(frozen=True, eq=False)
class FixedDelay(_NotDispersive):
    """A constant of the hardware, for example of the transponder, counted on one leg."""

    seconds: float
    on_down_leg: bool

    def group(self, leg: Leg) -> Array:
        counted = leg.station_transmits != self.on_down_leg
        return np.full(len(leg.station.epochs), self.seconds if counted else 0.0)


@dataclass(frozen=True, eq=False)
class Weather:
    """Weather at the ground for each of n measurements; NaN where nothing was measured."""

    pressure_hpa: Array
    temperature_k: Array
    humidity_percent: Array

    @classmethod
    def unknown(cls, n: int) -> Weather:
        """Nothing measured."""
        return cls(*(np.full(n, np.nan) for _ in range(3)))

    def completed(self, station: Station) -> tuple[Array, Array, Array]:
        """Measured values, or those of the standard atmosphere at the station's height."""
        height = station.geodetic[2]
        assumed = (standard_pressure(height), standard_temperature(height), ASSUMED_HUMIDITY)
        measured = (self.pressure_hpa, self.temperature_k, self.humidity_percent)
        pressure, temperature, humidity = (
            np.where(np.isfinite(m), m, a) for m, a in zip(measured, assumed, strict=True)
        )
        return pressure, temperature, humidity


def apparent_direction(leg: Leg) -> Array:
    """Direction from the station in which the ray travels, seen by the moving station, (n, 3).

    Aberration tilts it by 20 arcseconds, with opposite signs on the two legs: 2 mm of
    troposphere at 20 degrees of elevation on each, next to nothing on both together.
    """
    unit = leg.to_lander / leg.distance[:, None]
    sign = -1.0 if leg.station_transmits else 1.0
    return unit + sign * leg.station.velocity / SPEED_OF_LIGHT


def elevation_at_station(end: StationEnd, leg: Leg) -> Array:
    """Elevation in vacuum of the ray over the station's horizon, rad, shape (n,)."""
    return azimuth_elevation(end.look(leg.station, apparent_direction(leg)))[1]


@dataclass(frozen=True, eq=False)
class _AtStations(_NotDispersive):
    """An effect of the air over the stations: who stands at the leg's end, in what weather."""

    transmitter: StationEnd
    receiver: StationEnd
    weather: Weather

    def _station(self, leg: Leg) -> StationEnd:
        return self.transmitter if leg.station_transmits else self.receiver


@dataclass(frozen=True, eq=False)
class RadioTroposphere(_AtStations):
    """Neutral atmosphere at radio frequencies (`wobble.earth.troposphere`)."""

    def group(self, leg: Leg) -> Array:
        end = self._station(leg)
        _, latitude, height = end.station.geodetic
        return (
            tropospheric_delay(
                elevation_at_station(end, leg),
                latitude,
                height,
                day_of_year(leg),
                *self.weather.completed(end.station),
            )
            / SPEED_OF_LIGHT
        )


@dataclass(frozen=True, eq=False)
class OpticalTroposphere(_AtStations):
    """Neutral atmosphere for laser ranging (`wobble.earth.optical_refraction`)."""

    wavelength: Array

    def group(self, leg: Leg) -> Array:
        end = self._station(leg)
        _, latitude, height = end.station.geodetic
        pressure, temperature, humidity = self.weather.completed(end.station)
        return (
            optical_delay(
                elevation_at_station(end, leg),
                latitude,
                height,
                pressure,
                temperature,
                humidity,
                self.wavelength,
            )
            / SPEED_OF_LIGHT
        )


@dataclass(frozen=True, eq=False)
class Ionosphere:
    """Thin shell of given vertical content over both stations.

    Parameters
    ----------
    transmitter, receiver : StationEnd
    content : float
        Vertical electron content, m^-2.
    up_frequency, down_frequency : ndarray, shape (n,)
        Hz.
    """

    transmitter: StationEnd
    receiver: StationEnd
    content: float
    up_frequency: Array
    down_frequency: Array

    def group(self, leg: Leg) -> Array:
        """Delay of the modulation, s: positive."""
        end = self.transmitter if leg.station_transmits else self.receiver
        frequency = self.up_frequency if leg.station_transmits else self.down_frequency
        slant = slant_factor(elevation_at_station(end, leg))
        return group_delay(self.content * slant, frequency) / SPEED_OF_LIGHT

    def phase(self, leg: Leg) -> Array:
        """Delay of the phase, s: negative, an advance."""
        return -self.group(leg)


@dataclass(frozen=True, eq=False)
class SolarCorona:
    """Electrons of the corona and the solar wind along the leg.

    Parameters
    ----------
    ephemeris : Ephemeris
    model : Corona
        Electron density.
    scale : float
        Factor on the model's density.
    up_frequency, down_frequency : ndarray, shape (n,)
        Hz.
    """

    ephemeris: Ephemeris
    model: Corona
    scale: float
    up_frequency: Array
    down_frequency: Array

    def group(self, leg: Leg) -> Array:
        """Delay of the modulation, s: positive."""
        frequency = self.up_frequency if leg.station_transmits else self.down_frequency
        flight = leg.reception.epochs.minus(leg.transmission.epochs)
        sun = self.ephemeris.position("sun", leg.transmission.epochs.shift(flight / 2.0))
        delay = coronal_delay(
            self.model, leg.transmission.position, leg.reception.position, sun, frequency
        )
        return self.scale * delay / SPEED_OF_LIGHT

    def phase(self, leg: Leg) -> Array:
        """Delay of the phase, s: negative, an advance."""
        return -self.group(leg)


def day_of_year(leg: Leg) -> Array:
    """Days since the beginning of the year, shape (n,): for the season of the air."""
    days, part = leg.station.epochs.julian_date
    year = erfa.jd2cal(days, part)[0]
    january_first = sum(erfa.cal2jd(year, 1, 1))
    return np.asarray((days - january_first) + part + 1.0, float)

