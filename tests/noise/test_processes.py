"""Covariances of ranges and counts against closed forms, and the tabulated spectrum."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from scipy import integrate

from wobble.errors import InputError
from wobble.noise.power_laws import PowerLaw, VonKarman, WhitePhase
from wobble.noise.processes import Constant, Sinusoid, SpectrumTable, Sum

# Without an absolute tolerance: the values are far below the default one of 1e-12.
approx = partial(pytest.approx, rel=1e-6, abs=0.0)

START = np.arange(6) * 60.0


def correlation(matrix):
    spread = np.sqrt(np.diagonal(matrix))
    return matrix / np.outer(spread, spread)


def test_contiguous_counts_of_white_phase_are_anticorrelated_by_one_half():
    # Two counts share one of two phases (common practice, no source).
    found = correlation(WhitePhase(1e-6, 5.0).range_rate_covariance(START, 60.0))
    expected = np.eye(6) - 0.5 * (np.eye(6, k=1) + np.eye(6, k=-1))
    np.testing.assert_allclose(found, expected, atol=1e-12)


def test_counts_of_white_phase_with_a_gap_are_uncorrelated():
    found = correlation(WhitePhase(1e-6, 5.0).range_rate_covariance(START, 55.0))
    np.testing.assert_allclose(found, np.eye(6), atol=1e-12)


def test_counts_of_white_frequency_are_uncorrelated_and_average_down():
    process = PowerLaw(1e-6, -2.0)
    count = np.array([60.0, 60.0, 30.0, 60.0, 20.0, 60.0])
    found = process.range_rate_covariance(START, count)
    np.testing.assert_allclose(found, np.diag(found[0, 0] * 60.0 / count), atol=1e-12)


def test_counts_of_kolmogorov_plasma_stay_correlated():
    # For D = lag^(5/3): [2^(5/3) - 2] / 2 for neighbours, then falling as lag^(-1/3).
    process = PowerLaw(1e-6, -8 / 3)
    start = np.array([0.0, 60.0, 6000.0, 48000.0])
    found = correlation(process.range_rate_covariance(start, 60.0))[0]
    assert found[1] == approx((2 ** (5 / 3) - 2) / 2, rel=1e-12)
    assert found[3] / found[2] == approx(8 ** (-1 / 3), rel=1e-3)
    assert found[3] > 0.05


def test_equal_counts_have_the_covariance_of_the_second_difference_of_the_structure_function():
    process, count, lag = PowerLaw(1e-6, -2.4), 60.0, 137.0
    d = process.structure_function
    expected = (d(lag + count) + d(lag - count) - 2 * d(lag)) / (2 * count**2)
    found = process.range_rate_covariance([0.0, lag], count)[0, 1]
    assert found == approx(float(expected), rel=1e-12)


def test_a_count_is_the_difference_of_two_ranges():
    process = VonKarman.from_rms(0.1, 3000.0, -8 / 3)
    start, count = np.array([3.0, 100.0, 250.0]), np.array([60.0, 10.0, 600.0])
    ranges = np.concatenate([start, start + count, [77.0, 1000.0]])
    all_ranges = process.range_covariance(ranges)
    take = np.zeros((5, 8))
    for k in range(3):
        take[k, [k, 3 + k]] = -1 / count[k], 1 / count[k]
    take[3, 6] = take[4, 7] = 1.0
    expected = take @ all_ranges @ take.T
    rates = process.range_rate_covariance(start, count)
    cross = process.cross_covariance([77.0, 1000.0], start, count)
    np.testing.assert_allclose(rates, expected[:3, :3], rtol=1e-9)
    np.testing.assert_allclose(cross, expected[3:, :3], rtol=1e-9)
    np.testing.assert_allclose(process.range_covariance([77.0, 1000.0]), expected[3:, 3:])


@pytest.mark.parametrize("lag", [0.0, 1e-9, 0.3, 20.0, 4000.0])
def test_tabulated_spectrum_is_transformed_exactly(lag):
    f, s = np.array([0.0, 0.01, 0.05, 0.4]), np.array([5.0, 4.0, 0.5, 0.1])
    expected = sum(
        integrate.quad(
            lambda x: np.interp(x, f, s),
            *f[k : k + 2],
            weight="cos",
            wvar=2 * np.pi * lag,
            limit=400,
            epsabs=1e-13,
        )[0]
        for k in range(3)
    )
    found = SpectrumTable(f, s).autocovariance(lag)
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-12)


def test_tabulated_von_karman_spectrum_has_its_covariances():
    exact = VonKarman.from_rms(0.1, 100.0, -4.0)
    f = np.concatenate([[0.0], np.geomspace(1e-5, 1.0, 3000)])
    table = SpectrumTable(f, exact.spectrum(f))
    lag = np.array([0.0, 60.0, 300.0])
    np.testing.assert_allclose(table.autocovariance(lag), exact.autocovariance(lag), rtol=1e-4)


def test_independent_processes_add():
    parts = (WhitePhase(1e-6, 5.0), VonKarman.from_rms(0.01, 100.0, -2.0))
    both = Sum(parts)
    apart = sum(part.range_rate_covariance(START, 60.0) for part in parts)
    np.testing.assert_allclose(both.range_rate_covariance(START, 60.0), apart)
    np.testing.assert_allclose(both.scaled(4.0).allan_deviation(60.0), 2 * both.allan_deviation(60))
    np.testing.assert_allclose(both.spectrum([0.1]), sum(p.spectrum([0.1]) for p in parts))
    assert both.has_variance
    assert not Sum((*parts, PowerLaw(1.0, -2.0))).has_variance


def test_a_constant_is_no_noise_of_the_range_rate():
    np.testing.assert_array_equal(Constant(4.0).range_rate_covariance(START, 60.0), 0.0)
    np.testing.assert_array_equal(Constant(4.0).range_covariance(START), 4.0)
    assert Constant(4.0).spectrum([0.1]) == 0.0
    with pytest.raises(InputError, match="averaging_time"):
        Constant(4.0).with_allan_deviation(1e-14, 60.0)


def test_a_sinusoid_repeats_after_its_period():
    process = Sinusoid(0.5, 1000.0)
    np.testing.assert_allclose(
        process.autocovariance([0, 250, 500, 1000]), [0.5, 0, -0.5, 0.5], atol=1e-15
    )
    assert process.spectrum([0.1]) == 0.0


@pytest.mark.parametrize(
    ("frequency", "density", "match"),
    [
        ([0.0, 0.1, 0.2], [1.0, -1.0, 0.0], r"entries \[1\].*negative"),
        ([0.0, 0.1], [1.0, np.nan], "density"),
        ([0.1, 0.0], [1.0, 1.0], "increasing"),
        ([0.1], [1.0], "two or more"),
        ([0.1, 0.2], [1.0], "as many"),
    ],
)
def test_impossible_tables_are_refused(frequency, density, match):
    with pytest.raises(InputError, match=match):
        SpectrumTable(np.array(frequency), np.array(density))


@pytest.mark.parametrize("count", [0.0, -60.0])
def test_zero_and_negative_counts_are_refused(count):
    process = PowerLaw(1.0, -2.0)
    with pytest.raises(InputError, match="count_time"):
        process.range_rate_covariance(START, count)
    with pytest.raises(InputError, match="count_time"):
        VonKarman(1.0, -2.0, 0.1).cross_covariance([0.0], START, count)
