"""The budget: read from tables, drawn, whitened, and fast enough."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest

from wobble.errors import InputError, UnknownNameError
from wobble.noise.budget import Budget, PassGeometry, standard_budget, white_budget
from wobble.noise.contributions.solar_plasma import SolarPlasma


def a_pass(n, count_time=60.0, lowest_deg=15.0, ways=2):
    t = (np.arange(n) + 0.5) * count_time
    elevation = np.radians(lowest_deg) + 7e-5 * t * 0.5
    return PassGeometry(
        t, count_time, "range_rate", np.minimum(elevation, 1.5), 1.0, 1800.0, 2.7e11, ways
    )


def with_ranges():
    t = np.arange(12) * 60.0 + 30.0
    kind = np.where(np.arange(12) % 4 == 3, "range", "range_rate")
    return PassGeometry(t, 60.0, kind, np.linspace(0.4, 0.6, 12), 1.0, 1800.0, 2.7e11)


def test_a_scenario_makes_a_budget():
    budget = Budget.from_tables(
        [
            {"contribution": "solar_plasma", "low_cutoff": 2e-5},
            {"contribution": "thermal_phase"},
            {"contribution": "thermal_phase", "downlink_frequency": 32e9},
            {"contribution": "ionosphere", "enabled": False},
        ]
    )
    assert budget.contributions[0] == SolarPlasma(low_cutoff=2e-5)
    assert budget.names == ["solar_plasma", "thermal_phase", "thermal_phase 2"]
    assert repr(budget) == "<Budget, correlated: solar_plasma, thermal_phase, thermal_phase 2>"


@pytest.mark.parametrize(
    ("tables", "error", "match"),
    [
        ([{"contribution": "solar_plazma"}], UnknownNameError, r"noise\[0\].*'solar_plasma'"),
        ([{"low_cutoff": 1e-5}], InputError, r"noise\[0\]: contribution: .*needs a name"),
        (
            [{"contribution": "ionosphere"}, {"contribution": "ionosphere", "shell_hight": 1.0}],
            UnknownNameError,
            r"noise\[1\].*shell_hight.*'shell_height'",
        ),
        (
            [{"contribution": "ionosphere", "shell_height": -1.0}],
            InputError,
            r"noise\[0\]: shell_height.*-1.0",
        ),
        ([{"contribution": "ionosphere", "enabled": "no"}], InputError, "enabled.*true or false"),
        ([{"contribution": "ionosphere", "enabled": False}], InputError, "needs a contribution"),
        ([], InputError, "needs a contribution"),
    ],
)
def test_bad_tables_are_refused_with_their_place(tables, error, match):
    with pytest.raises(error, match=match):
        Budget.from_tables(tables)


def test_contributions_add_in_variance():
    budget, passed = standard_budget(), with_ranges()
    apart = sum(part.covariance(passed) for part in budget.alone().values())
    np.testing.assert_allclose(budget.covariance(passed), apart, rtol=1e-9, atol=1e-20)
    np.testing.assert_allclose(budget.sigma(passed), np.sqrt(np.diagonal(apart)), rtol=1e-9)


def test_drawn_noise_is_white_once_whitened():
    # Sums of squares of n unit normals: mean n, standard deviation sqrt(2 n).
    budget, passed, draws = standard_budget(), with_ranges(), 400
    rng = np.random.default_rng(2)
    noise = np.stack([budget.draw(passed, rng) for _ in range(draws)], axis=1)
    white = budget.whiten(passed, noise)
    n = white.size
    assert abs((white**2).sum() - n) < 3.5 * math.sqrt(2 * n)
    covariance = white @ white.T / draws - np.eye(12)
    assert np.abs(covariance).max() < 4.5 * math.sqrt(2 / draws)


def test_white_weights_on_correlated_noise_claim_too_much():
    # The mean of a pass of plasma is much worse than white samples of its sigma would have it.
    budget, passed = Budget((SolarPlasma(),)), a_pass(60)
    one = np.ones((60, 1))
    correlated = 1 / np.linalg.norm(budget.whiten(passed, one))
    white = float(budget.sigma(passed)[0]) / math.sqrt(60)
    assert correlated > 2.5 * white


def test_a_white_budget_is_diagonal_and_says_so():
    budget = white_budget(range_sigma_m=2.0, range_rate_sigma_mps=5e-5)
    passed = with_ranges()
    expected = np.where(passed.is_range, 2.0, 5e-5)
    np.testing.assert_allclose(budget.covariance(passed), np.diag(expected**2))
    np.testing.assert_allclose(budget.sigma(passed), expected)
    np.testing.assert_allclose(budget.whiten(passed, expected), 1.0)
    assert budget.is_white
    assert not standard_budget().is_white
    assert "white" in repr(budget)


@pytest.mark.parametrize("sigmas", [(0.0, 1e-4), (1.0, -1e-4), (math.nan, 1e-4), (1.0, math.inf)])
def test_white_levels_must_be_standard_deviations(sigmas):
    with pytest.raises(InputError, match="standard deviation"):
        white_budget(*sigmas)


def test_doppler_of_a_lander_link_is_as_the_trade_knows_it():
    # Near 0.03 to 0.1 mm/s at 60 s away from conjunction (common practice, no source).
    for sun_angle in np.radians([20, 30, 60, 90, 120]):
        passed = PassGeometry([30.0], 60.0, "range_rate", 0.6, sun_angle, 1500.0, 2.25e11)
        assert 0.03e-3 < standard_budget().sigma(passed)[0] < 0.1e-3


def test_standard_budget_can_leave_out():
    assert "ionosphere" not in standard_budget(without=["ionosphere"]).names
    with pytest.raises(UnknownNameError, match="ionosfere"):
        standard_budget(without=["ionosfere"])


def test_passes_worked_on_together_have_the_factors_of_each_alone():
    tables = [{"contribution": c.name} for c in standard_budget().contributions]
    tables.append({"contribution": "link_thermal_phase"})
    budget = Budget.from_tables(tables)

    def one(number, time, ways=2):
        """Of another day: elevation, angle from the Sun, light time and distance differ."""
        kind = np.where(np.arange(12) % 4 == 3, "range", "range_rate")
        rise = np.linspace(0.4, 0.6, 12) + 0.03 * number
        angle, light_time = 0.2 + 0.3 * number, 700.0 + 150.0 * number
        return PassGeometry(
            *(time + 1e5 * number, 60.0, kind, rise, angle, light_time, 1.5e8 * light_time),
            ways=ways,
            transmit_elevation=rise + 0.1,
            off_boresight=rise[::-1],
        )

    regular, gap = np.arange(12) * 60.0, np.arange(12) * 60.0 + np.arange(12) // 6 * 90.0
    times = [regular, gap, regular, regular[::-1], regular, gap]
    passes = [one(k, time) for k, time in enumerate(times)] + [one(6, regular, ways=3)]
    assert len({passed.pattern for passed in passes}) == 4
    found = dict(budget.factors(passes))
    assert sorted(found) == list(range(7))
    for k, passed in enumerate(passes):
        alone = budget.factor(passed).lower
        sigma = np.linalg.norm(alone, axis=1, keepdims=True)
        np.testing.assert_allclose(found[k].lower / sigma, alone / sigma, atol=1e-10)
    assert not np.allclose(found[0].lower, found[2].lower, rtol=1e-3, atol=0.0)


def quickest(work, tries):
    durations = []
    for _ in range(tries):
        start = time.perf_counter()
        work()
        durations.append(time.perf_counter() - start)
    return min(durations)


def test_whitening_a_long_pass_costs_little_more_than_the_bare_factorisation():
    # Against the machine's own factorisation, so that a busy one does not matter.
    budget, rows, n = standard_budget(), np.ones((1000, 30)), 1000
    bare = quickest(lambda: np.linalg.cholesky(np.eye(n) + 0.1), 3)
    assert quickest(lambda: budget.whiten(a_pass(n, 10.0), rows), 3) < 6.0 * bare


def test_a_short_pass_is_whitened_in_about_a_millisecond():
    # Against a loop that takes 0.137 ms on the core on which a pass took 1.0 ms.
    budget, rows = standard_budget(), np.ones((60, 10))
    passes = iter([a_pass(60, lowest_deg=15 + 0.02 * k) for k in range(300)])
    yardstick = quickest(lambda: sum(k * k for k in range(3000)), 300)
    assert quickest(lambda: budget.whiten(next(passes), rows), 300) < 12.0 * yardstick
