"""The curve of precision against effort lies above its bound."""

import itertools

import numpy as np
import pytest
from test_selection import random_passes, sigmas_of_all_subsets

from wobble.campaign.effort_curve import effort_curve
from wobble.campaign.limits import Limits, PassBudget
from wobble.campaign.selection import select_passes
from wobble.campaign.targets import LinearTarget
from wobble.errors import InputError


def test_the_curve_ends_at_the_selection_and_no_choice_is_below_the_bound():
    candidates = random_passes(5, 12, 4)
    target = LinearTarget.parameter(candidates, "x1")
    found = select_passes(candidates, target, PassBudget(passes=6), tolerance=1e-4)
    curve = effort_curve(found)
    assert sorted(curve.order) == sorted(found.chosen)
    assert (np.diff(curve.sigma) <= 1e-12 * curve.sigma[:-1]).all()
    assert curve.sigma[-1] == pytest.approx(found.sigma, rel=1e-9)
    assert curve.hours.tolist() == [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
    # Exhaustive search of every number of passes.
    for number, least in zip(curve.bounded, curve.least_sigma, strict=True):
        subsets = np.array(list(itertools.combinations(range(12), number)))
        best = sigmas_of_all_subsets(candidates, subsets, target).min()
        assert least <= best * (1 + 1e-10) <= curve.sigma[number - 1] * (1 + 2e-10)
        # Parts of many passes determine what one or two whole ones cannot.
        assert number < 4 or least > 0.85 * best
    # Of the passes chosen none is better as the first than the first.
    alone = sigmas_of_all_subsets(candidates, found.chosen[:, None], target)
    assert found.chosen[alone.argmin()] == curve.order[0]


def test_passes_a_week_are_limited():
    # Passes of an hour, one after the other: 168 begin in each week.
    candidates = random_passes(6, 400, 4)
    target = LinearTarget.parameter(candidates, "x1")
    found = select_passes(candidates, target, PassBudget(per_week=5))
    week = candidates.start[found.chosen] // (7 * 86400.0)
    assert np.bincount(week.astype(int)).tolist() == [5, 5, 5]
    free = select_passes(candidates, target, PassBudget(passes=15))
    assert free.sigma < found.sigma
    assert found.least_sigma <= found.sigma <= 1.05 * found.least_sigma
    with pytest.raises(InputError, match="per_week"):
        Limits.of(candidates, PassBudget(per_week=0))
