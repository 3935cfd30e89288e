"""Square-root information against dense least squares and certified values."""

from __future__ import annotations

import numpy as np
import pytest
from invented import Array, seasonal_pass

from wobble.errors import InputError
from wobble.estimation.least_squares import (
    PassEquations,
    SquareRootInformation,
    eliminate_locals,
)

# NIST Statistical Reference Datasets, Linear Least Squares, Longley (1967): y, x1 .. x5;
# x6 is the year, 1947 to 1962.
LONGLEY = """
60323 61122 60171 61187 63221 63639 64989 63761 66019 67857 68169 66513 68655 69564 69331 70551
83.0 88.5 88.2 89.5 96.2 98.1 99.0 100.0 101.2 104.6 108.4 110.8 112.6 114.2 115.7 116.9
234289 259426 258054 284599 328975 346999 365385 363112 397469 419180 442769 444546 482704
502601 518173 554894
2356 2325 3682 3351 2099 1932 1870 3578 2904 2822 2936 4681 3813 3931 4806 4007
1590 1456 1616 1650 3099 3594 3547 3350 3048 2857 2798 2637 2552 2514 2572 2827
107608 108632 109773 110929 112075 113270 115094 116219 117388 118734 120445 121950 123366
125368 127852 130081
"""
LONGLEY_ESTIMATES = [
    -3482258.63459582,
    15.0618722713733,
    -0.0358191792925910,
    -2.02022980381683,
    -1.03322686717359,
    -0.0511041056535807,
    1829.15146461355,
]
LONGLEY_ERRORS = [
    890420.383607373,
    84.9149257747669,
    0.0334910077722432,
    0.488399681651699,
    0.214274163161675,
    0.226073200069370,
    455.478499142212,
]
LONGLEY_RESIDUAL_SUM = 836424.055505915


def information_of(rows: Array, right: Array) -> SquareRootInformation:
    names = tuple(f"b{k}" for k in range(rows.shape[1]))
    information = SquareRootInformation.nothing(names)
    for row, number in zip(rows, right, strict=True):
        information.absorb(np.append(row, number)[None])
    return information


def test_longley_coefficients_and_standard_errors_are_the_certified_ones() -> None:
    numbers = np.array(LONGLEY.split(), float).reshape(6, 16)
    rows = np.column_stack([np.ones(16), *numbers[1:], np.arange(1947, 1963)])
    solution = information_of(rows, numbers[0]).solve()
    np.testing.assert_allclose(solution.step, LONGLEY_ESTIMATES, rtol=1e-9)
    assert solution.chi_square == pytest.approx(LONGLEY_RESIDUAL_SUM, rel=1e-9)
    errors = solution.sigma * np.sqrt(solution.chi_square / (16 - 7))
    np.testing.assert_allclose(errors, LONGLEY_ERRORS, rtol=1e-9)


def test_wampler_polynomial_is_recovered() -> None:
    # NIST Statistical Reference Datasets, Wampler1: y = sum of x^k, k = 0..5, all ones.
    rows = np.vander(np.arange(21.0), 6, increasing=True)
    solution = information_of(rows, rows.sum(axis=1)).solve()
    np.testing.assert_allclose(solution.step, np.ones(6), rtol=1e-9)


def dense_solution(passes: list[PassEquations], prior: float) -> tuple[Array, Array]:
    """All rows, all parameters at once: numpy.linalg.lstsq and the inverse of A^T A by SVD."""
    p = passes[0].partials.shape[1]
    q = sum(len(one.local_names) for one in passes)
    rows, right, first = [], [], p
    for one in passes:
        block = np.zeros((len(one), p + q))
        block[:, :p] = one.partials
        block[:, first : first + len(one.local_names)] = one.local_partials
        if one.whiten is None:
            block, residual = block / one.sigma[:, None], one.residual / one.sigma
        else:
            both = one.whiten(np.column_stack([block, one.residual]), np.ones(len(one), bool))
            block, residual = both[:, :-1], both[:, -1]
        rows.append(block)
        right.append(residual)
        for k, sigma in enumerate(one.local_sigma):
            if np.isfinite(sigma):
                unit = np.zeros((1, p + q))
                unit[0, first + k] = 1.0 / sigma
                rows.append(unit)
                right.append(np.zeros(1))
        first += len(one.local_names)
    rows.append(np.eye(p, p + q) / prior)
    right.append(np.zeros(p))
    matrix = np.vstack(rows)
    scale = np.linalg.norm(matrix, axis=0)
    estimate = np.linalg.lstsq(matrix / scale, np.concatenate(right), rcond=None)[0] / scale
    _, values, directions = np.linalg.svd(matrix / scale, full_matrices=False)
    return estimate, (directions.T / values**2) @ directions / np.outer(scale, scale)


def correlated(n: int) -> np.ndarray:
    """Contiguous counts of white phase noise: neighbours anticorrelated by one half."""
    return np.eye(n) * 1.001 - 0.5 * (np.eye(n, k=1) + np.eye(n, k=-1))


def mixed_passes(count: int) -> list[PassEquations]:
    rng = np.random.default_rng(3)
    passes = [seasonal_pass(rng, number) for number in range(count)]
    for i in range(0, count, 2):
        one = passes[i]
        covariance = correlated(len(one)) * np.outer(one.sigma, one.sigma)

        def whiten(rows: Array, accepted: np.ndarray, covariance: Array = covariance) -> Array:
            root = np.linalg.cholesky(covariance[np.ix_(accepted, accepted)])
            return np.linalg.solve(root, rows[accepted])

        passes[i] = PassEquations(**{**one.__dict__, "whiten": whiten})
    return passes


def take_in(passes: list[PassEquations], prior: float) -> tuple[SquareRootInformation, list]:
    p = passes[0].partials.shape[1]
    information = SquareRootInformation.nothing(tuple(f"g{k}" for k in range(p)))
    information.absorb(np.column_stack([np.eye(p) / prior, np.zeros(p)]))
    factors = []
    for one in passes:
        everything = np.ones(len(one), bool)
        rows = one.rows / one.sigma[:, None]
        if one.whiten is not None:
            rows = one.whiten(one.rows, everything)
        factor, rest = eliminate_locals(rows, one.name, one.local_names, one.local_sigma, p)
        factors.append(factor)
        information.absorb(rest)
    return information, factors


def test_a_mixed_case_equals_the_dense_solution_pass_parameters_included() -> None:
    passes = mixed_passes(24)
    expected, covariance = dense_solution(passes, prior=50.0)
    information, factors = take_in(passes, prior=50.0)
    solution = information.solve()
    p = len(solution.step)
    sigma = np.sqrt(np.diag(covariance))
    assert np.abs((solution.step - expected[:p]) / sigma[:p]).max() < 1e-8
    np.testing.assert_allclose(
        solution.covariance / np.outer(sigma[:p], sigma[:p]),
        covariance[:p, :p] / np.outer(sigma[:p], sigma[:p]),
        atol=1e-8,
    )
    for i, factor in enumerate(factors):
        own = slice(p + 2 * i, p + 2 * i + 2)
        values, spread = factor.estimate(solution.step, solution.root)
        assert np.abs((values - expected[own]) / sigma[own]).max() < 1e-8
        np.testing.assert_allclose(spread, covariance[own, own], rtol=1e-8)


def test_order_of_the_passes_does_not_matter() -> None:
    passes = mixed_passes(24)
    forward = take_in(passes, 50.0)[0].solve()
    backward = take_in(passes[::-1], 50.0)[0].solve()
    assert np.abs((forward.step - backward.step) / forward.sigma).max() < 1e-10
    assert forward.chi_square == pytest.approx(backward.chi_square, rel=1e-10)


def test_two_halves_combined_about_other_values_are_the_whole() -> None:
    passes = mixed_passes(24)
    whole = take_in(passes, 50.0)[0].solve()
    first, _ = take_in(passes[:10], 50.0)
    shift = np.linspace(-3.0, 3.0, 6)
    second = SquareRootInformation.nothing(first.names)
    for one in passes[10:]:
        rows = one.rows / one.sigma[:, None]
        if one.whiten is not None:
            rows = one.whiten(one.rows, np.ones(len(one), bool))
        rest = eliminate_locals(rows, one.name, one.local_names, one.local_sigma, 6)[1]
        second.absorb(rest)
    together = first.about(shift).combine(second).solve()
    assert np.abs((together.step + shift - whole.step) / whole.sigma).max() < 1e-9
    assert together.chi_square == pytest.approx(whole.chi_square, rel=1e-9)


def test_a_pass_parameter_without_data_takes_nothing_from_the_others() -> None:
    # The second bias has a zero column: the reduction must not spend a row on it.
    rng = np.random.default_rng(5)
    rows = np.column_stack([np.ones(4), np.zeros(4), rng.normal(size=(4, 3))])
    factor, rest = eliminate_locals(rows, "P", ("bias", "empty"), np.array([np.inf, np.inf]), 2)
    without, expected = eliminate_locals(
        rows[:, [0, 2, 3, 4]], "P", ("bias",), np.array([np.inf]), 2
    )
    assert factor.free == ("empty",)
    assert factor.names == without.names
    np.testing.assert_allclose(rest.T @ rest, expected.T @ expected, atol=1e-14)


def test_pass_parameters_that_repeat_one_another_are_found() -> None:
    rng = np.random.default_rng(6)
    rows = np.column_stack([np.ones(5), 3.0 * np.ones(5), rng.normal(size=(5, 3))])
    factor, _ = eliminate_locals(rows, "P", ("bias", "again"), np.array([np.inf, np.inf]), 2)
    assert factor.names == ("bias",)
    assert factor.free == ("again",)


def test_what_is_not_determined_has_an_infinite_sigma_and_no_solution() -> None:
    rng = np.random.default_rng(7)
    partials = rng.normal(size=(20, 3))
    rows = np.column_stack([partials, partials[:, 0] - 2.0 * partials[:, 1], np.zeros(20)])
    information = information_of(rows, rng.normal(size=20))
    sigma = information.sigma()
    assert np.isinf(sigma[[0, 1, 3, 4]]).all()
    # The third is determined as if the others were estimated in two columns only.
    expected = np.linalg.inv(partials.T @ partials)[2, 2] ** 0.5
    assert sigma[2] == pytest.approx(expected, rel=1e-10)
    with pytest.raises(InputError, match="b0, b1, b3, b4"):
        information.solve()


def test_information_about_other_parameters_is_not_combined() -> None:
    one = SquareRootInformation.nothing(("a", "b"))
    with pytest.raises(InputError, match="different parameters"):
        one.combine(SquareRootInformation.nothing(("a", "c")))


def test_what_two_say_together_is_the_dense_solution_of_all_their_rows() -> None:
    rng = np.random.default_rng(11)
    far, truth = 2e7, np.array([3.0, -1.0, 2.0])
    dense = np.zeros((40, 4))
    dense[:15, [0, 1, 3]] = rng.normal(size=(15, 3))
    dense[15:, [2, 1, 3]] = rng.normal(size=(25, 3))
    right = dense[:, :3] @ truth + rng.normal(size=40)
    parts = []
    for names, columns, rows in (("ab", [0, 1], slice(15)), ("cb", [2, 1], slice(15, None))):
        part = SquareRootInformation.nothing(tuple(names), ("d",), np.full(2, far))
        part.absorb(np.column_stack([dense[rows][:, [*columns, 3]], right[rows]]))
        parts.append(part)
    both = SquareRootInformation.together(parts)
    assert (both.names, both.considered) == (("a", "b", "c"), ("d",))
    np.testing.assert_array_equal(both.reference, far)
    solution = both.solve()
    expected, rest, *_ = np.linalg.lstsq(dense[:, :3], right)
    np.testing.assert_allclose(solution.step, expected, atol=1e-12)
    assert solution.chi_square == pytest.approx(rest[0], rel=1e-12)
    by_d = -np.linalg.lstsq(dense[:, :3], dense[:, 3])[0]
    np.testing.assert_allclose(solution.sensitivity[:, 0], by_d, atol=1e-12)


def test_a_sample_that_is_not_a_number_is_named_with_pass_and_epoch() -> None:
    one = seasonal_pass(np.random.default_rng(8), 3)
    one.residual[5] = np.nan
    with pytest.raises(InputError, match=rf"P003.*{one.epoch[5]}.*not a number"):
        one.check(6, 0)


@pytest.mark.parametrize("sigma", [0.0, -1.0, np.nan, np.inf])
def test_a_sigma_that_is_not_positive_is_named(sigma: float) -> None:
    one = seasonal_pass(np.random.default_rng(8), 3)
    one.sigma[7] = sigma
    with pytest.raises(InputError, match=rf"P003.*{one.epoch[7]}.*positive"):
        one.check(6, 0)


def test_shapes_and_partial_derivatives_are_checked() -> None:
    one = seasonal_pass(np.random.default_rng(8), 3)
    with pytest.raises(InputError, match="shapes do not fit"):
        one.check(5, 0)
    one.partials[2, 2] = np.inf
    with pytest.raises(InputError, match="partial derivative"):
        one.check(6, 0)
