"""Where the two legs of a link lead, as both ends see it.

In: two stations, a lander and epochs of reception. Out: `Geometry`: azimuths and elevations
at the station that transmits (at t1), at the lander (which hears and answers at t2) and at
the station that receives (at t3); the Sun's angles; how far the legs pass from the discs
that may hide the planet; the lander's local time.

Directions are those of the ray over the observer's own ground: geometric between the ends
at their own epochs, then turned by the observer's motion (aberration, 20 arcseconds: 1.4 s
of the Earth's rotation), ``u + v/c`` for a ray that arrives and ``u - v/c`` for one that
leaves. So the lander hears and answers in directions that differ by up to an arcminute.
Not applied: refraction, which lifts a target by half a degree at the horizon and by a tenth
at 10 degrees (elevations and masks are geometric), and the Sun's bending of light, 1.75
arcseconds at its limb.

Local time is true solar time: 12 h when the Sun is on the lander's meridian.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import Self

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT, SUN_RADIUS
from wobble.earth.stations import azimuth_elevation, hour_angle
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs
from wobble.link.ends import Event, LanderEnd, StationEnd
from wobble.link.plasma import sun_earth_probe_angle

__all__ = ["DISCS", "Geometry", "true_solar_time"]

Array = NDArray[np.float64]

DISCS = {"sun": SUN_RADIUS, "moon": 1_737_400.0}
"""Radii of what may hide a planet, m; the Moon's is its mean (Archinal et al. 2018)."""


@dataclass(frozen=True, eq=False)
class Geometry:
    """Where a link is at n instants of reception.

    Angles in rad, arrays of shape (n,) unless said otherwise. Those of the lander are where
    it hears the transmitting station; ``reply_local`` is where it answers.

    Parameters
    ----------
    transmit_azimuth, transmit_elevation : ndarray
        Of the ray that leaves the transmitting station.
    receive_azimuth, receive_elevation : ndarray
        Of the ray that reaches the receiving station.
    lander_azimuth, lander_elevation : ndarray
        Of the ray that reaches the lander.
    lander_local, reply_local : ndarray, shape (n, 3)
        (east, north, up) at the lander toward the transmitter and the receiver.
    hour_angle : ndarray
        At the receiving station, negative before the culmination.
    sun_angle, sun_probe_angle : ndarray
        Sun-Earth-probe and Sun-probe-Earth.
    sun_clearance, moon_clearance : ndarray
        From the nearer of the two legs to the limb; pi where the disc lies behind the planet.
    local_time : ndarray
        True solar time at the lander, h, from 0 to 24.
    light_time : ndarray
        Of the way down, s.
    round_trip : ndarray
        s.
    """

    transmit_azimuth: Array
    transmit_elevation: Array
    receive_azimuth: Array
    receive_elevation: Array
    lander_azimuth: Array
    lander_elevation: Array
    lander_local: Array
    reply_local: Array
    hour_angle: Array
    sun_angle: Array
    sun_probe_angle: Array
    sun_clearance: Array
    moon_clearance: Array
    local_time: Array
    light_time: Array
    round_trip: Array

    @classmethod
    def of(
        cls, station: StationEnd, lander: LanderEnd, receptions: Epochs, transmitter: StationEnd
    ) -> Self:
        """Geometry at TDB epochs of reception."""
        ephemeris = lander.ephemeris
        received = station.at(receptions)
        guess = _light_time(lander.center, receptions, received.position)
        event = lander.at(receptions.shift(-guess))
        # The lander is at most 11 ms nearer than the centre of Mars.
        light_time = np.linalg.norm(event.position - received.position, axis=1) / SPEED_OF_LIGHT
        event = event.moved(guess - light_time)
        sent, up_time = _sending(transmitter, event, light_time)
        down = event.position - received.position
        up = event.position - sent.position
        seen = azimuth_elevation(station.look(received, _arriving(down, received)))
        heard = lander.look(event, _arriving(-up, event))
        sun = ephemeris.position("sun", receptions)
        legs = [(received, down, 1.0), (sent, up, -1.0)]
        clearance = {
            disc: np.min([_clearance(ephemeris, disc, *leg) for leg in legs], axis=0)
            if disc != lander.body.name
            else np.full(len(receptions), np.pi)
            for disc in DISCS
        }
        return cls(
            *azimuth_elevation(transmitter.look(sent, _leaving(up, sent))),
            *seen,
            *azimuth_elevation(heard),
            lander_local=heard,
            reply_local=lander.look(event, _leaving(-down, event)),
            hour_angle=hour_angle(station.station.geodetic[1], *seen),
            sun_angle=sun_earth_probe_angle(received.center, event.center, sun),
            sun_probe_angle=sun_earth_probe_angle(event.center, received.center, sun),
            sun_clearance=clearance["sun"],
            moon_clearance=clearance["moon"],
            local_time=true_solar_time(lander, event.epochs),
            light_time=light_time,
            round_trip=light_time + up_time,
        )

    @property
    def distance(self) -> Array:
        """Of the lander from the receiving station, m."""
        return self.light_time * SPEED_OF_LIGHT

    @classmethod
    def joined(cls, parts: Sequence[Geometry]) -> Self:
        """Several geometries, or none, one after the other."""
        vectors = ("lander_local", "reply_local")
        empty = {f.name: np.zeros((0, 3) if f.name in vectors else 0) for f in fields(cls)}
        columns = (
            np.concatenate([none, *(getattr(part, name) for part in parts)])
            for name, none in empty.items()
        )
        return cls(*columns)

    def in_threes(self) -> Geometry:
        """The same with arrays of shape (n / 3, 3): three moments of each of several periods."""
        return self[np.arange(len(self.light_time)).reshape(-1, 3)]

    def __getitem__(self, index: NDArray[np.intp]) -> Geometry:
        """Chosen instants; arrays take the shape of the index."""
        return Geometry(*(getattr(self, f.name)[index] for f in fields(self)))


def true_solar_time(lander: LanderEnd, epochs: Epochs) -> Array:
    """True solar time at a lander, h, from 0 to 24, shape (n,).

    From the geometric direction of the Sun; its aberration is a second of time.
    """
    toward_sun = lander.ephemeris.position("sun", epochs) - lander.center(epochs)
    x, y, _ = lander.body.orientation.body_fixed(toward_sun, epochs).T
    east = np.arctan2(lander.lander.position[1], lander.lander.position[0])
    return (12.0 + np.degrees(east - np.arctan2(y, x)) / 15.0) % 24.0


def _light_time(center: Callable[[Epochs], Array], receptions: Epochs, place: Array) -> Array:
    """To the planet's centre, s, shape (n,)."""
    light_time = np.zeros(len(receptions))
    for _ in range(4):  # contracts by v/c = 1e-4 each time
        path = center(receptions.shift(-light_time)) - place
        light_time = np.linalg.norm(path, axis=1) / SPEED_OF_LIGHT
    return light_time


def _sending(transmitter: StationEnd, event: Event, guess: Array) -> tuple[Event, Array]:
    """The event of transmission that the lander hears at ``event``, and its light time, s.

    The guess is that of the way down, right to 0.1 s; one step leaves 10 microseconds.
    """
    near = transmitter.at(event.epochs.shift(-guess))
    light_time = np.linalg.norm(event.position - near.position, axis=1) / SPEED_OF_LIGHT
    return near.moved(guess - light_time), light_time


def _arriving(toward: Array, observer: Event) -> Array:
    """Direction, as the observer sees it, of a ray that comes from there, shape (n, 3)."""
    unit = toward / np.linalg.norm(toward, axis=1, keepdims=True)
    return unit + observer.velocity / SPEED_OF_LIGHT


def _leaving(toward: Array, observer: Event) -> Array:
    """Direction, as the observer sees it, of a ray that will get there, shape (n, 3)."""
    unit = toward / np.linalg.norm(toward, axis=1, keepdims=True)
    return unit - observer.velocity / SPEED_OF_LIGHT


def _clearance(
    ephemeris: Ephemeris, disc: str, station: Event, toward: Array, sign: float
) -> Array:
    """Angle at the station from a leg to a disc's limb, rad; pi where it is farther away.

    ``sign`` is 1 for a ray that arrives (it passed the disc before), -1 for one that leaves.
    The Moon moves by 40 km, 20 arcseconds, while light comes from there.
    """
    away = ephemeris.position(disc, station.epochs) - station.position
    passing = station.epochs.shift(-sign * np.linalg.norm(away, axis=1) / SPEED_OF_LIGHT)
    away = ephemeris.position(disc, passing) - station.position
    distance = np.linalg.norm(away, axis=1)
    across = np.linalg.norm(np.cross(away, toward), axis=1)
    apart = np.arctan2(across, np.einsum("ni,ni->n", away, toward))
    clear = apart - np.arcsin(np.minimum(DISCS[disc] / distance, 1.0))
    return np.where(distance < np.linalg.norm(toward, axis=1), clear, np.pi)
