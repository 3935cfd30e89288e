"""Error bars against the actual scatter of many invented sets of passes.

Each set has passes of white residuals, whose levels are equal or scattered by a lognormal
factor. Before the pass was the unit, the bars were 1.6 to 10 times too short where levels
differ by a factor of 1.5 to 2. All limits are of these Monte Carlo runs, no source.
"""

from __future__ import annotations

import numpy as np
import pytest

from wobble.noise.between_passes import jackknife_error
from wobble.noise.budget import Budget, PassGeometry
from wobble.noise.contributions.white import WhiteRange, WhiteRangeRate
from wobble.noise.from_residuals import estimate_levels
from wobble.noise.pooled import pooled_allan_deviation, pooled_spectrum

COUNTS = 25
SETS = 120
PASS = PassGeometry(60.0 * np.arange(COUNTS), 60.0, "range_rate", 0.7, 1.0, 1500.0, 2.2e11)
WHITE = Budget((WhiteRangeRate(sigma=1.0),))


def a_set(rng, passes, factor):
    """Passes of white noise with levels about 1, scattered by a factor."""
    levels = np.exp(np.log(factor) * rng.standard_normal(passes))
    return [(level * rng.standard_normal(COUNTS), PASS) for level in levels]


def judged(estimate, truth, passes, factor):
    """Ratio of error bars (rms) to scatter, and share of bars that reach the truth, (k,) each."""
    rng = np.random.default_rng(11)
    found = [estimate(a_set(rng, passes, factor)) for _ in range(SETS)]
    values, errors = (np.stack(part) for part in zip(*found, strict=True))
    ratio = np.sqrt((errors**2).mean(axis=0)) / values.std(axis=0)
    return ratio, (np.abs(values - truth) < errors).mean(axis=0)


def spectrum(passes):
    pooled = pooled_spectrum(passes, {})
    return pooled.value[[0, -1]], pooled.error[[0, -1]]


def deviation(passes):
    pooled = pooled_allan_deviation(passes, {"white": WHITE})
    relative = pooled.value / pooled.expected["white"], pooled.error / pooled.expected["white"]
    return relative[0][[0, 3]], relative[1][[0, 3]]


def levels(passes):
    found = estimate_levels(passes, WHITE)
    return found.scales, found.sigmas


def root_mean_square(factor):
    """Of levels with a median of 1 (moment of the lognormal distribution)."""
    return np.exp(np.log(factor) ** 2)


TRUTH = {
    spectrum: lambda factor: 2.0 * 60.0 * root_mean_square(factor) ** 2,
    deviation: root_mean_square,
    levels: root_mean_square,
}


@pytest.mark.parametrize("estimate", TRUTH)
@pytest.mark.parametrize(
    ("passes", "factor", "least", "most", "reached"),
    [
        (12, 1.0, 0.95, 1.3, 0.6),
        (12, 1.5, 0.85, 1.25, 0.5),
        (12, 2.0, 0.8, 1.3, 0.4),
        # Few passes: the Student factor lengthens the bars, 1.2 for four.
        (4, 1.0, 0.95, 1.6, 0.6),
        (4, 1.5, 0.85, 1.5, 0.5),
        # One pass: no scatter is seen, and the chance of the samples is all. The first bin of
        # a spectrum has one ordinate, whose own value is its bar: sqrt(2) in the mean square.
        (1, 1.0, 0.85, 1.7, 0.6),
    ],
)
def test_error_bars_are_as_long_as_the_scatter(estimate, passes, factor, least, most, reached):
    ratio, share = judged(estimate, TRUTH[estimate](factor), passes, factor)
    assert np.all((ratio > least) & (ratio < most)), ratio
    assert np.all(share > reached), share


def test_the_jackknife_of_a_mean_is_its_standard_error():
    # Efron & Stein 1981: s/sqrt(m) exactly; Student's 68.27 % point for 4 degrees is 1.1416.
    values = np.array([3.0, 4.0, 8.0, 1.0, 5.0])
    left_out = (values.sum() - values) / 4.0
    error = jackknife_error(left_out[:, None], np.ones((5, 1)))
    assert error[0] == pytest.approx(1.1416 * values.std(ddof=1) / np.sqrt(5.0), rel=1e-4)


def test_a_pass_without_a_part_does_not_count():
    part = np.array([[1, 1], [1, 0], [1, 0], [0, 0]])
    left_out = np.array([[1.0, 0.0], [2.0, 9.0], [4.0, 9.0], [7.0, 9.0]])
    error = jackknife_error(left_out, part)
    assert error[0] == pytest.approx(jackknife_error(left_out[:3], part[:3])[0])
    assert error[1] == 0.0


def test_ranges_of_some_passes_are_judged_by_these_passes():
    # Range and range rate are apart: each level has the error that it has alone.
    rng = np.random.default_rng(3)
    ranges = PassGeometry(60.0 * np.arange(20), 60.0, "range", 0.7, 1.0, 1500.0, 2.2e11)
    only = [(level * rng.standard_normal(20), ranges) for level in (0.5, 1.0, 3.0)]
    both = Budget((WhiteRangeRate(sigma=1.0), WhiteRange(sigma=1.0)))
    found = estimate_levels([*a_set(rng, 6, 1.5), *only], both)
    alone = estimate_levels(only, Budget((WhiteRange(sigma=1.0),)))
    assert found.sigmas[1] == pytest.approx(alone.sigmas[0], rel=1e-4)
