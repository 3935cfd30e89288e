"""Errors in whole steps, told apart from errors of any size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from invented import TablePasses, seasonal_parameters, seasonal_passes

from wobble.campaign.campaign import Campaign
from wobble.estimation.fit import fit
from wobble.estimation.shelf import Shelf
from wobble.estimation.slips import whole_steps
from wobble.measurements.kinds import KINDS
from wobble.measurements.tracking import Tracking

TRUTH = np.array([3.0, -1.0, 2.0, 0.5, -4.0, 1.0])


def test_a_cycle_within_a_minute_at_x_band_is_a_third_of_a_millimetre_a_second() -> None:
    # One cycle of the received 8.42 GHz carrier is 35.6 mm of two-way path, 17.8 mm one-way;
    # over 60 s 0.297 mm/s (definition of the wavelength).
    step = KINDS["range_rate"].step(7.17e9, 880 / 749, 60.0, np.nan)
    assert step == pytest.approx(0.5 * 0.035588 / 60.0, rel=1e-3)
    # A downlink has the path once, and its frequency is the received one.
    one_way = KINDS["one_way_range_rate"]
    down = one_way.step(7.17e9 * 880 / 749, 880 / 749, 60.0, np.nan)
    assert down == pytest.approx(0.035588 / 60.0, rel=1e-3)
    assert one_way.slip_text(1) == "cycle slip of +1 cycle of the carrier"


def test_whole_steps_are_counted_and_only_where_the_noise_lets_one_tell() -> None:
    assert whole_steps(3.02, 0.01, 1.0) == 3
    assert whole_steps(-1.0, 0.01, 1.0) == -1
    assert whole_steps(2.5, 0.01, 1.0) == 0
    assert whole_steps(0.01, 0.01, 1.0) == 0
    # Six standard deviations of 0.1 make more than half of all errors look like whole steps.
    assert whole_steps(3.02, 0.1, 1.0) == 0
    assert whole_steps(3.02, 0.01, np.nan) == 0
    assert KINDS["range_rate"].slip_text(1) == "cycle slip of +1 cycle of the carrier"
    assert KINDS["range"].slip_text(-2) == "range wrong by -2 ambiguities"
    assert KINDS["range"].slip_text(0) == ""


def test_the_editing_log_names_lost_cycles_and_ambiguities() -> None:
    step = {"range": 500.0, "range_rate": 2e-3}
    passes = [
        replace(p, step=np.where(p.kind == "range", step["range"], step["range_rate"]))
        for p in seasonal_passes(20, TRUTH)
    ]
    rate, range_ = 12, 42
    passes[3].residual[rate] -= 2.0 * step["range_rate"]
    passes[5].residual[rate] += 2.5 * step["range_rate"]
    passes[9].residual[range_] += step["range"]
    solution = fit(TablePasses(passes, np.zeros(6)), seasonal_parameters())
    samples = solution.samples
    log = dict(
        zip(samples.pass_name[~samples.accepted], samples.reason[~samples.accepted], strict=True)
    )
    assert set(log) == {"P003", "P005", "P009"}
    assert log["P003"].endswith("cycle slip of -2 cycles of the carrier")
    assert "slip" not in log["P005"]
    assert log["P009"].endswith("range wrong by +1 ambiguity")


def test_a_range_that_jumped_by_the_scenarios_ambiguity_is_named(
    short_campaign: Campaign, short_tracking: Tracking
) -> None:
    ambiguity = 1000.0
    rules = replace(short_campaign.editing, range_ambiguity=ambiguity)
    row = int(np.flatnonzero(short_tracking.kind == "range")[30])
    value = short_tracking.value.copy()
    value[row] += 3.0 * ambiguity
    solution = replace(short_campaign, editing=rules).fit(replace(short_tracking, value=value))
    reasons = solution.samples.reason[~solution.samples.accepted]
    assert [r for r in reasons if r.endswith("range wrong by +3 ambiguities")]


def test_a_pass_of_ranges_that_is_wrong_by_an_ambiguity_is_repaired_and_named(
    short_campaign: Campaign, short_tracking: Tracking
) -> None:
    ambiguity = 1000.0
    rules = replace(short_campaign.editing, range_ambiguity=ambiguity)
    name = short_tracking.pass_id[200]
    wrong = (short_tracking.pass_id == name) & (short_tracking.kind == "range")
    value = np.where(wrong, short_tracking.value - 2.0 * ambiguity, short_tracking.value)
    solution = replace(short_campaign, editing=rules).fit(replace(short_tracking, value=value))
    assert solution.n_rejected == 0
    (jump,) = solution.jumps
    assert (jump.pass_name, jump.kind, jump.epoch) == (name, "range", "")
    found = solution.pass_estimate(jump.parameter)
    # Its true bias, of 2 m, is in the shift.
    assert found.value == pytest.approx(-2.0 * ambiguity, abs=8.0)
    assert found.note == "range wrong by -2 ambiguities"
    assert "range wrong by -2 ambiguities" in str(solution)


def test_a_shelf_gives_back_what_was_put_down() -> None:
    shelf = Shelf()
    arrays = [
        np.arange(6.0).reshape(2, 3),
        np.array(["2031-01-01", "2031-01-02"]),
        np.zeros((0, 4)),
    ]
    places = [shelf.put(array) for array in arrays]
    for place, array in zip(reversed(places), reversed(arrays), strict=True):
        np.testing.assert_array_equal(shelf.get(place), array)
        assert shelf.get(place).shape == array.shape
    shelf.close()
