"""Groups of passes whose residuals are unlike those of the others, found and named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import TablePasses, seasonal_parameters, seasonal_passes

from wobble.estimation.fit import fit
from wobble.estimation.least_squares import PassEquations
from wobble.estimation.residual_groups import seasons
from wobble.estimation.solution import Solution
from wobble.estimation.standing_out import StandingOut

TRUTH = np.array([3.0, -2.0, 1.0, 0.5, -1.5, 2.5])


def labelled(passes: list[PassEquations], seed: int = 0) -> list[PassEquations]:
    """Three stations and two landers, drawn for each pass."""
    rng = np.random.default_rng(seed)
    stations = rng.choice(["alder", "broom", "cliff"], len(passes))
    landers = rng.choice(["heron", "wren"], len(passes))
    return [
        replace(one, labels={"station": str(station), "lander": str(lander)})
        for one, station, lander in zip(passes, stations, landers, strict=True)
    ]


def fitted(passes: list[PassEquations]) -> Solution:
    return fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())


def named_in(seed: int) -> tuple[StandingOut, ...]:
    """What stands out in a sound set of data."""
    return fitted(labelled(seasonal_passes(40, TRUTH, seed=seed), seed)).standing_out


def of_kind(one: PassEquations, kind: str) -> np.ndarray:
    return (one.kind == kind).astype(float)


def test_sound_data_name_nothing_more_often_than_stated() -> None:
    # Monte Carlo. Each kind asks at 0.2 %, so 0.4 % a set: of 30 sets more than two are
    # found with a probability of 2e-4, of 300 more than five with 2e-3 (binomial).
    assert sum(map(bool, map(named_in, range(30)))) <= 2


@pytest.mark.slow
def test_hundreds_of_sound_sets_name_nothing_more_often_than_stated() -> None:
    assert sum(map(bool, map(named_in, range(30, 330)))) <= 5


def test_a_station_whose_ranges_are_off_is_named_with_size_and_significance() -> None:
    passes = labelled(seasonal_passes(60, TRUTH, seed=5))
    off = 2.0
    passes = [
        replace(one, residual=one.residual + off * of_kind(one, "range"))
        if one.labels["station"] == "broom"
        else one
        for one in passes
    ]
    first, *more = fitted(passes).standing_out
    assert (first.kind, first.groups) == ("range", ("station broom",))
    assert first.by_level
    assert first.level == pytest.approx(off, rel=0.25)
    assert first.chance < 1e-3
    assert not more
    assert str(first).startswith("range of station broom stands out: residuals of its ")
    assert " m from those of the other " in str(first)
    assert "less than 0.1 %" in str(first)


def test_a_station_that_is_noisier_is_named_by_its_factor() -> None:
    rng = np.random.default_rng(2)
    passes = [
        replace(
            one,
            residual=one.residual
            + of_kind(one, "range_rate") * 2.0 * one.sigma * rng.standard_normal(len(one)),
        )
        if one.labels["station"] == "cliff" and one.labels["lander"] == "wren"
        else one
        for one in labelled(seasonal_passes(80, TRUTH, seed=6))
    ]
    (found,) = fitted(passes).standing_out
    # The smallest group that explains it: neither all of the station nor all of the lander.
    assert (found.kind, found.groups) == ("range_rate", ("station cliff, lander wren",))
    assert not found.by_level
    assert found.factor == pytest.approx(np.sqrt(5.0), rel=0.25)


def test_labels_of_the_same_passes_are_named_together() -> None:
    passes = labelled(seasonal_passes(60, TRUTH, seed=7))
    together = [
        replace(
            one,
            labels={**one.labels, "antenna": f"of {one.labels['lander']}"},
            residual=one.residual + 3.0 * of_kind(one, "range") * (one.labels["lander"] == "wren"),
        )
        for one in passes
    ]
    (found,) = fitted(together).standing_out
    assert found.groups == ("lander wren", "antenna of wren") or found.groups == (
        "lander heron",
        "antenna of heron",
    )


def test_one_wild_pass_makes_no_group_stand_out() -> None:
    passes = labelled(seasonal_passes(40, TRUTH, seed=8))
    wild = replace(passes[3], residual=passes[3].residual + 1e3 * of_kind(passes[3], "range"))
    solution = fitted([*passes[:3], wild, *passes[4:]])
    assert {jump.pass_name for jump in solution.jumps} == {wild.name}
    assert solution.standing_out == ()


def test_residuals_before_and_after_the_fit_are_told_by_group() -> None:
    passes = labelled(seasonal_passes(30, TRUTH, seed=9))
    solution = fitted(passes)
    samples = solution.samples
    (group,) = (
        g
        for g in solution.residual_groups
        if (g.kind, g.of, g.name) == ("range", "station", "alder")
    )
    rows = (samples.kind == "range") & (samples.labels["station"] == "alder")
    assert group.used == rows.sum()
    assert group.rejected == 0
    assert group.passes == sum(one.labels["station"] == "alder" for one in passes)
    before = np.concatenate(
        [one.residual[one.kind == "range"] for one in passes if one.labels["station"] == "alder"]
    )
    assert group.before == pytest.approx(np.sqrt((before**2).mean()), rel=1e-12)
    assert group.after == pytest.approx(np.sqrt((samples.residual[rows] ** 2).mean()), rel=1e-12)
    assert group.after < 0.5 * group.before
    # Noise of a pass is correlated: its scatter is known no better.
    assert group.factor == pytest.approx(1.0, abs=0.3)
    assert "range, station alder" in str(solution)
    assert "rms before" in str(solution)


def test_a_season_is_a_quarter_of_a_year() -> None:
    epochs = np.array(["2031-01-01T00:00", "2031-03-31T23:59", "2031-12-31T00:00"])
    assert seasons(epochs).tolist() == [
        *["2031-01 to 2031-03"] * 2,
        "2031-10 to 2031-12",
    ]
