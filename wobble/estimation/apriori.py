"""What is known before the data: published combinations, and conditions that hold exactly.

In: names of parameters, coefficients, values, a covariance. Out: `Apriori` and `Condition`,
which a `ParameterSet` carries and the estimator takes in.

A published result is seldom of the very parameters that are estimated. The direction of a
pole at an earlier epoch is a combination of the direction at the reference epoch and its
rate, ``angle(t) = angle_0 + rate t``: one row of a design. With the pole of a campaign long
ago the rate is known to that pole's uncertainty divided by the span.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.errors import InputError

__all__ = ["Apriori", "Condition"]

Array = NDArray[np.float64]


class Apriori:
    """Published quantities as a priori information: ``values = design @ parameters``.

    Parameters
    ----------
    names : sequence of str
        The parameters concerned, p of them.
    values : array_like, shape (m,)
        The published quantities, SI.
    covariance : array_like, shape (m, m)
        Their covariance, SI.
    design : array_like, shape (m, p), optional
        The combinations of parameters that were published; the parameters themselves
        if left out. For a direction published at an epoch ``dt`` seconds after the
        reference epoch it is the row ``(1, dt)`` of angle and rate.
    source : str
        Where they were published.

    Raises
    ------
    InputError
        If the shapes do not fit or the covariance is not positive definite.
    """

    def __init__(
        self,
        names: Sequence[str],
        values: ArrayLike,
        covariance: ArrayLike,
        design: ArrayLike | None = None,
        source: str = "",
    ) -> None:
        rows = np.eye(len(names)) if design is None else np.atleast_2d(np.asarray(design, float))
        numbers = np.atleast_1d(np.asarray(values, float))
        spread = np.atleast_2d(np.asarray(covariance, float))
        if rows.shape != (numbers.size, len(names)) or spread.shape != (numbers.size,) * 2:
            raise InputError(
                "a priori values, covariance and parameters do not match",
                field=", ".join(names),
                found=f"{numbers.size} values, covariance {spread.shape}, design {rows.shape}",
                expected=f"a covariance of {numbers.size} by {numbers.size} for "
                f"{len(names)} parameters",
            )
        if not np.allclose(spread, spread.T, rtol=1e-9, atol=0.0):
            raise InputError("the a priori covariance is not symmetric", field=", ".join(names))
        deviations = np.sqrt(np.maximum(np.diag(spread), 0.0))
        eigenvalues = np.zeros(1)
        if np.isfinite(spread).all() and (deviations > 0).all():
            eigenvalues = np.linalg.eigvalsh(spread / np.outer(deviations, deviations))
        if not eigenvalues[0] > 0:
            raise InputError(
                "the a priori covariance is not positive definite", field=", ".join(names)
            )
        self.names = tuple(names)
        self.values = numbers
        self.covariance = spread
        self.design = rows
        self.source = source

    def rows(self) -> tuple[Array, Array]:
        """Whitened design (m, p) and whitened values (m,): unit weight, uncorrelated."""
        root = np.linalg.cholesky(self.covariance)
        whitened = np.linalg.solve(root, np.column_stack([self.design, self.values]))
        return np.asarray(whitened[:, :-1], float), np.asarray(whitened[:, -1], float)


class Condition:
    """Linear equations that the estimates fulfil exactly: ``coefficients @ x = values``.

    Parameters
    ----------
    names : sequence of str
        The parameters concerned, p of them.
    coefficients : array_like, shape (m, p)
        Of each equation, SI.
    values : array_like, shape (m,), optional
        Right-hand sides, SI; zero if left out, as for "no net rotation".

    Raises
    ------
    InputError
        If the shapes do not fit, if a number is not finite, or if an equation follows
        from the others.
    """

    def __init__(
        self, names: Sequence[str], coefficients: ArrayLike, values: ArrayLike = 0.0
    ) -> None:
        rows = np.atleast_2d(np.asarray(coefficients, float))
        numbers = np.broadcast_to(np.asarray(values, float), len(rows))
        if rows.shape[1] != len(names):
            raise InputError(
                "coefficients and parameters of a condition do not match",
                field=", ".join(names),
                found=rows.shape,
                expected=f"{len(names)} coefficients in each equation",
            )
        if not (np.isfinite(rows).all() and np.isfinite(numbers).all()):
            raise InputError("a condition has a number that is not finite", field=", ".join(names))
        if np.linalg.matrix_rank(rows / np.maximum(np.abs(rows).max(axis=0), 1e-300)) < len(rows):
            raise InputError("a condition follows from the others", field=", ".join(names))
        self.names = tuple(names)
        self.coefficients = rows
        self.values = numbers
