"""The matrix of a rotation model, its time derivative, and both by every parameter.

In: a `RotationModel` and TDB epochs. Out: dM/dt, and for each parameter p the matrices dM/dp
and d(dM/dt)/dp, all of shape (n, 3, 3), M from body-fixed axes to the ICRF.

M is a product of turns by the five angles a_k. With M_k and M_kj its first and second
derivatives with respect to them,

    dM/dt = sum_k M_k a_k',    dM/dp = sum_k M_k (da_k/dp),
    d(dM/dt)/dp = sum_k M_k (da_k'/dp) + sum_kj M_kj a_j' (da_k/dp).

What the link needs are vectors projected on a direction, which
`RotationModel.projected_partials` gives for less.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wobble.epochs import Epochs
from wobble.planet.angle_terms import ANGLES
from wobble.planet.rigid_axis import reference_plane
from wobble.planet.rotation import CHAIN, RotationModel
from wobble.rotations import turn, turn_derivative

__all__ = ["angle_rates", "matrix_partials", "matrix_rate", "matrix_rate_partials"]

Array = NDArray[np.float64]

COUNT = len(ANGLES)
MOMENT = 1e-6
"""Interval over which an increment is a rate, s: nothing cancels in it."""


def angle_rates(model: RotationModel, epochs: Epochs) -> Array:
    """Time derivatives of the five angles, rad/s, shape (n, 5)."""
    interval = np.full(len(epochs), MOMENT)
    steps = (term.increments(model.values, epochs, interval) for term in model.terms)
    return sum(steps, np.zeros((len(epochs), COUNT))) / MOMENT


def matrix_rate(model: RotationModel, epochs: Epochs) -> Array:
    """dM/dt, per second, shape (n, 3, 3)."""
    return np.einsum("knab,nk->nab", _first(model, epochs), angle_rates(model, epochs))


def matrix_partials(model: RotationModel, epochs: Epochs) -> dict[str, Array]:
    """dM/dp for each parameter, per unit of it, shape (n, 3, 3)."""
    first = _first(model, epochs)
    by_name = _gather(model, epochs, "derivatives")
    return {name: np.einsum("knab,nk->nab", first, slope) for name, slope in by_name.items()}


def matrix_rate_partials(model: RotationModel, epochs: Epochs) -> dict[str, Array]:
    """d(dM/dt)/dp for each parameter, per second and unit of it, shape (n, 3, 3)."""
    first = _first(model, epochs)
    turning = np.einsum("kjnab,nj->knab", _second(model, epochs), angle_rates(model, epochs))
    slopes = _gather(model, epochs, "derivatives")
    slope_rates = _gather(model, epochs, "derivative_rates")
    return {
        name: np.einsum("knab,nk->nab", turning, slope)
        + np.einsum("knab,nk->nab", first, slope_rates[name])
        for name, slope in slopes.items()
    }


def _gather(model: RotationModel, epochs: Epochs, what: str) -> dict[str, Array]:
    """Derivatives of the angles by name, summed over the terms that share a parameter."""
    out = {name: np.zeros((len(epochs), COUNT)) for name in model.values}
    for term in model.terms:
        for name, slope in getattr(term, what)(model.values, epochs).items():
            out[name] += slope
    return out


def _first(model: RotationModel, epochs: Epochs) -> Array:
    """M_k, shape (5, n, 3, 3)."""
    angles, unit = model.angles(epochs), np.eye(COUNT, dtype=int)
    return np.stack([_product(model, angles, one) for one in unit])


def _second(model: RotationModel, epochs: Epochs) -> Array:
    """M_kj, shape (5, 5, n, 3, 3)."""
    angles, unit = model.angles(epochs), np.eye(COUNT, dtype=int)
    return np.array([[_product(model, angles, one + two) for two in unit] for one in unit])


def _product(model: RotationModel, angles: Array, orders: NDArray[np.int_]) -> Array:
    """M with its turns differentiated so many times each, shape (n, 3, 3)."""
    columns = []
    for vector in np.eye(3):
        turned = np.broadcast_to(vector, (len(angles), 3))
        for axis, sign, which in CHAIN:
            turned = _turn(axis, sign, angles[:, which], orders[which], turned)
        columns.append(turned)
    plane = reference_plane(model.plane_node, model.plane_inclination)
    return plane @ np.stack(columns, axis=2)


def _turn(axis: str, sign: float, angle: Array, order: int, vectors: Array) -> Array:
    """A turn by ``sign * angle``, differentiated ``order`` times with respect to the angle."""
    if order == 0:
        return turn(axis, sign * angle, vectors)
    # Each further derivative of a sine or cosine is a quarter turn.
    quarters = (order - 1) * np.pi / 2.0
    return sign**order * turn_derivative(axis, sign * angle + quarters, vectors)
