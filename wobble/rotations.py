"""Elementary rotations of many vectors, and their exact increments.

In: vectors of shape (n, 3) and angles of shape (n,). Out: rotated vectors, and the change
of a rotated vector when both the angle and the vector change.

`Turn` is the active rotation: the vector turns by +angle about the axis. In the passive
notation of the literature it is R_axis(-angle). `Turn.increment` replaces the derivative of
the sine and the cosine by their exact secants, ``cos b - cos a = -2 sin((b-a)/2)
sin((a+b)/2)``, so that nothing cancels however short the interval is.

Vectors are arrays of shape (n, 3) whose components are contiguous in memory (`of_components`):
three long columns are computed with faster than n short rows.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

__all__ = ["Turn", "cross", "of_components", "turn", "turn_derivative"]

Array = NDArray[np.float64]

# For each axis the two components that mix, in the order that makes the turn right-handed.
_PLANE = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}


def of_components(*components: Array) -> Array:
    """An array of shape (n, k) of k columns of shape (n,)."""
    return np.stack(components).T


def cross(a: Array, b: Array) -> Array:
    """Vector product, shape (n, 3); either may be one vector."""
    (ax, ay, az), (bx, by, bz) = a.T, b.T
    return of_components(ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx)


@dataclass(frozen=True, eq=False)
class Turn:
    """A turn about an axis, by n angles or by one.

    Parameters
    ----------
    axis : {"x", "y", "z"}
    angle : ndarray, shape (n,), or float
        rad.
    """

    axis: str
    angle: Array | float

    @cached_property
    def cosine(self) -> Array:
        return np.cos(self.angle)

    @cached_property
    def sine(self) -> Array:
        return np.sin(self.angle)

    @property
    def along(self) -> int:
        """Index of the component along the axis."""
        return "xyz".index(self.axis)

    def of(self, vectors: Array) -> Array:
        """Vectors after the turn, shape (n, 3)."""
        return self._mix(self.cosine, self.sine, vectors, along=vectors[..., self.along])

    def back(self, vectors: Array) -> Array:
        """Vectors before the turn that are these after it, shape (n, 3)."""
        return self._mix(self.cosine, -self.sine, vectors, along=vectors[..., self.along])

    def derivative(self, vectors: Array) -> Array:
        """Derivative of the turned vectors with respect to the angle, shape (n, 3)."""
        return self._mix(-self.sine, self.cosine, vectors)

    def increment(self, step: Array, vectors: Array, vector_steps: Array) -> Array:
        """Change of the turned vectors, shape (n, 3).

        Parameters
        ----------
        step : ndarray, shape (n,)
            Change of the angle, rad.
        vectors, vector_steps : ndarray, shape (n, 3)
            The vectors before the turn at the start, and their change.
        """
        half = step / 2.0
        sine, cosine = np.sin(half), np.cos(half)
        secant = 2.0 * sine
        by_angle = self._mix(
            -secant * (self.sine * cosine + self.cosine * sine),
            secant * (self.cosine * cosine - self.sine * sine),
            vectors + vector_steps,
        )
        return by_angle + self.of(vector_steps)

    def _mix(self, cosine: Array, sine: Array, vectors: Array, along: Array | float = 0.0) -> Array:
        """What cosine and sine make of the two components across the axis."""
        i, j = _PLANE[self.axis]
        u, v = vectors[..., i], vectors[..., j]
        out = np.empty((3, *np.broadcast_shapes(np.shape(cosine), np.shape(u)))).T
        out[..., i] = cosine * u - sine * v
        out[..., j] = sine * u + cosine * v
        out[..., self.along] = along
        return out


def turn(axis: str, angle: Array, vectors: Array) -> Array:
    """Vectors turned by ``angle`` (rad, shape (n,)) about ``axis``, shape (n, 3)."""
    return Turn(axis, angle).of(vectors)


def turn_derivative(axis: str, angle: Array, vectors: Array) -> Array:
    """Derivative of `turn` with respect to the angle, shape (n, 3)."""
    return Turn(axis, angle).derivative(vectors)
