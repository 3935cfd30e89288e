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
* `wobble.link.lander_air.PlanetAtmosphere`: 4 cm at the zenith of Mars, 0.01 mm/s at 30
  degrees of elevation;
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
from typing import Any, ClassVar, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from wobble.constants import DAY, GM, SPEED_OF_LIGHT
from wobble.earth.ionosphere import group_delay, slant_factor
from wobble.earth.optical_refraction import optical_delay
from wobble.earth.series import MediaSeries, WeatherSeries
from wobble.earth.troposphere import (
    MINIMUM_ELEVATION,
    hydrostatic_mapping,
    wet_mapping,
    zenith_hydrostatic_delay,
    zenith_wet_delay,
)
from wobble.earth.weather import water_vapour_pressure
from wobble.ephemeris import Ephemeris
from wobble.link.blocks import Rows, rows
from wobble.link.ends import StationEnd
from wobble.link.path import Leg
from wobble.link.plasma import Corona, coronal_delay
from wobble.link.surface_weather import Weather, or_else
from wobble.rotations import cross, of_components

__all__ = [
    "AxisOffset",
    "Delay",
    "Effect",
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

PLACE_STEP = 50.0
"""By how much a station is displaced to see how the air over it changes, m."""


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

    def by_place(self, leg: Leg) -> Array:
        """Derivatives of the group delay by the station's coordinates, s/m, (n, 3) or (3,)."""
        ...

    def by_lander(self, leg: Leg) -> Array:
        """Derivatives of the group delay by the lander's place, ICRF, s/m, (n, 3) or (3,)."""
        ...

    def rows(self, index: Rows) -> Delay:
        """The same effect for some of the measurements."""
        ...

    def changes(self) -> NDArray[np.bool_]:
        """Whether its conditions change from one measurement to the next, (n - 1,) or (1,)."""
        ...


class Effect(ABC):
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

    def by_place(self, leg: Leg) -> Array:
        """Derivatives of the group delay by the station's coordinates, s/m: none."""
        return np.zeros(3)

    def by_lander(self, leg: Leg) -> Array:
        """Derivatives of the group delay by the lander's place, s/m: none."""
        return np.zeros(3)

    def rows(self, index: Rows) -> Self:
        """The same effect for some of the measurements: arrays have one row for each."""
        arrays = {name: rows(array, index) for name, array in self._by_row().items()}
        return replace(self, **arrays) if arrays else self  # type: ignore[type-var]

    def changes(self) -> NDArray[np.bool_]:
        """Whether its conditions change from one measurement to the next, (n - 1,) or (1,)."""
        columns: list[Array] = []
        for record in self._by_row().values():
            columns += [record] if isinstance(record, np.ndarray) else vars(record).values()
        steps = [(c[1:] != c[:-1]) & ~(np.isnan(c[1:]) & np.isnan(c[:-1])) for c in columns]
        return np.any(steps, axis=0) if steps else np.zeros(1, bool)

    def _by_row(self) -> dict[str, Any]:
        values = {f.name: getattr(self, f.name) for f in fields(self)}  # type: ignore[arg-type]
        return {n: v for n, v in values.items() if isinstance(v, np.ndarray | Weather)}


@dataclass(frozen=True, eq=False)
class GravitationalDelay(Effect):
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
    across = np.linalg.norm(cross(start, stop), axis=1)
    # r1 r2 + r1.r2 is a small difference when the body lies between the ends.
    aligned = np.where(dot < 0, across**2 / np.where(dot < 0, r1 * r2 - dot, 1.0), r1 * r2 + dot)
    total = r1 + r2 + rho
    bending = 2.0 * gm / SPEED_OF_LIGHT**2
    return (
        2.0 * gm / SPEED_OF_LIGHT**3 * np.log((total + bending) / (2.0 * aligned / total + bending))
    )


@dataclass(frozen=True, eq=False)
class FixedDelay(Effect):
    """A constant of the hardware, for example of the transponder, counted on one leg.

    Parameters
    ----------
    seconds : float
    on_down_leg : bool
    parameter : str
        Name under which it can be estimated.
    share : float
        Which part of the constant counts on this leg.
    """

    seconds: float
    on_down_leg: bool
    parameter: str = ""
    share: float = 1.0

    def _counted(self, leg: Leg) -> Array:
        on_this = leg.station_transmits != self.on_down_leg
        return np.full(len(leg.station.epochs), self.share if on_this else 0.0)

    def group(self, leg: Leg) -> Array:
        return self.seconds * self._counted(leg)

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """With respect to the constant, under its own name."""
        return {self.parameter: self._counted(leg)} if self.parameter in names else {}


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


def elevation_for_air(end: StationEnd, leg: Leg, least: float = MINIMUM_ELEVATION) -> Array:
    """Elevation at which the air is taken, rad, shape (n,): never below what it is modelled for.

    Lower down nothing is worth measuring; the network names such samples (`wobble.link.sight`).
    """
    return np.maximum(elevation_at_station(end, leg), least)


@dataclass(frozen=True, eq=False)
class _AtStations(Effect):
    """An effect of the air over the stations: who stands at the leg's end."""

    transmitter: StationEnd
    receiver: StationEnd

    def _station(self, leg: Leg) -> StationEnd:
        return self.transmitter if leg.station_transmits else self.receiver

    def by_place(self, leg: Leg) -> Array:
        """Derivatives of the group delay by the station's coordinates, s/m, shape (n, 3).

        Higher up there is less air (3e-4 of what lies above per metre, where the pressure is the
        standard atmosphere's), and the zenith tilts. A term of 1e-3 of the range's derivative:
        differences over 100 m give it to 1e-5.
        """
        end = self._station(leg)

        def at(step: Array) -> Array:
            moved = end.changed(position=end.station.position + step)
            return replace(self, transmitter=moved, receiver=moved).group(leg)

        steps = PLACE_STEP * np.eye(3)
        return of_components(*((at(s) - at(-s)) / (2.0 * PLACE_STEP) for s in steps))


@dataclass(frozen=True, eq=False)
class _InAir(_AtStations):
    """An effect of the neutral air.

    The weather is, in this order: what was measured with the sample, which is that of the
    receiving station; the station's series at the instant when the signal passes; the
    standard atmosphere.
    """

    weather: Weather

    def _surface(self, leg: Leg, series: WeatherSeries | None = None) -> tuple[Array, Array, Array]:
        """Pressure, temperature and humidity at the leg's station."""
        station = self._station(leg).station
        here = station.name == self.receiver.station.name
        given = self.weather if here else Weather.unknown(len(leg.station.epochs))
        return given.filled(series, station.name, leg.station.epochs).completed(station)


@dataclass(frozen=True, eq=False)
class RadioTroposphere(_InAir):
    """Neutral atmosphere at radio frequencies (`wobble.earth.troposphere`).

    Parameters
    ----------
    transmitter, receiver : StationEnd
    weather : Weather
        Measured with the samples at the receiving station.
    zenith_wet : mapping of str to float
        What is to be added to the zenith wet delay over a station, by its name, m.
    series : WeatherSeries, optional
        Of the stations.
    measured : MediaSeries, optional
        Delays at the zenith, which go before those that the weather gives.
    """

    zenith_wet: Mapping[str, float] = field(default_factory=dict)
    series: WeatherSeries | None = None
    measured: MediaSeries | None = None

    def group(self, leg: Leg) -> Array:
        end = self._station(leg)
        _, latitude, height = end.station.geodetic
        elevation = elevation_for_air(end, leg)
        pressure, temperature, humidity = self._surface(leg, self.series)
        vapour = water_vapour_pressure(humidity, temperature, pressure)
        dry = zenith_hydrostatic_delay(pressure, latitude, height)
        wet = zenith_wet_delay(temperature, vapour)
        if self.measured is not None:
            name, epochs = end.station.name, leg.station.epochs
            dry = or_else(self.measured.at(name, "zenith_dry_m", epochs), dry)
            wet = or_else(self.measured.at(name, "zenith_wet_m", epochs), wet)
        wet = wet + self.zenith_wet.get(end.station.name, 0.0)
        delay = dry * hydrostatic_mapping(elevation, latitude, height, day_of_year(leg))
        return (delay + wet * wet_mapping(elevation, latitude)) / SPEED_OF_LIGHT

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """With respect to ``station.NAME.zenith_wet_delay``, s/m."""
        end = self._station(leg)
        name = f"station.{end.station.name}.zenith_wet_delay"
        if name not in names:
            return {}
        mapping = wet_mapping(elevation_for_air(end, leg), end.station.geodetic[1])
        return {name: mapping / SPEED_OF_LIGHT}


@dataclass(frozen=True, eq=False)
class OpticalTroposphere(_InAir):
    """Neutral atmosphere for laser ranging (`wobble.earth.optical_refraction`).

    Parameters
    ----------
    transmitter, receiver, weather, series
        As of `RadioTroposphere`.
    wavelength : ndarray, shape (n,)
        m.
    """

    wavelength: Array
    series: WeatherSeries | None = None

    def group(self, leg: Leg) -> Array:
        end = self._station(leg)
        _, latitude, height = end.station.geodetic
        elevation = elevation_for_air(end, leg)
        weather = self._surface(leg, self.series)
        delay = optical_delay(elevation, latitude, height, *weather, self.wavelength)
        return delay / SPEED_OF_LIGHT


@dataclass(frozen=True, eq=False)
class AxisOffset(_AtStations):
    """Axes of a mount that do not meet.

    The station's place is the point of the fixed axis that is nearest to the moving one; the
    antenna stands ``offset`` nearer to the source: ``-offset sqrt(1 - (s.k)^2)``, with s the
    direction of the source and k the fixed axis; for a vertical one ``-offset
    cos(elevation)`` (Moyer 2000, section 10.5; Sovers, Fanselow & Jacobs 1998, Rev. Mod. Phys.
    70, 1393).

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
        direction = apparent_direction(leg)
        axis = end.earth.orientation.gcrs(end.station.fixed_axis, end.earth.tt(leg.station.epochs))
        across = np.linalg.norm(np.cross(axis, direction), axis=1)
        return -offset * across / np.linalg.norm(direction, axis=1) / SPEED_OF_LIGHT


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
    measured : MediaSeries, optional
        Contents that go before this one: along the line of sight, or vertical.
    """

    content: float
    up_frequency: Array
    down_frequency: Array
    measured: MediaSeries | None = None

    dispersive: ClassVar[bool] = True

    def _slant(self, leg: Leg) -> Array:
        return slant_factor(elevation_for_air(self._station(leg), leg, 0.0))

    def _delay(self, leg: Leg, electrons: Array) -> Array:
        frequency = self.up_frequency if leg.station_transmits else self.down_frequency
        return group_delay(electrons, frequency) / SPEED_OF_LIGHT

    def _known(self, leg: Leg, quantity: str) -> Array:
        epochs = leg.station.epochs
        if self.measured is None:
            return np.full(len(epochs), np.nan)
        return self.measured.at(self._station(leg).station.name, quantity, epochs)

    def group(self, leg: Leg) -> Array:
        vertical = or_else(self._known(leg, "vertical_content"), self.content)
        along = or_else(self._known(leg, "slant_content"), vertical * self._slant(leg))
        return self._delay(leg, along)

    def partials(self, leg: Leg, names: Collection[str]) -> dict[str, Array]:
        """With respect to ``ionosphere.content``, s m^2; none where the content is measured."""
        name = "ionosphere.content"
        if name not in names:
            return {}
        known = self._known(leg, "vertical_content"), self._known(leg, "slant_content")
        unknown = np.isnan(known[0]) & np.isnan(known[1])
        return {name: np.where(unknown, self._delay(leg, self._slant(leg)), 0.0)}


@dataclass(frozen=True, eq=False)
class SolarCorona(Effect):
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
