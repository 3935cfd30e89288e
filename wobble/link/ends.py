"""The two ends of the link in barycentric coordinates.

In: TDB epochs. Out: an `Event` at each: where the station or lander is and how it moves, in
ICRF axes with the origin at the solar-system barycentre; and the exact step of its position
from one event to another, which is never formed by subtracting positions.

A station's geocentric vector r, given in the TT-compatible terrestrial frame, becomes
barycentric and TDB-compatible by ``r (1 - U/c^2 - L_C) - V (V.r) / (2 c^2)`` (IERS
Conventions 2010, eq. 11.19), U the potential of the other bodies and V the velocity of the
geocentre: 10 cm in scale and up to 3 cm in Lorentz contraction. The lander's
body-fixed vector, given in the planet's own local frame, the same with its U and V and
without L_C: 2 cm and 1 cm at Mars.

The terrestrial system's time is TT at the place: ``TDB - TT = (TDB - TT)_geocentre +
V.r/c^2``; the last term, 2 microseconds over a day, turns the Earth by 1 mm.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, ClassVar, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from wobble.chebyshev import ChebyshevTable
from wobble.constants import DAY, EARTH_ROTATION_RATE, GM, L_B, L_C, SPEED_OF_LIGHT
from wobble.earth.displacement import ocean_loading, pole_tide, solid_earth_tide
from wobble.earth.orientation import EarthOrientation, earth_rotation_angle
from wobble.earth.stations import Station
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs, tdb_minus_tt
from wobble.planet.body import Body
from wobble.planet.lander import Lander
from wobble.planet.tide import solid_body_tide
from wobble.rotations import cross, of_components, turn

__all__ = ["End", "Event", "LanderEnd", "NearEarth", "StationEnd"]

Array = NDArray[np.float64]
C2 = SPEED_OF_LIGHT**2
POLE = np.array([0.0, 0.0, 1.0])
MOMENT = 1e-6
"""Interval over which an increment is a velocity, s: nothing cancels in it."""
A_MINUTE = 60.0
"""Interval over which motions that matter to 1e-6 of themselves are differenced, s."""
ROUGH_UT1_MINUS_TDB = -69.0
"""Of the 2020s, s: 10 s more or less move a station by 5 km, 15 light microseconds."""


@dataclass(frozen=True, eq=False)
class Event:
    """Where an end of the link is at n instants.

    Parameters
    ----------
    body : str
        The planet on which it stands.
    epochs : Epochs
        TDB.
    center, center_velocity : ndarray, shape (n, 3)
        Barycentric position (m) and velocity (m/s) of the planet.
    turned, turned_velocity : ndarray, shape (n, 3)
        From the planet's centre to the end, turned with the planet, m and m/s.
    correction : ndarray, shape (n, 3)
        What relativity and the lander's tide add to that, m: decimetres.
    """

    body: str
    epochs: Epochs
    center: Array
    center_velocity: Array
    turned: Array
    turned_velocity: Array
    correction: Array

    @cached_property
    def local(self) -> Array:
        """From the planet's centre to the end, m, shape (n, 3)."""
        return self.turned + self.correction

    @cached_property
    def position(self) -> Array:
        """Barycentric position, m, shape (n, 3)."""
        return self.center + self.local

    @cached_property
    def velocity(self) -> Array:
        """Barycentric velocity, m/s, shape (n, 3)."""
        return self.center_velocity + self.turned_velocity

    def moved(self, interval: Array) -> Event:
        """The event an instant later, on a straight line.

        After 25 ms it is 5 micrometres off for a lander on Mars; a station, whose velocity
        is good to 0.06 m/s only, 60 micrometres after 1 ms.
        """
        return replace(
            self,
            epochs=self.epochs.shift(interval),
            center=self.center + self.center_velocity * interval[:, None],
            turned=self.turned + self.turned_velocity * interval[:, None],
        )


class End(Protocol):
    """Station or lander, as light-time equations see it."""

    @property
    def on_earth(self) -> bool:
        """Whether it is a station."""
        ...

    @property
    def longest_straight(self) -> float:
        """Longest time over which its path may be taken as straight, s."""
        ...

    def at(self, epochs: Epochs) -> Event:
        """Position and velocity at TDB epochs."""
        ...

    def rough_state(self, epochs: Epochs, known: Event | None = None) -> tuple[Array, Array]:
        """Position and velocity for a first guess, cheap, (n, 3) each.

        Good to as many light seconds as its path may be taken as straight. ``known`` is an
        event on the same planet not more than some hours away, if there is one.
        """
        ...

    def step(self, begin: Event, end: Event, interval: Array) -> Array:
        """Exact change of the position over ``interval`` seconds from ``begin``, m, (n, 3).

        ``end`` is the event there, but for a microsecond or so: small terms are taken from
        it.
        """
        ...

    def clock_gain(self, begin: Event, end: Event, interval: Array) -> Array:
        """By how much its clock gains on TDB over ``interval`` seconds between events, s, (n,)."""
        ...


def external_potential(
    ephemeris: Ephemeris, body: str, raisers: tuple[str, ...], epochs: Epochs
) -> Array:
    """Newtonian potential of other bodies at a body's centre, m^2/s^2, shape (n,)."""
    center = ephemeris.position(body, epochs)
    return sum(
        (GM[r] / np.linalg.norm(ephemeris.position(r, epochs) - center, axis=1) for r in raisers),
        np.zeros(len(epochs)),
    )


def barycentric_correction(local: Array, velocity: Array, scale: Array) -> Array:
    """What the scale and the Lorentz contraction add to planetocentric vectors, m, (n, 3)."""
    along = np.einsum("ni,ni->n", velocity, local)
    return -local * scale[:, None] - velocity * (along / (2.0 * C2))[:, None]


@dataclass(frozen=True, eq=False)
class NearEarth:
    """What all stations share: ephemeris, orientation, TDB - TT, over one span.

    Build it with `NearEarth.over`.
    """

    ephemeris: Ephemeris
    orientation: EarthOrientation
    clock: ChebyshevTable = field(repr=False)
    potential: ChebyshevTable = field(repr=False)

    @classmethod
    def over(cls, ephemeris: Ephemeris, orientation: EarthOrientation) -> Self:
        """Tabulate TDB - TT and the external potential over the span of the orientation."""
        table = orientation.spin_and_pole
        span = (table.start + 60.0, table.stop - 60.0)

        def potential(epochs: Epochs) -> Array:
            return external_potential(ephemeris, "earth", ("sun", "moon", "jupiter"), epochs)

        return cls(
            ephemeris,
            orientation,
            ChebyshevTable.fit(
                lambda e: tdb_minus_tt(e)[:, None], *span, 8 * DAY, 10, name="TDB - TT"
            ),
            ChebyshevTable.fit(
                lambda e: potential(e)[:, None], *span, 8 * DAY, 8, name="external potential"
            ),
        )

    def tt(self, epochs: Epochs) -> Epochs:
        """TT at the geocentre of TDB epochs."""

        def compute() -> Epochs:
            shifted = epochs.shift(-self.clock.value(epochs)[:, 0])
            return Epochs(shifted.seconds, shifted.fraction, "tt")

        return epochs.once(self, compute)


@dataclass(frozen=True, eq=False)
class StationEnd:
    """A station as an end of the link. Build it with `StationEnd.on`."""

    station: Station
    earth: NearEarth
    tides: ChebyshevTable = field(repr=False)

    on_earth: ClassVar[bool] = True
    # Its clock depends on the Earth's velocity, which 20 ms turn by 1e-4 m/s: in a day's course
    # 2e-7 mm/s of range rate.
    longest_straight: ClassVar[float] = 1e-3

    @classmethod
    def on(cls, station: Station, earth: NearEarth) -> Self:
        """Tabulate the station's tidal displacement over the span.

        Of the solid Earth, of the pole, and of the ocean's load where the station has
        coefficients for it.
        """
        table = earth.orientation.spin_and_pole

        def displacement(tt: Epochs) -> Array:
            tdb = Epochs(tt.seconds, tt.fraction, "tdb")  # 2 ms of a day's tide is nothing
            center = earth.ephemeris.position("earth", tdb)
            sun, moon = (
                earth.orientation.itrf(earth.ephemeris.position(b, tdb) - center, tt)
                for b in ("sun", "moon")
            )
            pole = earth.orientation.terrestrial_pole(tt)
            tides = solid_earth_tide(station.position, sun, moon, tt)
            tides += pole_tide(station.position, *pole, tt)
            if station.ocean_loading is not None:
                tides += ocean_loading(station.position, station.ocean_loading, tt)
            return tides

        span = (table.start + 60.0, table.stop - 60.0)
        tides = ChebyshevTable.fit(
            displacement, *span, DAY / 4, 8, scale="tt", name=f"tides at {station.name}"
        )
        return cls(station, earth, tides)

    def changed(self, **values: Any) -> StationEnd:
        """The same station with other numbers, or at another place nearby; its tides are kept."""
        return replace(self, station=replace(self.station, **values))

    def rough_state(self, epochs: Epochs, known: Event | None = None) -> tuple[Array, Array]:
        """Without precession, which moves a station by 12 km in 20 years.

        The geocentre goes straight on from a known event: it is 20 km off after 45 minutes.
        """
        if known is None:
            center, velocity = self.earth.ephemeris.state("earth", epochs)
        else:
            gone = known.moved(epochs.minus(known.epochs))
            center, velocity = gone.center, gone.center_velocity
        angle = earth_rotation_angle(epochs, np.full(len(epochs), ROUGH_UT1_MINUS_TDB))
        local = turn("z", angle, self.station.position)
        return center + local, velocity + EARTH_ROTATION_RATE * cross(POLE, local)

    def _itrf(self, tt: Epochs) -> Array:
        return self.station.itrf(tt) + self.tides.value(tt)

    def at(self, epochs: Epochs) -> Event:
        earth = self.earth
        center, center_velocity = earth.ephemeris.state("earth", epochs)
        tt = earth.tt(epochs)
        geocentric = earth.orientation.gcrs(self._itrf(tt), tt)
        spin = earth.orientation.velocity(geocentric)
        place_clock = np.einsum("ni,ni->n", center_velocity, geocentric) / C2
        scale = earth.potential.value(epochs)[:, 0] / C2 + L_C
        correction = barycentric_correction(geocentric, center_velocity, scale)
        # The orientation's argument is the place's own TT, later by the place's own clock.
        correction -= spin * place_clock[:, None]
        return Event("earth", epochs, center, center_velocity, geocentric, spin, correction)

    def at_clock(self, tt: Epochs) -> Event:
        """The event at TT epochs of the station's own clock."""
        geocentre = Epochs(tt.seconds, tt.fraction, "tdb")
        # TDB - TT changes by less than 1e-9 of a shift of 2 ms: one step is exact.
        geocentre = geocentre.shift(self.earth.clock.value(geocentre)[:, 0])
        geocentre.once(self.earth, lambda: tt)
        event = self.at(geocentre)
        return event.moved(self.place_clock(event))

    def reading(self, event: Event) -> Epochs:
        """TT of the station's clock at an event there."""
        return self.earth.tt(event.epochs).shift(-self.place_clock(event))

    def tdb(self, tt: Epochs) -> Epochs:
        """TDB of TT epochs of the station's clock."""
        return self.at_clock(tt).epochs

    def step(self, begin: Event, end: Event, interval: Array) -> Array:
        """Exact change of the position over ``interval`` seconds from ``begin``, m, (n, 3)."""
        earth = self.earth
        tt = earth.tt(begin.epochs)
        tt_interval = interval - earth.clock.increment(begin.epochs, interval)[:, 0]
        drift = np.outer(tt_interval, self.station.velocity)
        itrf_step = self.tides.increment(tt, tt_interval) + drift
        turned = earth.orientation.increment(self._itrf(tt), itrf_step, tt, tt_interval)
        orbit = earth.ephemeris.increment("earth", begin.epochs, interval)
        return orbit + turned + (end.correction - begin.correction)

    def place_clock(self, event: Event) -> Array:
        """What the place adds to TDB - TT, ``V.r/c^2``, s, shape (n,) (Moyer 2000).

        A term of 2 microseconds: the difference of two of them keeps 1e-21 s.
        """
        return np.einsum("ni,ni->n", event.center_velocity, event.local) / C2

    def clock_gain(self, begin: Event, end: Event, interval: Array) -> Array:
        """By how much its clock gains on TDB over ``interval`` seconds between events, s, (n,)."""
        common = self.earth.clock.increment(begin.epochs, interval)[:, 0]
        return -(common + (self.place_clock(end) - self.place_clock(begin)))

    def look(self, event: Event, toward: Array) -> Array:
        """(east, north, up) components at the station of ICRF directions, shape (n, 3).

        Directions are geometric; the axes are those of the geodetic horizon, turned with the
        Earth.
        """
        tt = self.earth.tt(event.epochs)
        axes = [self.earth.orientation.gcrs(axis, tt) for axis in self.station.horizon]
        return of_components(*(np.einsum("ni,ni->n", axis, toward) for axis in axes))

    def zenith(self, event: Event) -> Array:
        """Unit vector to the geodetic zenith in ICRF axes, shape (n, 3)."""
        up = self.station.horizon[2]
        return self.earth.orientation.gcrs(up, self.earth.tt(event.epochs))


@dataclass(frozen=True, eq=False)
class LanderEnd:
    """A lander as an end of the link.

    Parameters
    ----------
    lander : Lander
    body : Body
        On which it stands.
    ephemeris : Ephemeris
    orbit_offset : sequence of three floats
        By how much the planet is away from its place in the ephemeris, m: radially (from
        the Sun), transversely (forward) and normally to its orbit about the Sun.
    """

    lander: Lander
    body: Body
    ephemeris: Ephemeris
    orbit_offset: tuple[float, float, float] = (0.0, 0.0, 0.0)

    on_earth: ClassVar[bool] = False
    longest_straight: ClassVar[float] = 0.03

    def center(self, epochs: Epochs) -> Array:
        """Barycentric position of the planet, m, shape (n, 3)."""
        return self.ephemeris.position(self.body.name, epochs)

    def rough_state(self, epochs: Epochs, known: Event | None = None) -> tuple[Array, Array]:
        """Of the planet's centre: 11 light milliseconds from a lander on Mars."""
        return self.ephemeris.state(self.body.name, epochs)

    def at(self, epochs: Epochs) -> Event:
        center, center_velocity = self.ephemeris.state(self.body.name, epochs)
        orientation, place = self.body.orientation, self.lander.position
        turned = orientation.inertial(place, epochs)
        spin = orientation.increment(place, epochs, MOMENT) / MOMENT
        bodies = {r: self.ephemeris.position(r, epochs) - center for r in self._neighbours}
        correction = barycentric_correction(turned, center_velocity, self._scale(bodies))
        correction += self._tide(turned, bodies)
        if any(self.orbit_offset):
            center = center + self._offset(epochs)
            # The offset turns with the orbit: 0.1 mm/s for a kilometre, which a clock feels.
            turning = self.orbit_axes_rate(epochs)
            center_velocity = center_velocity + np.einsum("nij,i->nj", turning, self.orbit_offset)
        return Event(self.body.name, epochs, center, center_velocity, turned, spin, correction)

    def _offset(self, epochs: Epochs) -> Array:
        if not any(self.orbit_offset):
            return np.zeros(3)
        return np.einsum("nij,i->nj", self.orbit_axes(epochs), self.orbit_offset)

    def gravity(self, event: Event) -> Array:
        """Attraction of the planet and centrifugal acceleration, ICRF axes, m/s^2, (n, 3)."""
        forth, back = (
            self.body.orientation.increment(self.lander.position, event.epochs, s * A_MINUTE)
            for s in (1.0, -1.0)
        )
        distance = np.linalg.norm(event.turned, axis=1, keepdims=True)
        return -self.body.gm * event.turned / distance**3 - (forth + back) / A_MINUTE**2

    def orbit_axes(self, epochs: Epochs) -> Array:
        """Radial, transverse and normal unit vectors of the orbit, shape (n, 3 axes, 3)."""
        states = [self.ephemeris.state(name, epochs) for name in (self.body.name, "sun")]
        position, velocity = (planet - sun for planet, sun in zip(*states, strict=True))
        radial = position / np.linalg.norm(position, axis=1, keepdims=True)
        normal = cross(position, velocity)
        normal /= np.linalg.norm(normal, axis=1, keepdims=True)
        return np.stack([radial, cross(normal, radial), normal], axis=1)

    def orbit_axes_rate(self, epochs: Epochs) -> Array:
        """Rate of `orbit_axes`, 1/s, shape (n, 3 axes, 3)."""
        first, last = (self.orbit_axes(epochs.shift(s * A_MINUTE)) for s in (-0.5, 0.5))
        return np.asarray((last - first) / A_MINUTE)

    @property
    def _potential_bodies(self) -> tuple[str, ...]:
        return ("sun", "earth") if self.body.name == "moon" else ("sun",)

    @property
    def _neighbours(self) -> set[str]:
        return {*self._potential_bodies, *self.body.tide_raisers}

    def _scale(self, bodies: dict[str, Array]) -> Array:
        distances = {r: np.linalg.norm(bodies[r], axis=1) for r in self._potential_bodies}
        return np.asarray(sum(GM[r] / d for r, d in distances.items()) / C2, float)

    def _tide(self, turned: Array, bodies: dict[str, Array]) -> Array:
        """Solid tide in ICRF axes: the same formula in any axes, and no turn to and fro."""
        body = self.body
        total = np.zeros_like(turned)
        if body.love_h2 or body.love_l2:
            radius = (2.0 * body.equatorial_radius + body.polar_radius) / 3.0
            for r in body.tide_raisers:
                mass_ratio = GM[r] / body.gm
                total += solid_body_tide(
                    turned, bodies[r], mass_ratio, radius, body.love_h2, body.love_l2
                )
        return total

    def step(self, begin: Event, end: Event, interval: Array) -> Array:
        """Exact change of the position over ``interval`` seconds from ``begin``, m, (n, 3)."""
        orbit = self.ephemeris.increment(self.body.name, begin.epochs, interval)
        turned = self.body.orientation.increment(self.lander.position, begin.epochs, interval)
        offset = self._offset(end.epochs) - self._offset(begin.epochs)
        return orbit + turned + offset + (end.correction - begin.correction)

    def clock_gain(self, begin: Event, end: Event, interval: Array) -> Array:
        """By how much its clock gains on TDB over ``interval`` seconds between events, s, (n,).

        A clock at velocity v in the potential U: ``dtau/dTDB = 1 + L_B - U/c^2 - v^2/(2 c^2)``
        (IAU 2006 Resolution B3 for L_B). By the rule of Simpson: the planet's turning changes
        it by 1e-11 over hours.
        """
        middle = self.at(begin.epochs.shift(interval / 2.0))
        first, half, last = (self._clock_rate(event) for event in (begin, middle, end))
        return interval * (first + 4.0 * half + last) / 6.0

    def _clock_rate(self, event: Event) -> Array:
        """``dtau/dTDB - 1``, shape (n,)."""
        sun = self.ephemeris.position("sun", event.epochs)
        potential = GM["sun"] / np.linalg.norm(event.position - sun, axis=1)
        potential += self.body.gm / np.linalg.norm(event.local, axis=1)
        speed = np.linalg.norm(event.velocity, axis=1)
        return np.asarray(L_B - (potential + speed**2 / 2.0) / C2)

    def look(self, event: Event, toward: Array) -> Array:
        """(east, north, up) components at the lander of ICRF directions, shape (n, 3)."""
        local, _, _ = self.lander.look(
            self.body, self.body.orientation.body_fixed(toward, event.epochs)
        )
        return local
