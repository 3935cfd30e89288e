"""Stations and landers joined by links, over one span of time.

In: a body, its landers, the stations, and what delays the signal. Out: computed
measurements for a table of time tags (`Network.compute`): values, partial derivatives
by parameter name, and the geometry on which their noise depends.

The tags of a table fall into groups with the same stations, lander, kind and tagged event;
each group is one vectorised computation, in blocks of at most `BLOCK` measurements.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.earth.orientation import EarthOrientation, OrientationTable
from wobble.earth.stations import Station
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError, UnknownNameError
from wobble.link.delays import (
    AxisOffset,
    Delay,
    FixedDelay,
    GravitationalDelay,
    Ionosphere,
    OpticalTroposphere,
    RadioTroposphere,
    SolarCorona,
    Weather,
    elevation_at_station,
)
from wobble.link.ends import LanderEnd, NearEarth, StationEnd
from wobble.link.lander_air import PlanetAtmosphere, zenith_delay
from wobble.link.media import Media
from wobble.link.observables import Link, OneWayLink, SignalLink
from wobble.link.parameter_values import (
    lander_with,
    media_with,
    orbit_offset_of,
    parameter_values,
    station_with,
)
from wobble.link.path import Leg, Path
from wobble.link.plasma import SPHERICAL_CORONA, sun_earth_probe_angle
from wobble.link.sight import sight_warnings
from wobble.measurements.kinds import kind_named
from wobble.measurements.tracking import Tracking
from wobble.planet.body import Body
from wobble.planet.lander import Antenna, Lander

__all__ = ["ComputedTracking", "Media", "Network"]

Array = NDArray[np.float64]

BLOCK = 20_000
# A planetary light time is at most some hours; the span is widened by this for t1, s.
LONGEST_ROUND_TRIP = 12 * 3600.0


@dataclass(frozen=True, eq=False)
class ComputedTracking:
    """Computed measurements and what their noise depends on.

    Parameters
    ----------
    value : ndarray, shape (n,)
        m or m/s, one-way.
    partials : ndarray, shape (n, p)
        With respect to the names asked for.
    elevation, transmit_elevation : ndarray, shape (n,)
        At the receiving and the transmitting station, rad.
    sun_angle : ndarray, shape (n,)
        Sun-Earth-probe angle, rad.
    round_trip : ndarray, shape (n,)
        s.
    off_boresight : ndarray, shape (n,)
        Angle of the station from the boresight of the lander's nearest antenna, rad; zero if
        it has none.
    antenna_gain_db : ndarray, shape (n,)
        Measured gain of that antenna toward the station, dB; NaN where none is measured.
    antenna : ndarray, shape (n,)
        Its place among those of the lander; zero if it has none.
    warnings : tuple of str
        Which measurements cannot have been made as they are computed, or by what the model does
        not hold.
    """

    value: Array
    partials: Array
    elevation: Array
    transmit_elevation: Array
    sun_angle: Array
    round_trip: Array
    off_boresight: Array
    antenna_gain_db: Array
    antenna: Array
    warnings: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return (
            f"<ComputedTracking: {len(self.value)} measurements, {self.partials.shape[1]} "
            "partial derivatives each>"
        )

    def kept_above(self, elevation: float) -> ComputedTracking:
        """The same, with no elevation at a station below one (rad)."""
        return replace(
            self,
            elevation=np.maximum(self.elevation, elevation),
            transmit_elevation=np.maximum(self.transmit_elevation, elevation),
        )

    @property
    def distance(self) -> Array:
        """Of the lander, m, shape (n,)."""
        return SPEED_OF_LIGHT * self.round_trip / 2.0


@dataclass(frozen=True, eq=False)
class Network:
    """Stations and landers, ready to compute links between them. Build it with `over`."""

    ephemeris: Ephemeris
    body: Body
    earth: NearEarth = field(repr=False)
    stations: Mapping[str, StationEnd]
    landers: Mapping[str, Lander]
    media: Media
    orbit_offset: tuple[float, float, float] = (0.0, 0.0, 0.0)

    @classmethod
    def over(
        cls,
        start: Time,
        stop: Time,
        *,
        ephemeris: Ephemeris,
        body: Body,
        stations: Iterable[Station],
        landers: Iterable[Lander],
        media: Media | None = None,
        orientation_table: OrientationTable | None = None,
        extend: bool = False,
    ) -> Self:
        """Prepare a network for the span from ``start`` to ``stop`` (UTC).

        Parameters
        ----------
        ephemeris, body, stations, landers, media
            Its parts.
        orientation_table : OrientationTable, optional
            Of the Earth; the packaged table if left out.
        extend : bool
            Continue the Earth-orientation table by rule where the span lies after its end:
            for plans and rehearsals, never for real data.

        Raises
        ------
        EpochRangeError
            If the span lies outside the ephemeris or the Earth-orientation table.
        InputError
            If the coordinates of a station do not hold over the span.
        """
        stations = list(stations)
        for station in stations:
            station.require_valid(start, stop)
        first = Epochs.from_time(start, "tt").shift(-LONGEST_ROUND_TRIP)
        last = Epochs.from_time(stop, "tt").shift(LONGEST_ROUND_TRIP)
        ephemeris.require_span(body.name, first, last)
        orientation = EarthOrientation.over(first, last, orientation_table, extend=extend)
        earth = NearEarth.over(ephemeris, orientation)
        return cls(
            ephemeris,
            body,
            earth,
            {s.name: StationEnd.on(s, earth) for s in stations},
            {lander.name: lander for lander in landers},
            media or Media(),
        )

    def __repr__(self) -> str:
        return (
            f"<Network: {', '.join(self.landers)} on {self.body.name}, stations "
            f"{', '.join(self.stations)}; {self.ephemeris.name}>"
        )

    @property
    def values(self) -> dict[str, float]:
        """Every parameter that a measurement depends on, with its value, SI.

        The rotation, the coordinates of landers and stations, the planet's offset from its
        ephemeris, and the media that are modelled.
        """
        stations = [end.station for end in self.stations.values()]
        return parameter_values(
            self.body, stations, self.landers.values(), self.media, self.orbit_offset
        )

    def with_values(self, values: Mapping[str, float]) -> Network:
        """The same network with other values of some parameters.

        Raises
        ------
        UnknownNameError
            If a name is not among `values`.
        """
        known = self.values
        for name in values:
            if name not in known:
                raise UnknownNameError("parameter", name, known)
        new = known | dict(values)
        return replace(
            self,
            landers={name: lander_with(end, new) for name, end in self.landers.items()},
            stations={name: station_with(end, new) for name, end in self.stations.items()},
            body=self.body.with_rotation({n: new[n] for n in self.body.orientation.values}),
            orbit_offset=orbit_offset_of(self.body, new),
            media=media_with(self.media, new),
        )

    def station(self, name: str) -> StationEnd:
        """A station by name."""
        if name not in self.stations:
            raise UnknownNameError("station", name, self.stations)
        return self.stations[name]

    def lander(self, name: str) -> LanderEnd:
        """A lander by name."""
        if name not in self.landers:
            raise UnknownNameError("lander", name, self.landers)
        return LanderEnd(self.landers[name], self.body, self.ephemeris, self.orbit_offset)

    def link(
        self,
        transmitter: str,
        lander: str,
        receiver: str,
        frequency: Array,
        weather: Weather | None = None,
    ) -> Link:
        """The link between named ends for n measurements.

        Parameters
        ----------
        transmitter, lander, receiver : str
        frequency : ndarray, shape (n,)
            Of the uplink, Hz.
        weather : Weather, optional
            At the stations, for each measurement; a standard atmosphere if left out.
        """
        ends = self.station(transmitter), self.lander(lander), self.station(receiver)
        clocks = {end.station.name: end.station.clock_offset for end in (ends[0], ends[2])}
        return Link(*ends, self._delays(*ends, frequency, weather), clocks)

    def downlink(
        self, lander: str, receiver: str, frequency: Array, weather: Weather | None = None
    ) -> OneWayLink:
        """The way down from a lander that sends with its own oscillator, for n measurements.

        Parameters
        ----------
        lander, receiver : str
        frequency : ndarray, shape (n,)
            Nominal one of the oscillator, Hz.
        weather : Weather, optional
            As for `link`.

        Raises
        ------
        InputError
            If the lander has no oscillator, or one of another frequency.
        """
        end, station = self.lander(lander), self.station(receiver)
        oscillator = end.lander.oscillator
        if oscillator is None:
            raise InputError(
                "one-way data of a lander without an oscillator",
                field=f"lander {lander}",
                expected="an oscillator with its nominal frequency",
            )
        other = frequency != oscillator.frequency
        if other.any():
            raise InputError(
                "one-way data against another nominal frequency than the oscillator's",
                field=f"lander {lander}",
                found=float(frequency[other][0]),
                expected=f"{oscillator.frequency!r} Hz",
            )
        delays = self._delays(station, end, station, frequency / self.media.turnaround, weather)
        return OneWayLink(end, station, oscillator, delays)

    def _delays(
        self,
        transmitter: StationEnd,
        lander: LanderEnd,
        receiver: StationEnd,
        frequency: Array,
        weather: Weather | None,
    ) -> list[Delay]:
        media, stations = self.media, (transmitter.station, receiver.station)
        weather = weather or Weather.unknown(len(frequency))
        up, down = frequency, frequency * media.turnaround
        delays: list[Delay] = [GravitationalDelay(self.ephemeris, media.gravity)]
        if media.troposphere == "radio":
            wet = {station.name: station.zenith_wet_delay for station in stations}
            delays.append(
                RadioTroposphere(transmitter, receiver, weather, wet, media.weather, media.measured)
            )
            if self.body.surface_pressure:
                delays.append(PlanetAtmosphere(lander, zenith_delay(lander.lander, self.body)))
        elif media.troposphere == "optical":
            wavelength = SPEED_OF_LIGHT / frequency
            delays.append(
                OpticalTroposphere(transmitter, receiver, weather, wavelength, media.weather)
            )
        if media.has_ionosphere:
            delays.append(
                Ionosphere(
                    transmitter, receiver, media.ionosphere_content, up, down, media.measured
                )
            )
        if media.corona_scale:
            delays.append(
                SolarCorona(self.ephemeris, SPHERICAL_CORONA, media.corona_scale, up, down)
            )
        offsets = {station.name: station.axis_offset for station in stations}
        if any(offsets.values()):
            delays.append(AxisOffset(transmitter, receiver, offsets))
        return delays + _hardware(transmitter.station, lander.lander, receiver.station)

    # ----------------------------------------------------------------- computing

    def compute(self, tracking: Tracking, names: Iterable[str] = ()) -> ComputedTracking:
        """Computed values, partial derivatives and geometry of a table of measurements.

        Parameters
        ----------
        tracking : Tracking
            Its values are not looked at.
        names : iterable of str
            Parameters for the columns of the partial derivatives.
        """
        wanted = list(names)
        n = len(tracking)
        columns = {f: np.full(n, np.nan) for f in _GEOMETRY}
        partials = np.zeros((n, len(wanted)))
        warnings = list(self.media.warnings)
        for index in _groups(tracking):
            part = tracking[index]
            value, derivatives, geometry, texts = self._compute_group(part, wanted)
            warnings += [f"{_name_of(part)}: {text}" for text in texts]
            columns["value"][index] = value
            for name, derivative in derivatives.items():
                partials[index, wanted.index(name)] = derivative
            for name, column in geometry.items():
                columns[name][index] = column
        return ComputedTracking(partials=partials, warnings=tuple(warnings), **columns)

    def _compute_group(
        self, part: Tracking, names: list[str]
    ) -> tuple[Array, dict[str, Array], dict[str, Array], tuple[str, ...]]:
        """Values, derivatives, geometry and warnings of one kind between the same ends."""
        weather = Weather(part.pressure_hpa, part.temperature_k, part.humidity_percent)
        transmitter, receiver = str(part.transmitter[0]), str(part.receiver[0])
        lander = str(part.lander[0])
        kind = kind_named(str(part.kind[0]))
        if kind.ways == 1:
            link: SignalLink = self.downlink(lander, receiver, part.frequency, weather)
        else:
            link = two_way = self.link(transmitter, lander, receiver, part.frequency, weather)
        if kind.counted:
            rate = link.range_rate(part.epoch, part.count_time)
            return (rate.value, rate.partials(names), *self._seen(link, rate.begin))
        computed = two_way.range(part.epoch, at_reception=part.tag[0] == "receive")
        derivatives = computed.partials(names)
        bias = f"station.{receiver}.range_bias"
        if bias in names:
            derivatives[bias] = np.ones(len(part))
        value = computed.value + self.stations[receiver].station.range_bias
        return (value, derivatives, *self._seen(link, computed.trip))

    def _seen(self, link: SignalLink, path: Path) -> tuple[dict[str, Array], tuple[str, ...]]:
        """Geometry of a path, and where its ends do not see each other."""
        elevation = elevation_at_station(link.receiver, path.down)
        sender = link.ends[0]
        geometry = self._geometry(link.lander, path.down) | {
            "elevation": elevation,
            "transmit_elevation": elevation_at_station(sender, path.up)
            if isinstance(sender, StationEnd)
            else elevation,
            "round_trip": 2.0 / link.legs * path.light_time,
        }
        return geometry, sight_warnings(link.ends, path, link.delays)

    def _geometry(self, lander: LanderEnd, down: Leg) -> dict[str, Array]:
        """What a down leg says of the Sun and of the lander's antennas."""
        received = down.reception
        sun = self.ephemeris.position("sun", received.epochs)
        toward = lander.look(down.transmission, down.vector)
        off, gain, antenna = _nearest_antenna(lander.lander.antennas, toward)
        return {
            "sun_angle": sun_earth_probe_angle(received.center, down.transmission.center, sun),
            "off_boresight": off,
            "antenna_gain_db": gain,
            "antenna": antenna,
        }


def _nearest_antenna(antennas: tuple[Antenna, ...], toward: Array) -> tuple[Array, Array, Array]:
    """Angle from the boresight of the nearest antenna, its measured gain (NaN if none), place."""
    if not antennas:
        nothing = np.zeros(len(toward))
        return nothing, np.full(len(toward), np.nan), nothing
    off = np.array([antenna.off_boresight(toward) for antenna in antennas])
    gain = np.array(
        [
            np.full(len(toward), np.nan) if antenna.pattern is None else antenna.pattern.at(angle)
            for antenna, angle in zip(antennas, off, strict=True)
        ]
    )
    nearest, every = np.argmin(off, axis=0), np.arange(len(toward))
    return off[nearest, every], gain[nearest, every], nearest.astype(float)


def _hardware(transmitter: Station, lander: Lander, receiver: Station) -> list[Delay]:
    """Delays of the electronics; half of a station's on its way out, half on its way in."""
    return [
        FixedDelay(lander.transponder_delay, True, f"lander.{lander.name}.transponder_delay"),
        *(
            FixedDelay(station.delay, down, f"station.{station.name}.delay", share=0.5)
            for station, down in ((transmitter, False), (receiver, True))
        ),
    ]


def _name_of(part: Tracking) -> str:
    """What is measured between whom, for messages."""
    stations = dict.fromkeys([str(part.transmitter[0]), str(part.receiver[0])])
    return f"{part.kind[0]} of {part.lander[0]} from {' to '.join(stations)}"


_GEOMETRY = (
    "value",
    "elevation",
    "transmit_elevation",
    "sun_angle",
    "round_trip",
    "off_boresight",
    "antenna_gain_db",
    "antenna",
)


def _groups(tracking: Tracking) -> Iterator[NDArray[np.intp]]:
    """Indices of measurements that can be computed together, at most `BLOCK` at a time."""
    keys = (tracking.transmitter, tracking.receiver, tracking.lander, tracking.kind, tracking.tag)
    label = np.zeros(len(tracking), int)
    for column in keys:
        _, code = np.unique(column, return_inverse=True)
        label = label * (code.max(initial=0) + 1) + code
    for group in np.unique(label):
        index = np.flatnonzero(label == group)
        for start in range(0, len(index), BLOCK):
            yield index[start : start + BLOCK]
