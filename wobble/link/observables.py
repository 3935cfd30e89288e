"""Range and range rate as a station measures them, with their partial derivatives.

In: a link (who sends, sends back and receives, and what delays the signal) and the time tags. Out:
`Range` and `RangeRate`: values, shape (n,), in m and m/s one-way, and derivatives with respect to
named parameters. A `Link` is a round trip, an `OneWayLink` the way down from a lander that sends
with its own oscillator; both are a path of some legs, and what follows holds for either.

* **Range** is half the interval on the station's clock between sending and receiving, times
  the speed of light: ``(t3 - t1)_clock = (t3 - t1)_TDB - [(TDB - TT)(t3) - (TDB - TT)(t1)]``.
  The bracket reaches 0.5 microseconds, 80 m, at Mars.
* **Range rate** over a count. What is received in a count T was sent in the interval S of the
  sender's own clock, so that the received frequency's average is the nominal one's times ``(1 +
  departure) S/T`` (and the turnaround ratio), and the range rate ``-c/n [(1 + departure) S/T - 1]``
  over n legs: positive when the lander recedes. The departure is that of a lander's oscillator from
  its nominal frequency, none in a round trip: by ``-c bias`` less when it is too high. A lander's
  clock is 5e-9 fast at Mars, with 1e-9 over its year, 1.5 and 0.3 m/s, in which an
  oscillator's bias cannot be told from it. The paths at begin and end of the count are solved (once
  where one count follows the other), which gives the change of the epochs; ``S - T`` is then
  formed from increments: with b and e the vector of a leg at begin and end of the count and
  a = e - b, ``drho = a.(b + e) / (|b| + |e|)``, a itself made of exact steps of the ends. No two
  ranges are ever subtracted.
* **Instantaneous range rate** is the same over 2 ms: the third derivative of the range makes
  that wrong by 1e-12 m/s.

Media enter a range with their group delay, a range rate with their phase delay. Many
measurements are computed in blocks (`wobble.link.blocks`).
"""

from __future__ import annotations

import functools
import itertools
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Self

import numpy as np
from astropy.time import Time
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.link.blocks import Rows, in_blocks, joined, rows
from wobble.link.count import Boundaries, count_times, leg_change, rough_step
from wobble.link.delays import Delay
from wobble.link.ends import LanderEnd, StationEnd
from wobble.link.partials import lander_clock_partials, path_partials
from wobble.link.path import Leg, Path, solve_path
from wobble.link.sight import sight_warnings
from wobble.planet.oscillator import Oscillator

__all__ = ["Link", "OneWayLink", "Range", "RangeRate", "SignalLink"]

Array = NDArray[np.float64]

INSTANT = 2.0e-3
AROUND = 1.0
"""Interval whose exact mean rate stands for that at its middle, where two are subtracted, s."""


@dataclass(frozen=True, eq=False)
class Range:
    """A computed range.

    Parameters
    ----------
    value : ndarray, shape (n,)
        m.
    link : Link
        What it was computed for.
    trip : Path
        The signal's path.
    """

    value: Array
    link: Link
    trip: Path

    def __repr__(self) -> str:
        return f"<Range: {len(self.value)} ranges over {self.link!r}>"

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """Which ends do not see each other at some measurements."""
        return sight_warnings(self.link.ends, self.trip, self.link.delays)

    def partials(self, names: Iterable[str]) -> dict[str, Array]:
        """Derivatives by name, shape (n,) each; names that it does not depend on are absent."""
        return self.link.partials(self.trip, names, of_phase=False)


@dataclass(frozen=True, eq=False)
class RangeRate:
    """A computed range rate.

    Parameters
    ----------
    value : ndarray, shape (n,)
        m/s.
    link : SignalLink
        What it was computed for.
    boundaries : Boundaries
        The m instants at which counts begin and end.
    trips : Path
        The signal's paths received then.
    count_time : ndarray, shape (n,)
        s.
    """

    value: Array
    link: SignalLink
    boundaries: Boundaries
    trips: Path
    count_time: Array

    def __repr__(self) -> str:
        return f"<RangeRate: {len(self.value)} range rates over {self.link!r}>"

    @cached_property
    def begin(self) -> Path:
        """The paths at the begin of the counts."""
        return rows(self.trips, self.boundaries.begin)

    @cached_property
    def end(self) -> Path:
        """The paths at the end of the counts."""
        return rows(self.trips, self.boundaries.end)

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """Which ends do not see each other at the begin or the end of some counts."""
        link = self.link
        both = (sight_warnings(link.ends, trip, link.delays) for trip in (self.begin, self.end))
        return tuple(dict.fromkeys(itertools.chain.from_iterable(both)))

    @property
    def frequency(self) -> Array:
        """Mean frequency received from an oscillator, Hz; a float keeps 1e-6 Hz, 4e-8 m/s."""
        return self.link.nominal_frequency * (1.0 - self.value / SPEED_OF_LIGHT)

    def partials(self, names: Iterable[str]) -> dict[str, Array]:
        """Derivatives by name, shape (n,) each; names that it does not depend on are absent."""
        return {name: rate for name, (_, rate) in self.partials_with_begin(names).items()}

    def partials_with_begin(self, names: Iterable[str]) -> dict[str, tuple[Array, Array]]:
        """Derivatives of the carrier's range at the begin of the counts, and of the range rate.

        By name: m and m/s per SI unit, shape (n,) each.
        """
        wanted, at = set(names), self.boundaries
        columns = self.link.rows(at.count).partials(self.trips, wanted, of_phase=True)
        per_count = (1.0 + self.link.departure(self.begin, self.end)) / self.count_time
        out = {
            name: (column[at.begin], (column[at.end] - column[at.begin]) * per_count)
            for name, column in columns.items()
        }
        own = self.link.own_partials(wanted, self.value, self.begin, self.end)
        for name, partial in own.items():
            begin, rate = out.get(name, (np.zeros_like(partial), 0.0))
            out[name] = (begin, rate + partial)
        return out


class SignalLink(ABC):
    """The ends between which a signal passes, and what happens to it on the legs."""

    lander: LanderEnd
    receiver: StationEnd
    delays: Sequence[Delay]

    @property
    @abstractmethod
    def ends(self) -> tuple[StationEnd | LanderEnd, ...]:
        """In the order of the signal: stations and landers take turns, the last is a station."""

    @property
    def legs(self) -> int:
        """Number of its legs: what is measured over all of them is told for one."""
        return len(self.ends) - 1

    @property
    def nominal_frequency(self) -> float:
        """Of the lander's own oscillator, Hz; none in a round trip."""
        return np.nan

    def rows(self, index: Rows) -> Self:
        """The same link for some of the measurements."""
        delays = [delay.rows(index) for delay in self.delays]
        return replace(self, delays=delays)  # type: ignore[type-var]  # every link is a dataclass

    def clock_offset(self, station: StationEnd) -> float:
        """By how much a station's clock is ahead of UTC, s."""
        return station.station.clock_offset

    def range_rate(self, tags: Time, count_time: ArrayLike) -> RangeRate:
        """Range rate averaged over the count, one-way m/s.

        Parameters
        ----------
        tags : Time
            UTC of the middle of the count at the receiver, shape (n,).
        count_time : array_like, shape (n,) or scalar
            Length of the count on the station's clock, s.

        Raises
        ------
        InputError
            If a count time is not possible (`wobble.link.count.count_times`).
        """
        middle = Epochs.from_time(tags, "tt").shift(-self.clock_offset(self.receiver))
        count = count_times(count_time, len(middle))
        at = Boundaries.of(middle, count, self._changes())
        link = self.rows(at.count)

        def path(index: slice) -> Path:
            part = link.rows(index)
            return part.solve(at.epochs[index], part.phase_delay)

        trips = joined(in_blocks(path, len(at.epochs)))

        def mean_rate(index: slice) -> Array:
            begin, end = (rows(trips, which[index]) for which in (at.begin, at.end))
            return self._mean_rate(begin, end, count[index])

        value = np.concatenate(in_blocks(mean_rate, len(middle)))
        return RangeRate(value, self, at, trips, count)

    def instantaneous_range_rate(self, tags: Time) -> RangeRate:
        """Range rate at an instant of reception, one-way m/s."""
        return self.range_rate(tags, INSTANT)

    def solve(self, tt: Epochs, delay: Callable[[Leg], Array], at_reception: bool = True) -> Path:
        """The path of the signal that a station's clock tags."""
        tagged = self.receiver if at_reception else self.ends[0]
        assert isinstance(tagged, StationEnd)  # a lander's clock tags nothing
        return solve_path(self.ends, tagged.at_clock(tt), delay, from_reception=at_reception)

    def group_delay(self, leg: Leg) -> Array:
        """What delays the modulation on a leg, s, shape (n,)."""
        return sum((d.group(leg) for d in self.delays), np.zeros(len(leg.distance)))

    def phase_delay(self, leg: Leg) -> Array:
        """What delays the carrier's phase on a leg, s, shape (n,)."""
        return sum((d.phase(leg) for d in self.delays), np.zeros(len(leg.distance)))

    def partials(self, path: Path, names: Iterable[str], *, of_phase: bool) -> dict[str, Array]:
        """Derivatives of the range along a path of the link by name, m per SI unit, (n,) each.

        The clock that tags moves the events: the derivative by its offset is that by the time tag,
        the exact mean rate over a second about it, with every delay and every clock in it: two
        more paths for each, where it is asked for. The rate at the tag differs from it by 2e-10
        (the Earth's turning) and rounding of 1e-11 m/s.
        """
        wanted = set(names)

        def block(index: slice) -> dict[str, Array]:
            link, part = self.rows(index), rows(path, index)
            lengths = path_partials(self.ends, part, link.delays, wanted, of_phase=of_phase)
            ranges = {name: partial / self.legs for name, partial in lengths.items()}
            return ranges | link._clock_partials(part, wanted, of_phase)

        parts = in_blocks(block, len(path))
        return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}

    def own_partials(
        self, names: set[str], value: Array, begin: Path, end: Path
    ) -> dict[str, Array]:
        """Derivatives of a range rate beside the change of the path, m/s per SI unit: none."""
        return {}

    # ------------------------------------------------------------- the count

    def _mean_rate(self, begin: Path, end: Path, count: Array) -> Array:
        """Range rate over the count, from the exact change of the path."""
        # Metres of the legs and seconds of all the rest apart: one rounding of a large number less.
        received = begin.received, end.received
        later = count - self.receiver.clock_gain(*received, count)
        step = self.receiver.step(*received, later)
        change, delay = np.zeros(len(count)), self.receiver.clock_gain(*received, later)
        for k in reversed(range(self.legs)):
            growth = end.delays[k] - begin.delays[k]
            longer, later, step = leg_change(
                begin.legs[k],
                (later, step),
                rough_step(self.ends[k], begin.events[k], end.events[k]),
                growth,
            )
            change, delay = change + longer, delay + growth
        delay = delay - self.ends[0].clock_gain(begin.sent, end.sent, later)
        rate = (change + SPEED_OF_LIGHT * delay) / count
        own = self.departure(begin, end)
        return (rate * (1.0 + own) - SPEED_OF_LIGHT * own) / self.legs

    def departure(self, begin: Path, end: Path) -> Array | float:
        """Of the frequency that is sent from the nominal one, mean of a count, fractional."""
        return 0.0

    # ------------------------------------------------------------ contributions

    def _changes(self) -> NDArray[np.bool_]:
        """Whether conditions change from one measurement to the next, (n - 1,) or (1,)."""
        return functools.reduce(
            np.logical_or, (d.changes() for d in self.delays), np.zeros(1, bool)
        )

    def _clock_partials(self, path: Path, names: set[str], of_phase: bool) -> dict[str, Array]:
        """By the offset of the clock that tags."""
        tagging = self.receiver if path.from_reception else self.ends[0]
        assert isinstance(tagging, StationEnd)
        name = f"station.{tagging.station.name}.clock_offset"
        return {name: -self._rate_of_range(path, of_phase)} if name in names else {}

    def _rate_of_range(self, path: Path, of_phase: bool) -> Array:
        """Change of the range per second of the tagging station's clock, m/s, shape (n,)."""
        delay = self.phase_delay if of_phase else self.group_delay
        tt = self.receiver.reading(path.received)
        begin, end = (self.solve(tt.shift(s * AROUND), delay) for s in (-0.5, 0.5))
        rate = self._mean_rate(begin, end, np.full(len(tt), AROUND))
        # A second at the reception is 1 - 2 v/c of them at the transmission.
        return rate if path.from_reception else rate / (1.0 - 2.0 * rate / SPEED_OF_LIGHT)


@dataclass(frozen=True, eq=False)
class Link(SignalLink):
    """A round trip: who sends, sends back, and receives.

    Parameters
    ----------
    transmitter : StationEnd
    lander : LanderEnd
    receiver : StationEnd
        The same object as the transmitter in two-way tracking.
    delays : sequence of Delay
        Contributions beyond the geometric light time, each for the same n measurements that
        are asked for.
    clock_offsets : mapping of str to float
        By how much a station's clock is ahead of UTC, s; it moves the time tags, and in
        three-way tracking the range.
    """

    transmitter: StationEnd
    lander: LanderEnd
    receiver: StationEnd
    delays: Sequence[Delay] = ()
    clock_offsets: Mapping[str, float] = field(default_factory=dict)

    def __repr__(self) -> str:
        names = (self.transmitter.station.name, self.lander.lander.name, self.receiver.station.name)
        return f"<Link {' - '.join(names)}, {len(self.delays)} delays>"

    @property
    def ends(self) -> tuple[StationEnd | LanderEnd, ...]:
        return self.transmitter, self.lander, self.receiver

    def clock_offset(self, station: StationEnd) -> float:
        return self.clock_offsets.get(station.station.name, 0.0)

    def range(self, tags: Time, *, at_reception: bool = True) -> Range:
        """Range, one-way m.

        Parameters
        ----------
        tags : Time
            UTC time tags, shape (n,).
        at_reception : bool
            Whether the tags are of the reception (else of the transmission).
        """
        tagging = self.receiver if at_reception else self.transmitter
        tt = Epochs.from_time(tags, "tt").shift(-self.clock_offset(tagging))

        def block(index: slice) -> Range:
            return self.rows(index)._range(tt[index], at_reception)

        parts = in_blocks(block, len(tt))
        value = np.concatenate([part.value for part in parts])
        return Range(value, self, joined([part.trip for part in parts]))

    def _range(self, tt: Epochs, at_reception: bool) -> Range:
        trip = self.solve(tt, self.group_delay, at_reception)
        delay = trip.delay - self._clock_change(trip)
        delay += self.clock_offset(self.receiver) - self.clock_offset(self.transmitter)
        return Range((trip.length + SPEED_OF_LIGHT * delay) / self.legs, self, trip)

    def _clock_change(self, trip: Path) -> Array:
        """Growth of TDB - TT at the stations' clocks from transmission to reception, s."""
        flight = trip.received.epochs.minus(trip.sent.epochs)
        return (
            self.receiver.earth.clock.increment(trip.sent.epochs, flight)[:, 0]
            + self.receiver.place_clock(trip.received)
            - self.transmitter.place_clock(trip.sent)
        )

    def _clock_partials(self, path: Path, names: set[str], of_phase: bool) -> dict[str, Array]:
        """By the offsets of the stations' clocks.

        The clock that tags moves the event; both read the interval, in which they cancel if
        they are one, and always in a range rate.
        """
        out = super()._clock_partials(path, names, of_phase)
        transmitter, receiver = self.transmitter.station.name, self.receiver.station.name
        for station, sense in ((transmitter, -1.0), (receiver, 1.0)):
            name = f"station.{station}.clock_offset"
            if name in names:
                reads = transmitter != receiver and not of_phase
                read = sense * SPEED_OF_LIGHT / self.legs if reads else 0.0
                out[name] = out.get(name, np.zeros(len(path))) + read
        return out


@dataclass(frozen=True, eq=False)
class OneWayLink(SignalLink):
    """A lander that sends with its own oscillator, a station that listens.

    Nothing is known of the range.

    Parameters
    ----------
    lander : LanderEnd
    receiver : StationEnd
        Its clock tags the counts.
    oscillator : Oscillator
    delays : sequence of Delay
        Effects on the down leg, which enter with their phase delay.
    """

    lander: LanderEnd
    receiver: StationEnd
    oscillator: Oscillator
    delays: Sequence[Delay] = ()

    def __repr__(self) -> str:
        names = (self.lander.lander.name, self.receiver.station.name)
        return f"<OneWayLink {' - '.join(names)}, {len(self.delays)} delays>"

    @property
    def ends(self) -> tuple[StationEnd | LanderEnd, ...]:
        return self.lander, self.receiver

    @property
    def nominal_frequency(self) -> float:
        return self.oscillator.frequency

    def age(self, begin: Path, end: Path) -> Array:
        """Seconds from the oscillator's epoch to the middle of each emission, shape (n,)."""
        epochs = [path.sent.epochs.since_j2000 for path in (begin, end)]
        return (epochs[0] + epochs[1]) / 2.0 - self.oscillator.epoch

    def departure(self, begin: Path, end: Path) -> Array:
        return self.oscillator.departure(self.age(begin, end))

    def own_partials(
        self, names: set[str], value: Array, begin: Path, end: Path
    ) -> dict[str, Array]:
        """By the oscillator's bias and drift, and by what ages the lander's clock otherwise."""
        age = self.age(begin, end)
        # Cycles received in a second for each that a perfect oscillator would send.
        per_cycle = (1.0 - value / SPEED_OF_LIGHT) / (1.0 + self.oscillator.departure(age))
        own = f"lander.{self.lander.lander.name}.oscillator"
        by_oscillator = {
            f"{own}_bias": -SPEED_OF_LIGHT * per_cycle,
            f"{own}_drift": -SPEED_OF_LIGHT * per_cycle * age,
        }
        out = lander_clock_partials(self.lander, begin.sent, names)
        return out | {name: partial for name, partial in by_oscillator.items() if name in names}
