"""One-way tracking: a lander sends with its own oscillator, a station listens.

In: a `OneWayLink` and time tags. Out: `OneWayFrequency`, the mean frequency that the station
receives over each count, Hz, with derivatives; nothing is known of the range.

    f_R = f_0 (1 + bias + drift (t - t_0)) dtau / T,

dtau the proper time of the lander between the two emissions and T the count on the station's
clock. For a clock at velocity v in the potential U, ``dtau/dTDB = 1 + L_B - U/c^2 -
v^2/(2 c^2)`` (IAU 2006 Resolution B3 for L_B): at Mars 5e-9 with 1e-9 over its year, 1.5 and
0.3 m/s, in which an oscillator's bias cannot be told from the clock's rate. The change of the
light time is formed as for two-way range rates (`wobble.link.count`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from astropy.time import Time
from numpy.typing import ArrayLike, NDArray

from wobble.constants import GM, L_B, SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.link.count import leg_change, rough_step
from wobble.link.delays import Delay
from wobble.link.ends import Event, LanderEnd, StationEnd
from wobble.link.light_time import Leg, solve_one_way

__all__ = ["OneWayFrequency", "OneWayLink", "Oscillator"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Oscillator:
    """The lander's own frequency.

    Parameters
    ----------
    frequency : float
        Nominal transmitted frequency, Hz.
    epoch : float
        TDB seconds since J2000.0 at which the bias holds.
    bias : float
        Fractional deviation from the nominal frequency.
    drift : float
        Its rate, 1/s.
    """

    frequency: float
    epoch: float
    bias: float = 0.0
    drift: float = 0.0


@dataclass(frozen=True, eq=False)
class OneWayFrequency:
    """Mean received frequencies, Hz, and the paths at both ends of each count."""

    value: Array
    link: OneWayLink
    begin: Leg
    end: Leg
    count_time: Array

    @property
    def range_rate(self) -> Array:
        """``c (1 - f_R / f_0)``, m/s: as if the oscillator and the clocks were perfect."""
        nominal = self.link.oscillator.frequency
        return SPEED_OF_LIGHT * (nominal - self.value) / nominal

    def partials(self, names: Iterable[str]) -> dict[str, Array]:
        """Derivatives by name, Hz per SI unit, shape (n,) each; unknown names are absent.

        By the rotation, the lander's coordinates, and ``lander.NAME.frequency_bias`` and
        ``.frequency_drift``. Left out: that a higher lander's clock runs faster, 2e-4 of a
        coordinate's derivative and constant, like a bias.
        """
        wanted = set(names)
        link, nominal = self.link, self.link.oscillator.frequency
        first, last = (link.length_partials(leg, wanted) for leg in (self.begin, self.end))
        scale = -nominal / (SPEED_OF_LIGHT * self.count_time)
        out = {name: scale * (last[name] - first[name]) for name in last}
        lander = link.lander.lander.name
        own = {
            f"lander.{lander}.frequency_bias": np.full_like(self.value, nominal),
            f"lander.{lander}.frequency_drift": nominal * link.age(self.begin, self.end),
        }
        return out | {name: partial for name, partial in own.items() if name in wanted}


@dataclass(frozen=True, eq=False)
class OneWayLink:
    """A lander that sends, a station that receives.

    Parameters
    ----------
    lander : LanderEnd
    receiver : StationEnd
    oscillator : Oscillator
    delays : sequence of Delay
        Effects on the down leg, which enter with their phase delay.
    """

    lander: LanderEnd
    receiver: StationEnd
    oscillator: Oscillator
    delays: Sequence[Delay] = ()

    def received_frequency(self, tags: Time, count_time: ArrayLike) -> OneWayFrequency:
        """Mean frequency over counts around the tags (UTC of the middle), Hz.

        Raises
        ------
        InputError
            If a count time is not positive.
        """
        middle = Epochs.from_time(tags, "tt")
        count = np.broadcast_to(np.asarray(count_time, float), (len(middle),))
        if not (count > 0.0).all():
            raise InputError("a count time is positive", field="count_time", found=count.min())
        first = middle.shift(-count / 2.0)
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
        oscillator = self.oscillator
        own = oscillator.bias + oscillator.drift * self.age(begin, end)
        stretch = (shorter + faster * sent_later) / count
        value = oscillator.frequency * (1.0 + own + stretch + own * stretch)
        return OneWayFrequency(value, self, begin, end, count)

    def age(self, begin: Leg, end: Leg) -> Array:
        """Seconds from the oscillator's epoch to the middle of each emission, shape (n,)."""
        epochs = [leg.transmission.epochs.since_j2000 for leg in (begin, end)]
        return (epochs[0] + epochs[1]) / 2.0 - self.oscillator.epoch

    def length_partials(self, leg: Leg, names: set[str]) -> dict[str, Array]:
        """Derivatives of a leg's length, less c times the lander's proper time, (n,) each."""
        orientation, lander = self.lander.body.orientation, self.lander.lander
        unit = leg.vector / leg.distance[:, None]
        speed = np.einsum("ni,ni->n", unit, leg.transmission.velocity)
        direction = -unit / (1.0 - speed / SPEED_OF_LIGHT)[:, None]
        # What moves faster also ages slower, by v dv / c^2.
        direction += leg.transmission.velocity / SPEED_OF_LIGHT
        epochs = leg.transmission.epochs
        out = orientation.projected_partials(names, lander.position, epochs, direction)
        fixed = orientation.body_fixed(direction, epochs)
        coordinates = {f"lander.{lander.name}.{axis}": k for k, axis in enumerate("xyz")}
        return out | {name: fixed[:, k] for name, k in coordinates.items() if name in names}

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
