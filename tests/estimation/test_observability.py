"""What cannot be separated, in numbers and in words."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import eigh, null_space

from wobble.estimation.apriori import Condition
from wobble.estimation.least_squares import SquareRootInformation
from wobble.estimation.observability import (
    NOT_IMPROVED,
    UNSEEN_MEMBER,
    limiting_knowledge,
    unseen_combinations,
    weak_combinations,
)
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


def problem(
    conditions: int = 0,
) -> tuple[SquareRootInformation, SquareRootInformation, ParameterSet]:
    """Data that see three combinations of six parameters well, two poorly and one not at all."""
    rng = np.random.default_rng(9)
    names = [f"term_{k}" for k in range(6)]
    sigmas = 10.0 ** rng.uniform(-3.0, 3.0, 6)
    directions = np.linalg.qr(rng.normal(size=(6, 6)))[0]
    seen = np.diag([300.0, 40.0, 8.0, 0.6, 0.1, 0.0]) @ directions / sigmas
    data = SquareRootInformation.nothing(tuple(names))
    data.absorb(np.column_stack([seen, np.zeros(6)]))
    parameters = ParameterSet(
        Parameter(name, "", sigma=s) for name, s in zip(names, sigmas, strict=True)
    )
    for k in range(conditions):
        parameters = parameters.with_conditions(
            Condition((names[k], names[5]), [[1.0 / sigmas[k], -2.0 / sigmas[5]]])
        )
    known = SquareRootInformation.nothing(tuple(names))
    known.absorb(np.column_stack([np.diag(1.0 / sigmas), np.zeros(6)]))
    return data, data.combine(known), parameters


def test_what_the_data_do_not_see_are_generalised_eigenvectors() -> None:
    data, information, parameters = problem()
    combinations, share = unseen_combinations(data, information, parameters)
    # Normal matrices of data and of all have the shares as eigenvalues, and directions of unit
    # standard deviation as eigenvectors (scipy.linalg.eigh, LAPACK dsygvd). The eigenvalues are
    # good to the rounding of the largest entry, 300^2 times 2e-16, whatever the processor.
    values, vectors = eigh(data.matrix.T @ data.matrix, information.matrix.T @ information.matrix)
    np.testing.assert_allclose(values[:3], [0.0, 0.01 / 1.01, 0.36 / 1.36], atol=2e-11)
    loadings = vectors / information.sigma()[:, None]
    np.testing.assert_allclose(share, (loadings**2) @ (1.0 - values), rtol=1e-9)
    assert len(combinations) == 2
    together = np.zeros((6, 2))
    for k, combination in enumerate(combinations):
        assert combination.strength**2 <= values[1] + 1e-12
        for name, amount in combination.members:
            together[parameters.place(name), k] = amount
    # Whatever the basis, the members lie in the space of the eigenvectors.
    rest = together - vectors[:, :2] @ np.linalg.lstsq(vectors[:, :2], together)[0]
    sigma = information.sigma()[:, None]
    assert np.abs(rest / sigma).max() < UNSEEN_MEMBER
    assert np.abs(together / sigma).max() > 0.5


def test_the_a_priori_share_is_that_of_the_errors_of_what_was_known() -> None:
    # Many campaigns: the truth scatters about the a priori values, the data about the truth; once
    # without noise, and once with an a priori value that is the truth.
    data, information, parameters = problem()
    rng = np.random.default_rng(4)
    _, share = unseen_combinations(data, information, parameters)
    covariance = np.linalg.inv(information.matrix.T @ information.matrix)
    design = data.matrix
    truth = rng.normal(size=(20_000, 6)) * parameters.sigmas
    noise = rng.normal(size=(20_000, 6))
    by_knowledge = truth @ (design.T @ design @ covariance) - truth
    by_noise = noise @ design @ covariance
    variance = np.diag(covariance)
    np.testing.assert_allclose(by_knowledge.var(axis=0) / variance, share, atol=0.03)
    np.testing.assert_allclose(by_noise.var(axis=0) / variance, 1.0 - share, atol=0.03)
    assert 0.1 < share.min() < share.max() < 1.0


def test_a_pair_of_which_the_data_see_the_sum() -> None:
    data = SquareRootInformation.nothing(("a", "b"))
    data.absorb(np.array([[1e6, 1e6, 0.0]]))
    parameters = ParameterSet([Parameter("a", "m", sigma=3.0), Parameter("b", "km", sigma=4.0)])
    known = SquareRootInformation.nothing(("a", "b"))
    known.absorb(np.array([[1 / 3.0, 0.0, 0.0], [0.0, 1 / 4.0, 0.0]]))
    (found,), share = unseen_combinations(data, data.combine(known), parameters)
    # Of two values whose sum is known each has the variance of their weighted mean.
    moves = dict(found.members)
    assert abs(moves["a"]) == pytest.approx(3.0 * 4.0 / 5.0, rel=1e-9)
    assert moves["b"] == pytest.approx(-moves["a"] / 1e3, rel=1e-9)
    np.testing.assert_allclose(share, 1.0, rtol=1e-6)
    assert str(found).startswith("only what was known before")


def test_exact_conditions_take_away_what_was_not_seen() -> None:
    data, information, parameters = problem(conditions=1)
    combinations, share = unseen_combinations(data, information, parameters)
    rows, _ = parameters.condition_rows()
    free = null_space(rows * np.array([p.sigma for p in parameters]))
    free *= np.array([p.sigma for p in parameters])[:, None]
    values, vectors = eigh(
        free.T @ data.matrix.T @ data.matrix @ free,
        free.T @ information.matrix.T @ information.matrix @ free,
    )
    root = free @ vectors
    assert (values < 1.0 - NOT_IMPROVED**2).sum() == 1  # of two without the condition
    expected = (root**2) @ (1.0 - values) / (root**2).sum(axis=1)
    np.testing.assert_allclose(share, expected, rtol=1e-8)
    assert len(combinations) == 1


def test_nothing_is_unseen_where_the_data_see_everything() -> None:
    data = information_with(0.5, np.array([30.0, 12.0, 1e-15]))
    combinations, share = unseen_combinations(data, data, PARAMETERS)
    assert combinations == []
    np.testing.assert_allclose(share, 0.0, atol=1e-12)


def test_the_knowledge_that_limits_is_that_whose_improvement_helps_most() -> None:
    # Halve one a priori standard deviation after the other: the sigma of a parameter falls most by
    # that which is named (of those pieces that act alone; smoothing error of Rodgers 2000).
    data, information, parameters = problem()
    named = limiting_knowledge(np.linalg.inv(information.matrix), parameters)

    def sigma(better: str) -> np.ndarray:
        known = parameters.changed(better, sigma=0.9 * parameters[better].sigma)
        rows, values = known.a_priori_rows()
        total = SquareRootInformation.nothing(parameters.names)
        total.absorb(np.column_stack([rows, values]))
        return data.combine(total).sigma()

    after = {name: sigma(name) for name in parameters.names}
    best = [min(after, key=lambda name, k=k: after[name][k]) for k in range(len(parameters))]
    assert list(named) == best
    assert len(set(named)) > 1
