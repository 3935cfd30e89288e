"""The table of a budget and the data of its figures."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest

from wobble.constants import ASTRONOMICAL_UNIT, SPEED_OF_LIGHT
from wobble.noise.budget import Budget, standard_budget, white_budget
from wobble.noise.budget_table import (
    LinkConditions,
    allan_against_averaging_time,
    allan_deviation,
    budget_table,
    contributions_against_sun_angle,
    parameter_table,
)
from wobble.noise.contributions.clocks import Transponder
from wobble.noise.contributions.thermal import ThermalPhase

# Without an absolute tolerance: the values are far below the default one of 1e-12.
approx = partial(pytest.approx, rel=1e-6, abs=0.0)

CONDITIONS = LinkConditions(
    sun_angle=math.radians(60), elevation=math.radians(35), distance=1.8 * ASTRONOMICAL_UNIT
)


def test_rows_add_up_to_the_total():
    rows = budget_table(standard_budget(), CONDITIONS)
    *parts, total = rows
    assert total.name == "total"
    assert [row.name for row in parts] == standard_budget().names
    for name in ("allan_60", "allan_1000", "range_rate", "range"):
        summed = math.sqrt(sum(getattr(row, name) ** 2 for row in parts))
        assert getattr(total, name) == approx(summed, rel=1e-9)
    assert sum(row.share for row in parts) == approx(1.0)
    assert total.share == 1.0


def test_two_way_allan_deviation_is_twice_the_range_rate_over_c():
    # 2 dv/c = dnu/nu (Armstrong 2006, abstract): 0.1 mm/s is 6.7e-13; white frequency noise
    # has the Allan deviation of its standard deviation.
    budget = Budget((Transponder(range_rate=1e-4),))
    assert allan_deviation(budget, CONDITIONS, 60.0)[0] == approx(6.7e-13, rel=5e-3)


def test_best_links_reach_half_a_micrometre_per_second():
    # Asmar et al. 2005, Radio Sci. 40, RS2001: 3e-15 at 1000 s, "better than 1 micron per
    # second"; c sigma_y / 2 = 0.45 micrometre per second.
    budget = Budget((Transponder(range_rate=0.45e-6 * math.sqrt(1000 / 60)),))
    assert allan_deviation(budget, CONDITIONS, 1000.0)[0] == approx(3e-15, rel=5e-3)


def test_thermal_noise_falls_as_the_averaging_time():
    found = allan_deviation(Budget((ThermalPhase(),)), CONDITIONS, [10.0, 100.0])
    assert found[0] / found[1] == approx(10.0)


def test_one_way_frequency_is_that_of_one_leg():
    from_phase = math.sqrt(3 * 5.0 / 1e3) / (2 * math.pi * 8.42e9) / 60
    for ways in (1, 2, 3):
        conditions = LinkConditions(ways=ways)
        found = allan_deviation(Budget((ThermalPhase(),)), conditions, 60.0)[0]
        assert found == approx(from_phase, rel=1e-9)


def test_curves_pass_through_the_table():
    budget = standard_budget()
    rows = {row.name: row for row in budget_table(budget, CONDITIONS)}
    angles = contributions_against_sun_angle(budget, CONDITIONS, np.radians([20, 60]))
    times = allan_against_averaging_time(budget, CONDITIONS, [60.0, 1000.0])
    assert list(angles) == list(times) == [*budget.names, "total"]
    for name, row in rows.items():
        assert angles[name][1] == approx(row.range_rate)
        np.testing.assert_allclose(times[name], [row.allan_60, row.allan_1000])
    assert angles["solar_plasma"][0] > 2 * angles["solar_plasma"][1]


def test_a_white_budget_has_a_table_too():
    rows = budget_table(white_budget(1.0, 5e-5), CONDITIONS)
    assert [row.name for row in rows] == ["white_range", "white_range_rate", "total"]
    assert rows[1].allan_60 == approx(2 * 5e-5 / SPEED_OF_LIGHT)
    assert rows[0].range == 1.0
    assert rows[0].share == 0.0


def test_a_parameter_is_stated_if_it_was_given_or_differs_from_the_default():
    budget = Budget.from_tables(
        [
            {"contribution": "transponder", "range_rate": 2e-5},
            {"contribution": "transponder"},
            {"contribution": "allan_deviations", "averaging_times": [1.0], "deviations": [1e-12]},
        ]
    )
    rows = {(row.contribution, row.name): row for row in parameter_table(budget)}
    assert rows["transponder", "range_rate"].stated
    assert not rows["transponder 2", "range_rate"].stated
    assert rows["allan_deviations", "averaging_times"].text == "1 s"
    assert not rows["allan_deviations", "low_cutoff"].stated
    assert {row.stated for row in parameter_table(standard_budget())} == {False}
    (changed, *_) = parameter_table(Budget((Transponder(scale=2.0),)))
    assert (changed.name, changed.stated) == ("scale", True)
