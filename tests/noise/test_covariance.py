"""The fast covariance against the plain formulas, and its square root."""

from __future__ import annotations

import numpy as np
import pytest

from wobble.errors import InputError
from wobble.noise import covariance as of_samples
from wobble.noise.covariance import NotPositiveDefiniteError
from wobble.noise.geometry import PassGeometry
from wobble.noise.path_covariance import Leg, Term
from wobble.noise.power_laws import PowerLaw, VonKarman, WhitePhase
from wobble.noise.processes import Constant, Sinusoid

PLASMA = VonKarman.from_rms(0.05, 3000.0, -8 / 3)
THERMAL = WhitePhase(1e-8, 5.0)
ROUND_TRIP = 1703.0


def geometry(time, count_time, kind="range_rate"):
    return PassGeometry(
        time, count_time, kind, np.linspace(0.3, 0.9, len(time)), 1.0, ROUND_TRIP, 2.5e11
    )


REGULAR = geometry(30.0 + 60.0 * np.arange(200), 60.0)
GAPS = geometry(np.r_[30.0, 90.0, 330.0, 390.0, 450.0, 1050.0, 1110.0], 60.0)
MIXED_COUNTS = geometry(
    np.r_[5.0, 15.0, 50.0, 110.0, 440.0, 745.0], np.r_[10.0, 10.0, 60.0, 60.0, 600.0, 10.0] * 1.0
)
IRREGULAR = geometry(
    np.r_[900.123457, 31.7, 95.003, 2000.9, 180.55], np.r_[60.0, 7.13, 60.0, 333.3, 60.0]
)
MIXED_KINDS = geometry(
    np.r_[30.0, 90.0, 60.0, 150.0, 777.7, 210.0],
    np.r_[60.0, 60.0, np.nan, 60.0, np.nan, 60.0],
    ["range_rate", "range_rate", "range", "range_rate", "range", "range_rate"],
)
PASSES = {
    "regular": REGULAR,
    "gaps": GAPS,
    "mixed counts": MIXED_COUNTS,
    "irregular, unordered": IRREGULAR,
    "mixed kinds": MIXED_KINDS,
}


def covariance(passed, terms, extra):
    """Of one pass."""
    return of_samples.covariance(passed.points, terms, extra[None])[0]


def factor(passed, terms, extra):
    """Of one pass."""
    return of_samples.factors(passed.points, terms, extra[None])[0]


def plainly(passed, term):
    """Covariance by explicit sums over samples, ends and legs."""
    points = passed.points

    def path(i, j):
        roles = [term.on_range if points.is_range[k] else term.on_range_rate for k in (i, j)]
        lag = (points.tick[i] - points.tick[j]) * 1e-6
        total = 0.0
        for one in term.legs:
            for other in term.legs:
                gain = one.gain * other.gain
                gain *= 1.0 if one.modulation is None else one.modulation[i]
                gain *= 1.0 if other.modulation is None else other.modulation[j]
                total += gain * float(term.process.kernel(lag - one.lag + other.lag))
        return roles[0] * roles[1] * total

    n = len(passed)
    result = np.zeros((n, n))
    for i in range(n):
        for j in range(n):
            for k, w in (
                (points.first[i], points.weight_first),
                (points.last[i], points.weight_last),
            ):
                for m, v in (
                    (points.first[j], points.weight_first),
                    (points.last[j], points.weight_last),
                ):
                    result[i, j] += w[i] * v[j] * path(k, m)
    return result


def terms_of(passed):
    m = len(passed.points)
    rise, fall = np.linspace(1.0, 3.0, m), np.linspace(2.0, 1.5, m)
    return {
        "one leg": Term(PLASMA, (Leg(0.7),)),
        "two legs": Term(PLASMA, (Leg(0.5), Leg(0.8, ROUND_TRIP)), 1.0, -1.0),
        "modulated": Term(PLASMA, (Leg(0.5, 0.0, rise), Leg(0.5, ROUND_TRIP, rise))),
        "modulated apart": Term(PLASMA, (Leg(0.5, 0.0, rise), Leg(-0.5, 40.0, fall)), 1.0, -1.0),
        "one of two modulated": Term(PLASMA, (Leg(0.5), Leg(0.5, 60.0, fall)), 0.0, 1.0),
        "white phase": Term(THERMAL, (Leg(0.5),), on_range=0.0),
    }


@pytest.mark.parametrize("case", [name for name in PASSES if name != "regular"])
def test_covariance_equals_the_plain_sums(case):
    passed = PASSES[case]
    terms, none = terms_of(passed), np.zeros(len(passed))
    apart = [plainly(passed, term) for term in terms.values()]
    for term, expected in zip(terms.values(), apart, strict=True):
        found = covariance(passed, [term], none)
        np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-12 * expected.max())
    together = covariance(passed, list(terms.values()), none + 3e-8)
    expected = sum(apart) + 3e-8 * np.eye(len(passed))
    np.testing.assert_allclose(together, expected, rtol=1e-9, atol=1e-12 * expected.max())


@pytest.mark.parametrize("many", [3, 1000])
@pytest.mark.parametrize("process", [PLASMA, THERMAL, PowerLaw(1e-7, -2.0)])
def test_one_leg_is_the_process_itself_over_many_blocks(process, many, monkeypatch):
    # 25 blocks of 8 samples: by several threads if three are many, otherwise by one.
    monkeypatch.setattr(of_samples, "BLOCK", 1)
    monkeypatch.setattr(of_samples, "MANY", many)
    found = covariance(REGULAR, [Term(process, (Leg(1.0),))], np.zeros(200))
    expected = process.range_rate_covariance(REGULAR.time - 30.0, 60.0)
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-12 * expected.max())
    np.testing.assert_array_equal(found, found.T)


@pytest.mark.parametrize("case", PASSES)
def test_whitening_is_the_inverse_of_colouring_and_the_root_of_the_covariance(case):
    passed = PASSES[case]
    terms = list(terms_of(passed).values())
    extra = np.where(passed.is_range, 1e-4, 1e-12)
    matrix = covariance(passed, terms, extra)
    root = factor(passed, terms, extra)
    scale = np.sqrt(np.outer(np.diagonal(matrix), np.diagonal(matrix)))
    np.testing.assert_allclose(root.lower @ root.lower.T / scale, matrix / scale, atol=1e-13)
    whitened = root.whiten(root.whiten(matrix).T)
    np.testing.assert_allclose(whitened, np.eye(len(passed)), atol=1e-8)
    rows = np.random.default_rng(1).standard_normal((len(passed), 3))
    np.testing.assert_allclose(root.whiten(root.colour(rows)), rows, atol=1e-9)
    np.testing.assert_allclose(root.whiten(rows[:, 0]), root.whiten(rows)[:, 0], atol=1e-9)


@pytest.mark.parametrize("case", ["gaps", "mixed counts", "irregular, unordered", "mixed kinds"])
def test_drawn_samples_have_the_covariance_of_the_formula(case):
    # Monte Carlo error of a covariance from N draws: sqrt((C_ii C_jj + C_ij^2) / N).
    passed, draws = PASSES[case], 20_000
    terms = list(terms_of(passed).values())
    extra = np.where(passed.is_range, 1e-4, 1e-12)
    white = np.random.default_rng(5).standard_normal((len(passed), draws))
    noise = factor(passed, terms, extra).colour(white)
    found = noise @ noise.T / draws
    expected = sum(plainly(passed, term) for term in terms) + np.diag(extra)
    variance = np.diagonal(expected)
    error = np.sqrt((np.outer(variance, variance) + expected**2) / draws)
    assert np.abs((found - expected) / error).max() < 4.0
    assert np.abs((found - expected) / error).mean() > 0.2


def test_a_dependent_sample_is_named():
    passed = geometry([0.0, 100.0, 200.0], np.nan, "range")
    with pytest.raises(NotPositiveDefiniteError, match=r"sample 1 .range at 100 s.*sample 0") as e:
        factor(passed, [Term(Constant(1.0), (Leg(1.0),))], np.zeros(3))
    assert e.value.samples == (1, 0)


def test_a_dependent_sample_is_named_where_the_dependence_is_hidden():
    # A range is free of noise but for a constant, and so known from the two before it.
    passed = geometry([0.0, 30.0, 60.0], [np.nan, 60.0, np.nan], ["range", "range_rate", "range"])
    with pytest.raises(NotPositiveDefiniteError, match="sample 2") as e:
        factor(passed, [Term(PLASMA, (Leg(1.0),))], np.zeros(3))
    assert e.value.samples[0] == 2


def test_dependence_that_rounding_hides_is_found():
    # A sinusoid is known from two of its values; what is left of a third is rounding.
    passed = geometry(np.arange(3) * 777.0, np.nan, "range")
    with pytest.raises(NotPositiveDefiniteError, match="sample 2") as e:
        factor(passed, [Term(Sinusoid(1.0, 88775.0), (Leg(1.0),))], np.array([0.0, 0.0, 1e-16]))
    assert e.value.samples == (2, 1)


def test_a_sample_without_noise_is_named():
    with pytest.raises(NotPositiveDefiniteError, match=r"sample 0.*no noise of its own"):
        factor(REGULAR, [], np.zeros(200))


def test_independent_samples_have_a_diagonal_factor():
    extra = np.arange(1.0, 8.0)
    root = factor(GAPS, [], extra)
    np.testing.assert_allclose(root.lower @ root.lower.T, np.diag(extra))
    rows = np.random.default_rng(1).standard_normal((7, 2))
    np.testing.assert_allclose(root.lower @ root.whiten(rows), rows)
    np.testing.assert_allclose(root.colour(rows[:, 0]), root.lower @ rows[:, 0])
    with pytest.raises(NotPositiveDefiniteError, match="sample 3"):
        factor(GAPS, [], np.where(extra == 4.0, 0.0, extra))


def test_ranges_refuse_a_process_without_variance():
    term = Term(PowerLaw(1e-7, -8 / 3), (Leg(1.0),))
    with pytest.raises(InputError, match="low_cutoff"):
        covariance(MIXED_KINDS, [term], np.zeros(6))
    modulated = Term(PowerLaw(1e-7, -8 / 3), (Leg(1.0, 0.0, np.ones(len(GAPS.points))),))
    with pytest.raises(InputError, match="low_cutoff"):
        covariance(GAPS, [modulated], np.zeros(7))


def test_rows_of_another_length_are_refused():
    root = factor(GAPS, [Term(THERMAL, (Leg(1.0),))], np.zeros(7))
    with pytest.raises(InputError, match="rows and samples"):
        root.whiten(np.zeros((6, 2)))
