"""Many passes together: spectrum and Allan deviation, and what a budget expects of them."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.timeseries import LombScargle

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.noise.budget import Budget, PassGeometry
from wobble.noise.contributions.solar_plasma import SolarPlasma
from wobble.noise.contributions.thermal import ThermalPhase
from wobble.noise.contributions.white import WhiteRangeRate
from wobble.noise.from_residuals import expected_spectrum, residual_spectrum
from wobble.noise.pooled import pooled_allan_deviation, pooled_spectrum

BUDGET = Budget((WhiteRangeRate(sigma=2e-5), ThermalPhase(), SolarPlasma()))


def a_pass(slots, count_time=60.0, kind="range_rate"):
    t = (np.asarray(slots) + 0.5) * count_time
    return PassGeometry(t, count_time, kind, 0.7, 1.0, 1500.0, 2.2e11)


GAPS = a_pass(np.r_[0:20, 26:45])


def test_spectrum_with_gaps_is_that_of_an_independent_library():
    residuals = np.random.default_rng(1).standard_normal(len(GAPS))
    frequency, density = residual_spectrum(residuals, GAPS)
    periodogram = LombScargle(
        GAPS.time, residuals - residuals.mean(), fit_mean=False, normalization="psd"
    )
    power = periodogram.power(frequency, method="slow")
    np.testing.assert_allclose(density, 2.0 * 60.0 * power, rtol=1e-9)


def test_expected_spectrum_is_the_mean_of_drawn_ones():
    # Each ordinate of a periodogram has its mean for standard deviation.
    root, rng, draws = BUDGET.factor(GAPS), np.random.default_rng(2), 2000
    noise = root.colour(rng.standard_normal((len(GAPS), draws))).T
    mean = np.mean([residual_spectrum(one, GAPS)[1] for one in noise], axis=0)
    expected = expected_spectrum(BUDGET, GAPS)
    pulls = (mean / expected - 1.0) * np.sqrt(draws)
    assert np.abs(pulls).max() < 4.0


def test_pooled_curves_lie_about_what_the_budget_expects():
    rng = np.random.default_rng(3)
    geometries = [a_pass(range(45)), GAPS, a_pass(range(60))] * 30
    passes = [(BUDGET.draw(geometry, rng) + 1e-4, geometry) for geometry in geometries]
    for pooled in (
        pooled_spectrum(passes, {"truth": BUDGET}),
        pooled_allan_deviation(passes, {"truth": BUDGET}),
    ):
        assert pooled.passes == 90
        pulls = (pooled.value - pooled.expected["truth"]) / pooled.error
        assert np.abs(pulls).max() < 4.0
        assert (pooled.error / pooled.value).max() < 0.3


def test_where_one_pass_reaches_it_is_as_uncertain_as_a_pass_is_elsewhere():
    # Levels scattered by a factor of three; the chance of an ordinate is far less than that.
    rng = np.random.default_rng(8)
    passes = [
        (np.exp(1.1 * rng.standard_normal()) * rng.standard_normal(n), a_pass(range(n)))
        for n in [30] * 19 + [120]
    ]
    pooled = pooled_allan_deviation(passes, {})
    relative = pooled.error / pooled.value
    assert pooled.place[-1] == 60.0 * 32  # beyond 30 counts
    assert relative[-1] > 0.7 * np.sqrt(20.0) * relative[0]


def test_residuals_of_nothing_but_zeros_have_no_error():
    zeros = [(np.zeros(20), a_pass(range(20)))] * 3
    for pooled in (pooled_spectrum(zeros, {}), pooled_allan_deviation(zeros, {})):
        assert np.all(pooled.error == 0.0)


def test_allan_deviation_is_of_the_received_frequency():
    # White frequency noise: 2 sigma / c at the count time (two-way), falling with the root.
    budget = Budget((WhiteRangeRate(sigma=5e-5),))
    pooled = pooled_allan_deviation([(np.zeros(60), a_pass(range(60)))], {"white": budget})
    expected = 2.0 * 5e-5 / SPEED_OF_LIGHT / np.sqrt(pooled.place / 60.0)
    np.testing.assert_allclose(pooled.expected["white"], expected)


def test_passes_of_another_count_time_stay_out():
    zeros = np.zeros(20)
    passes = [(zeros, a_pass(range(20))), (zeros, a_pass(range(20)))]
    passes.append((zeros, a_pass(range(20), count_time=10.0)))
    passes.append((zeros, a_pass(range(20), kind="range")))
    assert pooled_spectrum(passes, {}).passes == 2


def test_ranges_alone_have_no_spectrum():
    with pytest.raises(InputError, match="no pass has a spectrum"):
        pooled_spectrum([(np.zeros(20), a_pass(range(20), kind="range"))], {})
