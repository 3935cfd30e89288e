"""Levels of noise learnt with a solution: Monte Carlo, and what cannot be learnt from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import wobble
from wobble.campaign.learnt_noise import learn_noise
from wobble.errors import InputError
from wobble.estimation.tracking_model import PassBiases, pass_geometry
from wobble.measurements.tracking import Tracking
from wobble.noise.budget import Budget
from wobble.noise.contributions.ranging import RangeCalibration
from wobble.noise.contributions.white import WhiteRange


@pytest.fixture(scope="module")
def ranges(short_tracking: Tracking) -> Tracking:
    return short_tracking[short_tracking.kind == "range"]


@pytest.fixture(scope="module")
def campaign(short_campaign: wobble.Campaign) -> wobble.Campaign:
    """White noise of 1 m, and 2 m common to a pass, assumed."""
    budget = Budget((WhiteRange(sigma=1.0), RangeCalibration(range_error=2.0)))
    return replace(short_campaign, budget=budget, biases=PassBiases())


def drawn(campaign: wobble.Campaign, ranges: Tracking, white: float, common: float, seed: int):
    budget = Budget((WhiteRange(sigma=white), RangeCalibration(range_error=common)))
    rng = np.random.default_rng(seed)
    computed = campaign.network(ranges).compute(ranges)
    value = computed.value.copy()
    for _, rows in ranges.passes():
        value[rows] += budget.draw(pass_geometry(ranges, computed, rows), rng)
    return replace(ranges, value=value)


def test_levels_and_their_uncertainties_are_those_that_were_put_in(
    campaign: wobble.Campaign, ranges: Tracking
) -> None:
    # Monte Carlo: 27 passes of ten ranges, seven parameters to be seen in them.
    found = [learn_noise(campaign, drawn(campaign, ranges, 0.5, 6.0, seed)) for seed in range(6)]
    scales, sigmas = (
        np.array([getattr(one, name) for one in found]) for name in ("scales", "sigmas")
    )
    truth = np.array([0.5, 3.0])
    mean_error = scales.std(axis=0, ddof=1) / np.sqrt(len(found))
    assert (np.abs(scales.mean(axis=0) - truth) < 3.5 * mean_error).all()
    # Six draws know a standard deviation to a third.
    ratio = scales.std(axis=0, ddof=1) / sigmas.mean(axis=0)
    assert ((ratio > 0.3) & (ratio < 1.9)).all()
    z = np.concatenate([one.normalised for one in found])
    assert z.std() == pytest.approx(1.0, abs=0.06)
    assert repr(found[0]).startswith(
        "<LearntNoise: factors on standard deviations: white_range 0.5"
    )
    again = learn_noise(
        replace(campaign, budget=found[0].budget), drawn(campaign, ranges, 0.5, 6.0, 0)
    )
    assert again.scales == pytest.approx([1.0, 1.0], abs=3e-3)


def test_a_contribution_that_the_data_do_not_ask_for_comes_out_as_none(
    campaign: wobble.Campaign, ranges: Tracking
) -> None:
    found = learn_noise(campaign, drawn(campaign, ranges, 1.0, 0.0, 3))
    assert found.scales[0] == pytest.approx(1.0, abs=0.15)
    assert found.scales[1] < 0.15


def test_what_levels_cannot_be_learnt_from_is_refused(
    campaign: wobble.Campaign, ranges: Tracking
) -> None:
    with pytest.raises(InputError, match=r"\[\[noise\]\] tables"):
        learn_noise(replace(campaign, budget=None), ranges)
    with pytest.raises(InputError, match="passes have biases of their own"):
        learn_noise(replace(campaign, biases=PassBiases(range=2.0)), ranges)
    few = ranges[np.isin(ranges.pass_id, np.unique(ranges.pass_id)[:5])]
    with pytest.raises(InputError, match="too few passes"):
        learn_noise(campaign, few)
