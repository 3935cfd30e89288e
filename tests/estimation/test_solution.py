"""What a solution says of itself."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
from invented import (
    TablePasses,
    seasonal_parameters,
    seasonal_pass,
    seasonal_passes,
)

from wobble.estimation.editing import EditingRules
from wobble.estimation.fit import fit
from wobble.estimation.parameters import Parameter, ParameterSet
from wobble.estimation.solution import Estimate

EVERYTHING = EditingRules(threshold=np.inf, reweight=False)
TRUTH = np.array([3.0, -1.0, 2.0, 0.5, -4.0, 1.0])


def test_considered_parameters_follow_the_analytic_formula() -> None:
    # P_c = P + S P_p S^T, S = -P H^T W H_c (Tapley, Schutz & Born 2004, sect. 6.3).
    rng = np.random.default_rng(4)
    passes = [seasonal_pass(rng, i, considered=2) for i in range(12)]
    nothing = np.zeros((len(passes[0]), 0))
    passes = [
        replace(p, local_names=(), local_partials=nothing, local_sigma=np.zeros(0)) for p in passes
    ]
    considered = [
        Parameter("station.one.x", "m", 0.0, 0.02, "considered"),
        Parameter("medium.density", "", 0.0, 0.5, "considered"),
    ]
    parameters = ParameterSet([*seasonal_parameters(), *considered])
    solution = fit(TablePasses(passes, np.zeros(6)), parameters, EVERYTHING)
    rows = np.vstack([p.partials / p.sigma[:, None] for p in passes])
    others = np.vstack([p.consider_partials / p.sigma[:, None] for p in passes])
    covariance = np.linalg.inv(rows.T @ rows)
    sensitivity = -covariance @ rows.T @ others
    np.testing.assert_allclose(solution.sensitivity, sensitivity, rtol=1e-8)
    added = sensitivity @ np.diag([0.02**2, 0.5**2]) @ sensitivity.T
    expected = np.sqrt(np.diag(covariance + added))
    component = max(1.0, solution.components["range_rate"].value)
    np.testing.assert_allclose(solution.sigma_realistic, expected, rtol=0.05 * component)
    np.testing.assert_allclose(
        solution.consider_effects, sensitivity * np.array([0.02, 0.5]), rtol=1e-8
    )
    table = solution.consider_table()
    assert table.colnames[:3] == ["parameter", "unit", "station.one.x"]
    np.testing.assert_array_equal(table["medium.density"], solution.consider_effects[:, 1])
    assert "considered medium.density: one sigma of it moves pole.term_" in str(solution)
    effects = solution.as_json()["considered"]["station.one.x"]
    assert effects["pole.term_2"] == solution.consider_effects[2, 0]


def test_the_summary_is_plain_json_without_infinities() -> None:
    passes = seasonal_passes(12, TRUTH)
    passes[3].residual[4] += 1.0
    parameters = seasonal_parameters()
    solution = fit(TablePasses(passes, np.zeros(6)), parameters, provenance={"seed": 7})
    summary = json.loads(json.dumps(solution.as_json(), allow_nan=False))
    assert summary["n_used"] == solution.n_used == len(solution.samples) - 1
    assert summary["n_rejected"] == 1
    (rejected,) = summary["rejected"]
    assert set(rejected) == {"pass", "epoch", "kind", "residual", "reason"}
    assert rejected["pass"] == "P003"
    assert rejected["epoch"] == passes[3].epoch[4]
    assert "times its predicted uncertainty" in rejected["reason"]
    assert set(summary["rms"]) == {"range_m", "range_rate_mm_s"}
    assert summary["rms"]["range_rate_mm_s"] == pytest.approx(0.05, rel=0.15)
    assert summary["parameters"]["pole.term_0"]["a_priori_sigma"] is None
    assert set(summary["parameters"]["pole.term_0"]) == {
        "value",
        "unit",
        "sigma_formal",
        "sigma_realistic",
        "a_priori_sigma",
        "remark",
    }
    kinds = summary["stated_sigmas"]
    assert set(kinds) == {"range", "range_rate"}
    assert summary["chi_square"] == pytest.approx(sum(k["chi_square"] for k in kinds.values()))
    assert summary["describes_data"]
    assert summary["iterations"] >= 2
    assert summary["provenance"] == {"seed": 7}


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("core.factor", -0.018, "outside what physics allows (core.factor > 0) by 1.8 sigma"),
        ("core.factor", 0.018, ""),
        ("core.period", 240.0, "outside what physics allows (core.period < 0 d) by 24000 sigma"),
        ("core.period", -240.0, ""),
        ("pole.term_1", -5.0, ""),
    ],
)
def test_a_value_that_physics_does_not_allow_is_remarked(name, value, said) -> None:
    # A core adds to the nutation, and its free nutation is retrograde (Sasao et al. 1980).
    unit = "d" if name == "core.period" else ""
    estimate = Estimate(name, unit, value, 0.01, 0.01, np.inf, 0.0)
    assert estimate.remark == said
