"""What cannot be separated, in numbers and in words."""

from __future__ import annotations

import numpy as np
import pytest

from wobble.estimation.least_squares import SquareRootInformation
from wobble.estimation.observability import weak_combinations
from wobble.estimation.parameters import Parameter, ParameterSet


def information_with(correlation: float, sigmas: np.ndarray) -> SquareRootInformation:
    """Two parameters of a given correlation and a third one independent of them."""
    unit = np.eye(3)
    unit[0, 1] = unit[1, 0] = correlation
    covariance = unit * np.outer(sigmas, sigmas)
    information = SquareRootInformation.nothing(("lander.z", "station.range_bias", "spin.rate"))
    rows = np.linalg.inv(np.linalg.cholesky(covariance))
    information.absorb(np.column_stack([rows, np.zeros(3)]))
    return information


PARAMETERS = ParameterSet(
    [
        Parameter("lander.z", "km"),
        Parameter("station.range_bias", "m"),
        Parameter("spin.rate", "deg / d"),
    ]
)


def test_the_smallest_singular_value_of_a_pair_follows_from_its_correlation() -> None:
    # For two columns of unit length with cosine c the singular values are sqrt(1 +- |c|)
    # (Golub & Van Loan 2013, sect. 2.4), and the correlation of the estimates is -c.
    for correlation in (0.9, 0.999, -0.99999):
        _, values, _ = information_with(correlation, np.array([1e3, 1.0, 1e-12])).spectrum()
        assert values.min() == pytest.approx(np.sqrt(1 - abs(correlation)), rel=1e-6)


def test_the_weak_combination_is_named_with_what_each_moves_by() -> None:
    sigmas = np.array([30.0, 12.0, 1e-15])
    found = weak_combinations(information_with(-0.99999, sigmas), PARAMETERS)
    assert len(found) == 1
    moves = dict(found[0].members)
    assert set(moves) == {"lander.z", "station.range_bias"}
    # The sign of a direction is arbitrary: the first parameter named moves forward.
    assert found[0].members[0][1] > 0
    # Along the combination each moves by its whole uncertainty before the data notice.
    assert abs(moves["lander.z"]) == pytest.approx(0.030, rel=1e-3)
    assert moves["station.range_bias"] / moves["lander.z"] == pytest.approx(-400.0, rel=1e-3)
    assert "lander.z by" in str(found[0])
    assert "km" in str(found[0])


def test_the_first_member_moves_forward_whatever_the_signs() -> None:
    for correlation in (0.99999, -0.99999):
        for flip in (1.0, -1.0):
            information = information_with(correlation, np.array([30.0, 12.0, 1e-15]))
            information.absorb(np.array([[flip, 0.0, 0.0, 0.0]]) * 1e-9)
            (found,) = weak_combinations(information, PARAMETERS)
            assert found.members[0][1] > 0


def test_well_separated_parameters_are_not_named() -> None:
    assert weak_combinations(information_with(0.9, np.array([30.0, 12.0, 1e-15])), PARAMETERS) == []


def test_what_no_datum_changes_is_told_as_such() -> None:
    information = SquareRootInformation.nothing(PARAMETERS.names)
    rows = np.random.default_rng(1).normal(size=(10, 2))
    information.absorb(np.column_stack([rows[:, 0], -2.0 * rows[:, 0], rows[:, 1], np.zeros(10)]))
    (found,) = weak_combinations(information, PARAMETERS)
    assert found.strength == 0.0
    moves = dict(found.members)
    assert moves["station.range_bias"] == pytest.approx(500.0 * moves["lander.z"], rel=1e-9)
    assert str(found).startswith("no datum changes")
