"""Range and range rate as a station measures them, with their partial derivatives.

In: a `Link` (who sends, sends back and receives, and what delays the signal) and the time
tags. Out: `Computed` and `RangeRate`: values, shape (n,), in m and m/s one-way, and
derivatives with respect to named parameters.

* **Range** is half the interval on the station's clock between sending and receiving, times
  the speed of light: ``(t3 - t1)_clock = (t3 - t1)_TDB - [(TDB - TT)(t3) - (TDB - TT)(t1)]``.
  The bracket reaches 0.5 microseconds, 80 m, at Mars.
* **Range rate** over a count is the change of that range from begin to end of the count,
  divided by the count time on the station's clock (for a constant uplink frequency the
  received frequency's average is the transmitted one's times turnaround ratio times ``1 - 2
  v/c``). The paths at begin and end of the count are solved (once where one count follows the
  other), which gives the change of the three epochs; the change of the range is then formed
  from increments: with b and e the vector of a leg at begin and end of the count and a = e - b,
  ``drho = a.(b + e) / (|b| + |e|)``, a itself made of exact steps of the ends. No two ranges
  are ever subtracted.
* **Instantaneous range rate** is the same over 2 ms: the third derivative of the range makes
  that wrong by 1e-12 m/s.

Media enter a range with their group delay, a range rate with their phase delay. Many
measurements are computed in blocks (`wobble.link.blocks`).
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from astropy.time import Time
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.link.blocks import Rows, in_blocks, joined, rows
from wobble.link.count import Boundaries, count_times, leg_change, rough_step
from wobble.link.delays import Delay
from wobble.link.ends import LanderEnd, StationEnd
from wobble.link.light_time import Leg, RoundTrip, solve_round_trip
from wobble.link.range_partials import range_partials
from wobble.link.sight import sight_warnings

__all__ = ["Computed", "Link", "RangeRate"]

Array = NDArray[np.float64]

INSTANT = 2.0e-3
AROUND = 1.0
"""Interval whose exact mean rate stands for that at its middle, where two are subtracted, s."""


@dataclass(frozen=True, eq=False)
class Computed:
    """A computed range.

    Parameters
    ----------
    value : ndarray, shape (n,)
        m.
    link : Link
        What it was computed for.
    trip : RoundTrip
        The signal's path.
    """

    value: Array
    link: Link
    trip: RoundTrip

    def __repr__(self) -> str:
        return f"<Computed: {len(self.value)} ranges over {self.link!r}>"

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """Which ends do not see each other at some measurements."""
        return sight_warnings(self.link, self.trip)

    def partials(self, names: Iterable[str]) -> dict[str, Array]:
        """Derivatives by name, shape (n,) each; names that it does not depend on are absent."""
        wanted = list(names)

        def block(index: slice) -> dict[str, Array]:
            return range_partials(self.link.rows(index), rows(self.trip, index), wanted)

        return _joined_columns(in_blocks(block, len(self.value)))


@dataclass(frozen=True, eq=False)
class RangeRate:
    """A computed range rate.

    Parameters
    ----------
    value : ndarray, shape (n,)
        m/s.
    link : Link
        What it was computed for.
    boundaries : Boundaries
        The m instants at which counts begin and end.
    trips : RoundTrip
        The signal's paths received then.
    count_time : ndarray, shape (n,)
        s.
    """

    value: Array
    link: Link
    boundaries: Boundaries
    trips: RoundTrip
    count_time: Array

    def __repr__(self) -> str:
        return f"<RangeRate: {len(self.value)} range rates over {self.link!r}>"

    @cached_property
    def begin(self) -> RoundTrip:
        """The paths at the begin of the counts."""
        return rows(self.trips, self.boundaries.begin)

    @cached_property
    def end(self) -> RoundTrip:
        """The paths at the end of the counts."""
        return rows(self.trips, self.boundaries.end)

    @cached_property
    def warnings(self) -> tuple[str, ...]:
        """Which ends do not see each other at the begin or the end of some counts."""
        both = (sight_warnings(self.link, trip) for trip in (self.begin, self.end))
        return tuple(dict.fromkeys(itertools.chain.from_iterable(both)))

    def partials(self, names: Iterable[str]) -> dict[str, Array]:
        """Derivatives by name, shape (n,) each; names that it does not depend on are absent."""
        return {name: rate for name, (_, rate) in self.partials_with_begin(names).items()}

    def partials_with_begin(self, names: Iterable[str]) -> dict[str, tuple[Array, Array]]:
        """Derivatives of the carrier's range at the begin of the counts, and of the range rate.

        By name: m and m/s per SI unit, shape (n,) each.
        """
        wanted = list(names)
        link, at = self.link.rows(self.boundaries.count), self.boundaries

        def block(index: slice) -> dict[str, Array]:
            return range_partials(link.rows(index), rows(self.trips, index), wanted, of_phase=True)

        columns = _joined_columns(in_blocks(block, len(at.epochs)))
        return {
            name: (column[at.begin], (column[at.end] - column[at.begin]) / self.count_time)
            for name, column in columns.items()
        }


def _joined_columns(parts: Sequence[dict[str, Array]]) -> dict[str, Array]:
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}


@dataclass(frozen=True, eq=False)
class Link:
    """Who sends, sends back, and receives, and what happens to the signal between them.

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
        ends = (self.transmitter.station.name, self.lander.lander.name, self.receiver.station.name)
        return f"<Link {' - '.join(ends)}, {len(self.delays)} delays>"

    def rows(self, index: Rows) -> Link:
        """The same link for some of the measurements."""
        return replace(self, delays=[delay.rows(index) for delay in self.delays])

    def _changes(self) -> NDArray[np.bool_]:
        """Whether conditions change from one measurement to the next, (n - 1,) or (1,)."""
        return functools.reduce(
            np.logical_or, (d.changes() for d in self.delays), np.zeros(1, bool)
        )

    # ------------------------------------------------------------------ values

    def range(self, tags: Time, *, at_reception: bool = True) -> Computed:
        """Range, one-way m.

        Parameters
        ----------
        tags : Time
            UTC time tags, shape (n,).
        at_reception : bool
            Whether the tags are of the reception (else of the transmission).
        """
        tagging = self.receiver if at_reception else self.transmitter
        tt = Epochs.from_time(tags, "tt").shift(-self._clock_offset(tagging))

        def block(index: slice) -> Computed:
            return self.rows(index)._range(tt[index], at_reception)

        parts = in_blocks(block, len(tt))
        value = np.concatenate([part.value for part in parts])
        return Computed(value, self, joined([part.trip for part in parts]))

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
        middle = Epochs.from_time(tags, "tt").shift(-self._clock_offset(self.receiver))
        count = count_times(count_time, len(middle))
        at = Boundaries.of(middle, count, self._changes())
        link = self.rows(at.count)

        def path(index: slice) -> RoundTrip:
            part = link.rows(index)
            return part._solve(at.epochs[index], part._phase)

        trips = joined(in_blocks(path, len(at.epochs)))

        def mean_rate(index: slice) -> Array:
            begin, end = (rows(trips, which[index]) for which in (at.begin, at.end))
            return self._mean_rate(begin, end, count[index])

        value = np.concatenate(in_blocks(mean_rate, len(middle)))
        return RangeRate(value, self, at, trips, count)

    def instantaneous_range_rate(self, tags: Time) -> RangeRate:
        """Range rate at an instant of reception, one-way m/s."""
        return self.range_rate(tags, INSTANT)

    def _range(self, tt: Epochs, at_reception: bool) -> Computed:
        trip = self._solve(tt, self._group, at_reception)
        delay = (trip.up_delay + trip.down_delay) - self._clock_change(trip)
        delay += self._clock_offset(self.receiver) - self._clock_offset(self.transmitter)
        return Computed(0.5 * (trip.path + SPEED_OF_LIGHT * delay), self, trip)

    def _solve(
        self, tt: Epochs, delay: Callable[[Leg], Array], at_reception: bool = True
    ) -> RoundTrip:
        """The path of the signal that a station's clock tags."""
        tagged = self.receiver if at_reception else self.transmitter
        return solve_round_trip(
            self.transmitter,
            self.lander,
            self.receiver,
            tagged.at_clock(tt),
            delay,
            from_reception=at_reception,
        )

    def rate_of_range(self, trip: RoundTrip, *, of_phase: bool) -> Array:
        """Change of the range per second of the tagging station's clock, m/s, shape (n,).

        With everything that is in a range rate: it is the exact mean over a second about the
        reception, from two more paths. The difference of two such rates is that of the
        instants but for 2e-10 of it (the Earth's turning) and rounding of 1e-11 m/s.

        Parameters
        ----------
        trip : RoundTrip
            Paths of the link.
        of_phase : bool
            Whether the range is the carrier's or the modulation's.
        """
        delay = self._phase if of_phase else self._group
        tt = self.receiver.reading(trip.received)
        begin, end = (self._solve(tt.shift(s * AROUND), delay) for s in (-0.5, 0.5))
        rate = self._mean_rate(begin, end, np.full(len(tt), AROUND))
        # A second at the reception is 1 - 2 v/c of them at the transmission.
        return rate if trip.from_reception else rate / (1.0 - 2.0 * rate / SPEED_OF_LIGHT)

    # ------------------------------------------------------------- the count

    def _mean_rate(self, begin: RoundTrip, end: RoundTrip, count: Array) -> Array:
        """Range rate over the count, from the exact change of the path."""
        clock = self.receiver.earth.clock
        place = self.receiver.place_clock(end.received) - self.receiver.place_clock(begin.received)
        received_later = count + clock.increment(begin.received.epochs, count)[:, 0] + place
        received_step = self.receiver.step(begin.received, end.received, received_later)
        down_delay_step = end.down_delay - begin.down_delay
        down, returned_later, returned_step = leg_change(
            begin.down,
            (received_later, received_step),
            rough_step(self.lander, begin.returned, end.returned),
            down_delay_step,
        )
        up_delay_step = end.up_delay - begin.up_delay
        up, sent_later, _ = leg_change(
            begin.up,
            (returned_later, returned_step),
            rough_step(self.transmitter, begin.sent, end.sent),
            up_delay_step,
        )
        clock_step = (
            clock.increment(begin.received.epochs, received_later)[:, 0]
            - clock.increment(begin.sent.epochs, sent_later)[:, 0]
            + place
            - (self.transmitter.place_clock(end.sent) - self.transmitter.place_clock(begin.sent))
        )
        delay_step = (down_delay_step + up_delay_step) - clock_step
        return ((down + up) + SPEED_OF_LIGHT * delay_step) / (2.0 * count)

    # ------------------------------------------------------------ contributions

    def _group(self, leg: Leg) -> Array:
        return sum((d.group(leg) for d in self.delays), np.zeros(len(leg.station.epochs)))

    def _phase(self, leg: Leg) -> Array:
        return sum((d.phase(leg) for d in self.delays), np.zeros(len(leg.station.epochs)))

    def _clock_offset(self, station: StationEnd) -> float:
        return self.clock_offsets.get(station.station.name, 0.0)

    def _clock_change(self, trip: RoundTrip) -> Array:
        """Growth of TDB - TT at the stations' clocks from transmission to reception, s."""
        flight = trip.received.epochs.minus(trip.sent.epochs)
        return (
            self.receiver.earth.clock.increment(trip.sent.epochs, flight)[:, 0]
            + self.receiver.place_clock(trip.received)
            - self.transmitter.place_clock(trip.sent)
        )
