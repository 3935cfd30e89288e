"""Noise found again in residuals that were drawn with it."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from scipy import signal

from wobble.errors import InputError
from wobble.noise.budget import Budget, PassGeometry
from wobble.noise.contributions.clocks import Transponder
from wobble.noise.contributions.ranging import RangeCalibration
from wobble.noise.contributions.solar_plasma import SolarPlasma
from wobble.noise.contributions.thermal import ThermalPhase
from wobble.noise.contributions.white import WhiteRange
from wobble.noise.from_residuals import (
    estimate_levels,
    residual_allan_deviation,
    residual_spectrum,
)

# Without an absolute tolerance: the values are far below the default one of 1e-12.
approx = partial(pytest.approx, rel=1e-6, abs=0.0)

RNG = np.random.default_rng


def a_pass(slots, count_time=60.0, kind="range_rate"):
    t = (np.asarray(slots) + 0.5) * count_time
    return PassGeometry(t, count_time, kind, 0.7, 1.0, 1500.0, 2.2e11)


def test_spectrum_is_the_classical_periodogram():
    residuals = RNG(1).standard_normal(101)
    frequency, density = residual_spectrum(residuals, a_pass(range(101)))
    f, expected = signal.periodogram(residuals, fs=1 / 60.0)
    np.testing.assert_allclose(frequency, f[1:], rtol=1e-12)
    np.testing.assert_allclose(density, expected[1:], rtol=1e-8)


def test_spectrum_of_white_frequency_noise_is_flat_in_spite_of_gaps():
    # One-sided density of samples of variance s^2 every T seconds: 2 s^2 T.
    slots = np.delete(np.arange(400), [*range(50, 80), 200, 300])
    passed, budget = a_pass(slots), Budget((Transponder(),))
    root, rng = budget.factor(passed), RNG(2)
    densities = [
        residual_spectrum(root.colour(rng.standard_normal(len(slots))), passed)[1]
        for _ in range(10)
    ]
    mean = np.mean(densities)
    assert mean == approx(2 * (2e-5) ** 2 * 60, rel=0.1)
    assert np.mean(densities, axis=0)[:40].mean() == approx(mean, rel=0.25)


def test_allan_deviation_of_residuals_is_that_of_the_budget_and_skips_gaps():
    slots = np.delete(np.arange(2000), range(500, 520))
    passed = a_pass(slots)
    residuals = RNG(3).standard_normal(slots.size) * 1e-4
    tau, deviation, terms = residual_allan_deviation(residuals, passed, [1, 4])
    np.testing.assert_allclose(tau, [60.0, 240.0])
    np.testing.assert_allclose(deviation, [1e-4, 0.5e-4], rtol=0.07)
    # Of 2000 - 2m + 1 differences those that reach into the gap are lost, 20 + 2m - 1.
    assert terms.tolist() == [1978, 1966]
    assert residual_allan_deviation(residuals, passed)[0][-1] == 512 * 60.0


def test_levels_of_white_phase_and_plasma_are_found_within_their_uncertainty():
    # 16 simulated data sets: errors over sigmas have mean 0 +- 0.25 and deviation 1 +- 0.18.
    passed = a_pass(np.r_[0:40, 50:70])
    given = Budget((ThermalPhase(), SolarPlasma()))
    truth = Budget((ThermalPhase(scale=1.7), SolarPlasma(scale=0.6)))
    root, rng = truth.factor(passed), RNG(4)
    pulls = []
    for _ in range(16):
        data = [(root.colour(rng.standard_normal(60)) + 3e-4, passed) for _ in range(2)]
        found = estimate_levels(data, given)
        pulls.append((found.scales - [1.7, 0.6]) / found.sigmas)
    assert np.abs(np.mean(pulls, axis=0)).max() < 0.8
    assert np.all((np.std(pulls, axis=0) > 0.5) & (np.std(pulls, axis=0) < 1.5))


def test_estimated_levels_make_a_budget():
    passed = a_pass(range(150))
    truth = Budget((Transponder(scale=2.0),))
    found = estimate_levels([(truth.draw(passed, RNG(5)), passed)], Budget((Transponder(),)))
    assert found.budget.contributions[0].scale == found.scales[0]
    # Of n samples less one: sigma / scale = 1 / sqrt(2 (n - 1)).
    assert found.sigmas[0] / found.scales[0] == approx(1 / np.sqrt(2 * 149), rel=1e-3)
    assert found.scales[0] == approx(2.0, abs=4 * found.sigmas[0])
    assert "transponder" in repr(found)


def test_restricted_likelihood_counts_the_bias_that_was_taken_out():
    # White noise: the estimate is the sum of squares about the mean over n - 1, exactly.
    passed = a_pass(range(10))
    residuals = RNG(6).standard_normal(10) * 4e-5
    found = estimate_levels([(residuals, passed)], Budget((Transponder(),)))
    assert found.scales[0] * 2e-5 == approx(residuals.std(ddof=1), rel=1e-5)


def test_a_contribution_that_is_not_there_has_an_upper_limit():
    passed = a_pass(range(80))
    truth = Budget((Transponder(),))
    found = estimate_levels(
        [(truth.draw(passed, RNG(8)), passed)], Budget((Transponder(), SolarPlasma(scale=0.01)))
    )
    assert found.scales[0] == approx(1.0, abs=0.3)
    assert found.sigmas[1] > 1.0


def test_a_contribution_that_the_data_cannot_show_has_infinite_sigma():
    passed = a_pass(range(40), kind=["range"] * 5 + ["range_rate"] * 35)
    budget = Budget((Transponder(), WhiteRange(), RangeCalibration()))
    found = estimate_levels([(budget.draw(passed, RNG(7)), passed)], budget)
    assert np.isinf(found.sigmas[2])
    assert np.isfinite(found.sigmas[:2]).all()


@pytest.mark.parametrize(
    ("residuals", "passed", "match"),
    [
        (np.zeros(4), a_pass(range(5)), "residuals.*shape .5"),
        (np.full(5, np.nan), a_pass(range(5)), "not finite"),
        (np.zeros(2), a_pass([0.0, 1.3]), "one grid"),
        (np.zeros(2), a_pass([0, 2], [60.0, 30.0]), "one count time"),
        (np.zeros(2), a_pass([0, 2], kind="range"), "one count time"),
    ],
)
def test_residuals_without_a_spectrum_are_refused(residuals, passed, match):
    with pytest.raises(InputError, match=match):
        residual_spectrum(residuals, passed)


def test_a_pass_that_its_polynomial_uses_up_is_refused():
    with pytest.raises(InputError, match="degree"):
        estimate_levels([(np.zeros(2), a_pass([0, 1]))], Budget((Transponder(),)), degree=1)
