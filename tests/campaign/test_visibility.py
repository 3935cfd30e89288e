"""View periods against an independent program library and against dense sampling."""

from dataclasses import replace

import numpy as np
import pytest
from astropy.time import Time, TimeDelta

from wobble.campaign.conditions import ViewLimits, sights_of
from wobble.campaign.visibility import find_view_periods
from wobble.earth.station_calendar import StationCalendar
from wobble.earth.stations import HorizonMask
from wobble.errors import InputError, UnknownNameError
from wobble.planet.gain_table import GainTable
from wobble.planet.lander import Antenna
from wobble.planet.lander_limits import LanderLimits

HOUR = 3600.0


def with_landers(network, **changes):
    """The network with changed landers."""
    landers = {name: replace(lander, **changes) for name, lander in network.landers.items()}
    return replace(network, landers=landers)


def with_stations(network, **changes):
    """The network with changed stations."""
    ends = {
        name: replace(end, station=replace(end.station, **changes))
        for name, end in network.stations.items()
    }
    return replace(network, stations=ends)


def only(network, *names):
    """The network with some of its stations."""
    return replace(network, stations={name: network.stations[name] for name in names})


@pytest.fixture(scope="module")
def week(short_campaign):
    """A week of the shortened demonstration."""
    start = short_campaign.span[0]
    return start, start + TimeDelta(7.0, format="jd")


@pytest.fixture(scope="module")
def days(short_campaign):
    """Two days, for dense sampling."""
    start = short_campaign.span[0] + TimeDelta(0.3, format="jd")
    return start, start + TimeDelta(2.0, format="jd")


def dense(network, limits, start, seconds):
    """Whether all conditions hold at instants, for each combination by its names."""
    groups = sights_of(network, limits, start, float(seconds[-1]))
    held = {}
    for group in groups:
        geometry = group[0].geometry(seconds)
        for sight in group:
            key = (
                sight.transmitter.station.name,
                sight.receiver.station.name,
                sight.antenna.name if sight.antenna else "",
            )
            held[key] = (sight.margins(seconds, geometry) >= 0).all(axis=1)
    return held


def assert_as_sampled(network, limits, start, stop, step=10.0):
    """The periods are those of dense sampling; their ends lie between the right samples."""
    seconds = np.arange(0.0, (stop - start).to_value("s") + step / 2, step)
    periods = find_view_periods(network, start, stop, limits=limits)
    for key, held in dense(network, limits, start, seconds).items():
        rows = (
            (periods.transmitter == key[0]) & (periods.station == key[1])
            & (periods.antenna == key[2])
        )  # fmt: skip
        begin = np.asarray((periods.start[rows] - start).to_value("s"))
        end = np.asarray((periods.stop[rows] - start).to_value("s"))
        inside = ((seconds[:, None] >= begin) & (seconds[:, None] <= end)).any(axis=1)
        # Half a second: what a sample on an edge may be taken for.
        edge = (np.abs(seconds[:, None] - np.append(begin, end)) < 0.5).any(axis=1)
        np.testing.assert_array_equal(inside[~edge], held[~edge])
    return periods


def test_every_condition_holds_inside_and_one_fails_outside(short_campaign, days):
    periods = assert_as_sampled(short_campaign.plan_network, short_campaign.view_limits, *days)
    assert len(periods) > 4


def test_periods_are_ordered_and_say_what_opens_and_closes_them(short_periods):
    assert (np.diff((short_periods.start - short_periods.start[0]).to_value("s")) >= 0).all()
    assert (short_periods.duration > 0).all()
    reasons = {*short_periods.opened_by.tolist(), *short_periods.closed_by.tolist()}
    assert "radiation-safety limit of alder" in reasons
    assert "horizon of alder, receiving" in reasons
    assert "beam of east" in reasons


def test_at_its_ends_a_period_has_the_limit_that_is_named(short_campaign, short_periods):
    opened = short_periods.opened_by == "radiation-safety limit of alder"
    degrees = np.degrees(short_periods.geometry.transmit_elevation[opened, 0])
    # 0.05 s is 0.0002 degrees.
    np.testing.assert_allclose(degrees, 10.0, atol=3e-4)
    closed = short_periods.closed_by == "horizon of alder, receiving"
    degrees = np.degrees(short_periods.geometry.receive_elevation[closed, 2])
    np.testing.assert_allclose(degrees, 8.0, atol=3e-4)
    assert opened.sum() > 5
    assert closed.sum() > 5


def test_the_result_says_that_the_earth_orientation_was_continued(short_periods):
    assert "continued by rule" in short_periods.notes[0]
    assert "UT1" in short_periods.notes[0]


def test_a_sun_limit_removes_periods(short_campaign, week):
    start, stop = week
    network = only(short_campaign.plan_network, "alder")
    short_periods = find_view_periods(network, start, stop)
    limit = float(np.median(short_periods.sun_angle))
    fewer = find_view_periods(network, start, stop, limits=ViewLimits(sun_earth_probe=limit))
    assert 0 < len(fewer) < len(short_periods)
    assert (fewer.geometry.sun_angle >= limit - 1e-6).all()
    angles = short_periods.geometry.sun_probe_angle
    limit = float(np.median(angles))
    fewer = find_view_periods(network, start, stop, limits=ViewLimits(sun_probe_earth=limit))
    assert 0 < len(fewer) < len(short_periods)
    assert (fewer.geometry.sun_probe_angle >= limit - 1e-6).all()


def test_the_angles_of_the_triangle_make_half_a_turn(short_periods):
    # Sun, Earth and planet: the third angle, at the Sun, from the law of sines.
    geometry = short_periods.geometry
    at_sun = np.pi - geometry.sun_angle - geometry.sun_probe_angle
    earth_to_sun = geometry.distance * np.sin(geometry.sun_probe_angle) / np.sin(at_sun)
    # The Earth's distance from the Sun lies between 0.983 and 1.017 au.
    assert ((earth_to_sun > 0.98 * 149.6e9) & (earth_to_sun < 1.02 * 149.6e9)).all()


def test_a_lander_without_antennas_is_seen_whenever_the_earth_is_up(short_campaign, short_periods):
    network = with_landers(short_campaign.plan_network, antennas=(), minimum_elevation=0.0)
    periods = find_view_periods(network, *short_campaign.span)
    assert set(periods.antenna) == {""}
    assert periods.duration.sum() > short_periods.duration.sum()


def test_a_lander_at_the_pole_never_sets_or_never_rises(short_campaign, week):
    network = only(short_campaign.plan_network, "alder")
    declination = earth_declination(network, week[0])
    up = np.array([0.0, 0.0, np.sign(declination) * network.body.polar_radius])
    risen = with_landers(network, antennas=(), minimum_elevation=0.0, position=up)
    periods = find_view_periods(risen, *week)
    ends = {*periods.opened_by.tolist(), *periods.closed_by.tolist()}
    assert ends <= {"radiation-safety limit of alder", "horizon of alder, receiving", "span"}
    # Seven days of the station, whatever the lander's: no period ends for the planet's turn.
    assert len(periods) in (7, 8)
    # At the pole the Earth's elevation is its declination: the definition.
    elevation = periods.geometry.lander_elevation
    np.testing.assert_allclose(elevation, abs(declination), atol=np.radians(2.0))
    set_ = with_landers(network, antennas=(), minimum_elevation=0.0, position=-up)
    nothing = find_view_periods(set_, *week)
    assert len(nothing) == 0
    assert "without the condition 'lander horizon'" in nothing.condition_hours.last_removed_by()


def earth_declination(network, time):
    """Of the Earth over the planet's equator, rad, without light time."""
    lander = next(iter(network.landers))
    end = network.lander(lander)
    (group,) = sights_of(network, ViewLimits(), time, 1.0)
    epochs = group[0].clock.epochs(np.zeros(1))
    toward = network.ephemeris.position("earth", epochs) - end.center(epochs)
    local = network.body.orientation.body_fixed(toward, epochs)[0]
    return float(np.arcsin(local[2] / np.linalg.norm(local)))


def test_notches_of_a_mask_are_found_however_narrow(short_campaign, days):
    # Walls of half a degree (two minutes of the sky) and gaps as narrow between samples of
    # ten minutes; the reference is sampled every ten seconds.
    azimuth = np.radians(np.arange(0.0, 360.0, 0.25))
    wall = np.radians(np.where(np.arange(azimuth.size) % 24 < 2, 89.0, 5.0))
    network = only(short_campaign.plan_network, "alder")
    masked = with_stations(network, mask=HorizonMask(azimuth, wall))
    bare = with_landers(masked, antennas=(), minimum_elevation=0.0)
    periods = assert_as_sampled(bare, ViewLimits(), *days)
    assert (periods.duration < 600.0).sum() > 5
    assert "horizon of alder, receiving" in periods.closed_by
    assert "horizon of alder, transmitting" in periods.opened_by


def test_terrain_around_the_lander_cuts_the_view(short_campaign, days):
    network = with_landers(
        only(short_campaign.plan_network, "broom"),
        antennas=(),
        minimum_elevation=np.radians(5.0),
        mask=HorizonMask(np.radians([60.0, 75.0, 270.0]), np.radians([2.0, 40.0, 10.0])),
    )
    periods = assert_as_sampled(network, ViewLimits(), *days)
    assert "horizon of heron" in periods.opened_by


def test_a_grazing_period_shorter_than_the_sampling_is_found(short_campaign, days):
    # A limit just below the highest elevation of a day leaves a minute or two about it.
    network = with_landers(
        only(short_campaign.plan_network, "alder"), antennas=(), minimum_elevation=-np.pi / 2
    )
    start, stop = days
    seconds = np.arange(0.0, (stop - start).to_value("s"), 5.0)
    (group,) = sights_of(network, ViewLimits(), start, float(seconds[-1]))
    highest = group[0].geometry(seconds).transmit_elevation.reshape(-1)
    limit = float(highest.max()) - np.radians(0.0005)
    grazed = with_stations(network, transmit_elevation=limit)
    periods = assert_as_sampled(grazed, ViewLimits(), start, stop, step=5.0)
    assert len(periods) >= 1
    assert (periods.duration < 300.0).all()


def test_the_beam_of_a_gain_table_is_where_the_gain_suffices(short_campaign, week):
    network = only(short_campaign.plan_network, "broom")
    table = GainTable(np.radians([0.0, 20.0, 40.0, 60.0]), np.array([15.0, 12.0, 4.0, -5.0]), 8.0)
    # The table has 8 dB at 30 degrees: by hand.
    towards = {"azimuth": np.radians(90.0), "elevation": np.radians(35.0)}
    shaped = with_landers(network, antennas=(Antenna("east", **towards, pattern=table),))
    cone = with_landers(
        network, antennas=(Antenna("east", **towards, half_width=np.radians(30.0)),)
    )
    one, other = (find_view_periods(n, *week) for n in (shaped, cone))
    assert len(one) == len(other) > 3
    assert np.abs((one.stop - other.stop).to_value("s")).max() < 0.2
    assert "beam of east" in one.closed_by


def test_three_way_periods_need_both_stations(short_campaign, days):
    network = with_landers(
        only(short_campaign.plan_network, "alder", "broom"), antennas=(), minimum_elevation=0.0
    )
    periods = assert_as_sampled(network, ViewLimits(three_way=(("broom", "alder"),)), *days)
    rows = periods.transmitter != periods.station
    assert rows.any()
    assert set(periods.transmitter[rows]) == {"broom"}
    assert set(periods.station[rows]) == {"alder"}
    assert "radiation-safety limit of broom" in {
        *periods.opened_by[rows].tolist(),
        *periods.closed_by[rows].tolist(),
    }
    with pytest.raises(UnknownNameError, match="perhaps 'alder'"):
        find_view_periods(network, *days, limits=ViewLimits(three_way=(("broom", "aldr"),)))


def test_windows_straddle_the_light_time(short_campaign, week):
    # A calendar open for 12 minutes, less than the round trip, holds neither for both ends of
    # a two-way link of one station; open for an hour it leaves the hour less the round trip.
    network = with_landers(
        only(short_campaign.plan_network, "alder"), antennas=(), minimum_elevation=-np.pi / 2
    )
    network = with_stations(network, transmit_elevation=-np.pi / 2, mask=HorizonMask.flat(-1.5))
    start, stop = week

    def within(minutes):
        open_ = (
            start + TimeDelta(3.0, format="jd"),
            start + TimeDelta(3.0 + minutes / 1440.0, format="jd"),
        )
        calendar = StationCalendar(available=(open_,))
        return find_view_periods(with_stations(network, calendar=calendar), start, stop), open_

    round_trip = 2 * 0.57 * 499.0  # au times light time of the au, s
    periods, _ = within(round_trip / 60.0 - 2.0)
    assert len(periods) == 0
    assert "'transmitter's calendar'" in periods.condition_hours.last_removed_by().replace('"', "'")
    periods, (opens, closes) = within(60.0)
    assert len(periods) == 1
    actual = periods.geometry.round_trip[0, 0]
    assert (periods.start[0] - opens).to_value("s") == pytest.approx(actual, abs=0.1)
    assert (closes - periods.stop[0]).to_value("s") == pytest.approx(0.0, abs=0.1)
    assert periods.opened_by[0] == "calendar of alder, transmitting"
    assert periods.closed_by[0] == "calendar of alder, receiving"


def test_calendars_and_local_times_open_and_close_windows(short_campaign, days):
    start = days[0]
    taken = (start + TimeDelta(0.80, format="jd"), start + TimeDelta(0.81, format="jd"))
    calendar = StationCalendar(weekly=((0.0, 130 * HOUR),), taken=(taken,))
    network = with_stations(only(short_campaign.plan_network, "broom"), calendar=calendar)
    network = with_landers(
        network, antennas=(), limits=LanderLimits(local_times=((8.0, 11.5), (22.0, 3.0)))
    )
    periods = assert_as_sampled(network, ViewLimits(), *days)
    hours = periods.geometry.local_time[:, 1]
    assert (((hours > 8.0) & (hours < 11.5)) | (hours > 22.0) | (hours < 3.0)).all()
    assert "local time of heron" in periods.opened_by
    reasons = {*periods.opened_by.tolist(), *periods.closed_by.tolist()}
    assert any(reason.startswith("calendar of broom") for reason in reasons)


def test_two_conditions_that_exclude_each_other_are_named(short_campaign, week):
    # No lander time and no station time: neither alone is the cause.
    network = only(short_campaign.plan_network, "broom")
    network = with_landers(network, limits=LanderLimits(local_times=((12.0, 12.001),)))
    never = Time("2020-01-01", scale="utc")
    closed = StationCalendar(available=((never, never + TimeDelta(1.0, format="jd")),))
    periods = find_view_periods(with_stations(network, calendar=closed), *week)
    said = periods.condition_hours.last_removed_by()
    assert "no single condition" in said
    assert "local time" in said


def test_the_table_has_the_geometry_three_times(short_periods):
    table = short_periods.table()
    for moment in ("start", "middle", "stop"):
        for column in ("elevation", "azimuth", "lander_elevation", "sun_earth_probe"):
            assert table[f"{column}_{moment}"].unit == "deg"
        assert table[f"distance_{moment}"].unit == "au"
    assert len(table) == len(short_periods)


def test_an_empty_span_is_refused(short_campaign):
    start, stop = short_campaign.span
    with pytest.raises(InputError, match="ends before it begins"):
        find_view_periods(short_campaign.plan_network, stop, start)
