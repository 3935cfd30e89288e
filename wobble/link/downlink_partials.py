"""Derivatives of the downlink's phase with respect to what it depends on.

In: a one-way link, a down leg that it has solved, and names of parameters. Out: metres of
length per SI unit of each parameter, shape (n,); a range rate's derivative is the difference
of two of them over the count time.

The reception is held, which the station's clock tags; the emission moves as light demands,
by ``1 / (1 - u.v/c)`` with u the direction of the ray and v the lander's velocity. A displaced
station has another clock, by ``V.dr / c^2``, and other air over it. A displaced lander ages
otherwise, by the integral of ``-(v.dv + dU) / c^2``. What falls freely with the planet feels
the Sun in neither: the integral by parts is ``-v.dr / c^2`` between begin and end, which is
counted with the length, 4e-4 of the derivative by the planet's radial offset, and what gravity
with its centrifugal part makes of a height, 2e-4 of a coordinate's derivative
(`lander_clock_partials`). Left out is what `wobble.link.range_partials` names.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.link.delays import Delay
from wobble.link.lander_partials import lander_partials, orbit_partials
from wobble.link.light_time import Leg

if TYPE_CHECKING:
    from wobble.link.one_way import OneWayLink

__all__ = ["downlink_partials", "lander_clock_partials"]

Array = NDArray[np.float64]


def downlink_partials(link: OneWayLink, leg: Leg, names: Collection[str]) -> dict[str, Array]:
    """Derivatives of a leg's length in phase by name, shape (n,) each.

    Parameters
    ----------
    link : OneWayLink
    leg : Leg
        A path of the link.
    names : collection of str
        Those that it does not depend on are left out.
    """
    wanted = set(names)
    sent, unit = leg.transmission, leg.vector / leg.distance[:, None]
    gain = 1.0 / (1.0 - np.einsum("ni,ni->n", unit, sent.velocity) / SPEED_OF_LIGHT)
    direction = -unit * gain[:, None]
    orbital = direction + sent.center_velocity / SPEED_OF_LIGHT
    local = direction + sent.velocity / SPEED_OF_LIGHT
    for delay in link.delays:
        local = local + _metres(delay, gain)[:, None] * delay.by_lander(leg)
    lander, epochs = link.lander, sent.epochs
    return (
        lander_partials(lander, wanted, epochs, local)
        | orbit_partials(lander, wanted, epochs, orbital, lander.orbit_axes)
        | _station_partials(link, leg, wanted, unit, gain)
        | _delay_partials(link, leg, wanted, gain)
    )


def lander_clock_partials(link: OneWayLink, leg: Leg, names: Collection[str]) -> dict[str, Array]:
    """What a lander's clock does to the range rate beside what is counted with the length.

    Metres per second by name, shape (n,) each: ``g.dr/c`` by the lander's place, since a higher
    clock runs faster, and ``w.da/c`` by the planet's offset, with w the velocity of the lander
    around its planet and da the turning of the orbit's axis.
    """
    lander, sent = link.lander, leg.transmission
    gravity, around = lander.gravity(sent), sent.turned_velocity
    return lander_partials(lander, names, sent.epochs, gravity / SPEED_OF_LIGHT) | orbit_partials(
        lander, names, sent.epochs, around / SPEED_OF_LIGHT, lander.orbit_axes_rate
    )


def _station_partials(
    link: OneWayLink, leg: Leg, names: set[str], unit: Array, gain: Array
) -> dict[str, Array]:
    """By the station's terrestrial coordinates."""
    end, received = link.receiver, leg.reception
    prefix = f"station.{end.station.name}."
    out: dict[str, Array] = {}
    if not names.isdisjoint(prefix + axis for axis in "xyz"):
        moved = unit * gain[:, None] - received.center_velocity / SPEED_OF_LIGHT
        fixed = end.earth.orientation.itrf(moved, end.earth.tt(received.epochs))
        for delay in link.delays:
            fixed = fixed + _metres(delay, gain)[:, None] * delay.by_place(leg)
        out |= {
            prefix + axis: fixed[:, k] for k, axis in enumerate("xyz") if prefix + axis in names
        }
    return out


def _metres(delay: Delay, gain: Array) -> Array:
    """Of path in phase for each second of a delay; electrons advance the phase."""
    return SPEED_OF_LIGHT * gain * (-1.0 if delay.dispersive else 1.0)


def _delay_partials(link: OneWayLink, leg: Leg, names: set[str], gain: Array) -> dict[str, Array]:
    """By the parameters of what delays the signal."""
    out: dict[str, Array] = {}
    for delay in link.delays:
        metres = _metres(delay, gain)
        for name, partial in delay.partials(leg, names).items():
            out[name] = out.get(name, 0.0) + metres * partial
    return out
