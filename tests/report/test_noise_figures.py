"""Residuals against budgets, as drawn."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest

from wobble.campaign.residual_noise import ResidualNoise, ResidualPass
from wobble.noise.budget import Budget, PassGeometry
from wobble.noise.budget_table import LinkConditions
from wobble.noise.contributions.white import WhiteRangeRate
from wobble.noise.from_residuals import estimate_levels
from wobble.report.noise_figures import residual_allan_deviation, residual_spectrum
from wobble.report.style import offscreen


@pytest.fixture(autouse=True)
def _offscreen() -> Iterator[None]:
    with offscreen():
        yield


@pytest.fixture(scope="module")
def noise() -> ResidualNoise:
    time = 30.0 + 60.0 * np.arange(50)
    geometry = PassGeometry(time, 60.0, "range_rate", 0.7, 1.0, 1500.0, 2.2e11)
    assumed = Budget((WhiteRangeRate(),))
    rng = np.random.default_rng(1)
    passes = [
        ResidualPass(f"p{k}", "2031-05-01T00:00:00", assumed.draw(geometry, rng), geometry)
        for k in range(20)
    ]
    found = estimate_levels([one.pair for one in passes], assumed)
    return ResidualNoise(passes, assumed, found, [None] * 20, LinkConditions())


def test_white_residuals_have_a_flat_spectrum_at_the_level_found(noise: ResidualNoise) -> None:
    # One-sided density of samples of standard deviation s every T seconds: 2 s^2 T, without
    # the mean that is taken out; s is 0.05 mm/s.
    axes = residual_spectrum(noise, noise.assumed)
    drawn = {str(line.get_label()): line.get_ydata() for line in axes.lines}
    expected = 2.0 * 0.05**2 * 60.0
    assert drawn["budget of the scenario"] == pytest.approx(expected, rel=1e-6)
    level = noise.overall.scales[0] ** 2 * expected
    assert drawn["levels found"] == pytest.approx(level, rel=1e-6)
    (points,) = (c for c in axes.containers if c.get_label() == "residuals of 20 passes")
    assert points.lines[0].get_ydata() == pytest.approx(expected, rel=0.8)
    assert "(mm/s)²/Hz" in axes.get_ylabel()


def test_allan_deviation_of_white_residuals_falls_with_the_root_of_time(
    noise: ResidualNoise,
) -> None:
    axes = residual_allan_deviation(noise)
    drawn = {str(line.get_label()): line.get_data() for line in axes.lines}
    tau, values = drawn["levels found"]
    assert values * np.sqrt(tau) == pytest.approx(values[0] * np.sqrt(60.0))
    assert tau[0] == 60.0
    assert "budget of the scenario" not in drawn
