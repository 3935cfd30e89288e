"""What must hold that a station can track a lander, each condition with its margin.

In: the two ends of a link, the limits of a plan, instants of reception. Out: `Sight.margins`:
for each instant and condition a number that must not be negative, and `Sight.names`: whose
limit it is, in words.

The conditions, at the light times of the link (t1 transmission, t2 lander, t3 reception):

* radiation-safety limit: elevation at t1 above the transmitting site's own limit;
* transmit horizon, receive horizon: elevation at t1 and at t3 above the stations' masks;
* lander horizon: both directions at t2 above the lander's mask and least elevation;
* antenna beam: both directions at t2 within the beam, or where its gain suffices;
* Sun-Earth-probe and Sun-probe-Earth limits: angles above them;
* Sun's disc, Moon's disc: neither leg passes behind them;
* local time: true solar time at t2 within the lander's hours;
* transmitter's and receiver's calendar: the stations are to be had at t1 and t3.

Margins are in rad, of a beam with a gain table in dB, of hours in the angle by which the sky
turns in that time. Only signs and zeros matter.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.campaign.link_geometry import Geometry
from wobble.constants import EARTH_ROTATION_RATE
from wobble.earth.station_calendar import margin
from wobble.earth.stations import HorizonMask
from wobble.epochs import Epochs
from wobble.link.ends import LanderEnd, StationEnd
from wobble.link.network import Network
from wobble.planet.lander import Antenna

__all__ = ["CONDITIONS", "Clock", "Sight", "ViewLimits", "sight_between", "sights_of"]

Array = NDArray[np.float64]

CONDITIONS = (
    "radiation-safety limit",
    "transmit horizon",
    "receive horizon",
    "lander horizon",
    "antenna beam",
    "Sun-Earth-probe limit",
    "Sun-probe-Earth limit",
    "Sun's disc",
    "Moon's disc",
    "local time",
    "transmitter's calendar",
    "receiver's calendar",
)
HOUR_ANGLE = np.pi / 12.0
"""By which the sky turns in an hour, rad."""


@dataclass(frozen=True)
class ViewLimits:
    """Limits of a plan that belong to no single end.

    Parameters
    ----------
    sun_earth_probe, sun_probe_earth : float
        Least angles at the Earth and at the planet, rad.
    three_way : tuple of (str, str)
        Pairs of a transmitting and another, receiving station, beside each station alone.
    """

    sun_earth_probe: float = 0.0
    sun_probe_earth: float = 0.0
    three_way: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, eq=False)
class Clock:
    """Seconds from the begin of a plan, and the epochs that they are.

    Parameters
    ----------
    start : Time
        Second 0, UTC at the receiving station.
    origin : Epochs
        The same in TDB. A second of TDB stands for one of UTC: 2 ms in a year.
    span : float
        Length of the plan, s.
    """

    start: Time
    origin: Epochs
    span: float

    @classmethod
    def of(cls, station: StationEnd, start: Time, span: float) -> Clock:
        """The clock of a receiving station."""
        return cls(start, station.tdb(Epochs.from_time(start, "tt")), span)

    def epochs(self, seconds: Array) -> Epochs:
        """TDB epochs."""
        whole = np.round(seconds)
        return Epochs.of(
            self.origin.seconds[0] + whole, self.origin.fraction[0] + (seconds - whole), "tdb"
        )


@dataclass(frozen=True, eq=False)
class Sight:
    """One combination of stations, lander and antenna that may see each other.

    Parameters
    ----------
    transmitter, receiver : StationEnd
    lander : LanderEnd
    antenna : Antenna or None
    limits : ViewLimits
    clock : Clock
        Of the receiver.
    """

    transmitter: StationEnd
    receiver: StationEnd
    lander: LanderEnd
    antenna: Antenna | None
    limits: ViewLimits
    clock: Clock = field(repr=False)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Whose limits the conditions are, in the order of `CONDITIONS`."""
        sender, receiver = self.transmitter.station.name, self.receiver.station.name
        lander = self.lander.lander.name
        return (
            f"radiation-safety limit of {sender}",
            f"horizon of {sender}, transmitting",
            f"horizon of {receiver}, receiving",
            f"horizon of {lander}",
            f"beam of {self.antenna.name}" if self.antenna else "antenna beam",
            "Sun-Earth-probe limit",
            "Sun-probe-Earth limit",
            "Sun's disc",
            "Moon's disc",
            f"local time of {lander}",
            f"calendar of {sender}, transmitting",
            f"calendar of {receiver}, receiving",
        )

    @cached_property
    def _calendars(self) -> tuple[Array, Array]:
        sender, receiver = (
            end.station.calendar.open_intervals(self.clock.start, self.clock.span)
            for end in (self.transmitter, self.receiver)
        )
        return sender, receiver

    def geometry(self, seconds: Array) -> Geometry:
        """Geometry at instants of reception, s on the clock."""
        return Geometry.of(self.receiver, self.lander, self.clock.epochs(seconds), self.transmitter)

    def margins(self, seconds: Array, at: Geometry) -> Array:
        """Margins of the conditions at instants and their geometry, shape (n, conditions)."""
        sender, receiver = self.transmitter.station, self.receiver.station
        lander = self.lander.lander
        looks = (at.lander_local, at.reply_local)
        sending, receiving = self._calendars
        return np.column_stack(
            [
                at.transmit_elevation - sender.transmit_elevation,
                at.transmit_elevation - sender.mask.at(at.transmit_azimuth),
                at.receive_elevation - receiver.mask.at(at.receive_azimuth),
                np.min([lander.height_over_horizon(look) for look in looks], axis=0),
                np.full(len(seconds), np.pi)
                if self.antenna is None
                else np.min([self.antenna.margin(look) for look in looks], axis=0),
                at.sun_angle - self.limits.sun_earth_probe,
                at.sun_probe_angle - self.limits.sun_probe_earth,
                at.sun_clearance,
                at.moon_clearance,
                HOUR_ANGLE * lander.limits.local_time_margin(at.local_time),
                EARTH_ROTATION_RATE * margin(sending, seconds - at.round_trip),
                EARTH_ROTATION_RATE * margin(receiving, seconds),
            ]
        )

    def kinks(self, seconds: Array, at: Geometry) -> Array:
        """Instants between samples at which margins have kinks, s, shape (any,).

        Where an azimuth passes an entry of a mask, and where a calendar opens or closes: no
        notch of a mask and no free quarter of an hour lies unseen between two samples.
        """
        sending, receiving = (part[np.isfinite(part)] for part in self._calendars)
        back = np.interp(sending, seconds - at.round_trip, at.round_trip)
        instants = [sending + back, receiving]
        for mask, azimuth, elevation in (
            (self.transmitter.station.mask, at.transmit_azimuth, at.transmit_elevation),
            (self.receiver.station.mask, at.receive_azimuth, at.receive_elevation),
            (self.lander.lander.mask, at.lander_azimuth, at.lander_elevation),
        ):
            instants.append(_passings(mask, seconds, azimuth, elevation))
        found = np.concatenate(instants)
        return found[(found > seconds[0]) & (found < seconds[-1])]


def sights_of(network: Network, limits: ViewLimits, start: Time, span: float) -> list[list[Sight]]:
    """All combinations, those together that differ in the antenna only.

    Raises
    ------
    UnknownNameError
        If a station of a three-way pair is unknown.
    """
    pairs = [(name, name) for name in network.stations] + list(limits.three_way)
    return [
        [
            sight_between(network, limits, start, span, sender, receiver, name, antenna)
            for antenna in [a.name for a in lander.antennas] or [""]
        ]
        for sender, receiver in pairs
        for name, lander in network.landers.items()
    ]


def sight_between(
    network: Network,
    limits: ViewLimits,
    start: Time,
    span: float,
    transmitter: str,
    receiver: str,
    lander: str,
    antenna: str,
) -> Sight:
    """One combination by its names; the antenna's is empty if the lander has none."""
    station, end = network.station(receiver), network.lander(lander)
    return Sight(
        network.station(transmitter),
        station,
        end,
        next((a for a in end.lander.antennas if a.name == antenna), None),
        limits,
        Clock.of(station, start, span),
    )


def _passings(mask: HorizonMask, seconds: Array, azimuth: Array, elevation: Array) -> Array:
    """When an azimuth passes an entry of a mask, s: linear between samples."""
    if mask.azimuth.size < 2:
        return np.zeros(0)
    whole = np.unwrap(azimuth)
    up = elevation > mask.elevation.min() - np.radians(3.0)
    found = []
    for k in np.flatnonzero(up[1:] | up[:-1]):
        low, high = sorted((whole[k], whole[k + 1]))
        turns = 2 * np.pi * np.arange(np.floor(low / (2 * np.pi)), np.floor(high / (2 * np.pi)) + 1)
        entries = (mask.azimuth[:, None] + turns).ravel()
        inside = entries[(entries > low) & (entries < high)]
        share = (inside - whole[k]) / (whole[k + 1] - whole[k])
        found.append(seconds[k] + share * (seconds[k + 1] - seconds[k]))
    return np.concatenate([*found, np.zeros(0)])
