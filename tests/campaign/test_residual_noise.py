"""Known noise is simulated, fitted through, and found again in the residuals."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from wobble.campaign.residual_noise import residual_noise, residual_passes
from wobble.errors import InputError, UnknownNameError
from wobble.noise.budget import Budget
from wobble.noise.contributions.solar_plasma import SolarPlasma
from wobble.noise.contributions.white import WhiteRange, WhiteRangeRate

TRUTH = Budget(
    (WhiteRange(sigma=0.4), WhiteRangeRate(sigma=3e-5), SolarPlasma(scale=0.8, low_cutoff=1e-4))
)
ASSUMED = Budget((WhiteRange(), WhiteRangeRate(), SolarPlasma(low_cutoff=1e-4)))
EXPECTED = np.array([0.4, 0.6, 0.8])
"""Factors of the truth on what is assumed."""


@pytest.fixture(scope="module")
def campaign(short_campaign):
    return replace(short_campaign, budget=TRUTH)


def found_again(campaign, passes, seed):
    tracking = campaign.simulate(passes, seed=seed)
    solution = campaign.fit(tracking)
    assuming = replace(campaign, budget=ASSUMED)
    return residual_noise(assuming, solution, tracking), solution, tracking


@pytest.fixture(scope="module")
def rehearsed(campaign, short_passes):
    return found_again(campaign, short_passes, 11)


def test_known_levels_are_found_within_their_uncertainty(rehearsed):
    noise, _, _ = rehearsed
    assert noise.overall.names == ["white_range", "white_range_rate", "solar_plasma"]
    pulls = (noise.overall.scales - EXPECTED) / noise.overall.sigmas
    assert np.abs(pulls).max() < 3.5
    assert (noise.overall.sigmas / EXPECTED).max() < 0.25


def test_white_levels_of_single_passes_scatter_as_they_say(rehearsed):
    # 27 passes: mean 0 +- 0.19, standard deviation 1 +- 0.14; the plasma of a single pass is
    # hardly seen, and its distribution is no normal one.
    noise, _, _ = rehearsed
    errors = np.array([one.scales[1] - EXPECTED[1] for one in noise.single])
    pulls = errors / [one.sigmas[1] for one in noise.single]
    assert abs(pulls.mean()) < 0.6
    assert 0.6 < pulls.std() < 1.45


@pytest.mark.slow
def test_errors_over_sigmas_of_sixteen_campaigns_are_those_of_a_normal(campaign, short_passes):
    # Of 16: mean 0 +- 0.25, standard deviation 1 +- 0.18.
    pulls = []
    for seed in range(100, 116):
        noise, _, _ = found_again(campaign, short_passes, seed)
        pulls.append((noise.overall.scales - EXPECTED) / noise.overall.sigmas)
    print("mean", np.mean(pulls, axis=0), "standard deviation", np.std(pulls, axis=0))
    assert np.abs(np.mean(pulls, axis=0)).max() < 0.8
    assert np.all((np.std(pulls, axis=0) > 0.5) & (np.std(pulls, axis=0) < 1.5))


def test_a_fit_says_whether_its_weights_are_white(rehearsed, campaign):
    _, solution, tracking = rehearsed
    assert "weights: Budget, correlated: white_range" in str(solution)
    white = replace(campaign, budget=Budget((WhiteRange(), WhiteRangeRate())))
    assert "weights: Budget, white: white_range" in str(white.fit(tracking))
    assert "weights: white, as given" in str(replace(campaign, budget=None).fit(tracking))


def test_residuals_come_with_their_own_samples(rehearsed, campaign):
    _, solution, tracking = rehearsed
    passes = residual_passes(campaign, solution, tracking)
    assert sum(len(one.residual) for one in passes) == solution.n_used
    last = passes[-1]
    rows = solution.samples.pass_name == last.name
    rows &= solution.samples.accepted
    np.testing.assert_array_equal(last.residual, solution.samples.residual[rows])
    assert last.geometry.kind.tolist() == solution.samples.kind[rows].tolist()


def test_tables_have_a_row_for_each_contribution_and_pass(rehearsed):
    noise, _, _ = rehearsed
    table = noise.table()
    assert table["range_rate"][1].to_value("m/s") == pytest.approx(noise.overall.scales[1] * 5e-5)
    assert table["range"][0].to_value("m") == pytest.approx(noise.overall.scales[0])
    by_pass = noise.pass_table()
    assert len(by_pass) == len(noise.passes)
    assert {"white_range", "solar_plasma_sigma", "sun_angle"} <= set(by_pass.colnames)


def test_chosen_contributions_keep_the_parameters_of_the_scenario(rehearsed, campaign):
    _, solution, tracking = rehearsed
    names = ["white_range", "white_range_rate"]
    noise = residual_noise(campaign, solution, tracking, names)
    assert noise.assumed.contributions == TRUTH.contributions[:2]
    # Without a plasma the white level takes its power.
    assert noise.overall.scales[1] > 1.0


def test_unknown_contributions_and_foreign_measurements_are_refused(rehearsed, campaign):
    _, solution, tracking = rehearsed
    with pytest.raises(UnknownNameError, match="'solar_plasma'"):
        residual_noise(campaign, solution, tracking, ["solar_plazma"])
    foreign = tracking[np.arange(len(tracking) - 1)]
    with pytest.raises(InputError, match=re.escape("not made from these measurements")):
        residual_noise(campaign, solution, foreign)
