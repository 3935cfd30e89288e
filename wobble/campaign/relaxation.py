"""How good any selection of passes could be.

In: a `DesignProblem`. Out: a `Relaxation`, a bound on the information that any selection
within the limits can give the target, and the shares of the passes that come close to it.

If a pass could be taken in part, with a share ``0 <= w <= 1``, the information matrix
``M(w) = M_0 + sum(w_i M_i)`` would be linear and the information ``psi(M(w))`` of the target
concave in the shares: a convex problem, whose optimum no true selection exceeds. At any
displacement X (see `wobble.campaign.targets`) the linear programme

    psi(v) <= |A_0 X|^2 + max_v sum(v_i |A_i X|^2)

bounds every selection v, so the distance from the optimum is known at each step.

The shares are found by simplicial decomposition (von Hohenbalken 1977, Math. Prog. 13, 49):
the solutions of these linear programmes are collected, and the best mixture of them is
found anew each time one is added. As psi is homogeneous, mixtures need no condition on the
sum of their weights: ``sum(m_j) - log psi(sum(m_j M_j))`` has its least value over
``m >= 0`` where they sum to one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky
from scipy.optimize import minimize
from tqdm import tqdm

from wobble.campaign.design import DesignProblem
from wobble.campaign.targets import Target

__all__ = ["Relaxation", "relax"]

Array = NDArray[np.float64]
MOST_STEPS = 500
MOST_MIXING = 60
NEGLIGIBLE = 1e-7
"""Weight below which a collected solution is forgotten."""
NEARLY_NOTHING = 1e-12
"""Least weight while mixing: no mixture at all would have no information."""


@dataclass(frozen=True, eq=False)
class Relaxation:
    """The relaxed problem, solved to a stated gap.

    Attributes
    ----------
    shares : ndarray, shape (n,)
        Share of each pass, from 0 to 1.
    information : float
        ``psi`` that these shares give.
    bound : float
        ``psi`` that no selection exceeds.
    signal : ndarray, shape (n,)
        What each pass offers at the displacement that gave the bound.
    price : ndarray, shape (n,)
        What it takes of the limits there, in the same unit: the optimum takes passes
        whose signal exceeds their price and leaves those whose signal is below.
    """

    shares: Array
    information: float
    bound: float
    signal: Array
    price: Array

    @property
    def gap(self) -> float:
        """How far the standard deviation is from the bound, as a fraction of the bound."""
        return float(np.sqrt(self.bound / self.information) - 1.0)

    @property
    def least_sigma(self) -> float:
        """Standard deviation that no selection is below."""
        return float(self.bound**-0.5)


def relax(
    problem: DesignProblem,
    tolerance: float,
    wanted: float | None = None,
    progress: bool = False,
) -> Relaxation:
    """Solve the relaxed problem.

    Parameters
    ----------
    problem : DesignProblem
    tolerance : float
        The gap at which to stop.
    wanted : float, optional
        Stop as well when it is decided whether shares can reach this information.
    progress : bool
        Show a bar.

    Returns
    -------
    Relaxation
        Its bound holds whatever the gap.
    """
    target = problem.target
    mixture = _Mixture.of_all_alike(problem)
    bound, signal, price = np.inf, np.zeros(len(problem)), np.ones(len(problem))
    with tqdm(desc="bound", unit=" steps", disable=not progress, leave=False) as bar:
        for _ in range(MOST_STEPS):
            root = cholesky(mixture.information)
            information = target.information(root)
            displacement = target.displacement(root)
            seen = problem.signals(displacement)
            gathered = problem.limits.gather(seen)
            most = problem.known_signal(displacement) + gathered.most
            if most < bound:
                bound, signal, price = most, seen, gathered.price
            gap = np.sqrt(bound / information) - 1.0
            bar.set_postfix(gap=f"{100 * gap:.2f} %")
            bar.update()
            if gap <= tolerance or _decided(wanted, information, bound):
                break
            mixture = mixture.with_another(problem, gathered.shares, tolerance)
    return Relaxation(mixture.taken, information, bound, signal, price)


def _decided(wanted: float | None, information: float, bound: float) -> bool:
    return wanted is not None and not information < wanted <= bound


@dataclass(frozen=True, eq=False)
class _Mixture:
    """Collected solutions of linear programmes and the weights with which they are mixed.

    Attributes
    ----------
    shares : ndarray, shape (j, n)
        The solutions.
    matrices : ndarray, shape (j, r, r)
        Information of each.
    weights : ndarray, shape (j,)
        Their sum is one.
    """

    shares: Array
    matrices: Array
    weights: Array

    @classmethod
    def of_all_alike(cls, problem: DesignProblem) -> _Mixture:
        """A start from which nothing is excluded."""
        shares = np.full(len(problem), problem.limits.level())
        return cls(shares[None], problem.matrix(shares)[None], np.ones(1))

    @property
    def information(self) -> Array:
        """Information matrix of the mixture, shape (r, r)."""
        return np.asarray(np.tensordot(self.weights, self.matrices, 1), float)

    @property
    def taken(self) -> Array:
        """Share of each pass in the mixture, shape (n,)."""
        return np.clip(self.weights @ self.shares, 0.0, 1.0)

    def with_another(self, problem: DesignProblem, shares: Array, tolerance: float) -> _Mixture:
        """The best mixture of these solutions and one more; what it does not use is left."""
        matrices = np.concatenate([self.matrices, problem.matrix(shares)[None]])
        weights = _best_weights(problem.target, matrices, self.weights, tolerance)
        used = weights > NEGLIGIBLE
        kept = weights[used] / weights[used].sum()
        return _Mixture(np.vstack([self.shares, shares])[used], matrices[used], kept)


def _best_weights(target: Target, matrices: Array, weights: Array, tolerance: float) -> Array:
    """Weights of the matrices with the most information; the last matrix is new.

    The slope of the loss at a weight is the gap that its matrix would leave, so a part of
    the tolerance of the whole is the tolerance here.
    """
    size = matrices.shape[1]
    flat = matrices.reshape(len(matrices), -1)

    def loss(m: Array) -> tuple[float, Array]:
        root = cholesky((m @ flat).reshape(size, size))
        displacement = target.displacement(root)
        information = target.information(root)
        slope = flat @ (displacement @ displacement.T).ravel() / information
        return float(m.sum() - np.log(information)), 1.0 - slope

    # A start with a little of everything, so that the new one is not at its bound.
    start = np.append(0.95 * weights, 0.05)
    solved = minimize(
        loss,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=[(NEARLY_NOTHING, None)] * len(start),
        options={"maxiter": MOST_MIXING, "ftol": 1e-15, "gtol": 0.1 * tolerance},
    )
    return np.asarray(solved.x / solved.x.sum(), float)
