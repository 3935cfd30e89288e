"""Range and range rate as a station measures them, with their partial derivatives.

In: a `Link` (who sends, sends back and receives, and what delays the signal) and the time
tags. Out: `Computed`: values, shape (n,), in m and m/s one-way, and derivatives with
respect to named parameters.

* **Range** is half the interval on the station's clock between sending and receiving, times
  the speed of light: ``(t3 - t1)_clock = (t3 - t1)_TDB - [(TDB - TT)(t3) - (TDB - TT)(t1)]``.
  The bracket reaches 0.5 microseconds, 80 m, at Mars.
* **Range rate** over a count is the change of that range from begin to end of the count,
  divided by the count time on the station's clock (for a constant uplink frequency the
  received frequency's average is the transmitted one's times turnaround ratio times ``1 - 2
  v/c``). It is formed from increments: with b and e the vector of a leg at begin and end of
  the count and a = e - b, ``drho = a.(b + e) / (|b| + |e|)``, a itself made of exact
  increments of the ends, the epochs of the other events shifted as the light time changes.
  No two ranges are ever subtracted.
* **Instantaneous range rate** is the same over 2 ms: the third derivative of the range makes
  that wrong by 1e-12 m/s.

Media enter a range with their group delay, a range rate with their phase delay.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from astropy.time import Time
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.link.delays import Delay
from wobble.link.ends import Event, LanderEnd, StationEnd
from wobble.link.light_time import Leg, RoundTrip, solve_round_trip

__all__ = ["Computed", "Link", "RangeRate"]

Array = NDArray[np.float64]

INSTANT = 2.0e-3
COUNT_SWEEPS = 3


@dataclass(frozen=True, eq=False)
class Computed:
    """A computed observable.

    Parameters
    ----------
    value : ndarray, shape (n,)
        m (range).
    link : Link
        What it was computed for.
    trip : RoundTrip
        The signal's path.
    """

    value: Array
    link: Link
    trip: RoundTrip

    def partials(self, names: Iterable[str]) -> dict[str, Array]:
        """Derivatives by name, shape (n,) each; names that it does not depend on are absent."""
        return self.link.range_partials(self.trip, list(names))


@dataclass(frozen=True, eq=False)
class RangeRate:
    """A computed range rate; ``begin`` and ``end`` are the paths at both ends of the count."""

    value: Array
    link: Link
    begin: RoundTrip
    end: RoundTrip
    count_time: Array

    def partials(self, names: Iterable[str]) -> dict[str, Array]:
        """Derivatives by name, shape (n,) each; names that it does not depend on are absent."""
        wanted = list(names)
        first = self.link.range_partials(self.begin, wanted)
        last = self.link.range_partials(self.end, wanted)
        return {name: (last[name] - first[name]) / self.count_time for name in last}


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
    """

    transmitter: StationEnd
    lander: LanderEnd
    receiver: StationEnd
    delays: Sequence[Delay] = ()

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
        station = self.receiver if at_reception else self.transmitter
        epochs = station.tdb(Epochs.from_time(tags, "tt"))
        trip = solve_round_trip(
            self.transmitter, self.lander, self.receiver, epochs, self._group, received=at_reception
        )
        clock = self._clock_change(trip)
        value = 0.5 * (
            trip.path + SPEED_OF_LIGHT * ((trip.up_delay + trip.down_delay) - clock)
        )
        return Computed(value, self, trip)

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
            If a count time is not positive.
        """
        count = np.broadcast_to(np.asarray(count_time, float), (np.size(tags.jd1),))
        if not (count > 0).all():
            raise InputError(
                "a count time is positive",
                field="count_time",
                found=float(count[~(count > 0)][0]),
                expected="seconds",
            )
        begin_tt = Epochs.from_time(tags, "tt").shift(-count / 2.0)
        begin_tdb = self.receiver.tdb(begin_tt)
        begin = solve_round_trip(
            self.transmitter, self.lander, self.receiver, begin_tdb, self._phase
        )
        value, end = self._advance(begin, count)
        return RangeRate(value, self, begin, end, count)

    def instantaneous_range_rate(self, tags: Time) -> RangeRate:
        """Range rate at an instant of reception, one-way m/s."""
        return self.range_rate(tags, INSTANT)

    # ------------------------------------------------------------- the count

    def _advance(self, begin: RoundTrip, count: Array) -> tuple[Array, RoundTrip]:
        """Mean range rate over a count that starts with ``begin``, and the path at its end."""
        down, up = begin.down, begin.up
        clock = self.receiver.earth.clock
        count_tdb = count + clock.increment(down.reception.epochs, count)[:, 0]
        received = self.receiver.advance(down.reception, count_tdb)
        # The place's own part of TDB - TT stretches the count by up to 1e-10 of it.
        count_tdb += self._place_clock_step(self.receiver, down.reception, received.event)
        received = self.receiver.advance(down.reception, count_tdb)
        at_lander = at_transmitter = count_tdb
        for _ in range(COUNT_SWEEPS):
            returned = self.lander.advance(down.transmission, at_lander)
            end_down = Leg(returned.event, received.event, station_transmits=False)
            longer_down = _length_increment(down, received.step - returned.step)
            down_delay_step = self._phase(end_down) - begin.down_delay
            at_lander = count_tdb - longer_down / SPEED_OF_LIGHT - down_delay_step
        for _ in range(COUNT_SWEEPS):
            sent = self.transmitter.advance(up.transmission, at_transmitter)
            end_up = Leg(sent.event, returned.event, station_transmits=True)
            longer_up = _length_increment(up, returned.step - sent.step)
            up_delay_step = self._phase(end_up) - begin.up_delay
            at_transmitter = at_lander - longer_up / SPEED_OF_LIGHT - up_delay_step
        clock_step = (
            clock.increment(down.reception.epochs, count_tdb)[:, 0]
            - clock.increment(up.transmission.epochs, at_transmitter)[:, 0]
            + self._place_clock_step(self.receiver, down.reception, received.event)
            - self._place_clock_step(self.transmitter, up.transmission, sent.event)
        )
        delay_step = down_delay_step + up_delay_step
        longer = longer_down + longer_up + SPEED_OF_LIGHT * (delay_step - clock_step)
        end = RoundTrip(
            end_up,
            end_down,
            begin.up_delay + up_delay_step,
            begin.down_delay + down_delay_step,
            received=True,
        )
        return longer / (2.0 * count), end

    @staticmethod
    def _place_clock_step(station: StationEnd, begin: Event, end: Event) -> Array:
        return station.place_clock(end) - station.place_clock(begin)

    # ------------------------------------------------------------ contributions

    def _group(self, leg: Leg) -> Array:
        return sum((d.group(leg) for d in self.delays), np.zeros(len(leg.station.epochs)))

    def _phase(self, leg: Leg) -> Array:
        return sum((d.phase(leg) for d in self.delays), np.zeros(len(leg.station.epochs)))

    def _clock_change(self, trip: RoundTrip) -> Array:
        """Growth of TDB - TT at the stations' clocks from transmission to reception, s."""
        sent, received = trip.up.transmission, trip.down.reception
        return (
            self.receiver.earth.clock.increment(sent.epochs, received.epochs.minus(sent.epochs))[
                :, 0
            ]
            + self.receiver.place_clock(received)
            - self.transmitter.place_clock(sent)
        )

    # ---------------------------------------------------------------- partials

    def range_partials(self, trip: RoundTrip, names: list[str]) -> dict[str, Array]:
        """Derivatives of the one-way range by name, shape (n,) each."""
        _, at_lander, _ = trip.gradients()
        direction = 0.5 * at_lander
        event = trip.down.transmission
        body, lander = self.lander.body, self.lander.lander
        out = body.orientation.projected_partials(
            names, lander.position, event.epochs, direction
        )
        coordinates = [f"lander.{lander.name}.{axis}" for axis in "xyz"]
        if not set(coordinates).isdisjoint(names):
            fixed = body.orientation.body_fixed(direction, event.epochs)
            out |= {n: fixed[:, k] for k, n in enumerate(coordinates) if n in names}
        return out


def _length_increment(leg: Leg, change: Array) -> Array:
    """Change of a leg's length when its vector changes, m, shape (n,), without cancellation."""
    begin = leg.vector
    end = begin + change
    lengths = np.linalg.norm(begin, axis=1) + np.linalg.norm(end, axis=1)
    return np.einsum("ni,ni->n", change, begin + end) / lengths
