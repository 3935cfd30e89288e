"""Gross errors, wrong constants and lost cycles: how near the estimates stay to the clean ones.

Two solutions may be called clean. The *informed* one is made from the same data by someone who
was told which samples were replaced and which were shifted together: the former are left out,
and each shift is a parameter. The fit, which was told nothing, must come within 0.3 of a
standard deviation of it. That of the *undamaged* data knows what the replaced samples would
have been and that the shifted ones were none, which nobody can find out. From it any efficient
estimate moves by a normal variable of variance ``sigma_new^2 - sigma_old^2`` (the covariance
of two estimates of which one uses part of the other's data is that of the better one;
Hausman 1978, Econometrica 46, 1251). Both are held against the fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pytest
from invented import Array, TablePasses, keep, seasonal_parameters, seasonal_passes

from wobble.campaign.campaign import Campaign
from wobble.campaign.schedule import Passes
from wobble.estimation.editing import EditingRules
from wobble.estimation.fit import fit
from wobble.estimation.least_squares import PassEquations
from wobble.estimation.solution import Solution

TRUTH = np.array([3.0, -1.0, 2.0, 0.5, -4.0, 1.0])
SLIPPED = (7, 13, 23)
EVERY_SAMPLE = EditingRules(threshold=1e9)


@dataclass
class Trial:
    """The fit of spoilt data beside the clean ones."""

    spoilt: Solution
    informed: Solution
    undamaged: Solution
    replaced: np.ndarray
    size: Array

    @property
    def from_informed(self) -> Array:
        """Distance from the informed solution, in its formal sigmas."""
        clean = self.informed
        return (self.spoilt.values - clean.values) / clean.sigma_formal

    @property
    def from_undamaged(self) -> Array:
        """Distance from the fit of the undamaged data, in its formal sigmas."""
        clean = self.undamaged
        return (self.spoilt.values - clean.values) / clean.sigma_formal

    @property
    def expected(self) -> Array:
        """Standard deviation of that distance, by the information that was lost."""
        ratio = self.spoilt.sigma_formal / self.undamaged.sigma_formal
        return np.sqrt(np.maximum(ratio**2 - 1.0, 0.0))

    def assert_edited_rightly(self) -> None:
        rejected, large = ~self.spoilt.samples.accepted, self.size > 8.0
        assert (rejected & large).sum() >= 0.99 * large.sum()
        assert (rejected & ~self.replaced).sum() <= 0.01 * (~self.replaced).sum()


def gross_sizes(rng: np.random.Generator, n: int) -> Array:
    """For 5 % of n samples an error of 5 to 1e6 standard deviations; zero for the others."""
    return np.where(rng.random(n) < 0.05, 10.0 ** rng.uniform(np.log10(5.0), 6.0, n), 0.0)


def shifts(rng: np.random.Generator, number: int, kind: np.ndarray, sigma: Array) -> Array:
    """A wrong constant in every tenth pass, a lost cycle in three, for samples in order of time."""
    shift = np.zeros(len(kind))
    if number % 10 == 4:
        members = kind == ("range" if number % 20 == 4 else "range_rate")
        shift[members] = 10.0 ** rng.uniform(1.0, 4.0) * np.median(sigma[members])
    if number in SLIPPED:
        members = np.flatnonzero(kind == "range_rate")
        shift[members[15 + number // 4 :]] = 30.0 * np.median(sigma[members])
    return shift


def with_shift_estimated(one: PassEquations, shift: Array) -> PassEquations:
    """The pass with one more parameter of its own, for the samples that are shifted together."""
    if not shift.any():
        return one
    return replace(
        one,
        local_names=(*one.local_names, f"pass.{one.name}.shift"),
        local_partials=np.column_stack([one.local_partials, shift != 0]),
        local_sigma=np.append(one.local_sigma, np.inf),
    )


def white_trial(seed: int) -> Trial:
    """Independent samples: 50 passes of 40 range rates and 6 ranges."""
    rng = np.random.default_rng(seed)
    clean = seasonal_passes(50, TRUTH, seed=seed)
    sizes: list[Array] = []
    all_shifts: list[Array] = []
    spoilt: list[PassEquations] = []
    for number, one in enumerate(clean):
        size = gross_sizes(rng, len(one))
        wrong = one.partials @ TRUTH + rng.choice([-1.0, 1.0], len(one)) * size * one.sigma
        residual = np.where(size > 0, wrong, one.residual)
        shift = shifts(rng, number, one.kind, one.sigma)
        spoilt.append(replace(one, residual=residual + shift))
        sizes.append(size)
        all_shifts.append(shift)
    told = [
        with_shift_estimated(keep(one, size == 0), shift[size == 0])
        for one, size, shift in zip(clean, sizes, all_shifts, strict=True)
    ]
    solutions = [
        fit(TablePasses(spoilt, np.zeros(6)), seasonal_parameters()),
        fit(TablePasses(told, np.zeros(6)), seasonal_parameters(), EVERY_SAMPLE),
        fit(TablePasses(clean, np.zeros(6)), seasonal_parameters(), EVERY_SAMPLE),
    ]
    size = np.concatenate(sizes)
    return Trial(*solutions, size > 0, size)


def correlated_trial(campaign: Campaign, passes: Passes, seed: int) -> Trial:
    """The demonstration's noise budget, with its correlations, over two months."""
    rng = np.random.default_rng(seed)
    clean = campaign.simulate(passes, seed=seed)
    size = gross_sizes(rng, len(clean))
    value = clean.value + rng.choice([-1.0, 1.0], len(clean)) * size * clean.sigma
    order = []
    for number, (_, rows) in enumerate(clean.passes()):
        value[rows] += shifts(rng, number, clean.kind[rows], clean.sigma[rows])
        order.append(rows)
    spoilt = replace(clean, value=value)
    # Without the replaced samples the shifts are beyond doubt: the rules find all of them.
    solutions = [campaign.fit(data) for data in (spoilt, spoilt[size == 0], clean)]
    size = size[np.concatenate(order)]
    return Trial(*solutions, size > 0, size)


def test_gross_errors_wrong_constants_and_lost_cycles_do_not_spoil_the_rest() -> None:
    for seed in range(2):
        trial = white_trial(seed)
        trial.assert_edited_rightly()
        assert np.abs(trial.from_informed).max() < 0.3
        slipped = {jump.pass_name for jump in trial.spoilt.jumps if jump.epoch}
        assert slipped == {f"P{number:03d}" for number in SLIPPED}
        shifted = {jump.pass_name for jump in trial.spoilt.jumps if not jump.epoch}
        # A constant of the range rate is free in every pass: only those of ranges stand out.
        assert shifted == {"P004", "P024", "P044"}


def test_the_same_with_correlated_noise(short_campaign: Campaign, short_passes: Passes) -> None:
    trial = correlated_trial(short_campaign, short_passes, 1)
    trial.assert_edited_rightly()
    assert np.abs(trial.from_informed).max() < 0.3
    assert sum(bool(jump.epoch) for jump in trial.spoilt.jumps) == len(SLIPPED)
    assert len(trial.spoilt.jumps) == len(SLIPPED) + 3  # passes 4, 14 and 24


def summary(trials: Sequence[Trial]) -> tuple[float, float]:
    """Distances printed; root mean square of that from the undamaged fit, found and expected."""
    informed = np.array([trial.from_informed for trial in trials])
    undamaged = np.array([trial.from_undamaged for trial in trials])
    expected = np.sqrt(np.mean([trial.expected**2 for trial in trials]))
    for name, distance in (("informed", informed), ("undamaged", undamaged)):
        size = np.abs(distance)
        print(
            f"from the {name} fit: rms {np.sqrt((size**2).mean()):.3f}, largest {size.max():.3f}, "
            f"below 0.3 in {(size < 0.3).mean():.0%}"
        )
    print(f"expected from the information lost: rms {expected:.3f}")
    return float(np.sqrt((undamaged**2).mean())), float(expected)


@pytest.mark.slow
def test_no_estimate_moves_farther_than_the_lost_information_makes_it() -> None:
    trials = [white_trial(seed) for seed in range(20)]
    for trial in trials:
        trial.assert_edited_rightly()
        assert np.abs(trial.from_informed).max() < 0.3
    found, expected = summary(trials)
    # 20 trials of a few independent numbers: their root mean square is good to a tenth or so.
    assert 0.7 * expected < found < 1.3 * expected


@pytest.mark.slow
def test_nor_with_correlated_noise(short_campaign: Campaign, short_passes: Passes) -> None:
    trials = [correlated_trial(short_campaign, short_passes, seed) for seed in range(20)]
    for trial in trials:
        trial.assert_edited_rightly()
        assert np.abs(trial.from_informed).max() < 0.3
    found, expected = summary(trials)
    assert 0.6 * expected < found < 1.4 * expected
