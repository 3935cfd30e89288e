"""Schedules keep the rule's constraints, and turn into time tags as the rule says."""

from collections import Counter

import numpy as np
import pytest

from wobble.campaign.schedule import ScheduleRule, schedule_passes
from wobble.errors import InputError


def test_passes_lie_within_view_periods_of_their_station_and_antenna(short_periods, short_passes):
    for k in range(len(short_passes)):
        same = (short_periods.station == short_passes.station[k]) & (
            short_periods.antenna == short_passes.antenna[k]
        )
        # Passes are given to whole seconds.
        begin = (short_passes.start[k] - short_periods.start[same]).to_value("s") >= -1.0
        end = (short_periods.stop[same] - short_passes.stop[k]).to_value("s") >= -1.0
        assert (begin & end).any()


def test_no_week_has_more_passes_than_the_rule_and_rest_is_kept(
    short_campaign, short_periods, short_passes
):
    rule = short_campaign.rule
    seconds = (short_passes.start - short_periods.start[0]).to_value("s")
    assert max(Counter(seconds // (7 * 86400.0)).values()) <= rule.passes_per_week + 1
    assert np.diff(seconds).min() >= rule.rest - 1.0
    durations = (short_passes.stop - short_passes.start).to_value("s")
    np.testing.assert_allclose(durations, rule.pass_length, atol=1e-6)


def test_stations_and_antennas_take_turns(short_passes):
    shares = Counter(short_passes.antenna)
    assert abs(shares["east"] - shares["west"]) <= 4
    assert set(short_passes.station) == {"alder", "broom", "cliff"}


def test_counts_fill_a_pass_without_gap_or_overlap(short_campaign, short_passes):
    tags = short_passes.tags(short_campaign.rule, short_campaign.frequency)
    first = tags[(tags.pass_id == short_passes.pass_id[0]) & (tags.kind == "range_rate")]
    offset = (first.epoch - short_passes.start[0]).to_value("s")
    np.testing.assert_allclose(offset, 30.0 + 60.0 * np.arange(45), atol=1e-9)
    ranges = tags[(tags.pass_id == short_passes.pass_id[0]) & (tags.kind == "range")]
    np.testing.assert_allclose((ranges.epoch - short_passes.start[0]).to_value("s")[:2], [0, 300])


def test_a_pass_longer_than_every_period_is_refused_with_the_longest(short_periods):
    with pytest.raises(InputError, match="longest of"):
        schedule_passes(short_periods, ScheduleRule(passes_per_week=3, pass_length=1e6))


@pytest.mark.parametrize(
    ("fields", "name"),
    [
        ({"passes_per_week": 0, "pass_length": 2700.0}, "passes_per_week"),
        ({"passes_per_week": 3, "pass_length": -1.0}, "pass_length"),
        ({"passes_per_week": 3, "pass_length": 60.0, "count_time": 90.0}, "count_time"),
    ],
)
def test_a_rule_that_makes_no_sense_is_refused(fields, name):
    with pytest.raises(InputError, match=name):
        ScheduleRule(**fields)
