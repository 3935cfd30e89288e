"""What a scenario says of a plan: calendars, masks, gain tables, limits of landers, three-way."""

import re

import numpy as np
import pytest
from astropy.time import Time

import wobble
from wobble.errors import InputError

HOUR = 3600.0


@pytest.fixture
def scenario(short_text, tmp_path):
    """Reads the shortened demonstration with a text replaced and more at its end."""

    def read(*changes, more=""):
        text = short_text
        for pattern, replacement in changes:
            text, count = re.subn(pattern, lambda _, r=replacement: r, text, count=1)
            assert count == 1
        path = tmp_path / "campaign.toml"
        path.write_text(text + more, encoding="utf-8")
        return wobble.read_scenario(path)

    return read


def hours_open(calendar, day):
    """Open hours of a day of May 2031, as (begin, end) within it."""
    start = Time(f"2031-05-{day:02d}")
    intervals = calendar.open_intervals(start, 86_400.0)
    inside = intervals[(intervals[:, 1] > 0) & (intervals[:, 0] < 86_400.0)]
    return [(max(a, 0.0) / HOUR, min(b, 86_400.0) / HOUR) for a, b in inside]


def test_a_calendar_of_weekly_hours_dates_and_hours_taken(scenario):
    campaign = scenario(
        more="""
[calendar.alder]
weekly = ["Mon-Fri 06:00-18:00", "Sat 22:00-04:00"]
available = ["2031-05-04T10:00/2031-05-04T12:00"]
taken = ["2031-05-05T08:00/2031-05-05T09:30", "2031-05-06T17:00/2031-05-07T07:00"]
setup = "20 min"
"""
    )
    calendar = campaign.stations[0].calendar
    # 1 May 2031 is a Thursday (the ISO calendar).
    assert Time("2031-05-01").to_datetime().isoweekday() == 4
    assert hours_open(calendar, 1) == [(6, 18)]
    assert hours_open(calendar, 3) == [(22, 24)]
    assert hours_open(calendar, 4) == [(0, 4), (10, 12)]
    assert hours_open(calendar, 5) == [(6, 8), (9.5, 18)]
    assert hours_open(calendar, 6) == [(6, 17)]
    assert hours_open(calendar, 7) == [(7, 18)]
    assert calendar.setup == 1200.0
    assert campaign.stations[1].calendar.open_intervals(Time("2031-05-01"), 1.0)[0, 0] < -1e9


def test_weekly_hours_do_not_drift_over_a_leap_second(scenario):
    # A leap second ended 2016.
    campaign = scenario(more='\n[calendar.alder]\nweekly = ["daily 06:00-07:00"]\n')
    intervals = campaign.stations[0].calendar.open_intervals(Time("2016-12-28"), 7 * 86_400.0)
    days = intervals[(intervals[:, 0] > 0) & (intervals[:, 0] < 7 * 86_400.0), 0]
    np.testing.assert_allclose(
        days - 6 * HOUR - 86_400.0 * np.arange(7), [0, 0, 0, 0, 1, 1, 1], atol=1e-4
    )


def test_a_mask_from_a_file_serves_station_and_lander(scenario, tmp_path):
    text = (
        "# %ECSV 1.0\n# ---\n# datatype:\n# - {name: azimuth, unit: deg, datatype: float64}\n"
        "# - {name: elevation, unit: deg, datatype: float64}\nazimuth elevation\n"
        "0 5\n90 12\n180 7\n"
    )
    (tmp_path / "hills.ecsv").write_text(text, encoding="utf-8")
    campaign = scenario(
        ('minimum_elevation = "10 deg"', 'minimum_elevation = "3 deg"\nmask_file = "hills.ecsv"')
    )
    at = np.degrees(campaign.landers[0].mask.at(np.radians([0.0, 45.0, 135.0, 270.0])))
    np.testing.assert_allclose(at, [5.0, 8.5, 9.5, 6.0])
    (tmp_path / "hills.ecsv").write_text(text.replace("unit: deg", "unit: km"), encoding="utf-8")
    with pytest.raises(InputError, match=r"hills.ecsv: azimuth: is no column of angles"):
        scenario(('minimum_elevation = "10 deg"', 'mask_file = "hills.ecsv"'))


def test_an_antenna_with_a_gain_table_needs_no_half_width(scenario):
    campaign = scenario(
        (
            'half_width = "25 deg"',
            'gain_angle = ["0 deg", "20 deg", "60 deg"]\n'
            "gain_db = [15, 12.0, 0]\nleast_gain_db = 9",
        )
    )
    east, west = campaign.landers[0].antennas
    assert east.pattern is not None
    assert east.pattern.at(np.radians([0.0, 10.0, 30.0])) == pytest.approx([15.0, 13.5, 9.0])
    assert west.pattern is None
    assert "gain above 9 dB" in repr(campaign.landers[0])


def test_limits_of_a_lander(scenario):
    campaign = scenario(
        more="""
[lander.heron.limits]
time_per_sol = "60 min"
power = "60 W"
energy_per_sol = "50 W h"
local_times = ["08:00-17:30", "23:00-01:00"]
rest = "12 h"
"""
    )
    limits = campaign.landers[0].limits
    assert limits.time_per_sol == 3600.0
    assert limits.energy_per_sol == 180_000.0
    assert limits.rest == 12 * HOUR
    margin = limits.local_time_margin(np.array([7.0, 8.0, 12.0, 17.5, 20.0, 23.5, 0.5, 1.5]))
    assert margin == pytest.approx([-1.0, 0.0, 4.0, 0.0, -2.5, 0.5, 0.5, -0.5])


def test_choices_of_the_schedule_and_three_way_pairs(scenario):
    campaign = scenario(
        (
            'sun_limit = "5 deg"',
            'sun_limit = "5 deg"\nsun_probe_limit = "2 deg"\nthree_way = [["alder", "broom"]]\n'
            'prefer = "hour_angle"\nalternate = ["station"]\nhandover = ["5 min", "15 min"]',
        )
    )
    assert campaign.view_limits.three_way == (("alder", "broom"),)
    assert np.degrees(campaign.view_limits.sun_probe_earth) == pytest.approx(2.0)
    assert campaign.rule.prefer == "hour_angle"
    assert campaign.rule.alternate == ("station",)
    assert campaign.rule.handover == (300.0, 900.0)


FAULTS = {
    "an unknown station": ("", '\n[calendar.aldr]\nsetup = "1 min"\n', "perhaps 'alder'"),
    "a day that is none": ("", '\n[calendar.alder]\nweekly = ["Mun 1:00-2:00"]\n', "Mun"),
    "hours that are none": ("", '\n[calendar.alder]\nweekly = ["Mon 24:30-2:00"]\n', "24:30"),
    "a date that is none": ("", '\n[calendar.alder]\ntaken = ["2031-13-01/2031-12-01"]\n', "taken"),
    "an interval backwards": (
        "", '\n[calendar.alder]\ntaken = ["2031-05-02/2031-05-01"]\n', "before it begins"
    ),
    "local hours that are none": (
        "", '\n[lander.heron.limits]\nlocal_times = ["8-17"]\n', "local_times"
    ),
    "energy without power": (
        "", '\n[lander.heron.limits]\nenergy_per_sol = "50 W h"\n', "power"
    ),
    "no pair": ('three_way = [["alder"]]', "", "no pair of stations"),
    "a pair of one": ('three_way = [["alder", "alder"]]', "", "no pair of stations"),
    "an unknown receiver": ('three_way = [["alder", "brom"]]', "", "perhaps 'broom'"),
    "an unknown preference": ('prefer = "higest"', "", "perhaps 'highest'"),
    "a handover of one number": ('handover = ["5 min"]', "", "no pair"),
}  # fmt: skip


@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_is_refused_with_file_and_line(scenario, fault):
    key, more, said = FAULTS[fault]
    changes = [('sun_limit = "5 deg"', f'sun_limit = "5 deg"\n{key}')] if key else []
    with pytest.raises(InputError, match=said) as refused:
        scenario(*changes, more=more)
    assert refused.value.source.endswith("campaign.toml")
    assert refused.value.line is not None


@pytest.mark.parametrize(
    ("angles", "gains", "said"),
    [
        ('["0 deg", "5 deg"]', "[3, 2, 1]", "as many gains"),
        ('["1 deg", "5 deg"]', "[30, 2]", "begin at 0"),
        ('["0 deg", "5 deg"]', "[3, 2]", "in no direction"),
        ('["0 deg", "5 deg"]', '["3 dB", 2]', "is not a number"),
    ],
)
def test_a_gain_table_that_makes_no_sense_is_refused(scenario, angles, gains, said):
    table = f"gain_angle = {angles}\ngain_db = {gains}\nleast_gain_db = 9"
    with pytest.raises(InputError, match=said):
        scenario(('half_width = "25 deg"', table))
