"""Jumps and bad passes."""

from __future__ import annotations

import numpy as np
import pytest

from wobble.estimation.passes import (
    Jump,
    PassCharacter,
    describe_pass,
    find_jumps,
    is_shifted,
    levels,
    unusual_passes,
)


def test_a_jump_is_found_where_it_is_among_wild_samples() -> None:
    rng = np.random.default_rng(1)
    for place in (9, 20, 33):
        ratio = rng.normal(size=45)
        ratio[place:] += 12.0
        ratio[[3, 15, 28, 40]] = [50.0, -1e5, 8.0, 1e6]
        assert find_jumps(ratio, np.ones_like(ratio), 4.0) == [place]


def test_two_jumps_and_a_shifted_beginning_are_told_apart() -> None:
    rng = np.random.default_rng(2)
    ratio = rng.normal(size=60)
    ratio[20:40] += 15.0
    assert find_jumps(ratio, np.ones_like(ratio), 4.0) == [20, 40]
    assert not is_shifted(ratio[:20], np.ones(20), 4.0)
    assert is_shifted(ratio[:20] + 100.0, np.ones(20), 4.0)
    level = levels(ratio, [20, 40])
    assert (level[:20] == np.median(ratio[:20])).all()
    assert level[30] == pytest.approx(15.0, abs=1.0)
    assert is_shifted(np.array([99.0, 100.0, 101.0]), np.ones(3), 4.0)
    # A constant of the pass that is not larger than expected is no fault of it.
    assert not is_shifted(ratio[:20], np.ones(20), 4.0, bias=100.0, expected=50.0)


def test_noise_and_single_wild_samples_are_no_jump() -> None:
    for seed in range(50):
        rng = np.random.default_rng(seed)
        ratio = rng.normal(size=200)
        wild = rng.random(200) < 0.08
        ratio[wild] = rng.choice([-1, 1], wild.sum()) * 10 ** rng.uniform(1, 6, wild.sum())
        assert find_jumps(ratio, np.ones_like(ratio), 4.0) == []
    loud = 40.0 * np.random.default_rng(1).normal(size=100)
    assert find_jumps(loud, np.ones_like(loud), 4.0) == []


def test_the_column_of_a_jump_begins_at_its_epoch() -> None:
    kind = np.array(["range", "range_rate", "range", "range"])
    epoch = np.array(["2031-01-01T01", "2031-01-01T02", "2031-01-01T03", "2031-01-01T02"])
    jump = Jump("P1", "range", "2031-01-01T02")
    np.testing.assert_array_equal(jump.column(kind, epoch), [0, 0, 1, 1])
    np.testing.assert_array_equal(Jump("P1", "range", "").column(kind, epoch), [1, 0, 1, 1])


def test_slope_and_noise_are_judged_against_the_other_passes() -> None:
    rng = np.random.default_rng(3)
    series = [rng.normal(size=40) for _ in range(20)]
    series[5] += np.linspace(-3.0, 3.0, 40)
    series[8] *= 4.0
    found = unusual_passes(
        [PassCharacter.of(f"P{i}", "range_rate", one) for i, one in enumerate(series)]
    )
    assert set(found) == {("P5", "range_rate"), ("P8", "range_rate")}
    assert "slope" in found["P5", "range_rate"]
    assert "noise of 4" in found["P8", "range_rate"] or "noise of 3.9" in found["P8", "range_rate"]
    # If all passes have such slopes, the noise is correlated and no pass is to blame.
    steep = [one + rng.normal() * np.linspace(-2.0, 2.0, 40) for one in series[10:]]
    characters = [PassCharacter.of(f"P{i}", "range_rate", one) for i, one in enumerate(steep)]
    assert unusual_passes(characters) == {}


def test_what_is_wrong_with_a_pass_is_said_in_words() -> None:
    rng = np.random.default_rng(4)
    noise = rng.normal(size=40)
    one = np.ones(40)
    assert describe_pass("range", noise + 50.0, one).startswith("constant offset of +")
    assert "slope, +" in describe_pass("range_rate", noise + np.linspace(-40, 40, 40), one)
    assert describe_pass("range", 20.0 * noise, one).startswith("noise of")
