"""The up leg and the down leg: when the signal left, was sent back, and arrived.

In: the two ends of each leg and the epochs of one event (reception or transmission).
Out: `RoundTrip`, the three events with the light times of both legs, and how the sum of the
two changes when any of the three places moves.

Each leg solves ``tau = |r_far(t +- tau) - r_known(t)| / c + delay`` by Newton's method; the
remaining error is below 1e-12 s. The classical equations are those of Moyer (2000,
Formulation for observed and computed values, chapter 8).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.errors import ConvergenceError
from wobble.link.ends import End, Event

__all__ = ["Leg", "RoundTrip", "solve_round_trip"]

Array = NDArray[np.float64]

TOLERANCE = 1e-11
MAXIMUM_STEPS = 8


@dataclass(frozen=True, eq=False)
class Leg:
    """One way of the signal.

    Parameters
    ----------
    transmission, reception : Event
        Its two ends in time.
    station_transmits : bool
        Whether the station is at the transmission's end (the up leg) or at the other.
    """

    transmission: Event
    reception: Event
    station_transmits: bool

    @property
    def vector(self) -> Array:
        """From transmission to reception, m, shape (n, 3)."""
        # The planets apart from the places on them: one rounding of a large number less.
        return (self.reception.center - self.transmission.center) + (
            self.reception.local - self.transmission.local
        )

    @property
    def distance(self) -> Array:
        """Geometric length, m, shape (n,)."""
        return np.linalg.norm(self.vector, axis=1)

    @property
    def station(self) -> Event:
        """The event at the station."""
        return self.transmission if self.station_transmits else self.reception

    @property
    def lander(self) -> Event:
        """The event at the lander."""
        return self.reception if self.station_transmits else self.transmission

    @property
    def to_lander(self) -> Array:
        """Vector from the station's event to the lander's, m, shape (n, 3)."""
        return self.vector if self.station_transmits else -self.vector


LegDelay = Callable[[Leg], Array]
"""Delay of a leg beyond the geometric light time, s, shape (n,)."""


@dataclass(frozen=True, eq=False)
class RoundTrip:
    """A two-way signal path, solved.

    Parameters
    ----------
    up, down : Leg
        The two legs; the lander's event is the same in both.
    up_delay, down_delay : ndarray, shape (n,)
        Delays beyond the geometric light times, s.
    received : bool
        Whether the reception (True) or the transmission (False) was given.
    """

    up: Leg
    down: Leg
    up_delay: Array
    down_delay: Array
    received: bool

    @property
    def path(self) -> Array:
        """Geometric length of both legs, m, shape (n,)."""
        return self.up.distance + self.down.distance

    @property
    def light_time(self) -> Array:
        """From transmission to reception in TDB with all delays, s, shape (n,)."""
        return self.path / SPEED_OF_LIGHT + self.up_delay + self.down_delay

    def gradients(self) -> tuple[Array, Array, Array]:
        """Change of `path` by a displacement of transmitter, lander, receiver: three (n, 3).

        The given event is held in time; the others move as the light-time equations demand.
        """
        if self.received:
            at_receiver, at_lander, at_transmitter = _chain(
                self.down.reception, self.down.transmission, self.up.transmission, -1.0
            )
        else:
            at_transmitter, at_lander, at_receiver = _chain(
                self.up.transmission, self.up.reception, self.down.reception, 1.0
            )
        return at_transmitter, at_lander, at_receiver


def _chain(first: Event, middle: Event, last: Event, sense: float) -> tuple[Array, Array, Array]:
    """Gradients of the path from the given event over the lander to the other station.

    With ``u`` from the first to the middle, ``w`` from the middle to the last event, time
    running with ``sense``: a longer first leg shifts the middle event by ``sense/c`` times
    its change, and with it both ends of the second leg.
    """
    u = _unit(middle.position - first.position)
    w = _unit(last.position - middle.position)
    first_gain = u / (1.0 - sense * _dot(u, middle.velocity) / SPEED_OF_LIGHT)[:, None]
    k = 1.0 / (1.0 - sense * _dot(w, last.velocity) / SPEED_OF_LIGHT)
    drag = sense * k * _dot(w, last.velocity - middle.velocity) / SPEED_OF_LIGHT
    through = (1.0 + drag)[:, None] * first_gain
    second_gain = k[:, None] * w
    return -through, through - second_gain, second_gain


def solve_round_trip(
    transmitter: End,
    lander: End,
    receiver: End,
    epochs: Epochs,
    delay: LegDelay,
    *,
    received: bool = True,
) -> RoundTrip:
    """Solve both legs from the epoch of reception, or of transmission.

    Parameters
    ----------
    transmitter, lander, receiver : End
        Who sends, sends back, receives.
    epochs : Epochs
        TDB of the given event.
    delay : callable
        Delay of a leg beyond the geometric light time, s.
    received : bool
        Whether ``epochs`` are of the reception (else of the transmission).
    """
    if received:
        down, down_delay = _solve_leg(receiver, lander, epochs, delay, -1.0, known_is_station=True)
        up, up_delay = _solve_leg(
            lander, transmitter, down.transmission, delay, -1.0, known_is_station=False
        )
    else:
        up, up_delay = _solve_leg(transmitter, lander, epochs, delay, 1.0, known_is_station=True)
        down, down_delay = _solve_leg(
            lander, receiver, up.reception, delay, 1.0, known_is_station=False
        )
    return RoundTrip(up, down, up_delay, down_delay, received)


def _solve_leg(
    known_end: End,
    other_end: End,
    known: Epochs | Event,
    delay: LegDelay,
    sense: float,
    *,
    known_is_station: bool,
) -> tuple[Leg, Array]:
    """The leg between a known event and the one that light reaches (or left) it from."""
    start = known if isinstance(known, Event) else known_end.at(known)
    # The planets' centres first: cheap, and within some tens of milliseconds of the answer.
    tau = np.zeros(len(start.epochs))
    for _ in range(3):
        center = other_end.center(start.epochs.shift(sense * tau))
        tau = np.linalg.norm(center - start.position, axis=1) / SPEED_OF_LIGHT
    extra = np.zeros_like(tau)
    for step in range(MAXIMUM_STEPS):
        other = other_end.at(start.epochs.shift(sense * tau))
        leg = (
            Leg(start, other, known_is_station)
            if sense > 0
            else Leg(other, start, not known_is_station)
        )
        if step == 0:
            extra = delay(leg)
        unit = _unit(other.position - start.position)
        excess = leg.distance / SPEED_OF_LIGHT + extra - tau
        if step > 0 and np.max(np.abs(excess), initial=0.0) < TOLERANCE:
            return leg, delay(leg)
        tau = tau + excess / (1.0 - sense * _dot(unit, other.velocity) / SPEED_OF_LIGHT)
    raise ConvergenceError(
        f"light time not solved to {TOLERANCE} s in {MAXIMUM_STEPS} steps "
        f"({np.max(np.abs(excess)):.1e} s remain)"
    )


def _dot(a: Array, b: Array) -> Array:
    return np.einsum("ni,ni->n", a, b)


def _unit(vectors: Array) -> Array:
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]
