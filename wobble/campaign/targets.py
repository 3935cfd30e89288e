"""What a selection of passes is to make precise.

In: a triangle R with ``R^T R`` the information. Out: the standard deviation that the target
has with it, and what the search for the best passes needs.

Every target here has an *information* ``psi`` that, as a function of the information matrix
``M``, is concave, grows with M and is homogeneous of the first degree (an information
function; Pukelsheim 1993, Optimal Design of Experiments, ch. 5); its standard deviation is
``sigma = psi^(-1/2)``:

    LinearTarget   psi = 1 / trace(L M^-1 L^T)   one parameter or derived quantity (one row
                                                 of L), or a weighted set (several)
    VolumeTarget   psi = det(M)^(1/p)            all parameters: the volume of the error
                                                 ellipsoid

Concave and homogeneous together say that no information matrix N has more than the tangent
at another one gives it (Pukelsheim 1993, ch. 7),

    psi(N) <= trace(X^T N X),     X X^T = d psi / dM,

whatever M was. This is all that a certificate needs. For one target quantity it can be read
without calculus: X is a displacement of the parameters that changes the target by one, and
``trace(X^T N X)`` the signal that the data would see of it; sigma cannot be below the
inverse of that signal's root.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Protocol, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import solve_triangular

from wobble.campaign.candidates import CandidatePasses, sigma_roots
from wobble.errors import InputError

__all__ = ["LinearTarget", "Target", "VolumeTarget"]

Array = NDArray[np.float64]


class Target(Protocol):
    """What the search needs to know of a target."""

    @property
    def label(self) -> str:
        """What it is, in words."""
        ...

    def combinations(self, p: int) -> Array:
        """Combinations of the p parameters that must be determined, one a row."""
        ...

    def sigma(self, triangle: Array) -> float:
        """``psi^(-1/2)``; infinite if the information ``R^T R`` does not determine it."""
        ...

    def information(self, triangle: Array) -> float:
        """``psi`` of the information ``R^T R``; R of shape (p, p), not singular."""
        ...

    def displacement(self, triangle: Array) -> Array:
        """``X`` with ``X X^T = d psi / dM``, shape (p, any)."""
        ...

    def with_each(self, triangle: Array, rows: Array) -> Array:
        """``psi`` after taking in each of b passes alone, shape (b,); rows (b, m, p)."""
        ...

    def without_each(self, triangle: Array, rows: Array) -> Array:
        """``psi`` after taking away each of b passes alone; zero if that is too much."""
        ...

    def in_frame(self, frame: Array) -> Target:
        """The same target for other parameters y, ``x = F y``; F of shape (p, r)."""
        ...


@dataclass(frozen=True, eq=False)
class LinearTarget:
    """Root sum square of the standard deviations of linear combinations of parameters.

    Parameters
    ----------
    label : str
        What it is, in words.
    gradients : ndarray, shape (q, p)
        ``L``: the combinations, one a row.
    """

    label: str
    gradients: Array

    @classmethod
    def parameter(cls, candidates: CandidatePasses, name: str) -> Self:
        """The standard deviation of one parameter, SI.

        Raises
        ------
        UnknownNameError
            If there is none of that name.
        """
        return cls(name, candidates.gradient(name)[None])

    @classmethod
    def derived(cls, candidates: CandidatePasses, name: str, gradient: ArrayLike) -> Self:
        """The standard deviation of a quantity with these derivatives, shape (p,).

        Raises
        ------
        InputError
            If the gradient's shape does not fit, or if it is zero or not finite.
        """
        return cls(name, candidates.checked_gradient(name, gradient)[None])

    @classmethod
    def wanted(cls, candidates: CandidatePasses, sigmas: Mapping[str, float]) -> Self:
        """A weighted set: root mean square of each sigma over the one that is wanted.

        Parameters
        ----------
        candidates : CandidatePasses
        sigmas : mapping of str to float
            The standard deviation wanted of each parameter, SI. A value of the target
            below one says that the goals are reached on the average.

        Raises
        ------
        InputError
            If there is no goal, a name is unknown, or a goal is not positive and finite.
        """
        if not sigmas:
            raise InputError("the target names no parameter", expected="at least one")
        for name, sigma in sigmas.items():
            if not (np.isfinite(sigma) and sigma > 0):
                raise InputError(
                    "the wanted standard deviation must be positive and finite",
                    field=name,
                    found=sigma,
                )
        rows = [candidates.gradient(name) / sigma for name, sigma in sigmas.items()]
        return cls(", ".join(sigmas), np.array(rows) / np.sqrt(len(sigmas)))

    def combinations(self, p: int) -> Array:
        """Those of the target, shape (q, p)."""
        return self.gradients

    def sigma(self, triangle: Array) -> float:
        """Root sum square of the standard deviations of the combinations."""
        return float(np.linalg.norm(sigma_roots(triangle, self.gradients)))

    def information(self, triangle: Array) -> float:
        """``1 / trace(L M^-1 L^T)``."""
        return float(1.0 / (self._roots(triangle) ** 2).sum())

    def displacement(self, triangle: Array) -> Array:
        """``M^-1 L^T / trace(L M^-1 L^T)``, shape (p, q)."""
        moved = solve_triangular(triangle, self._roots(triangle))
        # So that trace(L X) is one to the last bit: the bound holds for any such X, even
        # if rounding made it a poor solution.
        return np.asarray(moved / np.sum(self.gradients.T * moved), float)

    def with_each(self, triangle: Array, rows: Array) -> Array:
        """See `Target`: the rank update of Woodbury's identity, in square roots."""
        reduced, one = _reduced(triangle, rows)
        roots = self._roots(triangle)
        seen = reduced @ roots
        grown = one + reduced @ reduced.transpose(0, 2, 1)
        gain = (seen * np.linalg.solve(grown, seen)).sum(axis=(1, 2))
        return np.asarray(1.0 / ((roots**2).sum() - gain), float)

    def without_each(self, triangle: Array, rows: Array) -> Array:
        """See `Target`: the same identity with the opposite sign."""
        reduced, one = _reduced(triangle, rows)
        roots = self._roots(triangle)
        seen = reduced @ roots
        shrunk = one - reduced @ reduced.transpose(0, 2, 1)
        loss = (seen * np.linalg.solve(shrunk, seen)).sum(axis=(1, 2))
        # What is left of an indispensable pass is rounding, and may have either sign.
        return np.where(loss >= 0, 1.0 / ((roots**2).sum() + np.maximum(loss, 0.0)), 0.0)

    def in_frame(self, frame: Array) -> LinearTarget:
        """The same target for parameters y with ``x = F y``."""
        return LinearTarget(self.label, self.gradients @ frame)

    def _roots(self, triangle: Array) -> Array:
        """``R^-T L^T``, shape (p, q)."""
        return np.asarray(solve_triangular(triangle, self.gradients.T, trans="T"), float)


@dataclass(frozen=True)
class VolumeTarget:
    """Geometric mean of the axes of the error ellipsoid of all parameters.

    Its unit is the geometric mean of the parameters' units: only ratios mean something,
    and these do not depend on the units at all.

    Parameters
    ----------
    scale : float
        Factor on ``psi``, that of a change of the parameters.
    """

    scale: float = 1.0

    @property
    def label(self) -> str:
        """What it is, in words."""
        return "all parameters"

    def combinations(self, p: int) -> Array:
        """Every parameter."""
        return np.eye(p)

    def sigma(self, triangle: Array) -> float:
        """Geometric mean of the axes of the error ellipsoid."""
        if np.isinf(sigma_roots(triangle, self.combinations(len(triangle)))).any():
            return np.inf
        return float(self.information(triangle) ** -0.5)

    def information(self, triangle: Array) -> float:
        """``det(M)^(1/p)``."""
        return self.scale * float(np.exp(2.0 * np.log(np.abs(np.diag(triangle))).mean()))

    def displacement(self, triangle: Array) -> Array:
        """``R^-1 (psi / p)^(1/2)``, shape (p, p)."""
        p = len(triangle)
        root = np.sqrt(self.information(triangle) / p)
        return np.asarray(solve_triangular(triangle, root * np.eye(p)), float)

    def with_each(self, triangle: Array, rows: Array) -> Array:
        """See `Target`: the determinant lemma."""
        reduced, one = _reduced(triangle, rows)
        growth = np.linalg.slogdet(one + reduced @ reduced.transpose(0, 2, 1))[1]
        return np.asarray(self.information(triangle) * np.exp(growth / len(triangle)), float)

    def without_each(self, triangle: Array, rows: Array) -> Array:
        """See `Target`: the same lemma with the opposite sign."""
        reduced, one = _reduced(triangle, rows)
        sign, shrinkage = np.linalg.slogdet(one - reduced @ reduced.transpose(0, 2, 1))
        left = self.information(triangle) * np.exp(shrinkage / len(triangle))
        return np.where(sign > 0, left, 0.0)

    def in_frame(self, frame: Array) -> VolumeTarget:
        """The same target for parameters y with ``x = F y``."""
        _, logarithm = np.linalg.slogdet(frame)
        return VolumeTarget(self.scale * float(np.exp(-2.0 * logarithm / len(frame))))


def _reduced(triangle: Array, rows: Array) -> tuple[Array, Array]:
    """``G = A R^-1`` of each pass, shape (b, m, p), and the unit matrix of (m, m)."""
    b, m, p = rows.shape
    flat = solve_triangular(triangle, rows.reshape(-1, p).T, trans="T")
    return np.asarray(flat.T.reshape(b, m, p), float), np.eye(m)
