"""The two ends of the link in barycentric coordinates.

In: TDB epochs. Out: an `Event` at each: position (m), velocity (m/s) and the local
direction axes of the station or lander, in ICRF axes with the origin at the
solar-system barycentre; and the exact increment of the position over an interval.

A station's geocentric vector, given in the TT-compatible terrestrial frame, becomes
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
from typing import NamedTuple, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from wobble.chebyshev import ChebyshevTable
from wobble.constants import DAY, GM, L_C, SPEED_OF_LIGHT
from wobble.earth.displacement import pole_tide, solid_earth_tide
from wobble.earth.orientation import EarthOrientation
from wobble.earth.stations import Station
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs, tdb_minus_tt
from wobble.planet.body import Body
from wobble.planet.lander import Lander

__all__ = ["End", "Event", "LanderEnd", "NearEarth", "StationEnd"]

Array = NDArray[np.float64]
C2 = SPEED_OF_LIGHT**2


@dataclass(frozen=True, eq=False)
class Event:
    """Where an end of the link is at n instants.

    Parameters
    ----------
    epochs : Epochs
        TDB.
    center : ndarray, shape (n, 3)
        Barycentric position of the planet, m.
    local : ndarray, shape (n, 3)
        From the planet's centre to the end, m.
    velocity : ndarray, shape (n, 3)
        Barycentric velocity of the end, m/s.
    """

    epochs: Epochs
    center: Array
    local: Array
    velocity: Array

    @cached_property
    def position(self) -> Array:
        """Barycentric position, m, shape (n, 3)."""
        return self.center + self.local

    def moved(self, interval: Array, center_step: Array, local_step: Array) -> Advance:
        """The event ``interval`` seconds later; the velocity of the planet's centre is kept."""
        later = replace(
            self,
            epochs=self.epochs.shift(interval),
            center=self.center + center_step,
            local=self.local + local_step,
        )
        return Advance(later, center_step + local_step)


class Advance(NamedTuple):
    """A later event, and the exact step of the position that leads to it, m, shape (n, 3)."""

    event: Event
    step: Array


class End(Protocol):
    """Station or lander, as light-time equations see it."""

    def at(self, epochs: Epochs) -> Event:
        """Position and velocity at TDB epochs."""
        ...

    def center(self, epochs: Epochs) -> Array:
        """Position of the planet's centre alone, m, shape (n, 3): a cheap first guess."""
        ...

    def advance(self, event: Event, interval: Array) -> Advance:
        """The event ``interval`` seconds later, and the exact step to it."""
        ...


def external_potential(
    ephemeris: Ephemeris, body: str, raisers: tuple[str, ...], epochs: Epochs
) -> Array:
    """Newtonian potential of other bodies at a body's centre, m^2/s^2, shape (n,)."""
    center = ephemeris.position(body, epochs)
    return sum(
        (
            GM[r] / np.linalg.norm(ephemeris.position(r, epochs) - center, axis=1)
            for r in raisers
        ),
        np.zeros(len(epochs)),
    )


def barycentric(local: Array, velocity: Array, scale: Array) -> Array:
    """Planetocentric vectors in barycentric coordinates: scaled and Lorentz-contracted."""
    along = np.einsum("ni,ni->n", velocity, local)
    return local * (1.0 - scale)[:, None] - velocity * (along / (2.0 * C2))[:, None]


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
        shifted = epochs.shift(-self.clock.value(epochs)[:, 0])
        return Epochs(shifted.seconds, shifted.fraction, "tt")


@dataclass(frozen=True, eq=False)
class StationEnd:
    """A station as an end of the link. Build it with `StationEnd.on`."""

    station: Station
    earth: NearEarth
    tides: ChebyshevTable = field(repr=False)

    @classmethod
    def on(cls, station: Station, earth: NearEarth) -> Self:
        """Tabulate the station's tidal displacement over the span."""
        table = earth.orientation.spin_and_pole

        def displacement(tt: Epochs) -> Array:
            tdb = Epochs(tt.seconds, tt.fraction, "tdb")  # 2 ms of a day's tide is nothing
            center = earth.ephemeris.position("earth", tdb)
            sun, moon = (
                earth.orientation.itrf(earth.ephemeris.position(b, tdb) - center, tt)
                for b in ("sun", "moon")
            )
            pole = earth.orientation.terrestrial_pole(tt)
            return solid_earth_tide(station.position, sun, moon, tt) + pole_tide(
                station.position, *pole, tt
            )

        span = (table.start + 60.0, table.stop - 60.0)
        tides = ChebyshevTable.fit(
            displacement, *span, DAY / 4, 8, scale="tt", name=f"tides at {station.name}"
        )
        return cls(station, earth, tides)

    def center(self, epochs: Epochs) -> Array:
        return self.earth.ephemeris.position("earth", epochs)

    def _itrf(self, tt: Epochs) -> Array:
        return self.station.itrf(tt) + self.tides.value(tt)

    def at(self, epochs: Epochs) -> Event:
        center, earth_velocity = self.earth.ephemeris.state("earth", epochs)
        tt = self.earth.tt(epochs)
        geocentric = self.earth.orientation.gcrs(self._itrf(tt), tt)
        spin = self.earth.orientation.velocity(geocentric)
        local = self._corrected(geocentric, spin, earth_velocity, epochs)
        return Event(epochs, center, local, earth_velocity + spin)

    def _corrected(
        self, geocentric: Array, spin: Array, earth_velocity: Array, epochs: Epochs
    ) -> Array:
        """Barycentric form, at the place's own TT."""
        place_clock = np.einsum("ni,ni->n", earth_velocity, geocentric) / C2
        scale = self.earth.potential.value(epochs)[:, 0] / C2 + L_C
        return barycentric(geocentric - spin * place_clock[:, None], earth_velocity, scale)

    def advance(self, event: Event, interval: Array) -> Advance:
        """The event ``interval`` seconds later, and the exact step to it.

        The part of the rotation is never subtracted; that of the small corrections is.
        """
        earth = self.earth
        tt = earth.tt(event.epochs)
        tt_interval = interval - earth.clock.increment(event.epochs, interval)[:, 0]
        itrf = self._itrf(tt)
        itrf_step = self.tides.increment(tt, tt_interval) + np.outer(
            tt_interval, self.station.velocity
        )
        turned = earth.orientation.increment(itrf, itrf_step, tt, tt_interval)
        start = earth.orientation.gcrs(itrf, tt)
        end = start + turned
        later = event.epochs.shift(interval)
        end_velocity = earth.ephemeris.state("earth", later)[1]
        end_spin = earth.orientation.velocity(end)
        start_spin = earth.orientation.velocity(start)
        start_velocity = event.velocity - start_spin
        correction_step = (self._corrected(end, end_spin, end_velocity, later) - end) - (
            self._corrected(start, start_spin, start_velocity, event.epochs) - start
        )
        center_step = earth.ephemeris.increment("earth", event.epochs, interval)
        moved = event.moved(interval, center_step, turned + correction_step)
        return Advance(replace(moved.event, velocity=end_velocity + end_spin), moved.step)

    def place_clock(self, event: Event) -> Array:
        """What the place adds to TDB - TT, ``V.r/c^2``, s, shape (n,) (Moyer 2000).

        A term of 2 microseconds: the difference of two of them keeps 1e-21 s.
        """
        earth_velocity = event.velocity - self.earth.orientation.velocity(event.local)
        return np.einsum("ni,ni->n", earth_velocity, event.local) / C2

    def tdb(self, tt: Epochs) -> Epochs:
        """TDB of TT epochs of the station's clock."""
        first = Epochs(tt.seconds, tt.fraction, "tdb")
        first = first.shift(self.earth.clock.value(first)[:, 0])
        # TDB - TT changes by less than 1e-9 of a shift of 2 ms: one step is exact.
        return first.shift(self.place_clock(self.at(first)))

    def look(self, event: Event, toward: Array) -> Array:
        """(east, north, up) components at the station of ICRF directions, shape (n, 3).

        Directions are geometric; the axes are those of the geodetic horizon, turned with the
        Earth.
        """
        tt = self.earth.tt(event.epochs)
        axes = [self.earth.orientation.gcrs(axis, tt) for axis in self.station.horizon]
        return np.stack([np.einsum("ni,ni->n", axis, toward) for axis in axes], axis=1)


@dataclass(frozen=True, eq=False)
class LanderEnd:
    """A lander as an end of the link."""

    lander: Lander
    body: Body
    ephemeris: Ephemeris

    def center(self, epochs: Epochs) -> Array:
        return self.ephemeris.position(self.body.name, epochs)

    def place(self, epochs: Epochs) -> Array:
        """Body-fixed position with the solid tide, m, shape (n, 3)."""
        return self.lander.position + self.body.tidal_displacement(
            self.lander.position, self.ephemeris, epochs
        )

    def at(self, epochs: Epochs) -> Event:
        center, velocity = self.ephemeris.state(self.body.name, epochs)
        inertial = self.body.orientation.inertial(self.place(epochs), epochs)
        # The secant over a tenth of a second is the derivative to 1e-12 of it.
        tenth = np.full(len(epochs), 0.1)
        spin = self.body.orientation.increment(self.lander.position, epochs, tenth) / tenth[:, None]
        return Event(
            epochs,
            center,
            barycentric(inertial, velocity, self._scale(epochs)),
            velocity + spin,
        )

    def _scale(self, epochs: Epochs) -> Array:
        bodies = ("sun", "earth") if self.body.name == "moon" else ("sun",)
        return external_potential(self.ephemeris, self.body.name, bodies, epochs) / C2

    def advance(self, event: Event, interval: Array) -> Advance:
        """The event ``interval`` seconds later, and the exact step to it.

        The part of the rotation is never subtracted; that of the small corrections is. The
        lander's velocity about the planet's centre is kept: it serves gradients only.
        """
        orientation = self.body.orientation
        later = event.epochs.shift(interval)
        place = self.place(event.epochs)
        # The tide moves by less than 1e-6 m/s: its change is turned with the end's orientation.
        tide_step = orientation.inertial(self.place(later) - place, later)
        start = orientation.inertial(place, event.epochs)
        turned = orientation.increment(place, event.epochs, interval) + tide_step
        velocities = [self.ephemeris.state(self.body.name, at)[1] for at in (event.epochs, later)]
        start_correction, end_correction = (
            barycentric(v, velocity, self._scale(at)) - v
            for v, velocity, at in zip(
                (start, start + turned), velocities, (event.epochs, later), strict=True
            )
        )
        local_step = turned + (end_correction - start_correction)
        center_step = self.ephemeris.increment(self.body.name, event.epochs, interval)
        moved = event.moved(interval, center_step, local_step)
        velocity = event.velocity + (velocities[1] - velocities[0])
        return Advance(replace(moved.event, velocity=velocity), moved.step)

    def look(self, event: Event, toward: Array) -> Array:
        """(east, north, up) components at the lander of ICRF directions, shape (n, 3)."""
        local, _, _ = self.lander.look(
            self.body, self.body.orientation.body_fixed(toward, event.epochs)
        )
        return local
