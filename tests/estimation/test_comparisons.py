"""Bootstrap, comparison of solutions, comparison of models."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import TablePasses, seasonal_parameters, seasonal_passes
from scipy.stats import chi2, kstest

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.bootstrap import bootstrap
from wobble.estimation.comparison import compare
from wobble.estimation.editing import EditingRules
from wobble.estimation.fit import fit
from wobble.estimation.least_squares import PassEquations
from wobble.estimation.model_comparison import Evidence, evidence_for, residual_spectrum
from wobble.estimation.parameters import ParameterSet

EVERYTHING = EditingRules(threshold=np.inf, reweight=False)
TRUTH = np.array([3.0, -1.0, 2.0, 0.5, 0.0, 0.0])


def without_last_two(passes: list[PassEquations]) -> list[PassEquations]:
    return [replace(p, partials=p.partials[:, :4]) for p in passes]


def test_bootstrap_agrees_with_the_formal_sigma_if_the_noise_is_as_described() -> None:
    model = TablePasses(seasonal_passes(60, TRUTH), np.zeros(6))
    solution = fit(model, seasonal_parameters())
    found = bootstrap(model, solution, np.random.default_rng(1), replicates=200)
    assert found.lost == 0
    # A standard deviation from 60 passes, of which some say more than others, is good to a
    # tenth or two; the mean of six to less.
    np.testing.assert_allclose(found.ratio, 1.0, atol=0.4)
    assert found.ratio.mean() == pytest.approx(1.0, abs=0.2)
    assert "campaigns of passes drawn again" in str(found)


def test_bootstrap_sees_errors_that_are_common_to_a_pass() -> None:
    rng = np.random.default_rng(2)
    passes = seasonal_passes(80, TRUTH)
    for one in passes:
        # An error with the signature of two parameters, anew in every pass.
        one.residual[:] += one.partials[:, :2] @ rng.normal(scale=0.05, size=2)
    model = TablePasses(passes, np.zeros(6))
    solution = fit(model, seasonal_parameters(), EVERYTHING)
    found = bootstrap(model, solution, rng, replicates=200)
    # Standard deviation of the mean of 80 independent values of 0.05, seen by half of them.
    assert found.ratio[0] > 1.5
    assert found.sigma[0] == pytest.approx(0.05 / np.sqrt(80 / 2), rel=0.5)


def test_bootstrap_refuses_what_does_not_belong_together() -> None:
    passes = seasonal_passes(10, TRUTH)
    solution = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())
    rng = np.random.default_rng(1)
    with pytest.raises(InputError, match="does not belong to the solution"):
        bootstrap(TablePasses(passes[:5], np.zeros(6)), solution, rng)
    single = fit(TablePasses(passes[3:4], np.zeros(6)), seasonal_parameters(1.0))
    with pytest.raises(InputError, match="cannot be drawn"):
        bootstrap(TablePasses(passes[3:4], np.zeros(6)), single, rng)


def test_two_solutions_from_different_data_agree_and_a_shifted_one_does_not() -> None:
    passes = seasonal_passes(80, TRUTH)
    first = fit(TablePasses(passes[::2], np.zeros(6)), seasonal_parameters())
    second = fit(TablePasses(passes[1::2], np.zeros(6)), seasonal_parameters())
    same = compare(first, second)
    assert same.names == first.names
    assert np.abs(same.in_sigmas).max() < 4.0
    assert same.probability > 1e-3
    covariance = first.covariance_realistic + second.covariance_realistic
    d = second.values - first.values
    assert same.chi_square == pytest.approx(d @ np.linalg.inv(covariance) @ d, rel=1e-8)
    moved = replace(second, values=second.values + np.array([0.0, 1.0, 0.0, 0.0, 0.0, 0.0]))
    other = compare(first, moved)
    assert other.in_sigmas[1] > 10.0
    assert other.probability < 1e-6
    assert "pole.term_1" in str(other)
    assert "<td>pole.term_1</td>" in other._repr_html_()


def test_only_common_parameters_are_compared() -> None:
    passes = seasonal_passes(20, TRUTH)
    first = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())
    fewer = ParameterSet(list(seasonal_parameters())[:4])
    second = fit(TablePasses(without_last_two(passes), np.zeros(4)), fewer)
    assert compare(first, second).names == fewer.names


def test_the_gain_is_the_difference_of_two_fits() -> None:
    passes = seasonal_passes(30, TRUTH)
    large = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters(), EVERYTHING)
    fewer = ParameterSet(list(seasonal_parameters())[:4])
    small = fit(TablePasses(without_last_two(passes), np.zeros(4)), fewer, EVERYTHING)
    evidence = evidence_for(large, ["pole.term_4", "pole.term_5"])
    less = small.iterations[-1].chi_square - large.iterations[-1].chi_square
    assert evidence.gain == pytest.approx(less, rel=1e-8)
    assert evidence.akaike == pytest.approx(evidence.gain - 4.0)
    assert evidence.schwarz == pytest.approx(evidence.gain - 2.0 * np.log(evidence.samples))
    # Without the terms the gain of two parameters is exponentially distributed: p = exp(-g / 2).
    assert evidence.probability == pytest.approx(np.exp(-evidence.gain / 2.0), rel=1e-9)
    assert evidence.schwarz < 0
    assert evidence.verdict == "against"
    assert "do not need" in str(evidence)


def evidence_with(schwarz: float, count: int = 1, samples: int = 1000) -> Evidence:
    """Evidence with a given criterion of Schwarz."""
    names = tuple(f"term_{k}" for k in range(count))
    return Evidence(names, schwarz + count * np.log(samples), samples)


@pytest.mark.parametrize(
    ("schwarz", "word"),
    # Kass & Raftery 1995, J. Am. Stat. Assoc. 90, 773, table of sect. 3.2: 2 ln B from 0 to 2
    # "not worth more than a bare mention", 2 to 6 "positive", 6 to 10 "strong", > 10 "very strong".
    [
        (0.001, "bare mention"),
        (1.999, "bare mention"),
        (2.001, "positive"),
        (5.999, "positive"),
        (6.001, "strong"),
        (9.999, "strong"),
        (10.001, "very strong"),
        (1e4, "very strong"),
    ],
)
def test_words_follow_the_bayes_factor_in_both_directions(schwarz: float, word: str) -> None:
    # So many parameters that a criterion of -1e4 can be reached by a gain that is not negative.
    favourable = evidence_with(schwarz)
    against = evidence_with(-schwarz, count=2000)
    if word == "bare mention":
        assert favourable.strength == against.strength
        assert word in favourable.strength
        assert favourable.verdict == "undecided"
        assert "do not decide" in str(favourable)
        return
    assert favourable.strength == f"{word} evidence for them"
    assert against.strength == f"{word} evidence against them"
    assert f"{word} evidence for them (scale of Kass & Raftery 1995)" in str(favourable)
    assert favourable.as_json()["verdict"] == favourable.verdict == "for"


@pytest.mark.parametrize(
    ("probability", "verdict"),
    # One parameter, 1000 samples: Schwarz's criterion is zero at a gain of 6.9, p = 0.0086, and
    # above 2, which counts as positive, from p = 0.0028 down.
    [
        (0.9, "against"),
        (0.051, "against"),
        (0.049, "undecided"),
        (0.034, "undecided"),
        (0.003, "undecided"),
        (0.0027, "for"),
        (1e-9, "for"),
    ],
)
def test_nothing_is_decided_where_chance_and_bayes_factor_disagree(
    probability: float, verdict: str
) -> None:
    evidence = Evidence(("core.factor",), float(chi2.isf(probability, 1)), 1000)
    assert evidence.verdict == verdict
    assert f"probability {probability:.2g};" in str(evidence)
    if probability == 0.034:
        assert "do not want" not in str(evidence)
        assert "do not need" not in str(evidence)


def test_the_probability_by_chance_is_uniform_if_the_terms_are_not_there() -> None:
    passes, without = seasonal_passes(8, TRUTH), np.array([*TRUTH[:4], 0.0, 0.0])
    found = []
    rng = np.random.default_rng(11)

    def drawn(p: PassEquations) -> PassEquations:
        biases = np.where(np.isfinite(p.local_sigma), p.local_sigma, 0.0)
        own = p.local_partials @ (biases * rng.normal(size=len(biases)))
        return replace(p, residual=rng.normal(size=len(p)) * p.sigma + own + p.partials @ without)

    for _ in range(150):
        model = TablePasses([drawn(p) for p in passes], np.zeros(6))
        large = fit(model, seasonal_parameters(), EVERYTHING)
        found.append(evidence_for(large, ["pole.term_4", "pole.term_5"]).probability)
    # Kolmogorov and Smirnov's test; a sound one fails it in one of a thousand draws.
    assert kstest(found, "uniform").pvalue > 1e-3


def test_terms_that_are_there_are_wanted_whatever_was_believed_before() -> None:
    passes = seasonal_passes(30, TRUTH)
    solution = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters(), EVERYTHING)
    free = evidence_for(solution, "pole.term_3")
    assert free.schwarz > 100.0
    assert free.probability < 1e-12
    tight = seasonal_parameters().changed("pole.term_3", sigma=1e-3)
    believed = fit(TablePasses(passes, np.zeros(6)), tight, EVERYTHING)
    assert evidence_for(believed, "pole.term_3").gain == pytest.approx(free.gain, rel=1e-6)
    with pytest.raises(UnknownNameError):
        evidence_for(solution, "core.factor")


def test_the_spectrum_shows_a_term_that_was_left_out() -> None:
    passes = seasonal_passes(60, np.zeros(6))
    solution = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters(), EVERYTHING)
    days = np.concatenate([5.0 * i + np.arange(len(p)) / 1440.0 for i, p in enumerate(passes)])
    wave = 3e-4 * np.sin(2 * np.pi * days / 47.0)
    samples = solution.samples
    shaken = replace(
        solution,
        samples=replace(
            samples, residual=samples.residual + np.where(samples.kind == "range_rate", wave, 0.0)
        ),
    )
    periods = np.linspace(30.0, 90.0, 241)
    before = residual_spectrum(shaken, "range_rate", periods)
    after = residual_spectrum(solution, "range_rate", periods)
    assert periods[np.argmax(before)] == pytest.approx(47.0, abs=0.5)
    assert before.max() == pytest.approx(3e-4, rel=0.05)
    assert after.max() < 3e-5
    with pytest.raises(InputError, match="too few residuals"):
        residual_spectrum(solution, "sky_frequency", periods)
