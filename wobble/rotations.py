"""Elementary rotations of many vectors, and their exact increments.

In: vectors of shape (n, 3) and angles of shape (n,). Out: rotated vectors, and the change
of a rotated vector when both the angle and the vector change.

`turn(axis, angle, v)` is the active rotation: the vector turns by +angle about the axis.
In the passive notation of the literature it is R_axis(-angle). `turn_increment` replaces
the derivative of the sine and the cosine by their exact secants,
``cos b - cos a = -2 sin((b-a)/2) sin((a+b)/2)``, so that nothing cancels however short the
interval is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

__all__ = ["turn", "turn_derivative", "turn_increment"]

Array = NDArray[np.float64]

# For each axis the two components that mix, in the order that makes the turn right-handed.
_PLANE = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}


def turn(axis: str, angle: Array, vectors: Array) -> Array:
    """Vectors turned by ``angle`` (rad, shape (n,)) about ``axis``, shape (n, 3)."""
    along = "xyz".index(axis)
    turned = _mix(axis, np.cos(angle), np.sin(angle), vectors)
    turned[:, along] = vectors[..., along]
    return turned


def turn_derivative(axis: str, angle: Array, vectors: Array) -> Array:
    """Derivative of `turn` with respect to the angle, shape (n, 3)."""
    return _mix(axis, -np.sin(angle), np.cos(angle), vectors)


def turn_increment(
    axis: str, angle: Array, angle_step: Array, vectors: Array, vector_steps: Array
) -> Array:
    """Change of a turned vector, shape (n, 3).

    Parameters
    ----------
    axis : {"x", "y", "z"}
        Axis of the turn.
    angle, angle_step : ndarray, shape (n,)
        Angle at the start and its change, rad.
    vectors, vector_steps : ndarray, shape (n, 3)
        The vector before the turn at the start, and its change.
    """
    middle = angle + angle_step / 2.0
    secant = 2.0 * np.sin(angle_step / 2.0)
    from_angle = _mix(
        axis, -secant * np.sin(middle), secant * np.cos(middle), vectors + vector_steps
    )
    return from_angle + turn(axis, angle, vector_steps)


def _mix(axis: str, cosine: Array, sine: Array, vectors: Array) -> Array:
    """What cosine and sine make of the two components across the axis; zero along it."""
    i, j = _PLANE[axis]
    out = np.zeros((len(cosine), 3))
    out[:, i] = cosine * vectors[..., i] - sine * vectors[..., j]
    out[:, j] = sine * vectors[..., i] + cosine * vectors[..., j]
    return out
