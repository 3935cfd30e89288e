"""A planet's rotation: from its body-fixed axes to the ICRF, with partial derivatives.

In: a body-fixed vector (m) and TDB epochs. Out: the vector in ICRF axes and its exact
increment over an interval, shape (n, 3), and its derivatives with respect to every
parameter, projected on a direction, shape (n,).

``M = Rz(-N) Rx(-J) Rz(-psi) Rx(-eps) Rz(-phi) Ry(X_p) Rx(Y_p)`` in passive rotations: N and
J place the planet's mean orbit of J2000 in the ICRF, psi is the longitude of the equator's
ascending node on it, eps the obliquity, phi the spin angle from the node, X_p and Y_p polar
motion (Folkner et al. 1997, J. Geophys. Res. 102, 4057; Konopliv et al. 2006, Icarus 182,
23; Yseboodt, Baland & Le Maistre 2023, Celest. Mech. Dyn. Astron. 135, 50). Precession is
d psi/dt, negative for Mars.

The Moon's orientation is a table of integrated libration angles instead
(`TabulatedLibration`).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.chebyshev import ChebyshevTable
from wobble.epochs import Epochs
from wobble.errors import InputError, UnknownNameError
from wobble.planet.angle_terms import AngleTerm, no_angles
from wobble.rotations import Turn, cross

__all__ = ["Orientation", "RotationModel", "TabulatedLibration"]

Array = NDArray[np.float64]

# The chain of turns from the body's axes outward, in active rotations: axis, sign of the
# angle, and the angle's index in `ANGLES`.
CHAIN = (("x", -1.0, 4), ("y", -1.0, 3), ("z", 1.0, 2), ("x", 1.0, 1), ("z", 1.0, 0))


class Orientation(Protocol):
    """What the link needs to know of how a body is turned."""

    @property
    def values(self) -> dict[str, float]:
        """Parameters by name, SI."""
        ...

    def with_values(self, values: dict[str, float]) -> Orientation:
        """The same model with other values of some parameters."""
        ...

    def inertial(self, vectors: Array, epochs: Epochs) -> Array:
        """ICRF vectors of body-fixed ones, shape (n, 3)."""
        ...

    def increment(self, vectors: Array, epochs: Epochs, interval: ArrayLike) -> Array:
        """Change of `inertial` over an interval, the body-fixed vector held, shape (n, 3)."""
        ...

    def body_fixed(self, vectors: Array, epochs: Epochs) -> Array:
        """Body-fixed vectors of ICRF ones, shape (n, 3)."""
        ...

    def projected_partials(
        self, names: Iterable[str], vectors: Array, epochs: Epochs, directions: Array
    ) -> dict[str, Array]:
        """``direction . d(inertial)/d(parameter)`` for each name, shape (n,)."""
        ...


class _FromAxes(ABC):
    """What follows for any orientation from `inertial` alone."""

    @abstractmethod
    def inertial(self, vectors: Array, epochs: Epochs) -> Array: ...

    def body_fixed(self, vectors: Array, epochs: Epochs) -> Array:
        """Body-fixed vectors of ICRF ones (n, 3), shape (n, 3)."""
        return np.einsum("nij,ni->nj", self.matrix(epochs), vectors)

    def matrix(self, epochs: Epochs) -> Array:
        """Rotation matrices from body-fixed to ICRF, shape (n, 3, 3)."""
        return np.stack([self.inertial(axis, epochs) for axis in np.eye(3)], axis=2)


@dataclass(frozen=True, eq=False)
class RotationModel(_FromAxes):
    """Precession, nutation, spin and polar motion as sums of terms.

    Parameters
    ----------
    plane_node, plane_inclination : float
        N and J of the reference orbit plane, rad.
    terms : tuple of AngleTerm
        Contributions to the five angles.
    values : dict
        Value of each parameter of the terms, SI.

    Raises
    ------
    InputError
        If a term's parameter has no value, or a value has no term.
    """

    plane_node: float
    plane_inclination: float
    terms: tuple[AngleTerm, ...]
    values: dict[str, float] = field(repr=False)

    def __post_init__(self) -> None:
        known = {name for term in self.terms for name in term.names}
        for name in sorted(known - set(self.values)):
            raise InputError("a parameter of the rotation has no value", field=name)
        for name in sorted(set(self.values) - known):
            raise UnknownNameError("parameter of the rotation", name, known)

    def __repr__(self) -> str:
        return f"<RotationModel: {len(self.values)} parameters in {len(self.terms)} terms>"

    def with_values(self, values: dict[str, float]) -> RotationModel:
        """The same model with other values of some parameters."""
        return replace(self, values=self.values | values)

    def angles(self, epochs: Epochs) -> Array:
        """The five angles, rad, shape (n, 5), in the order of `ANGLES`."""
        return self._sum(epochs, (term.angles(self.values, epochs) for term in self.terms))

    def _steps(self, epochs: Epochs, interval: ArrayLike) -> Array:
        step = np.asarray(interval, float)
        return self._sum(
            epochs, (term.increments(self.values, epochs, step) for term in self.terms)
        )

    @staticmethod
    def _sum(epochs: Epochs, contributions: Iterable[Array]) -> Array:
        return sum(contributions, no_angles(len(epochs)))

    def _turns(self, epochs: Epochs) -> list[Turn]:
        """The chain at the epochs."""

        def compute() -> list[Turn]:
            angles = self.angles(epochs)
            return [Turn(axis, sign * angles[:, which]) for axis, sign, which in CHAIN]

        return epochs.once(self, compute)

    @cached_property
    def _plane(self) -> tuple[Turn, Turn]:
        """From the reference orbit plane to the ICRF."""
        return Turn("x", self.plane_inclination), Turn("z", self.plane_node)

    def inertial(self, vectors: Array, epochs: Epochs) -> Array:
        """ICRF vectors of body-fixed ones ((3,) or (n, 3)), shape (n, 3)."""
        turned = vectors
        for turn in (*self._turns(epochs), *self._plane):
            turned = turn.of(turned)
        return turned

    def increment(self, vectors: Array, epochs: Epochs, interval: ArrayLike) -> Array:
        """Change of `inertial` over ``interval`` seconds, m, shape (n, 3), not subtracted."""
        steps = self._steps(epochs, interval)
        turned, moved = vectors, np.zeros(3)
        for turn, (_, sign, which) in zip(self._turns(epochs), CHAIN, strict=True):
            moved = turn.increment(sign * steps[:, which], turned, moved)
            turned = turn.of(turned)
        for turn in self._plane:
            moved = turn.of(moved)
        return moved

    def projected_partials(
        self, names: Iterable[str], vectors: Array, epochs: Epochs, directions: Array
    ) -> dict[str, Array]:
        """``direction . d(inertial)/d(parameter)`` for each name, shape (n,).

        The vector's derivative with respect to each of the five angles is projected first;
        a parameter's derivative is then a sum over angles, whatever their number.
        """
        wanted = set(names)
        if not wanted:
            return {}
        by_angle = self._projected_by_angle(vectors, epochs, directions)
        out: dict[str, Array] = {}
        for term in self.terms:
            if wanted.isdisjoint(term.names):
                continue
            for name, derivative in term.derivatives(self.values, epochs).items():
                if name in wanted:
                    part = np.einsum("na,na->n", by_angle, derivative)
                    out[name] = out[name] + part if name in out else part
        return out

    def body_fixed(self, vectors: Array, epochs: Epochs) -> Array:
        """Body-fixed vectors of ICRF ones (n, 3), shape (n, 3): the turns undone one by one."""
        back = vectors
        for turn in reversed((*self._turns(epochs), *self._plane)):
            back = turn.back(back)
        return back

    def _projected_by_angle(self, vectors: Array, epochs: Epochs, directions: Array) -> Array:
        """A turn by da moves what it has turned, v, by ``da axis x v``: ``axis . (v x d)``
        along d. The product is formed in the body's axes and turned out to each axis."""
        moment = cross(vectors, self.body_fixed(directions, epochs))
        out = no_angles(len(epochs))
        for turn, (_, sign, which) in zip(self._turns(epochs), CHAIN, strict=True):
            out[:, which] = sign * moment[:, turn.along]
            moment = turn.of(moment)
        return out


@dataclass(frozen=True, eq=False)
class TabulatedLibration(_FromAxes):
    """Orientation from a table of three Euler angles (3-1-3), as integrated for the Moon.

    Parameters
    ----------
    table : ChebyshevTable
        Longitude of the node, inclination, and angle from the node to the prime meridian, of
        the principal axes referred to the ICRF, rad.

    Notes
    -----
    ``M = Rz(-phi) Rx(-theta) Rz(-psi)`` in passive rotations (Folkner, Williams & Boggs 2009,
    IPN Progress Report 42-178). It has no parameters.
    """

    table: ChebyshevTable

    CHAIN = (("z", 2), ("x", 1), ("z", 0))

    @property
    def values(self) -> dict[str, float]:
        return {}

    def with_values(self, values: dict[str, float]) -> TabulatedLibration:
        """Itself; there is nothing to set.

        Raises
        ------
        UnknownNameError
            If any value is given.
        """
        for name in values:
            raise UnknownNameError("parameter of a tabulated orientation", name, [])
        return self

    def inertial(self, vectors: Array, epochs: Epochs) -> Array:
        """ICRF vectors of body-fixed ones ((3,) or (n, 3)), shape (n, 3)."""
        turned = vectors
        for turn in self._turns(epochs):
            turned = turn.of(turned)
        return turned

    def _turns(self, epochs: Epochs) -> list[Turn]:
        angles = self.table.value(epochs)
        return [Turn(axis, angles[:, which]) for axis, which in self.CHAIN]

    def increment(self, vectors: Array, epochs: Epochs, interval: ArrayLike) -> Array:
        """Change of `inertial` over ``interval`` seconds, m, shape (n, 3), not subtracted."""
        steps = self.table.increment(epochs, interval)
        turned, moved = vectors, np.zeros(3)
        for turn, (_, which) in zip(self._turns(epochs), self.CHAIN, strict=True):
            moved = turn.increment(steps[:, which], turned, moved)
            turned = turn.of(turned)
        return moved

    def projected_partials(
        self, names: Iterable[str], vectors: Array, epochs: Epochs, directions: Array
    ) -> dict[str, Array]:
        """Empty: a table has no parameters."""
        return {}
