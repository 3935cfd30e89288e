"""Derivatives of the downlink's phase with respect to what it depends on.

In: a one-way link, a down leg that it has solved, and names of parameters. Out: metres of
length per SI unit of each parameter, shape (n,); a range rate's derivative is the difference
of two of them over the count time.

The reception is held, which the station's clock tags; the emission moves as light demands,
by ``1 / (1 - u.v/c)`` with u the direction of the ray and v the lander's velocity. Whatever
moves faster also ages slower, by ``v dv / c^2``, and a displaced station has another clock,
by ``V.dr / c^2``. Left out, beside what `wobble.link.range_partials` names: that the lander's
clock goes otherwise when the planet is nearer to the Sun, 1e-4 of the radial offset's derivative,
and the changing rates of all clocks, 1e-4 of the derivative by the station's clock offset.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.link.light_time import Leg

if TYPE_CHECKING:
    from wobble.link.one_way import OneWayLink

__all__ = ["downlink_partials"]

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
    return (
        _lander_partials(link, leg, wanted, direction + sent.velocity / SPEED_OF_LIGHT)
        | _orbit_partials(link, leg, wanted, direction)
        | _station_partials(link, leg, wanted, unit * gain[:, None])
        | _delay_partials(link, leg, wanted, gain)
    )


def _lander_partials(
    link: OneWayLink, leg: Leg, names: set[str], direction: Array
) -> dict[str, Array]:
    """By the rotation and the lander's coordinates."""
    orientation, lander = link.lander.body.orientation, link.lander.lander
    epochs = leg.transmission.epochs
    out = orientation.projected_partials(names, lander.position, epochs, direction)
    coordinates = {f"lander.{lander.name}.{axis}": k for k, axis in enumerate("xyz")}
    if not names.isdisjoint(coordinates):
        fixed = orientation.body_fixed(direction, epochs)
        out |= {name: fixed[:, k] for name, k in coordinates.items() if name in names}
    return out


def _orbit_partials(
    link: OneWayLink, leg: Leg, names: set[str], direction: Array
) -> dict[str, Array]:
    """By the offset of the planet from its ephemeris."""
    axes = ("radial", "transverse", "normal")
    offsets = {f"ephemeris.{link.lander.body.name}.{axis}": k for k, axis in enumerate(axes)}
    if names.isdisjoint(offsets):
        return {}
    along = np.einsum("nij,nj->in", link.lander.orbit_axes(leg.transmission.epochs), direction)
    return {name: along[k] for name, k in offsets.items() if name in names}


def _station_partials(
    link: OneWayLink, leg: Leg, names: set[str], direction: Array
) -> dict[str, Array]:
    """By the station's terrestrial coordinates."""
    end, received = link.receiver, leg.reception
    prefix = f"station.{end.station.name}."
    out: dict[str, Array] = {}
    if not names.isdisjoint(prefix + axis for axis in "xyz"):
        moved = direction - received.center_velocity / SPEED_OF_LIGHT
        fixed = end.earth.orientation.itrf(moved, end.earth.tt(received.epochs))
        out |= {
            prefix + axis: fixed[:, k] for k, axis in enumerate("xyz") if prefix + axis in names
        }
    return out


def _delay_partials(link: OneWayLink, leg: Leg, names: set[str], gain: Array) -> dict[str, Array]:
    """By the parameters of what delays the signal; electrons advance the phase."""
    out: dict[str, Array] = {}
    for delay in link.delays:
        metres = SPEED_OF_LIGHT * gain * (-1.0 if delay.dispersive else 1.0)
        for name, partial in delay.partials(leg, names).items():
            out[name] = out.get(name, 0.0) + metres * partial
    return out
