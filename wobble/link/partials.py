"""Derivatives of a path's length with respect to everything that it depends on.

In: the ends of a link, a path between them that is solved, what delays the signal, and names of
parameters. Out: metres of length (c times the light time as the clocks at its ends read it) per
SI unit of each parameter, shape (n,). A range is half of a round trip; a range rate's derivative
is the difference of two of these over the count time.

Whatever displaces a lander, a station or the planet is projected on the gradient of the path
(`Path.gradients`), in which the event that the time tag names is held and the others move as
light demands. A displaced end has another clock: a station's by ``V.dr / c^2`` (1e-5 of a
coordinate's derivative); a lander that sends by the integral of ``-(v.dv + dU) / c^2``. What falls
freely with the planet feels the Sun in neither: by parts the integral is ``-v.dr / c^2`` between
begin and end of a count, which is counted with the length here, 4e-4 of the derivative by the
planet's radial offset, and what gravity with its centrifugal part makes of a height, 2e-4 of a
coordinate's derivative (`lander_clock_partials`).

A displaced station also has other air over it, and another zenith: 1e-3 of a derivative; a
displaced lander another zenith, 3e-6 of a range rate's at 10 degrees of elevation. Left out: how
gravity's delay changes with a displacement, 1e-8 of the derivative, and near the Sun's limb 1e-5
of the part across the line of sight; and the rate of the clock that reads the interval, 3e-10.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.link.delays import Delay
from wobble.link.ends import Event, LanderEnd, StationEnd
from wobble.link.path import Leg, Path

__all__ = ["lander_clock_partials", "path_partials"]

Array = NDArray[np.float64]
LegPart = tuple[Leg, Delay, Array]
"""A leg that begins or ends at an end, a delay on it, and metres of path for a second of that."""


def path_partials(
    ends: Sequence[StationEnd | LanderEnd],
    path: Path,
    delays: Sequence[Delay],
    names: Collection[str],
    *,
    of_phase: bool,
) -> dict[str, Array]:
    """Derivatives of the path's length by name, shape (n,) each.

    Parameters
    ----------
    ends : sequence of StationEnd or LanderEnd
        In the order of the signal.
    path : Path
        Between them.
    delays : sequence of Delay
    names : collection of str
        Those that the length does not depend on are left out.
    of_phase : bool
        Whether the length is the carrier's (its change is a range rate) or the modulation's.
    """
    wanted = set(names)
    parts = [
        [(leg, delay, _metres(delay, gain, of_phase)) for delay in delays]
        for leg, gain in zip(path.legs, path.gradients.delays, strict=True)
    ]
    clocks = [1.0, *(0.0 for _ in ends[1:-1]), -1.0]
    out: dict[str, Array] = {}
    for k, (end, event, gradient) in enumerate(
        zip(ends, path.events, path.gradients.places, strict=True)
    ):
        beside = [part for legs in parts[max(k - 1, 0) : k + 1] for part in legs]
        sense = clocks[k] / SPEED_OF_LIGHT
        if isinstance(end, StationEnd):
            _add(out, _station_partials(end, event, wanted, gradient, sense, beside))
        else:
            _add(out, _lander_partials(end, event, wanted, gradient, sense, beside))
    for leg, delay, metres in (part for legs in parts for part in legs):
        own = delay.partials(leg, wanted)
        _add(out, {name: metres * partial for name, partial in own.items()})
    return out


def _metres(delay: Delay, gain: Array, of_phase: bool) -> Array:
    """Of path for each second of a delay: what is dispersive advances the phase."""
    return SPEED_OF_LIGHT * gain * (-1.0 if of_phase and delay.dispersive else 1.0)


def _add(total: dict[str, Array], more: dict[str, Array]) -> None:
    for name, partial in more.items():
        total[name] = total.get(name, 0.0) + partial


def _station_partials(
    end: StationEnd,
    event: Event,
    names: set[str],
    gradient: Array,
    sense: float,
    beside: Sequence[LegPart],
) -> dict[str, Array]:
    """By the station's terrestrial coordinates, its clock and its air with it."""
    coordinates = {f"station.{end.station.name}.{axis}": k for k, axis in enumerate("xyz")}
    if names.isdisjoint(coordinates):
        return {}
    moved = gradient + sense * event.center_velocity
    fixed = end.earth.orientation.itrf(moved, end.earth.tt(event.epochs))
    for leg, delay, metres in beside:
        fixed = fixed + metres[:, None] * delay.by_place(leg)
    return {name: fixed[:, k] for name, k in coordinates.items() if name in names}


def _lander_partials(
    end: LanderEnd,
    event: Event,
    names: set[str],
    gradient: Array,
    sense: float,
    beside: Sequence[LegPart],
) -> dict[str, Array]:
    """By what moves the lander; the air over it feels its place on the planet alone."""
    of_planet = gradient + sense * event.center_velocity
    of_place = gradient + sense * event.velocity
    for leg, delay, metres in beside:
        of_place = of_place + metres[:, None] * delay.by_lander(leg)
    return _place_partials(end, names, event.epochs, of_place) | _orbit_partials(
        end, names, event.epochs, of_planet, end.orbit_axes
    )


def lander_clock_partials(end: LanderEnd, sent: Event, names: Collection[str]) -> dict[str, Array]:
    """What the clock of a lander that sends does to a range rate beside its part in the length.

    Metres per second by name, shape (n,) each: ``g.dr/c`` by the lander's place, since a higher
    clock runs faster, and ``w.da/c`` by the planet's offset, with w the velocity of the lander
    around its planet and da the turning of the orbit's axis.
    """
    gravity, around = end.gravity(sent), sent.turned_velocity
    return _place_partials(end, names, sent.epochs, gravity / SPEED_OF_LIGHT) | _orbit_partials(
        end, names, sent.epochs, around / SPEED_OF_LIGHT, end.orbit_axes_rate
    )


def _place_partials(
    end: LanderEnd, names: Collection[str], epochs: Epochs, gradient: Array
) -> dict[str, Array]:
    """By the rotation and by the lander's coordinates, from the gradient by its place, (n, 3)."""
    orientation, lander = end.body.orientation, end.lander
    out = orientation.projected_partials(set(names), lander.position, epochs, gradient)
    coordinates = {f"lander.{lander.name}.{axis}": k for k, axis in enumerate("xyz")}
    wanted = [name for name in coordinates if name in names]
    if wanted:
        fixed = orientation.body_fixed(gradient, epochs)
        out |= {name: fixed[:, coordinates[name]] for name in wanted}
    return out


def _orbit_partials(
    end: LanderEnd,
    names: Collection[str],
    epochs: Epochs,
    gradient: Array,
    axes: Callable[[Epochs], Array],
) -> dict[str, Array]:
    """By the offset of the planet from its ephemeris, from the gradient by its place, (n, 3).

    ``axes`` gives the directions of the offset at epochs, shape (n, 3 axes, 3):
    `LanderEnd.orbit_axes`, or their rate where the gradient is that by a velocity.
    """
    parts = ("radial", "transverse", "normal")
    offsets = {f"ephemeris.{end.body.name}.{part}": k for k, part in enumerate(parts)}
    wanted = [name for name in offsets if name in names]
    if not wanted:
        return {}
    along = np.einsum("nij,nj->in", axes(epochs), gradient)
    return {name: along[offsets[name]] for name in wanted}
