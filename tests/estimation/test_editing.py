"""Bad samples and bad passes: found, named, and without harm to the rest."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import (
    TablePasses,
    lunar_like,
    one_sample,
    seasonal_parameters,
    seasonal_passes,
)

from wobble.errors import InputError
from wobble.estimation.editing import EditingRules
from wobble.estimation.fit import fit
from wobble.estimation.least_squares import PassEquations
from wobble.estimation.parameters import Parameter, ParameterSet

TRUTH = np.array([3.0, -1.0, 2.0, 0.5, -4.0, 1.0])


def test_the_bad_lunar_range_is_found_although_the_claimed_sigmas_are_far_too_small() -> None:
    for seed in range(2):
        rng = np.random.default_rng(seed)
        passes, parameters = lunar_like(rng)
        solution = fit(TablePasses(passes, np.zeros(8)), parameters)
        rejected = solution.samples.pass_name[~solution.samples.accepted]
        assert "N62" in rejected
        assert len(rejected) <= 4
        assert solution.components["range"].form == "excess"
        assert 0.009 < solution.components["range"].value < 0.021
        assert solution.rms["range_m"] < 0.021


def test_the_same_point_is_rejected_from_any_order_and_without_either_reflector() -> None:
    passes, parameters = lunar_like(np.random.default_rng(1))
    first = fit(TablePasses(passes, np.zeros(8)), parameters)
    expected = set(first.samples.pass_name[~first.samples.accepted])
    for order in (range(74, -1, -1), np.random.default_rng(5).permutation(75)):
        again = fit(TablePasses([passes[i] for i in order], np.zeros(8)), parameters)
        assert set(again.samples.pass_name[~again.samples.accepted]) == expected
        assert np.abs((again.values - first.values) / first.sigma_formal).max() < 1e-6
    alone = fit(TablePasses(passes[44:], np.zeros(8)), parameters.changed("*", sigma=10.0))
    assert "N62" in alone.samples.pass_name[~alone.samples.accepted]
    without = fit(TablePasses(passes[:44], np.zeros(8)), parameters.changed("*", sigma=10.0))
    assert without.n_rejected == 0


def test_a_pass_of_noise_is_rejected_whole_and_described() -> None:
    rng = np.random.default_rng(3)
    passes = seasonal_passes(20, TRUTH)
    loud = passes[9].kind == "range_rate"
    # On top of a bias, which belongs to the pass and is no fault of it.
    passes[9].residual[loud] += (1e3 + 50.0 * rng.normal(size=loud.sum())) * passes[9].sigma[loud]
    solution = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())
    out = ~solution.samples.accepted
    assert set(solution.samples.pass_name[out]) == {"P009"}
    assert out.sum() == loud.sum()
    reason = solution.samples.reason[out][0]
    assert reason.startswith("whole pass")
    assert "noise of" in reason
    sizes = solution.samples.residual[out] / solution.samples.sigma[out]
    assert abs(np.median(sizes)) < 50.0


def test_a_pass_with_a_slope_is_told_from_the_others() -> None:
    passes = seasonal_passes(20, TRUTH)
    ramp = np.where(passes[9].kind == "range_rate", np.linspace(-2.5, 2.5, len(passes[9])), 0.0)
    passes[9].residual[:] += ramp * passes[9].sigma
    solution = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())
    reasons = solution.samples.reason[~solution.samples.accepted]
    assert set(solution.samples.pass_name[~solution.samples.accepted]) == {"P009"}
    assert "slope" in reasons[0]


def test_clean_data_are_all_kept_and_the_sigmas_confirmed() -> None:
    solution = fit(TablePasses(seasonal_passes(40, TRUTH), np.zeros(6)), seasonal_parameters())
    assert solution.n_rejected == 0
    assert solution.components["range_rate"].value == pytest.approx(1.0, abs=0.05)
    assert np.abs((solution.values - TRUTH) / solution.sigma_realistic).max() < 3.5


def test_sigmas_that_are_too_small_by_a_factor_are_widened() -> None:
    passes = [replace(p, sigma=p.sigma / 3.0) for p in seasonal_passes(40, TRUTH)]
    solution = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())
    component = solution.components["range_rate"]
    assert component.value == pytest.approx(3.0, abs=4 * component.uncertainty)
    np.testing.assert_allclose(solution.sigma_realistic / solution.sigma_formal, 3.0, rtol=0.1)
    assert solution.n_rejected <= 2


def test_residuals_are_expected_to_be_as_large_as_their_leverage_says() -> None:
    # A mean of n: a residual has sigma sqrt(1 - 1/n), a sample left out sigma sqrt(1 + 1/n).
    values = [0.1, -0.2, 0.3, -0.1, 0.0, 0.2, -0.3, 0.1, 50.0]
    passes = [one_sample(f"M{i}", v, 1.0, np.ones(1)) for i, v in enumerate(values)]
    solution = fit(TablePasses(passes, np.zeros(1)), ParameterSet([Parameter("mean")]))
    np.testing.assert_array_equal(solution.samples.accepted, [True] * 8 + [False])
    expected = np.append(np.full(8, np.sqrt(1 - 1 / 8)), np.sqrt(1 + 1 / 8))
    np.testing.assert_allclose(solution.samples.predicted, expected, rtol=1e-12)


def test_a_sample_that_alone_determines_a_parameter_is_neither_judged_nor_rejected() -> None:
    passes = [one_sample(f"M{i}", 0.1 * (-1) ** i, 1.0, np.array([1.0, 0.0])) for i in range(8)]
    passes.append(one_sample("M8", 1e6, 1.0, np.array([0.0, 1.0])))
    both = ParameterSet([Parameter("mean"), Parameter("alone")])
    solution = fit(TablePasses(passes, np.zeros(2)), both)
    assert solution.n_rejected == 0
    assert solution.samples.predicted[-1] == 0.0
    assert solution["alone"].value == pytest.approx(1e6)


def test_stations_can_have_variance_components_of_their_own() -> None:
    passes = seasonal_passes(40, TRUTH)
    noisy = [
        replace(p, sigma=p.sigma / 2.5) if i % 2 else p for i, p in enumerate(passes)
    ]  # every other pass is from a station that claims too much

    def station(one: PassEquations) -> np.ndarray:
        return np.char.add(one.kind, " alpha" if int(one.name[1:]) % 2 else " beta")

    solution = fit(TablePasses(noisy, np.zeros(6)), seasonal_parameters(), group=station)
    alpha, beta = (solution.components[f"range_rate {s}"] for s in ("alpha", "beta"))
    assert alpha.value == pytest.approx(2.5, abs=4 * alpha.uncertainty)
    assert beta.value == pytest.approx(1.0, abs=4 * beta.uncertainty)
    assert solution.n_rejected <= 2


def test_rules_that_make_no_sense_are_refused() -> None:
    with pytest.raises(InputError, match="threshold must be positive"):
        EditingRules(threshold=0.0)
    with pytest.raises(InputError, match="not a share"):
        EditingRules(pass_share=1.5)
