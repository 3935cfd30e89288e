"""One-way tracking: a lander sends with its own oscillator, a station listens.

In: a `OneWayLink` and time tags. Out: `OneWayRate`, the mean range rate of the downlink over
each count, m/s, or the mean received frequency, Hz, with derivatives; nothing is known of
the range. The range rate is that against the nominal frequency f_0 of the oscillator,

    v = c (f_0 - f_R) / f_0,    f_R = f_0 (1 + bias + drift (t - t_0)) dtau / T,

as if the oscillator and both clocks were perfect: positive when the lander recedes, and by
``-c bias`` less when the oscillator is too high. dtau is the proper time of the lander between
the two emissions and T the count on the station's clock. For a clock at velocity v in the
potential U, ``dtau/dTDB = 1 + L_B - U/c^2 - v^2/(2 c^2)`` (IAU 2006 Resolution B3 for L_B): at
Mars 5e-9 with 1e-9 over its year, 1.5 and 0.3 m/s, in which an oscillator's bias cannot be
told from the clock's rate. The change of the light time is formed as for two-way range rates
(`wobble.link.count`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from astropy.time import Time
from numpy.typing import ArrayLike, NDArray

from wobble.constants import GM, L_B, SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.link.count import count_times, leg_change, rough_step
from wobble.link.delays import Delay
from wobble.link.downlink_partials import downlink_partials, lander_clock_partials
from wobble.link.ends import Event, LanderEnd, StationEnd
from wobble.link.light_time import Leg, solve_one_way
from wobble.planet.oscillator import Oscillator

__all__ = ["OneWayLink", "OneWayRate"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class OneWayRate:
    """Mean range rates of a downlink; ``begin`` and ``end`` are the paths of both ends of a count.

    Parameters
    ----------
    value : ndarray, shape (n,)
        ``c (f_0 - f_R) / f_0``, m/s.
    link : OneWayLink
        What it was computed for.
    begin, end : Leg
    count_time : ndarray, shape (n,)
        s.
    """

    value: Array
    link: OneWayLink
    begin: Leg
    end: Leg
    count_time: Array

    @property
    def frequency(self) -> Array:
        """Mean received frequency, Hz; a float keeps 1e-6 Hz of it, 4e-8 m/s."""
        return self.link.oscillator.frequency * (1.0 - self.value / SPEED_OF_LIGHT)

    def partials(self, names: Iterable[str]) -> dict[str, Array]:
        """Derivatives by name, m/s per SI unit, shape (n,) each; unknown names are absent.

        By the oscillator's bias and drift, and by all on which the range depends
        (`wobble.link.range_partials`) and that lies on the way down. A clock that is ahead tags
        what happened earlier: the derivative by its offset costs two more paths for each end of
        a count.
        """
        wanted, link = set(names), self.link
        age = link.age(self.begin, self.end)
        departure = link.oscillator.departure(age)
        first, last = (downlink_partials(link, leg, wanted) for leg in (self.begin, self.end))
        out = {
            name: (1.0 + departure) * (last[name] - first[name]) / self.count_time for name in last
        }
        for name, faster in lander_clock_partials(link, self.begin, wanted).items():
            out[name] = out[name] + faster
        lander = link.lander.lander
        clock = f"station.{link.receiver.station.name}.clock_offset"
        if clock in wanted:
            out[clock] = -self._rate_of_change()
        # Cycles received in a second for each that a perfect oscillator would send.
        per_cycle = (1.0 - self.value / SPEED_OF_LIGHT) / (1.0 + departure)
        own = {
            f"lander.{lander.name}.oscillator_bias": -SPEED_OF_LIGHT * per_cycle,
            f"lander.{lander.name}.oscillator_drift": -SPEED_OF_LIGHT * per_cycle * age,
        }
        return out | {name: partial for name, partial in own.items() if name in wanted}

    def _rate_of_change(self) -> Array:
        """Change of the range rate when the count comes later, m/s^2, shape (n,).

        From the same counts half a second later and earlier: within 2e-10 of it (the Earth's
        turning) and rounding of 1e-11 m/s^2.
        """
        first = self.link.receiver.reading(self.begin.reception)
        later, earlier = (
            self.link.from_instants(first.shift(step), self.count_time).value
            for step in (0.5, -0.5)
        )
        return later - earlier


@dataclass(frozen=True, eq=False)
class OneWayLink:
    """A lander that sends, a station that receives.

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

    def range_rate(self, tags: Time, count_time: ArrayLike) -> OneWayRate:
        """Range rate over counts around the tags (UTC of the middle at the receiver), m/s.

        Raises
        ------
        InputError
            If a count time is not possible (`wobble.link.count.count_times`).
        """
        middle = Epochs.from_time(tags, "tt").shift(-self.receiver.station.clock_offset)
        count = count_times(count_time, len(middle))
        return self.from_instants(middle.shift(-count / 2.0), count)

    def from_instants(self, first: Epochs, count: Array) -> OneWayRate:
        """Range rate over counts that begin when the station's clock reads ``first`` (TT)."""
        (begin, begin_delay), (end, end_delay) = (
            solve_one_way(self.lander, self.receiver.at_clock(tt), self._phase)
            for tt in (first, first.shift(count))
        )
        clock, station = self.receiver.earth.clock, self.receiver
        slower = clock.increment(begin.reception.epochs, count)[:, 0] + (
            station.place_clock(end.reception) - station.place_clock(begin.reception)
        )
        received_step = station.step(begin.reception, end.reception, count + slower)
        longer, sent_later, _ = leg_change(
            begin,
            (count + slower, received_step),
            rough_step(self.lander, begin.transmission, end.transmission),
            end_delay - begin_delay,
        )
        # Interval of emission less count, from the changes and not from the intervals.
        shorter = slower - longer / SPEED_OF_LIGHT - (end_delay - begin_delay)
        faster = self._proper_rate(begin.transmission, end.transmission)
        own = self.oscillator.departure(self.age(begin, end))
        stretch = (shorter + faster * sent_later) / count
        value = -SPEED_OF_LIGHT * (own + stretch + own * stretch)
        return OneWayRate(value, self, begin, end, count)

    def age(self, begin: Leg, end: Leg) -> Array:
        """Seconds from the oscillator's epoch to the middle of each emission, shape (n,)."""
        epochs = [leg.transmission.epochs.since_j2000 for leg in (begin, end)]
        return (epochs[0] + epochs[1]) / 2.0 - self.oscillator.epoch

    def _phase(self, leg: Leg) -> Array:
        return sum((d.phase(leg) for d in self.delays), np.zeros(len(leg.distance)))

    def _proper_rate(self, begin: Event, end: Event) -> Array:
        """Mean of ``dtau/dTDB - 1`` of the lander's clock between two emissions, shape (n,).

        By the rule of Simpson: the planet's turning changes it by 1e-11 over hours.
        """
        interval = end.epochs.minus(begin.epochs)
        middle = self.lander.at(begin.epochs.shift(interval / 2.0))
        first, half, last = (self._rate_at(event) for event in (begin, middle, end))
        return (first + 4.0 * half + last) / 6.0

    def _rate_at(self, event: Event) -> Array:
        sun = self.lander.ephemeris.position("sun", event.epochs)
        potential = GM["sun"] / np.linalg.norm(event.position - sun, axis=1)
        potential += self.lander.body.gm / np.linalg.norm(event.local, axis=1)
        speed = np.linalg.norm(event.velocity, axis=1)
        return L_B - (potential + speed**2 / 2.0) / SPEED_OF_LIGHT**2
