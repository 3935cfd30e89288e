"""Least squares under exact equations against published numbers and LAPACK."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import lapack

from wobble.errors import InputError
from wobble.estimation.apriori import Condition
from wobble.estimation.conditions import solve_under
from wobble.estimation.least_squares import SquareRootInformation

# Worked example of the routine DGGLSE in the NAG Library Manual, document F08ZAF, sect. 10:
# minimise |c - A x| with B x = 0. Data and printed results from memory; the results follow
# from the data, which the first test shows.
A = np.array(
    [
        [-0.57, -1.28, -0.39, 0.25],
        [-1.93, 1.08, -0.31, -2.14],
        [2.30, 0.24, 0.40, -0.35],
        [-1.93, 0.64, -0.66, 0.08],
        [0.15, 0.30, 0.15, -2.13],
        [-0.02, 1.03, -1.43, 0.50],
    ]
)
B = np.array([[1.0, 0.0, -1.0, 0.0], [0.0, 1.0, 0.0, -1.0]])
C = np.array([-1.50, -2.14, 1.23, -0.54, -1.68, 0.82])
PUBLISHED = [0.4890, 0.9975, 0.4890, 0.9975]
PUBLISHED_RESIDUAL = 2.51e-2


def information(rows: np.ndarray, right: np.ndarray) -> SquareRootInformation:
    found = SquareRootInformation.nothing(tuple(f"x{k}" for k in range(rows.shape[1])))
    found.absorb(np.column_stack([rows, right]))
    return found


def test_the_published_example_of_constrained_least_squares_is_reproduced() -> None:
    estimate = solve_under(information(A, C), B, np.zeros(2))
    np.testing.assert_allclose(estimate.step, PUBLISHED, atol=5e-5)
    assert np.sqrt(estimate.chi_square) == pytest.approx(PUBLISHED_RESIDUAL, abs=5e-5)


def test_random_problems_agree_with_lapack_about_any_reference() -> None:
    rng = np.random.default_rng(5)
    for _ in range(5):
        rows, right = rng.normal(size=(20, 7)), rng.normal(size=20)
        equations, values = rng.normal(size=(3, 7)), rng.normal(size=3)
        expected = lapack.dgglse(rows, equations, right, values)[3]
        start = rng.normal(size=7)
        known = information(rows, right).about(start)
        estimate = solve_under(known, equations, values)
        np.testing.assert_allclose(start + estimate.step, expected, atol=1e-12)
        np.testing.assert_allclose(equations @ estimate.root, 0.0, atol=1e-13)


def test_the_covariance_is_that_of_the_bordered_normal_equations() -> None:
    # Koch 1999, Parameter Estimation and Hypothesis Testing in Linear Models, sect. 3.2.7.
    rng = np.random.default_rng(6)
    rows, equations = rng.normal(size=(20, 5)), rng.normal(size=(2, 5))
    bordered = np.block([[rows.T @ rows, equations.T], [equations, np.zeros((2, 2))]])
    expected = np.linalg.inv(bordered)[:5, :5]
    estimate = solve_under(information(rows, np.zeros(20)), equations, np.zeros(2))
    np.testing.assert_allclose(estimate.covariance, expected, atol=1e-14)


def test_conditions_that_make_no_sense_are_refused() -> None:
    with pytest.raises(InputError, match="do not match"):
        Condition(("a", "b"), [[1.0, 2.0, 3.0]])
    with pytest.raises(InputError, match="follows from the others"):
        Condition(("a", "b"), [[1.0, -1.0], [2.0, -2.0]])
    with pytest.raises(InputError, match="not finite"):
        Condition(("a", "b"), [[1.0, np.nan]])
