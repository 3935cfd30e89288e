"""The choice of passes as a problem of numbers.

In: candidates, a target and a budget. Out: `DesignProblem`, the same in coordinates in
which all passes together have the unit matrix as information.

In these coordinates every selection's information lies between zero and one and a weak
combination of parameters is as visible as a strong one, so that what is quick is also
accurate: the condition number, which the units of the parameters and their correlations
had raised, is gone. Combinations that even all passes together do not determine have no
coordinate; a target that needs one is refused.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.campaign.candidates import UNSEEN, CandidatePasses, triangle
from wobble.campaign.limits import Limits
from wobble.campaign.targets import Target
from wobble.errors import InputError
from wobble.estimation.least_squares import DEPENDENT

__all__ = ["DesignProblem"]

Array = NDArray[np.float64]
# Information added to every selection while searching, as a fraction of that of all passes
# together: the first passes alone need not determine everything. Neither the bound nor the
# result contains it.
FLOOR = 1e-10


@dataclass(frozen=True, eq=False)
class DesignProblem:
    """Passes, target and limits in the coordinates of the module's text.

    Parameters
    ----------
    rows : ndarray, shape (n, m, r)
        Whitened rows of each pass, filled up with zeros.
    a_priori : ndarray, shape (any, r)
        Rows of what is known beforehand.
    target : Target
    limits : Limits
    """

    rows: Array
    a_priori: Array
    target: Target
    limits: Limits

    @classmethod
    def of(cls, candidates: CandidatePasses, target: Target, limits: Limits) -> DesignProblem:
        """Bring candidates and target into the coordinates.

        Raises
        ------
        InputError
            If all passes together do not determine the target.
        """
        p = len(candidates.parameters)
        everything = candidates.triangle_of(range(len(candidates)))[:p, :p]
        frame = _frame(everything, target)
        most = max(len(block) for block in candidates.blocks)
        rows = np.zeros((len(candidates), most, frame.shape[1]))
        for i, block in enumerate(candidates.blocks):
            rows[i, : len(block)] = block[:, :p] @ frame
        known = candidates.first_triangle[:, :p] @ frame
        return cls(rows, known, target.in_frame(frame), limits)

    def __len__(self) -> int:
        return len(self.rows)

    def part(self, passes: NDArray[np.int_]) -> DesignProblem:
        """The problem with only some of the passes."""
        return DesignProblem(
            self.rows[passes], self.a_priori, self.target, self.limits.part(passes)
        )

    def triangle(self, shares: Array) -> Array:
        """Triangle of the information with these shares (n,) of the passes, shape (r, r)."""
        used = np.flatnonzero(shares)
        weighted = np.sqrt(shares[used])[:, None, None] * self.rows[used]
        return triangle([self._floor, self.a_priori, weighted.reshape(-1, self._size)])

    def matrix(self, shares: Array) -> Array:
        """The information itself; harmless in these coordinates, and three times quicker."""
        used = np.flatnonzero(shares)
        weighted = np.sqrt(shares[used])[:, None, None] * self.rows[used]
        stacked = np.vstack([self._floor, self.a_priori, weighted.reshape(-1, self._size)])
        return np.asarray(stacked.T @ stacked, float)

    def signals(self, displacement: Array) -> Array:
        """``trace(X^T A^T A X)`` of each pass, shape (n,); X of shape (r, any)."""
        seen = self.rows.reshape(-1, self._size) @ displacement
        return np.asarray((seen**2).reshape(len(self), -1).sum(axis=1), float)

    def known_signal(self, displacement: Array) -> float:
        """The same of what is known beforehand."""
        return float(((self.a_priori @ displacement) ** 2).sum())

    @property
    def _size(self) -> int:
        return int(self.rows.shape[2])

    @property
    def _floor(self) -> Array:
        return np.sqrt(FLOOR) * np.eye(self._size)


def _frame(everything: Array, target: Target) -> Array:
    """Matrix F, ``x = F y``, such that ``F^T R^T R F`` is the unit matrix."""
    length = np.linalg.norm(everything, axis=0)
    scale = np.where(length > 0, length, 1.0)
    _, values, directions = np.linalg.svd(everything / scale)
    kept = values > DEPENDENT
    lost = directions[~kept]
    wanted = target.combinations(len(scale)) / scale
    unseen = np.linalg.norm(wanted @ lost.T, axis=1) > UNSEEN * np.linalg.norm(wanted, axis=1)
    if unseen.any():
        raise InputError(
            "all candidate passes together do not determine the target",
            field=target.label,
            expected="a priori knowledge, or passes that see it",
        )
    return np.asarray(directions[kept].T / values[kept] / scale[:, None], float)
