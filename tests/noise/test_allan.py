"""Allan deviations against NIST SP 1065 and the independent package allantools."""

from __future__ import annotations

from functools import partial

import allantools
import numpy as np
import pytest

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.noise.allan import overlapping_allan_deviation, process_from_allan_deviations
from wobble.noise.covariance import factors
from wobble.noise.geometry import PassGeometry
from wobble.noise.path_covariance import Leg, Term
from wobble.noise.power_laws import PowerLaw, path_level, power_law_process

# Without an absolute tolerance: the values are far below the default one of 1e-12.
approx = partial(pytest.approx, rel=1e-6, abs=0.0)

NINE_POINTS = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0]


def thousand_points():
    """NIST SP 1065 (Riley 2008), sect. 12.4: the prescribed generator."""
    numbers = [1234567890]
    for _ in range(999):
        numbers.append(16807 * numbers[-1] % 2147483647)
    assert numbers[1:4] == [395529916, 1209410747, 633705974]
    return np.array(numbers) / 2147483647


def test_thousand_points_have_the_deviations_of_nist_sp_1065():
    # NIST SP 1065, table 31, overlapping Allan deviation at m = 1, 10, 100.
    found, terms = overlapping_allan_deviation(thousand_points(), [1, 10, 100])
    np.testing.assert_allclose(found, [2.922319e-1, 9.159953e-2, 3.241343e-2], rtol=2e-7)
    assert terms.tolist() == [999, 981, 801]


def test_nine_points_have_the_deviations_of_nist_sp_1065():
    # NIST SP 1065, table 30 (NBS Monograph 140), overlapping Allan deviation at m = 1, 2.
    found, terms = overlapping_allan_deviation(NINE_POINTS, [1, 2, 5])
    np.testing.assert_allclose(found[:2], [91.22945, 85.95287], rtol=1e-7)
    assert np.isnan(found[2])
    assert terms.tolist() == [8, 6, 0]


def test_deviations_are_those_of_allantools():
    samples = np.cumsum(np.random.default_rng(3).standard_normal(500))
    _, expected, _, count = allantools.oadev(
        samples, rate=1.0, data_type="freq", taus=[1, 3, 20, 70]
    )
    found, terms = overlapping_allan_deviation(samples, [1, 3, 20, 70])
    np.testing.assert_allclose(found, expected, rtol=1e-10)
    np.testing.assert_array_equal(terms, count)


def test_a_gap_costs_only_the_differences_that_touch_it():
    samples = np.random.default_rng(4).standard_normal(40)
    gap = samples.copy()
    gap[17] = np.nan
    found, terms = overlapping_allan_deviation(gap, [2])
    means = (samples[1:] + samples[:-1]) / 2
    differences = [means[i + 2] - means[i] for i in range(37) if not i <= 17 <= i + 3]
    assert terms[0] == len(differences) == 33
    assert found[0] == approx(np.sqrt(np.mean(np.square(differences)) / 2), rel=1e-12)


@pytest.mark.parametrize("factors", [[0], [-1], [1.5]])
def test_impossible_averaging_factors_are_refused(factors):
    with pytest.raises(InputError, match="factors"):
        overlapping_allan_deviation(NINE_POINTS, factors)


KINDS = {
    "white phase": power_law_process(path_level(1e-24), 0.0, high_cutoff=5.0),
    "flicker phase": power_law_process(path_level(1e-24), -1.0, 1e-6, 5.0),
    "white frequency": PowerLaw(path_level(1e-25), -2.0),
    "Kolmogorov": PowerLaw(path_level(1e-26), -8 / 3),
    "flicker frequency": power_law_process(path_level(1e-27), -3.0, 1e-6),
    "random walk frequency": power_law_process(path_level(1e-30), -4.0, 1e-6),
}


@pytest.mark.parametrize("name", KINDS)
def test_drawn_samples_have_the_deviations_of_the_input_by_allantools(name):
    process, count, n, draws = KINDS[name], 10.0, 256, 60
    time = count * (np.arange(n) + 0.5)
    passed = PassGeometry(time, count, "range_rate", 1.0, 1.0, 100.0, 1e11, ways=1)
    white = np.random.default_rng(11).standard_normal((n, draws))
    noise = factors(passed.points, [Term(process, (Leg(1.0),))], np.zeros((1, n)))[0].colour(white)
    taus = [10.0, 40.0, 160.0]
    variances = np.array(
        [
            allantools.oadev(y / SPEED_OF_LIGHT, rate=1 / count, data_type="freq", taus=taus)[1]
            ** 2
            for y in noise.T
        ]
    )
    error = variances.std(axis=0, ddof=1) / np.sqrt(draws)
    expected = process.allan_deviation(taus) ** 2
    assert np.all(np.abs(variances.mean(axis=0) - expected) < 3.5 * error)
    assert np.all(error < 0.1 * expected)


def test_a_process_is_found_for_the_deviations_of_a_clock():
    tau = np.array([1.0, 10.0, 100.0, 1e3, 1e4])
    sigma = np.sqrt((1e-13 / tau) ** 2 + (3e-14 / np.sqrt(tau)) ** 2 + 8e-16**2 + 1e-35 * tau)
    process = process_from_allan_deviations(tau, sigma, bandwidth=5.0)
    np.testing.assert_allclose(process.allan_deviation(tau), sigma, rtol=1e-3)


@pytest.mark.parametrize(
    ("tau", "sigma", "match"),
    [
        ([1.0, 10.0], [1e-13, 1e-10], "no sum of standard processes"),
        ([1.0, 10.0], [1e-13, 0.0], "not a table"),
        ([1.0, 10.0], [1e-13], "not a table"),
    ],
)
def test_impossible_clocks_are_refused(tau, sigma, match):
    with pytest.raises(InputError, match=match):
        process_from_allan_deviations(tau, sigma, bandwidth=5.0)
