"""Least squares under linear equations that hold exactly.

In: square-root information, equations ``C x = d``. Out: the estimate that fulfils them, its
covariance (which has no extent across the equations) and sensitivity.

Null-space method (Golub & Van Loan 2013, Matrix Computations, sect. 6.2.3): with
``C^T = [Q1 Q2] [T; 0]`` every solution is ``x = Q1 T^-T d + Q2 y``; the free vector y is
estimated without constraint. Parameters are first scaled to the standard deviations that
they would have alone, as the equations may join metres and radians.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wobble.estimation.least_squares import LinearEstimate, SquareRootInformation

__all__ = ["free_directions", "solve_under", "with_conditions_as_data"]

Array = NDArray[np.float64]


def solve_under(information: SquareRootInformation, rows: Array, values: Array) -> LinearEstimate:
    """Estimate the parameters under exact linear equations.

    Parameters
    ----------
    information : SquareRootInformation
        Of data and a priori knowledge.
    rows : ndarray, shape (m, p)
        Coefficients of the equations; independent of one another.
    values : ndarray, shape (m,)
        Right-hand sides, for the parameters themselves (not the step).

    Raises
    ------
    InputError
        If a combination is determined neither by the information nor by the equations.
    """
    if not len(rows):
        return information.solve()
    m, p = rows.shape
    across, along, triangle = _split(information, rows)
    offset = across @ np.linalg.solve(triangle.T, values - rows @ information.reference)
    reduced = SquareRootInformation.nothing(
        tuple(f"free combination {k + 1}" for k in range(p - m)), information.considered
    )
    factor = information.factor.copy()
    factor[:, -1] -= factor[:, :p] @ offset
    reduced.absorb(np.hstack([factor[:, :p] @ along, factor[:, p:]]))
    free = reduced.solve()
    return LinearEstimate(
        offset + along @ free.step, along @ free.root, along @ free.sensitivity, free.chi_square
    )


def free_directions(information: SquareRootInformation, rows: Array) -> Array:
    """Directions in which the equations leave the parameters free.

    Parameters
    ----------
    information : SquareRootInformation
        Of data and a priori knowledge: for the scale of each parameter.
    rows : ndarray, shape (m, p)
        Coefficients of the equations, as for `solve_under`.

    Returns
    -------
    ndarray, shape (p, p - m)
        A direction a column, in the parameters' SI units.
    """
    return _split(information, rows)[1]


def _split(information: SquareRootInformation, rows: Array) -> tuple[Array, Array, Array]:
    """Directions across and along the equations, and the triangle that belongs to them."""
    scale, m = information.spectrum()[0], len(rows)
    basis, triangle = np.linalg.qr((rows / scale).T, mode="complete")
    return basis[:, :m] / scale[:, None], basis[:, m:] / scale[:, None], triangle[:m]


def with_conditions_as_data(
    information: SquareRootInformation, rows: Array
) -> SquareRootInformation:
    """The information with the equations taken in as data as good as the others.

    Only to find out whether everything is determined; the right-hand side means nothing.
    """
    if not len(rows):
        return information
    scaled = rows / np.linalg.norm(rows / information.spectrum()[0], axis=1)[:, None]
    rest = np.zeros((len(rows), len(information.considered) + 1))
    extended = SquareRootInformation(
        information.names, information.considered, information.reference, information.factor
    )
    extended.absorb(np.hstack([scaled, rest]))
    return extended
