"""What delays the signal on a leg beyond its geometric light time.

In: a `Leg`. Out: seconds, shape (n,), once for the modulation (range) and once for the phase
of the carrier (Doppler): the two differ in sign where the medium is dispersive.

One class, one effect; a new effect is a new class with `group` and `phase`. Sizes, one way:

* `GravitationalDelay`: the Sun 3 to 125 microseconds (37 km) between opposition and the
  limb, 0.4 mm/s and near the limb 20 mm/s; Jupiter 0.8 to 5 ns (1.4 m), Saturn 0.7, the
  Earth 0.4, Mars 0.06 and Venus 0.3 ns; as range rate the Earth 0.0003 mm/s above 10
  degrees of elevation, Venus and Jupiter 0.0001, Mars 0.00005;
* `RadioTroposphere`: 2.3 m at the zenith, 13 m at 10 degrees;
* `OpticalTroposphere`: 2.4 m at the zenith;
* `PlanetAtmosphere`: 4 cm at the zenith of Mars, 0.01 mm/s at 30 degrees of elevation;
* `AxisOffset`: as large as the distance of the antenna's axes, up to some metres; for 2 m
  0.1 mm/s, steady over a pass and the same every day;
* `Ionosphere`: 6 mm for 1e16 electrons/m^2 at 8.4 GHz, times 5 to 100 by day;
* `SolarCorona`: decimetres at opposition, tens of metres near conjunction at X band;
* `FixedDelay`: transponder and station electronics.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import ClassVar, Protocol, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import DAY, GM, SPEED_OF_LIGHT
from wobble.earth.ionosphere import group_delay, slant_factor
from wobble.earth.optical_refraction import optical_delay
from wobble.earth.stations import Station
from wobble.earth.troposphere import tropospheric_delay, wet_mapping
from wobble.earth.weather import standard_pressure, standard_temperature
from wobble.ephemeris import Ephemeris
from wobble.link.blocks import rows
from wobble.link.ends import LanderEnd, StationEnd
from wobble.link.light_time import Leg
from wobble.link.plasma import Corona, coronal_delay

__all__ = [
    "AxisOffset",
    "Delay",
    "FixedDelay",
    "GravitationalDelay",
    "Ionosphere",
    "OpticalTroposphere",
    "PlanetAtmosphere",
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

    @property
    def dispersive(self) -> bool:
        """Whether the phase is advanced by as much as the modulation is delayed."""
        ...

    def group(self, leg: Leg) -> Array:
        """Delay of the modulation, s, shape (n,)."""
        ...

    def phase(self, leg: Leg) -> Array:
        """Delay of the carrier's phase, s, shape (n,)."""
        ...

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """Derivatives of the group delay with respect to own parameters, s per SI unit."""
        ...

    def rows(self, index: slice) -> Delay:
        """The same effect for some of the measurements."""
        ...


class _Effect(ABC):
    """What most effects have in common."""

    dispersive: ClassVar[bool] = False

    @abstractmethod
    def group(self, leg: Leg) -> Array:
        """Delay of the modulation, s, shape (n,)."""

    def phase(self, leg: Leg) -> Array:
        """The group delay, or its negative where the medium is dispersive: an advance."""
        return -self.group(leg) if self.dispersive else self.group(leg)

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """No parameter of its own."""
        return {}

    def rows(self, index: slice) -> Self:
        """The same effect for some of the measurements: arrays have one row for each."""
        arrays = {
            f.name: rows(getattr(self, f.name), index)
            for f in fields(self)  # type: ignore[arg-type]  # every effect is a dataclass
            if isinstance(getattr(self, f.name), np.ndarray | Weather)
        }
        return replace(self, **arrays) if arrays else self  # type: ignore[type-var]


@dataclass(frozen=True, eq=False)
class GravitationalDelay(_Effect):
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
        middle = first.epochs.shift(last.epochs.minus(first.epochs) / 2.0)
        total = np.zeros_like(leg.distance)
        for body in self.bodies:
            # A body at one end moves with it: between the middle of the leg and the event it
            # goes further than it is large.
            carrier = next((event for event in (first, last) if event.body == body), None)
            place = self.ephemeris.position(body, middle) if carrier is None else carrier.center
            start, stop = (
                event.local if event is carrier else event.position - place
                for event in (first, last)
            )
            total += _shapiro(start, stop, leg.distance, GM[body])
        return total


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
        2.0 * gm / SPEED_OF_LIGHT**3 * np.log((total + bending) / (2.0 * aligned / total + bending))
    )


@dataclass(frozen=True, eq=False)
class FixedDelay(_Effect):
    """A constant of the hardware, for example of the transponder, counted on one leg.

    Parameters
    ----------
    seconds : float
    on_down_leg : bool
    parameter : str
        Name under which it can be estimated.
    """

    seconds: float
    on_down_leg: bool
    parameter: str = ""

    def _counted(self, leg: Leg) -> Array:
        on_this = leg.station_transmits != self.on_down_leg
        return np.full(len(leg.station.epochs), 1.0 if on_this else 0.0)

    def group(self, leg: Leg) -> Array:
        return self.seconds * self._counted(leg)

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """With respect to the constant, under its own name."""
        return {self.parameter: self._counted(leg)} if self.parameter in names else {}


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

        def or_else(measured: Array, assumed: ArrayLike) -> Array:
            return np.where(np.isfinite(measured), measured, np.asarray(assumed, float))

        return (
            or_else(self.pressure_hpa, standard_pressure(height)),
            or_else(self.temperature_k, standard_temperature(height)),
            or_else(self.humidity_percent, ASSUMED_HUMIDITY),
        )


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
    direction = apparent_direction(leg)
    along = np.einsum("ni,ni->n", end.zenith(leg.station), direction)
    return np.arcsin(np.clip(along / np.linalg.norm(direction, axis=1), -1.0, 1.0))


@dataclass(frozen=True, eq=False)
class _AtStations(_Effect):
    """An effect of the air over the stations: who stands at the leg's end."""

    transmitter: StationEnd
    receiver: StationEnd

    def _station(self, leg: Leg) -> StationEnd:
        return self.transmitter if leg.station_transmits else self.receiver


@dataclass(frozen=True, eq=False)
class RadioTroposphere(_AtStations):
    """Neutral atmosphere at radio frequencies (`wobble.earth.troposphere`).

    Parameters
    ----------
    transmitter, receiver : StationEnd
    weather : Weather
    zenith_wet : mapping of str to float
        What is to be added to the zenith wet delay over a station, by its name, m.
    """

    weather: Weather
    zenith_wet: Mapping[str, float] = field(default_factory=dict)

    def group(self, leg: Leg) -> Array:
        end = self._station(leg)
        _, latitude, height = end.station.geodetic
        elevation = elevation_at_station(end, leg)
        delay = tropospheric_delay(
            elevation,
            latitude,
            height,
            day_of_year(leg),
            *self.weather.completed(end.station),
        )
        more = self.zenith_wet.get(end.station.name, 0.0)
        if more:
            delay = delay + more * wet_mapping(elevation, latitude)
        return delay / SPEED_OF_LIGHT

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """With respect to ``station.NAME.zenith_wet``, s/m."""
        end = self._station(leg)
        name = f"station.{end.station.name}.zenith_wet"
        if name not in names:
            return {}
        mapping = wet_mapping(elevation_at_station(end, leg), end.station.geodetic[1])
        return {name: mapping / SPEED_OF_LIGHT}


@dataclass(frozen=True, eq=False)
class OpticalTroposphere(_AtStations):
    """Neutral atmosphere for laser ranging (`wobble.earth.optical_refraction`)."""

    weather: Weather
    wavelength: Array

    def group(self, leg: Leg) -> Array:
        end = self._station(leg)
        _, latitude, height = end.station.geodetic
        elevation = elevation_at_station(end, leg)
        weather = self.weather.completed(end.station)
        delay = optical_delay(elevation, latitude, height, *weather, self.wavelength)
        return delay / SPEED_OF_LIGHT


@dataclass(frozen=True, eq=False)
class AxisOffset(_AtStations):
    """Axes of an azimuth-elevation mount that do not meet.

    The station's place is where the elevation axis would meet the azimuth axis; the antenna
    stands ``offset`` nearer to the source: ``-offset cos(elevation)`` (Moyer 2000, section
    10.5).

    Parameters
    ----------
    transmitter, receiver : StationEnd
    offsets : mapping of str to float
        Distance between the axes by the station's name, m; none if a name is absent.
    """

    offsets: Mapping[str, float]

    def group(self, leg: Leg) -> Array:
        end = self._station(leg)
        offset = self.offsets.get(end.station.name, 0.0)
        return -offset * np.cos(elevation_at_station(end, leg)) / SPEED_OF_LIGHT


@dataclass(frozen=True, eq=False)
class PlanetAtmosphere(_Effect):
    """Neutral atmosphere over the lander, a thin shell at its scale height.

    Parameters
    ----------
    lander : LanderEnd
    zenith : float
        Delay at the zenith, m (`wobble.earth.troposphere.zenith_delay_carbon_dioxide`).
    scale_height : float
        m; that of Mars if left out (from memory).
    """

    lander: LanderEnd
    zenith: float
    scale_height: float = 10.8e3

    def _per_zenith(self, leg: Leg) -> Array:
        """s/m."""
        body, lander = self.lander.body, self.lander.lander
        up = body.orientation.inertial(lander.horizon(body)[2], leg.lander.epochs)
        sine = -np.einsum("ni,ni->n", up, leg.to_lander) / leg.distance
        ratio = 1.0 + self.scale_height / body.equatorial_radius
        return 1.0 / np.sqrt(1.0 - (1.0 - sine**2) / ratio**2) / SPEED_OF_LIGHT

    def group(self, leg: Leg) -> Array:
        return self.zenith * self._per_zenith(leg)

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """With respect to ``lander.NAME.zenith_delay``, s/m."""
        name = f"lander.{self.lander.lander.name}.zenith_delay"
        return {name: self._per_zenith(leg)} if name in names else {}


@dataclass(frozen=True, eq=False)
class Ionosphere(_AtStations):
    """Thin shell of given vertical content over both stations.

    Parameters
    ----------
    transmitter, receiver : StationEnd
    content : float
        Vertical electron content, m^-2.
    up_frequency, down_frequency : ndarray, shape (n,)
        Hz.
    """

    content: float
    up_frequency: Array
    down_frequency: Array

    dispersive: ClassVar[bool] = True

    def _per_content(self, leg: Leg) -> Array:
        frequency = self.up_frequency if leg.station_transmits else self.down_frequency
        slant = slant_factor(elevation_at_station(self._station(leg), leg))
        return group_delay(slant, frequency) / SPEED_OF_LIGHT

    def group(self, leg: Leg) -> Array:
        return self.content * self._per_content(leg)

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """With respect to ``ionosphere.content``, s m^2."""
        name = "ionosphere.content"
        return {name: self._per_content(leg)} if name in names else {}


@dataclass(frozen=True, eq=False)
class SolarCorona(_Effect):
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

    dispersive: ClassVar[bool] = True

    def _unscaled(self, leg: Leg) -> Array:
        frequency = self.up_frequency if leg.station_transmits else self.down_frequency
        flight = leg.reception.epochs.minus(leg.transmission.epochs)
        sun = self.ephemeris.position("sun", leg.transmission.epochs.shift(flight / 2.0))
        ends = leg.transmission.position, leg.reception.position
        return coronal_delay(self.model, *ends, sun, frequency) / SPEED_OF_LIGHT

    def group(self, leg: Leg) -> Array:
        return self.scale * self._unscaled(leg)

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """With respect to ``corona.scale``, s."""
        return {"corona.scale": self._unscaled(leg)} if "corona.scale" in names else {}


def day_of_year(leg: Leg) -> Array:
    """Days since the beginning of the year 2000, shape (n,): for the season of the air.

    The seasonal terms have the period 365.25 days: counted on without a break, no range rate
    has a step in it at New Year, and the season is at most 0.75 day off.
    """
    epochs = leg.station.epochs
    return (epochs.seconds / DAY + 1.5) + epochs.fraction / DAY
