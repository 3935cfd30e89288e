"""The up leg and the down leg: when the signal left, was sent back, and arrived.

In: the ends of the link and the event of reception or of transmission. Out: `RoundTrip`,
the three events with the delays of both legs, and how the sum of the light times changes
when any of the three places moves or a delay grows.

Each leg solves ``tau = |r_other(t +- tau) - r_given(t)| / c + delay`` (Moyer 2000,
Formulation for observed and computed values, chapter 8). A rough place of the other end gives
a first guess; it is evaluated there, and again if its path cannot be taken as straight so
far; a straight line from it gives the answer, to some micrometres. The delay
is that of the path which light would take without it: the other end moves by some 2 m
during the delay by the Sun's gravity, which changes that delay by 10 micrometres at the
Sun's limb and by a hundredth of it 2 degrees away.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import ConvergenceError
from wobble.link.ends import End, Event

__all__ = ["Leg", "PathGradients", "RoundTrip", "solve_one_way", "solve_round_trip"]

Array = NDArray[np.float64]

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

    @cached_property
    def vector(self) -> Array:
        """From transmission to reception, m, shape (n, 3)."""
        # The planets apart from the places on them: one rounding of a large number less.
        return (self.reception.center - self.transmission.center) + (
            self.reception.local - self.transmission.local
        )

    @cached_property
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
    sent, returned, received : Event
        Transmission by a station, retransmission by the lander, reception by a station.
    up_delay, down_delay : ndarray, shape (n,)
        Delays beyond the geometric light times, s.
    from_reception : bool
        Whether the reception (True) or the transmission (False) was given.
    """

    sent: Event
    returned: Event
    received: Event
    up_delay: Array
    down_delay: Array
    from_reception: bool

    @cached_property
    def up(self) -> Leg:
        """The way to the lander."""
        return Leg(self.sent, self.returned, station_transmits=True)

    @cached_property
    def down(self) -> Leg:
        """The way back."""
        return Leg(self.returned, self.received, station_transmits=False)

    @property
    def path(self) -> Array:
        """Geometric length of both legs, m, shape (n,)."""
        return self.up.distance + self.down.distance

    @property
    def light_time(self) -> Array:
        """From transmission to reception in TDB with all delays, s, shape (n,)."""
        return self.path / SPEED_OF_LIGHT + self.up_delay + self.down_delay

    @cached_property
    def gradients(self) -> PathGradients:
        """How the light time depends on places and delays."""
        if self.from_reception:
            last, middle, first, down, up = _chain(self.received, self.returned, self.sent, -1.0)
        else:
            first, middle, last, up, down = _chain(self.sent, self.returned, self.received, 1.0)
        return PathGradients(first, middle, last, up, down)


@dataclass(frozen=True, eq=False)
class PathGradients:
    """Change of ``c * light_time``; the given event is held in time, the others move.

    Parameters
    ----------
    sent, returned, received : ndarray, shape (n, 3)
        By a displacement of the transmitter, the lander, the receiver.
    up_delay, down_delay : ndarray, shape (n,)
        By a growth of c times the delay of a leg: one, but for terms in v/c.
    """

    sent: Array
    returned: Array
    received: Array
    up_delay: Array
    down_delay: Array


def _chain(
    given: Event, middle: Event, last: Event, sense: float
) -> tuple[Array, Array, Array, Array, Array]:
    """Gradients from the given event over the lander to the other station.

    With ``u`` from the given to the middle, ``w`` from the middle to the last event, time
    running with ``sense``: a longer first leg shifts the middle event by ``sense/c`` times
    its change, and with it both ends of the second leg.
    """
    u, w = _unit(middle.position - given.position), _unit(last.position - middle.position)
    beta = sense / SPEED_OF_LIGHT
    second = 1.0 / (1.0 - beta * _dot(w, last.velocity))
    drag = beta * second * _dot(w, last.velocity - middle.velocity)
    first = (1.0 + drag) / (1.0 - beta * _dot(u, middle.velocity))
    at_given, at_last = -first[:, None] * u, second[:, None] * w
    return at_given, -at_given - at_last, at_last, first, second


def solve_round_trip(
    transmitter: End,
    lander: End,
    receiver: End,
    given: Event,
    delay: LegDelay,
    *,
    from_reception: bool = True,
) -> RoundTrip:
    """Solve both legs from the reception, or from the transmission.

    Parameters
    ----------
    transmitter, lander, receiver : End
        Who sends, sends back, receives.
    given : Event
        The reception at the receiver, or the transmission at the transmitter.
    delay : callable
        Delay of a leg beyond the geometric light time, s.
    from_reception : bool
        Which of the two is given.

    Raises
    ------
    ConvergenceError
        If a light time cannot be found (an end moves as fast as light).
    """
    if from_reception:
        down, down_delay = solve_one_way(lander, given, delay)
        returned = down.transmission
        up = Leg(_other(returned, transmitter, -1.0, given), returned, station_transmits=True)
        up_delay = delay(up)
        sent = _delayed(up.transmission, returned, up_delay, -1.0)
        return RoundTrip(sent, returned, given, up_delay, down_delay, from_reception)
    up = Leg(given, _other(given, lander, 1.0), station_transmits=True)
    up_delay = delay(up)
    returned = _delayed(up.reception, given, up_delay, 1.0)
    down = Leg(returned, _other(returned, receiver, 1.0, given), station_transmits=False)
    down_delay = delay(down)
    received = _delayed(down.reception, returned, down_delay, 1.0)
    return RoundTrip(given, returned, received, up_delay, down_delay, from_reception)


def solve_one_way(lander: End, given: Event, delay: LegDelay) -> tuple[Leg, Array]:
    """The down leg from the reception, and its delay, s.

    Parameters
    ----------
    lander : End
        Who sends.
    given : Event
        The reception.
    delay : callable
        Delay of a leg beyond the geometric light time, s.
    """
    straight = Leg(_other(given, lander, -1.0), given, station_transmits=False)
    seconds = delay(straight)
    sent = _delayed(straight.transmission, given, seconds, -1.0)
    return Leg(sent, given, station_transmits=False), seconds


def _other(given: Event, end: End, sense: float, known: Event | None = None) -> Event:
    """Where light from (or, with ``sense`` -1, to) the given event meets the other end.

    ``known`` is an event on the planet of the other end.
    """
    position, velocity = end.rough_state(given.epochs, known)
    tau = np.zeros(len(given.epochs))
    tau = _newton(position - given.position, velocity, tau, sense)
    for _ in range(MAXIMUM_STEPS):
        event = end.at(given.epochs.shift(sense * tau))
        better = _newton(event.position - given.position, event.velocity, tau, sense)
        missing, tau = better - tau, better
        if np.max(np.abs(missing), initial=0.0) < end.longest_straight:
            return event.moved(sense * missing)
    raise ConvergenceError(
        f"light time not solved in {MAXIMUM_STEPS} steps ({np.max(np.abs(missing)):.1e} s remain)"
    )


def _newton(vector: Array, velocity: Array, tau: Array, sense: float) -> Array:
    """Newton's step for the light time along a vector that grows by ``sense * velocity``."""
    distance = np.linalg.norm(vector, axis=1)
    slope = sense * _dot(vector, velocity) / (SPEED_OF_LIGHT * distance)
    return tau + (distance / SPEED_OF_LIGHT - tau) / (1.0 - slope)


def _delayed(event: Event, given: Event, delay: Array, sense: float) -> Event:
    """The event moved so far that light with this delay meets it."""
    toward = _unit(event.position - given.position)
    return event.moved(
        sense * delay / (1.0 - sense * _dot(toward, event.velocity) / SPEED_OF_LIGHT)
    )


def _dot(a: Array, b: Array) -> Array:
    return np.einsum("ni,ni->n", a, b)


def _unit(vectors: Array) -> Array:
    return vectors / np.linalg.norm(vectors, axis=1)[:, None]
