"""Text tables of any form, by a description of their columns; and what cannot be read so."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas
import pytest
from astropy.table import Table
from astropy.time import Time

import wobble
from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.measurements.tracking import Tracking

SCENARIO = """
[campaign]
name = "A table of one's own"
body = "mars"

[station.north]
x = "4581691.9 m"
y = "556196.4 m"
z = "4389355.3 m"
epoch = 2030.0

[station.west]
x = "-1463998.9 m"
y = "-5166632.8 m"
z = "3435012.9 m"
epoch = 2030.0

[lander.heron]
axis_distance = "3136.5 km"
longitude = "312.05 deg"
z = "1284.5 km"

[estimate]
parameters = ["lander.heron.x"]

[data]
[[data.table]]
file = "ranges.txt"
kind = "range"
unit = "us"
time = "%Y-%m-%d %H:%M:%S"
frequency = "7.2 GHz"
columns = { station = 1, lander = 2, time = [3, 4], value = 5, sigma = 6 }
stations = { "5" = "north", "6" = "west" }
landers = { "H" = "heron" }
"""
ROWS = """# a comment
5 H 2031-05-01 06:00:00 1000000000.5 .05
5 H 2031-05-01 06:10:00 1000000100.5 .05

6 H 2031-05-01 11:00:00 1000000200.5 .07
5 H 2031-05-01 13:00:00 1000000300.5 .05
"""


def read(folder: Path, rows: str = ROWS, *changes: tuple[str, str]) -> Tracking:
    text = SCENARIO
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "campaign.toml").write_text(text, encoding="utf-8")
    (folder / "ranges.txt").write_text(rows, encoding="utf-8")
    campaign = wobble.read_scenario(folder / "campaign.toml")
    tracking, _ = wobble.read_tracking(campaign.data_files, campaign)
    return tracking


def test_a_table_in_columns_parted_by_blanks_is_read(tmp_path: Path) -> None:
    data = read(tmp_path)
    assert (
        data.receiver.tolist() == data.transmitter.tolist() == ["north", "north", "west", "north"]
    )
    assert set(data.lander) == {"heron"}
    assert data.epoch.isot[2] == "2031-05-01T11:00:00.000"
    # Half of a round trip in microseconds, times the speed of light.
    assert data.value[0] == pytest.approx(0.5 * SPEED_OF_LIGHT * 1000.0000005, rel=1e-15)
    assert data.sigma[2] == pytest.approx(0.5 * SPEED_OF_LIGHT * 7e-8)
    assert set(data.tag) == {"receive"}
    # A gap of three hours parts passes, and two of a day are told apart.
    assert data.pass_id.tolist() == [
        *["north-heron-2031-05-01"] * 2,
        "west-heron-2031-05-01",
        "north-heron-2031-05-01-2",
    ]


@pytest.mark.parametrize(
    ("changes", "rows"),
    [
        (
            [("[[data.table]]", '[[data.table]]\nseparator = "comma"')],
            lambda text: "\n".join(",".join(line.split()) for line in text.splitlines()),
        ),
        (
            [
                (
                    "{ station = 1, lander = 2, time = [3, 4], value = 5, sigma = 6 }",
                    '{ sigma = "1s", station = "site", lander = "to", time = ["day", "time"], '
                    'value = "rtlt" }',
                ),
            ],
            lambda text: "site to day time rtlt 1s\n" + text,
        ),
        (
            [
                ("[[data.table]]", '[[data.table]]\nseparator = "fixed"'),
                (
                    "{ station = 1, lander = 2, time = [3, 4], value = 5, sigma = 6 }",
                    '{ station = "1", lander = "3", time = "5-23", value = "25-36", '
                    'sigma = "38-40" }',
                ),
            ],
            lambda text: text,
        ),
    ],
)
def test_other_forms_of_the_same_table_are_the_same(
    changes: list[tuple[str, str]], rows: Callable[[str], str], tmp_path: Path
) -> None:
    plain = read(tmp_path)
    other = read(tmp_path, rows(ROWS) + "\n", *changes)
    assert other.value.tolist() == plain.value.tolist()
    assert other.epoch.isot.tolist() == plain.epoch.isot.tolist()
    assert other.pass_id.tolist() == plain.pass_id.tolist()


def test_a_station_may_have_another_name_from_a_date_on(tmp_path: Path) -> None:
    by_date = '"5" = [{ is = "north", until = 2031-05-01T12:00:00 }, { is = "west" }]'
    data = read(tmp_path, ROWS, ('"5" = "north"', by_date))
    assert data.receiver.tolist() == ["north", "north", "west", "west"]


@pytest.mark.parametrize(
    ("form", "scale", "text"),
    [
        ("iso", "UTC", "2031-05-01T06:00:00"),
        ("iso", "TAI", "2031-05-01T06:00:37"),
        ("iso", "GPS", "2031-05-01T06:00:18"),
        ("iso", "TT", "2031-05-01T06:01:09.184"),
        ("mjd", "UTC", "62987.25"),
        ("jd", "UTC", "2462987.75"),
        ("%Y:%j:%H:%M:%S", "UTC", "2031:121:06:00:00"),
    ],
)
def test_times_of_any_form_and_scale_are_the_same_instant(
    form: str, scale: str, text: str, tmp_path: Path
) -> None:
    # TAI - UTC = 37 s since 2017 (IERS Bulletin C 52), TT - TAI = 32.184 s, TAI - GPS = 19 s.
    data = read(
        tmp_path,
        f"5 H {text} 1000000000.5 .05\n",
        ("[3, 4], value = 5, sigma = 6", "3, value = 4, sigma = 5"),
        ('"%Y-%m-%d %H:%M:%S"', f'"{form}"\nscale = "{scale}"'),
    )
    expected = Time("2031-05-01T06:00:00", scale="utc")
    assert abs((data.epoch[0] - expected).sec) < 1e-5


def test_a_shift_in_hertz_becomes_the_range_rate_that_makes_it() -> None:
    # Definition of the two-way Doppler shift, first order: M f (-2 v/c).
    turnaround, uplink, speed = 880 / 749, 7.2e9, 12345.0
    shift = -2.0 * speed / SPEED_OF_LIGHT * turnaround * uplink
    table = Table(
        {
            "when": ["2031-05-01T06:00:00", "2031-05-01T06:01:00"],
            "hz": [shift, shift],
            "noise": [0.01, 0.01],
        }
    )
    data = Tracking.from_table(
        table,
        {"time": "when", "value": "hz", "sigma": "noise"},
        kind="range_rate",
        unit="Hz",
        tag="start",
        turnaround=turnaround,
        constants={"station": "north", "lander": "heron", "count_time": 60.0, "frequency": uplink},
    )
    np.testing.assert_allclose(data.value, speed, rtol=1e-12)
    assert data.sigma[0] == pytest.approx(0.01 * speed / abs(shift))
    assert data.epoch.isot[0] == "2031-05-01T06:00:30.000"


def test_a_data_frame_becomes_measurements() -> None:
    frame = pandas.DataFrame(
        {
            "utc": pandas.to_datetime(["2031-05-01 06:00:00", "2031-05-01 06:10:00"]),
            "site": [5, 5],
            "km": [1.5e8, 1.5e8 + 1.0],
            "sd": [0.005, 0.005],
        }
    )
    columns = {"time": "utc", "station": "site", "value": "km", "sigma": "sd"}
    what = {
        "kind": "range",
        "unit": "km",
        "path": "one way",
        "stations": {"5": "north"},
        "constants": {"lander": "heron", "frequency": 7.2e9},
    }
    data = Tracking.from_table(frame, columns, **what)
    assert data.value.tolist() == [1.5e11, 1.5e11 + 1e3]
    assert data.receiver.tolist() == ["north", "north"]
    frame.loc[1, "km"] = np.nan
    with pytest.raises(InputError, match=r"row 1, value \(km\): not a finite number; found 'nan'"):
        Tracking.from_table(frame, columns, **what)
    with pytest.raises(InputError, match=r"unknown column; found 'kilometres'.*km"):
        Tracking.from_table(frame, {**columns, "value": "kilometres"}, **what)


@pytest.mark.parametrize(
    ("rows", "changes", "said"),
    [
        ("", [], ["ranges.txt", "empty"]),
        ("# nothing\n", [], ["ranges.txt", "no row"]),
        (ROWS.replace(".07", "much"), [], ["ranges.txt, line 5", "sigma (column 6)", "'much'"]),
        (ROWS.replace("05-01 11", "13-01 11"), [], ["line 5", "time", "no such time", "2031-13"]),
        (ROWS.replace("1000000200.5", "nan"), [], ["line 5", "value (column 5)", "'nan'"]),
        (ROWS.replace(" .07", ""), [], ["line 5", "a column is not there", "column 6"]),
        (ROWS.replace("1000000200.5", "-5"), [], ["line 5", "value", "cannot be used"]),
        (ROWS, [('unit = "us"', 'unit = "kg"')], ["unit", "another dimension", "time or length"]),
        (ROWS, [('unit = "us"', 'unit = "mus"')], ["unknown unit", "mus"]),
        (ROWS, [('"5" = "north"', '"5" = "south"')], ["no such name", "south", "north"]),
        (
            ROWS,
            [('"5" = "north", ', "")],
            ["line 2", "station (column 1)", "no such name", "'5'", "north"],
        ),
        (ROWS, [("value = 5", "vlaue = 5")], ["vlaue", "value"]),
        (ROWS, [("value = 5", "value = 0")], ["value", "is no column", "from 1"]),
        (ROWS, [('frequency = "7.2 GHz"\n', "")], ["frequency", "a column, or a constant"]),
        (ROWS, [('kind = "range"', 'kind = "rnage"')], ["rnage", "range"]),
        (ROWS, [("value = 5", 'value = "rtlt"')], ["line 2", "head line", "rtlt"]),
        (ROWS, [('"range"\n', '"range"\nscale = "UT1"\n')], ["scale", "UT1"]),
        (ROWS, [('"ranges.txt"', '"absent.txt"')], ["absent.txt", "not found"]),
    ],
)
def test_a_description_that_does_not_fit_is_refused(
    rows: str, changes: list[tuple[str, str]], said: list[str], tmp_path: Path
) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, rows, *changes)
    for text in said:
        assert text in str(caught.value)
