"""Derivatives of the range with respect to everything that it depends on.

In: a link, a path that it has solved, and names of parameters. Out: metres of one-way range
per SI unit of each parameter, shape (n,); a range rate's derivative is the difference of two
of them over the count time.

Whatever displaces the lander, a station or the planet is projected on the gradient of the
path (`RoundTrip.gradients`), in which the event that the time tag names is held and the
others move as light demands. The interval is read on a station's clock: it runs slower than
TDB by the rate of TDB - TT at the event that moves, and a displaced station has another
clock (1e-5 of a coordinate's derivative).

A displaced station also has other air over it, and another zenith: 1e-3 of a derivative; a
displaced lander another zenith, 3e-6 of a range rate's at 10 degrees of elevation. Left out: how
gravity's delay changes with a displacement, 1e-8 of the derivative, and near the Sun's limb 1e-5
of the part across the line of sight.

The clock that tags moves the events: the derivative by its offset is that by the time tag, a
rate with every delay and every clock in it (`Link.rate_of_range`), exact to 1e-9 and made from
two more paths for each, where it is asked for.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.link.delays import Delay
from wobble.link.lander_partials import lander_partials, orbit_partials
from wobble.link.light_time import RoundTrip

if TYPE_CHECKING:
    from wobble.link.observables import Link

__all__ = ["range_partials"]

Array = NDArray[np.float64]


def range_partials(
    link: Link, trip: RoundTrip, names: Collection[str], *, of_phase: bool = False
) -> dict[str, Array]:
    """Derivatives of the one-way range by name, shape (n,) each.

    Parameters
    ----------
    link : Link
    trip : RoundTrip
        A path of the link.
    names : collection of str
        Those that the range does not depend on are left out.
    of_phase : bool
        Whether the range is the carrier's (its change is a range rate) or the
        modulation's.
    """
    wanted = set(names)
    in_tdb = (
        _lander_partials(link, trip, wanted, of_phase)
        | _station_partials(link, trip, wanted, of_phase)
        | _delay_partials(link, trip, wanted, of_phase)
    )
    sent, received = _clock_rates(link, trip)
    on_clock = 1.0 - (sent if trip.from_reception else received)
    out = {name: on_clock * partial for name, partial in in_tdb.items()}
    return out | _clock_partials(link, trip, wanted, of_phase)


def _clock_rates(link: Link, trip: RoundTrip) -> tuple[Array, Array]:
    """Rates of TDB - TT at the transmission and at the reception."""
    return link.transmitter.clock_rate(trip.sent), link.receiver.clock_rate(trip.received)


def _lander_partials(
    link: Link, trip: RoundTrip, names: set[str], of_phase: bool
) -> dict[str, Array]:
    """By what moves the lander; the air over it feels its place on the planet alone."""
    lander, gradients, epochs = link.lander, trip.gradients, trip.returned.epochs
    of_planet = of_place = 0.5 * gradients.returned
    for delay in link.delays:
        for leg, gain in ((trip.up, gradients.up_delay), (trip.down, gradients.down_delay)):
            metres = 0.5 * SPEED_OF_LIGHT * _sign(delay, of_phase) * gain
            of_place = of_place + metres[:, None] * delay.by_lander(leg)
    return lander_partials(lander, names, epochs, of_place) | orbit_partials(
        lander, names, epochs, of_planet, lander.orbit_axes
    )


def _clock_partials(
    link: Link, trip: RoundTrip, names: set[str], of_phase: bool
) -> dict[str, Array]:
    """By the offsets of the stations' clocks.

    The clock that tags moves the event; both read the interval, in which they cancel if
    they are one, and always in a range rate.
    """
    tagging = link.receiver if trip.from_reception else link.transmitter
    transmitter, receiver = (end.station.name for end in (link.transmitter, link.receiver))
    out: dict[str, Array] = {}
    for station, sense in ((transmitter, -1.0), (receiver, 1.0)):
        name = f"station.{station}.clock_offset"
        if name not in names:
            continue
        out[name] = np.zeros(len(trip.up_delay))
        if transmitter != receiver and not of_phase:
            out[name] += 0.5 * SPEED_OF_LIGHT * sense
        if station == tagging.station.name:
            out[name] -= link.rate_of_range(trip, of_phase=of_phase)
    return out


def _station_partials(
    link: Link, trip: RoundTrip, names: set[str], of_phase: bool
) -> dict[str, Array]:
    """By the stations' terrestrial coordinates; the clock's part is that of ``V.r/c^2``."""
    out: dict[str, Array] = {}
    gradients = trip.gradients
    for end, event, gradient, leg, gain, sense in (
        (link.transmitter, trip.sent, gradients.sent, trip.up, gradients.up_delay, 1.0),
        (link.receiver, trip.received, gradients.received, trip.down, gradients.down_delay, -1.0),
    ):
        coordinates = {f"station.{end.station.name}.{axis}": k for k, axis in enumerate("xyz")}
        if names.isdisjoint(coordinates):
            continue
        moved = gradient + sense * event.center_velocity / SPEED_OF_LIGHT
        fixed = end.earth.orientation.itrf(0.5 * moved, end.earth.tt(event.epochs))
        for delay in link.delays:
            metres = 0.5 * SPEED_OF_LIGHT * _sign(delay, of_phase) * gain
            fixed = fixed + metres[:, None] * delay.by_place(leg)
        for name, k in coordinates.items():
            if name in names:
                out[name] = out.get(name, 0.0) + fixed[:, k]
    return out


def _sign(delay: Delay, of_phase: bool) -> float:
    """Of a delay in the range that is asked for: what is dispersive advances the phase."""
    return -1.0 if of_phase and delay.dispersive else 1.0


def _delay_partials(
    link: Link, trip: RoundTrip, names: set[str], of_phase: bool
) -> dict[str, Array]:
    """By the parameters of what delays the signal."""
    out: dict[str, Array] = {}
    gradients = trip.gradients
    for delay in link.delays:
        for leg, gain in ((trip.up, gradients.up_delay), (trip.down, gradients.down_delay)):
            for name, partial in delay.partials(leg, names).items():
                metres = 0.5 * SPEED_OF_LIGHT * _sign(delay, of_phase) * gain * partial
                out[name] = out.get(name, 0.0) + metres
    return out
