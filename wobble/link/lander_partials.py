"""Derivatives by what moves a lander: its planet's rotation and orbit, and its own coordinates.

In: the lander's end of a link, epochs, and the gradient of a measurement with respect to the
lander's place, ICRF axes. Out: derivatives by name, in the gradient's unit per SI unit.
"""

from __future__ import annotations

from collections.abc import Callable, Collection

import numpy as np
from numpy.typing import NDArray

from wobble.epochs import Epochs
from wobble.link.ends import LanderEnd

__all__ = ["lander_partials", "orbit_partials"]

Array = NDArray[np.float64]


def lander_partials(
    end: LanderEnd, names: Collection[str], epochs: Epochs, gradient: Array
) -> dict[str, Array]:
    """By the rotation and by the lander's coordinates, shape (n,) each.

    Parameters
    ----------
    end : LanderEnd
    names : collection of str
        Those that the place does not depend on are left out.
    epochs : Epochs
        TDB, n of them.
    gradient : ndarray, shape (n, 3)
        Of the measurement by the place on the planet.
    """
    orientation, lander = end.body.orientation, end.lander
    out = orientation.projected_partials(set(names), lander.position, epochs, gradient)
    coordinates = {f"lander.{lander.name}.{axis}": k for k, axis in enumerate("xyz")}
    wanted = [name for name in coordinates if name in names]
    if wanted:
        fixed = orientation.body_fixed(gradient, epochs)
        out |= {name: fixed[:, coordinates[name]] for name in wanted}
    return out


def orbit_partials(
    end: LanderEnd,
    names: Collection[str],
    epochs: Epochs,
    gradient: Array,
    axes: Callable[[Epochs], Array],
) -> dict[str, Array]:
    """By the offset of the planet from its ephemeris, shape (n,) each.

    Parameters
    ----------
    end, names, epochs
        As for `lander_partials`.
    gradient : ndarray, shape (n, 3)
        Of the measurement by the place of the planet.
    axes : callable
        Directions of the offset at epochs, shape (n, 3 axes, 3): `LanderEnd.orbit_axes`, or
        their rate where the gradient is that by a velocity.
    """
    parts = ("radial", "transverse", "normal")
    offsets = {f"ephemeris.{end.body.name}.{part}": k for k, part in enumerate(parts)}
    wanted = [name for name in offsets if name in names]
    if not wanted:
        return {}
    along = np.einsum("nij,nj->in", axes(epochs), gradient)
    return {name: along[offsets[name]] for name in wanted}
