"""Schedules keep the rule's constraints, and turn into time tags as the rule says."""

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from astropy.time import Time, TimeDelta

from wobble.campaign.conditions import ViewLimits
from wobble.campaign.pass_ledger import BookedPass, PassLedger
from wobble.campaign.schedule import Passes, ScheduleRule, schedule_passes
from wobble.campaign.sols import SolCount
from wobble.campaign.visibility import find_view_periods
from wobble.errors import InputError, UnknownNameError
from wobble.planet.lander_limits import LanderLimits

# Mars's mean solar day, s (Allison & McEwen 2000, Planet. Space Sci. 48, 215).
SOL = 88_775.244


def ledger(limits=None, *, rest=0.0, handover=(0.0, 0.0), setup=0.0):
    """An empty ledger of two stations and a lander whose sols are Mars's mean ones."""
    seconds = np.array([-1e6, 1e7])
    return PassLedger(
        Time("2031-05-01"),
        1e7,
        rest,
        handover,
        {"alder": setup, "broom": setup},
        {"heron": limits or LanderLimits()},
        {"heron": SolCount(seconds, seconds / SOL)},
    )


def booked(name, station, begin, end, transmitter=None):
    """A pass of heron; begin and end in minutes."""
    return BookedPass(name, transmitter or station, station, "heron", 60.0 * begin, 60.0 * end)


def said(book, *passes):
    """What the last of several passes violates, as constraint and amount."""
    for one in passes[:-1]:
        assert not book.conflicts(one)
        book.book(one)
    return [(v.constraint, pytest.approx(v.excess, abs=1e-6)) for v in book.conflicts(passes[-1])]


def test_passes_lie_within_view_periods_of_their_station_and_antenna(short_periods, short_passes):
    for k in range(len(short_passes)):
        same = (short_periods.station == short_passes.station[k]) & (
            short_periods.antenna == short_passes.antenna[k]
        )
        begin = (short_passes.start[k] - short_periods.start[same]).to_value("s") >= 0.0
        end = (short_periods.stop[same] - short_passes.stop[k]).to_value("s") >= 0.0
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


def test_the_longest_or_the_highest_come_first(short_campaign, short_periods):
    chosen = {}
    for prefer in ("highest", "longest"):
        rule = replace(short_campaign.rule, prefer=prefer, alternate=(), passes_per_week=1)
        passes = replace(short_campaign, rule=rule).schedule(short_periods)
        chosen[prefer] = [period_of(short_periods, passes, k) for k in range(len(passes))]
    # The first week's choice, by hand.
    week = (short_periods.start - short_campaign.span[0]).to_value("d") < 7.0
    long_enough = week & (short_periods.duration > 2702.0)
    longest = np.argmax(np.where(long_enough, short_periods.duration, 0.0))
    highest = np.argmax(np.where(long_enough, short_periods.elevation[:, 1], 0.0))
    assert chosen["longest"][0] == longest
    assert chosen["highest"][0] == highest


def period_of(periods, passes, k):
    """Number of the view period in which a pass lies."""
    inside = (
        (periods.station == passes.station[k])
        & (periods.antenna == passes.antenna[k])
        & (np.asarray((passes.start[k] - periods.start).to_value("s")) >= 0)
        & (np.asarray((periods.stop - passes.stop[k]).to_value("s")) >= 0)
    )
    (number,) = np.flatnonzero(inside)
    return number


def test_hour_angles_are_spread_when_asked_for(short_campaign, short_periods):
    def hours(prefer):
        rule = replace(short_campaign.rule, prefer=prefer, alternate=())
        passes = replace(short_campaign, rule=rule).schedule(short_periods)
        rows = [period_of(short_periods, passes, k) for k in range(len(passes))]
        middle = (passes.start - short_periods.start[rows]).to_value("s") + 1350.0
        start = short_periods.geometry.hour_angle[rows, 0]
        # Sidereal rate of the Earth, rad/s.
        return np.degrees(start + 7.292115e-5 * middle) / 15.0

    spread, high = hours("hour_angle"), hours("highest")
    assert len(np.unique(spread // 1.0)) > len(np.unique(high // 1.0))
    assert max(Counter(spread // 1.0).values()) < max(Counter(high // 1.0).values())


def test_a_schedule_by_rule_violates_nothing(short_campaign, short_passes):
    assert short_campaign.check(short_passes) == ()


def test_a_schedule_keeps_the_landers_limits(short_campaign, short_periods):
    limits = LanderLimits(time_per_sol=3000.0, power=60.0, energy_per_sol=2e5, rest=30 * 3600.0)
    landers = tuple(replace(lander, limits=limits) for lander in short_campaign.landers)
    rule = replace(short_campaign.rule, rest=0.0)
    frugal = replace(short_campaign, landers=landers, rule=rule)
    passes = frugal.schedule(short_periods)
    assert frugal.check(passes) == ()
    rest = (passes.start[1:] - passes.stop[:-1]).to_value("h")
    assert rest.min() >= 30.0 - 1e-6
    assert len(passes) > 10


def test_limits_too_tight_for_any_pass_are_named(short_campaign, short_periods):
    limits = LanderLimits(power=60.0, energy_per_sol=60.0 * 1800.0)
    landers = tuple(replace(lander, limits=limits) for lander in short_campaign.landers)
    with pytest.raises(InputError, match="energy per sol of heron"):
        replace(short_campaign, landers=landers).schedule(short_periods)


def test_no_view_period_at_all_names_the_condition(short_campaign):
    limits = ViewLimits(sun_earth_probe=3.14)
    start = short_campaign.span[0]
    stop = start + TimeDelta(3.0, format="jd")
    nothing = find_view_periods(short_campaign.plan_network, start, stop, limits=limits)
    with pytest.raises(InputError, match=r"'Sun-Earth-probe limit'.* h would remain"):
        short_campaign.schedule(nothing)


def test_two_passes_at_once_are_refused():
    one = booked("A", "alder", 0, 45)
    assert said(ledger(), one, booked("B", "alder", 30, 75)) == [("overlap at alder", 15.0)]
    assert said(ledger(), one, booked("B", "broom", 30, 75)) == [("overlap at heron", 15.0)]
    assert said(ledger(), one, booked("B", "broom", 45, 90)) == []
    assert said(ledger(setup=1200.0), one, booked("B", "alder", 50, 95)) == [
        ("setup of alder", 15.0)
    ]


def test_a_handover_overlaps_by_what_is_agreed():
    one = booked("A", "alder", 0, 45)
    agreed = {"handover": (300.0, 900.0), "rest": 7200.0}
    assert said(ledger(**agreed), one, booked("B", "broom", 35, 80)) == []
    assert said(ledger(**agreed), one, booked("B", "broom", 43, 80)) == [
        ("handover too short", 3.0)
    ]
    assert said(ledger(**agreed), one, booked("B", "broom", 25, 80)) == [("handover too long", 5.0)]
    assert said(ledger(**agreed), one, booked("B", "broom", 50, 80)) == [
        ("rest of the schedule", 70.0)
    ]


def test_a_companion_listens_at_no_cost():
    limits = LanderLimits(time_per_sol=3600.0, rest=3600.0)
    one = booked("A", "alder", 0, 45)
    book = ledger(limits)
    assert said(book, one, booked("B", "broom", 0, 60, transmitter="alder")) == []
    # A further quarter of an hour exhausts the sol.
    book.book(booked("B", "broom", 0, 60, transmitter="alder"))
    assert said(book, booked("C", "alder", 130, 140)) == [("time per sol of heron", 10.0)]


def test_rest_time_and_energy_of_a_sol_are_counted():
    one = booked("A", "alder", 10, 55)
    limits = LanderLimits(rest=3 * 3600.0)
    assert said(ledger(limits), one, booked("B", "broom", 115, 160)) == [("rest of heron", 120.0)]
    limits = LanderLimits(power=60.0, energy_per_sol=60.0 * 3600.0)  # an hour a sol
    found = said(ledger(limits), one, booked("B", "broom", 200, 245))
    assert found == [("energy per sol of heron", pytest.approx(30.0, abs=0.01))]  # 30 min of 60 W
    # A pass across midnight counts on both sols: 20 minutes before, 25 after.
    midnight = SOL / 60.0
    late = booked("B", "broom", midnight - 20, midnight + 25)
    assert said(ledger(limits), one, late) == [
        ("energy per sol of heron", pytest.approx(5.0, abs=0.01))
    ]
    assert said(ledger(limits), one, booked("B", "broom", midnight + 1, midnight + 46)) == []


def by_hand(campaign, rows):
    """Passes as (name, station, antenna, hours after the begin of the campaign, minutes)."""
    names, stations, antennas, hours, minutes = (np.array(c) for c in zip(*rows, strict=True))
    start = campaign.span[0] + TimeDelta(hours * 3600.0, format="sec")
    stop = start + TimeDelta(minutes * 60.0, format="sec")
    return Passes(names, start, stop, stations, np.array(["heron"] * len(rows)), antennas)


def test_each_violation_of_a_schedule_by_hand_is_named(short_campaign, short_periods, short_passes):
    k = int(np.flatnonzero(short_periods.opened_by == "radiation-safety limit of alder")[0])
    begins = (short_periods.start[k] - short_campaign.span[0]).to_value("h")
    early = by_hand(
        short_campaign, [("X", "alder", str(short_periods.antenna[k]), begins - 0.25, 45)]
    )
    found = {v.constraint: v for v in short_campaign.check(early)}
    assert found["radiation-safety limit of alder"].excess == pytest.approx(15.0, abs=0.6)
    assert "deg" in found["radiation-safety limit of alder"].detail
    outside = by_hand(short_campaign, [("Y", "alder", "east", 24 * 80.0, 45)])
    assert {v.constraint for v in short_campaign.check(outside)} == {"span of the campaign"}


@pytest.mark.parametrize(
    ("row", "said"),
    [
        (("X", "aldr", "east", 5.0, 45), "perhaps 'alder'"),
        (("X", "alder", "eastt", 5.0, 45), "perhaps 'east'"),
    ],
)
def test_unknown_names_of_a_schedule_by_hand_are_refused(short_campaign, row, said):
    with pytest.raises(UnknownNameError, match=said):
        short_campaign.check(by_hand(short_campaign, [row]))


def test_a_pass_named_twice_is_refused(short_campaign):
    rows = [("X", "alder", "east", 5.0, 45), ("X", "broom", "east", 55.0, 45)]
    with pytest.raises(InputError, match="twice"):
        short_campaign.check(by_hand(short_campaign, rows))


def test_counts_fill_a_pass_without_gap_or_overlap(short_campaign, short_passes):
    tags = short_passes.tags(short_campaign.rule, short_campaign.frequency)
    first = tags[(tags.pass_id == short_passes.pass_id[0]) & (tags.kind == "range_rate")]
    offset = (first.epoch - short_passes.start[0]).to_value("s")
    np.testing.assert_allclose(offset, 30.0 + 60.0 * np.arange(45), atol=1e-9)
    ranges = tags[(tags.pass_id == short_passes.pass_id[0]) & (tags.kind == "range")]
    np.testing.assert_allclose((ranges.epoch - short_passes.start[0]).to_value("s")[:2], [0, 300])


def test_the_transmitter_of_a_three_way_pass_is_in_its_tags(short_campaign, short_passes):
    sender = np.where(np.arange(len(short_passes)) == 0, "broom", short_passes.station)
    tags = replace(short_passes, transmitter=sender).tags(short_campaign.rule, 7.17e9)
    first = tags.pass_id == short_passes.pass_id[0]
    assert set(tags.transmitter[first]) == {"broom"}
    assert (tags.transmitter[~first] == tags.receiver[~first]).all()


def test_a_pass_longer_than_every_period_is_refused_with_the_longest(short_periods):
    with pytest.raises(InputError, match="longest of"):
        schedule_passes(short_periods, ScheduleRule(passes_per_week=3, pass_length=1e6), ledger())


@pytest.mark.parametrize(
    ("fields", "name"),
    [
        ({"passes_per_week": 0, "pass_length": 2700.0}, "passes_per_week"),
        ({"passes_per_week": 3, "pass_length": -1.0}, "pass_length"),
        ({"passes_per_week": 3, "pass_length": 60.0, "count_time": 90.0}, "count_time"),
        ({"passes_per_week": 3, "pass_length": 2700.0, "prefer": "higest"}, "perhaps 'highest'"),
        ({"passes_per_week": 3, "pass_length": 2700.0, "alternate": ("moon",)}, "alternate"),
        ({"passes_per_week": 3, "pass_length": 2700.0, "handover": (9.0, 3.0)}, "handover"),
    ],
)
def test_a_rule_that_makes_no_sense_is_refused(fields, name):
    with pytest.raises(InputError, match=name):
        ScheduleRule(**fields)
