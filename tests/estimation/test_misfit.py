"""Chi-square against the stated standard deviations, and the verdict that follows from it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import TablePasses, seasonal_parameters, seasonal_passes

from wobble.estimation.editing import EditingRules
from wobble.estimation.fit import fit
from wobble.estimation.misfit import GroupMisfit, Misfit, Verdict

TRUTH = np.array([3.0, -2.0, 1.0, 0.5, -1.5, 2.5])


def misfit(
    *groups: GroupMisfit, passes: int = 100, shifted: int = 0, strain: float = 1.0
) -> Misfit:
    return Misfit(groups, passes, shifted, strain, "pole.term_1")


def group(kind: str = "range", factor: float = 1.0, degrees: float = 200.0, rejected: int = 0):
    return GroupMisfit(kind, 200 - rejected, rejected, factor**2 * degrees, degrees)


@pytest.mark.parametrize("sigma", [1e-3, 1.0, 1e3])
def test_chi_square_has_the_mean_of_its_degrees_of_freedom_whatever_was_known(sigma: float) -> None:
    # Monte Carlo: truths as likely as the a priori knowledge says, noise as stated.
    rng = np.random.default_rng(11)
    rules = EditingRules(threshold=1e9, reweight=False)
    ratios = []
    for seed in range(60):
        truth = sigma * rng.standard_normal(6)
        model = TablePasses(seasonal_passes(6, truth, seed=1000 + seed), np.zeros(6))
        found = fit(model, seasonal_parameters(sigma), rules).misfit
        ratios.append([g.per_degree for g in found.groups])
    # Of each kind apart; three standard errors of the mean.
    scatter = np.std(ratios, axis=0) / np.sqrt(len(ratios))
    assert (np.abs(np.mean(ratios, axis=0) - 1.0) < 3.0 * scatter).all()
    assert (scatter < 0.05).all()


def test_weights_that_are_widened_hide_no_misfit() -> None:
    # Noise seven times as large as it is stated, of which the variance component makes weights
    # that fit.
    passes = [
        replace(one, sigma=one.sigma / 7.0, whiten=None) for one in seasonal_passes(30, TRUTH)
    ]
    solution = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())
    for kind in ("range", "range_rate"):
        (found,) = (g for g in solution.misfit.groups if g.kind == kind)
        assert found.factor == pytest.approx(7.0, rel=0.15)
        assert solution.components[kind].value == pytest.approx(7.0, rel=0.15)
    assert solution.misfit.verdict == Verdict.DOUBTFUL
    assert str(solution).startswith("WARNING: the fit is doubtful: residuals of range")


@pytest.mark.parametrize(
    ("found", "verdict", "said"),
    [
        (misfit(group()), Verdict.FITS, ""),
        (misfit(group(factor=2.9)), Verdict.FITS, ""),
        (misfit(group(factor=3.1)), Verdict.DOUBTFUL, "residuals of range are 3.1 times"),
        (misfit(group(factor=10.5)), Verdict.FAILS, "THE MODEL DOES NOT DESCRIBE"),
        # The worst kind decides: one that fits must not hide another.
        (misfit(group(), group("range_rate", 12.0)), Verdict.FAILS, "residuals of range_rate"),
        # One degree of freedom: a factor of three is no news.
        (misfit(group(factor=3.1, degrees=1.0)), Verdict.FITS, ""),
        (misfit(group(rejected=30)), Verdict.DOUBTFUL, "30 of 200 samples of range"),
        (misfit(group(rejected=120)), Verdict.FAILS, "120 of 200 samples"),
        (misfit(group(), shifted=20), Verdict.FITS, ""),
        (misfit(group(), shifted=30), Verdict.DOUBTFUL, "30 of 100 passes"),
        (misfit(group(), passes=4, shifted=3), Verdict.FITS, ""),
        (misfit(group(), shifted=70), Verdict.FAILS, "70 of 100 passes"),
        (misfit(group(), strain=6.0), Verdict.DOUBTFUL, "pole.term_1 is 6 sigmas from what"),
        (misfit(group(), strain=40.0), Verdict.FAILS, "pole.term_1 is 40 sigmas"),
    ],
)
def test_the_verdict_says_what_speaks_against_the_fit(
    found: Misfit, verdict: Verdict, said: str
) -> None:
    assert found.verdict == verdict
    assert found.describes_data == (verdict < Verdict.FAILS)
    assert said in found.headline
    assert (found.headline == "") == (verdict == Verdict.FITS)
    assert Misfit.from_json(found.as_json()) == found


def test_estimates_of_a_model_that_fails_are_marked() -> None:
    solution = fit(TablePasses(seasonal_passes(20, TRUTH), np.zeros(6)), seasonal_parameters())
    assert solution["pole.term_1"].remark == ""
    failed = replace(solution, misfit=misfit(group(factor=50.0)))
    assert failed["pole.term_1"].remark == "not to be used"
    assert str(failed).startswith("THE MODEL DOES NOT DESCRIBE THE DATA")
    assert failed._repr_html_().startswith("<p><strong>THE MODEL DOES NOT DESCRIBE")
    assert failed.as_json()["describes_data"] is False
    assert failed.as_json()["parameters"]["pole.term_1"]["remark"] == "not to be used"
