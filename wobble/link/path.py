"""The path of a signal: when it left, was sent back, and arrived.

In: the ends of a link in the order of the signal, and the event that a time tag names, the last or
the first. Out: `Path`, the events at all ends with the delays of the legs between them, and how
the sum of the light times changes when an end moves or a delay grows. A round trip has two
legs, a downlink one.

Each leg solves ``tau = |r_other(t +- tau) - r_given(t)| / c + delay`` (Moyer 2000,
Formulation for observed and computed values, chapter 8). A rough place of the other end gives
a first guess; it is evaluated there, and again if its path cannot be taken as straight so
far; a straight line from it gives the answer, to some micrometres. The delay
is that of the path which light would take without it: the other end moves by some 2 m
during the delay by the Sun's gravity, which changes that delay by 10 micrometres at the
Sun's limb and by a hundredth of it 2 degrees away.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import ConvergenceError
from wobble.link.ends import End, Event

__all__ = ["Leg", "Path", "PathGradients", "solve_path"]

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
class Path:
    """The way of a signal over n legs, solved.

    Parameters
    ----------
    events : tuple of Event
        The n + 1 events at its ends, in the order of time.
    delays : tuple of ndarray, shape (n events,)
        Of each leg beyond its geometric light time, s.
    station_sends : bool
        Whether a station stands at the first end (else a lander): the ends take turns.
    from_reception : bool
        Whether the last event (True) or the first was given.
    """

    events: tuple[Event, ...]
    delays: tuple[Array, ...]
    station_sends: bool
    from_reception: bool

    def __len__(self) -> int:
        return len(self.events[0].epochs)

    @cached_property
    def legs(self) -> tuple[Leg, ...]:
        """From each event to the next."""
        pairs = enumerate(itertools.pairwise(self.events))
        return tuple(Leg(*pair, self.station_sends == (k % 2 == 0)) for k, pair in pairs)

    @property
    def sent(self) -> Event:
        """The first transmission."""
        return self.events[0]

    @property
    def returned(self) -> Event:
        """Where a round trip turns: reception and retransmission by the lander."""
        return self.events[1]

    @property
    def received(self) -> Event:
        """The last reception."""
        return self.events[-1]

    @property
    def up(self) -> Leg:
        """The first leg: of a round trip the way to the lander."""
        return self.legs[0]

    @property
    def down(self) -> Leg:
        """The last leg: the way from the lander."""
        return self.legs[-1]

    @property
    def length(self) -> Array:
        """Geometric length of all legs, m, shape (n,)."""
        return sum((leg.distance for leg in self.legs), np.zeros(len(self)))

    @property
    def delay(self) -> Array:
        """Delays of all legs, s, shape (n,)."""
        return sum(self.delays, np.zeros(len(self)))

    @property
    def light_time(self) -> Array:
        """From transmission to reception in TDB with all delays, s, shape (n,)."""
        return self.length / SPEED_OF_LIGHT + self.delay

    @cached_property
    def gradients(self) -> PathGradients:
        """How the light time depends on places and delays."""
        if self.from_reception:
            places, delays = _gradients(self.events[::-1], -1.0)
            return PathGradients(places[::-1], delays[::-1])
        return PathGradients(*_gradients(self.events, 1.0))


@dataclass(frozen=True, eq=False)
class PathGradients:
    """Change of ``c * light_time``; the given event is held in time, the others move.

    Parameters
    ----------
    places : tuple of ndarray, shape (n, 3)
        By a displacement of each end.
    delays : tuple of ndarray, shape (n,)
        By a growth of c times the delay of each leg: one, but for terms in v/c.
    """

    places: tuple[Array, ...]
    delays: tuple[Array, ...]


def _gradients(
    events: tuple[Event, ...], sense: float
) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """Gradients by the places and the delays, outward from the event that is given.

    With ``w_k`` the direction of leg k and ``beta = sense/c``, time running with ``sense``:
    where leg k grows by l, the event at its far end comes ``beta l`` later, and all after it.
    So a growth of leg k counts ``(1 + sum over the legs j after it of G_j beta w_j.(v_j -
    v_(j-1))) / (1 - beta w_k.v_k)`` times, which is its gain G_k.
    """
    beta = sense / SPEED_OF_LIGHT
    units = [_unit(far.position - near.position) for near, far in itertools.pairwise(events)]
    gains: list[Array] = []
    after = np.zeros(len(events[0].epochs))
    for (near, far), unit in zip(
        reversed(list(itertools.pairwise(events))), reversed(units), strict=True
    ):
        gain = (1.0 + after) / (1.0 - beta * _dot(unit, far.velocity))
        after = after + beta * gain * _dot(unit, far.velocity - near.velocity)
        gains.insert(0, gain)
    pulls = [gain[:, None] * unit for gain, unit in zip(gains, units, strict=True)]
    nothing = np.zeros_like(pulls[0])
    places = (
        nearer - farther
        for nearer, farther in zip([nothing, *pulls], [*pulls, nothing], strict=True)
    )
    return tuple(places), tuple(gains)


def solve_path(
    ends: Sequence[End], given: Event, delay: LegDelay, *, from_reception: bool = True
) -> Path:
    """Solve all legs from the last reception, or from the first transmission.

    Parameters
    ----------
    ends : sequence of End
        In the order of the signal: stations and landers take turns.
    given : Event
        The reception at the last end, or the transmission at the first.
    delay : callable
        Delay of a leg beyond the geometric light time, s.
    from_reception : bool
        Which of the two is given.

    Raises
    ------
    ConvergenceError
        If a light time cannot be found (an end moves as fast as light).
    """
    sense = -1.0 if from_reception else 1.0
    events, delays = [given], []
    for end in list(ends)[-2::-1] if from_reception else list(ends)[1:]:
        here = events[-1]
        # Two legs back the signal was on the same planet.
        straight = _other(here, end, sense, events[-2] if len(events) > 1 else None)
        pair = (straight, here) if from_reception else (here, straight)
        leg = Leg(*pair, station_transmits=end.on_earth == from_reception)
        delays.append(delay(leg))
        events.append(_delayed(straight, here, delays[-1], sense))
    order = slice(None, None, -1 if from_reception else 1)
    return Path(tuple(events[order]), tuple(delays[order]), ends[0].on_earth, from_reception)


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
