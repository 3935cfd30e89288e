"""The reader of laser ranging normal points."""

import contextlib
import gzip
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wobble.errors import InputError
from wobble.files.crd import read_crd
from wobble.files.measurement_table import read_normal_point_table
from wobble.files.normal_points import calibration_warnings, tracking
from wobble.measurements.tracking import COLUMNS
from wobble.text.time_tags import calendar_text

LUNAR = Path(__file__).parents[1] / "data" / "lunar_ranging"
SAMPLE = LUNAR / "luna17_201504_sample.npt"
TABLE = LUNAR / "normal_points_2015_04.csv"


def test_sample_and_table_hold_the_same_measurements():
    # The table was made from the same files, by other means than this reader.
    points = tracking(read_crd(SAMPLE))
    table = read_normal_point_table(TABLE)
    same = (points.epoch[:, None] - table.epoch[None, :]).to_value("s") == 0.0
    same &= points.lander[:, None] == table.lander[None, :]
    assert same.sum(axis=1).tolist() == [1] * len(points)
    rows = table[same.argmax(axis=1)]
    assert len(points) == 6
    for name in set(COLUMNS) - {"sigma"}:
        np.testing.assert_array_equal(getattr(points, name), getattr(rows, name), err_msg=name)
    np.testing.assert_allclose(points.sigma, rows.sigma, rtol=1e-15)


def test_header_calibrations_and_weather_are_kept():
    sessions = read_crd(SAMPLE)
    assert [(s.station, s.station_id, s.target) for s in sessions] == [
        ("GRSM", 7845, "luna17"),
        ("APOL", 7045, "luna17"),
        ("GRSM", 7845, "luna17"),
    ]
    assert [len(s.points) for s in sessions] == [4, 1, 1]
    assert [c.system_delay for c in sessions[0].calibrations] == pytest.approx(
        [107160.9e-12, 107165.1e-12, 107176.7e-12, 107170.9e-12], rel=1e-12
    )
    assert sessions[0].calibrations[0].used == 326
    assert sessions[1].weather[0].pressure_hpa == 727.0
    assert sessions[1].carried["00"] == 3


def test_the_system_delay_that_stands_out_is_flagged_and_nothing_else():
    sessions = read_crd(SAMPLE)
    warnings = calibration_warnings(sessions)
    assert len(warnings) == 2
    assert all("line 49" in w and "GRSM-luna17-2015-04-07" in w for w in warnings)
    assert "no calibration shots" in warnings[0]
    assert "stands out from the median 107165.1 ps" in warnings[1]
    assert tracking(sessions).meta["warnings"] == warnings
    assert calibration_warnings(sessions[:2]) == []


@pytest.fixture
def text():
    return SAMPLE.read_text()


def read(tmp_path: Path, content: str):
    (tmp_path / "file.npt").write_text(content)
    return read_crd(tmp_path / "file.npt")


def test_version_2_is_read_as_well(tmp_path, text):
    # Version 2.01 adds fields to records H2, H3, C0, 11 and 40, record H5, and "na" for a
    # missing value (ILRS, CRD format 2.01).
    second = (
        text.replace("CRD  1", "CRD  2")
        .replace("h2 GRSM       7845 78  1  4", "h2 GRSM 7845 78 1 4 ILRS\nh5 1 15 041300 abc 1031")
        .replace("h3 luna17          101  101          0 2", "h3 luna17 101 101 na 0 1 3")
        .replace("3 3 0\n", "3 3 0 0 0.0\n")
        .replace("    8.9 0\n", "    8.9 0 12.5\n")
        .replace("000   0.000    0.0 3 3", "na na na 3 3")
    )
    a, b = tracking(read(tmp_path, second)), tracking(read_crd(SAMPLE))
    for name in COLUMNS:
        np.testing.assert_array_equal(getattr(a, name), getattr(b, name), err_msg=name)


def test_compressed_files_are_read(tmp_path):
    (tmp_path / "file.npt.gz").write_bytes(gzip.compress(SAMPLE.read_bytes()))
    assert len(read_crd(tmp_path / "file.npt.gz")) == 3


def test_seconds_of_day_roll_over_at_midnight(tmp_path, text):
    late = text.replace("11 27135.0886", "11 00135.0886").replace("11 33140.1307", "11 01140.1307")
    late = late.replace("11 22699.3782", "11 86399.3782")
    times = calendar_text(tracking(read(tmp_path, late)).epoch)
    assert [t[:16] for t in times[:4]] == [
        "2015-04-13T05:29",
        "2015-04-13T23:59",
        "2015-04-14T00:02",
        "2015-04-14T00:19",
    ]


def test_weather_is_the_nearest_in_time_also_across_midnight(tmp_path, text):
    # The point of 23:34 has one reading before and, after midnight, a nearer one.
    changed = text.replace(
        "20 84581.              883.48 274.9   60 0",
        "20 80000.              883.48 274.9   60 0\n20 00060. 870.00 270.0 50 0",
    )
    assert tracking(read(tmp_path, changed)).pressure_hpa[-1] == 870.0
    # A point of 00:00:40 is nearer to the reading of the evening before than to that of 02:00.
    changed = (
        text.replace(
            "20 84581.              883.48", "20 86000. 870.00 270.0 50 0\n20 7200. 883.48"
        )
        .replace("11 84840.4189", "11 00040.4189")
        .replace("h4  1 2015  4  7 23 28 25", "h4  1 2015  4  8  0  0 10")
    )
    assert tracking(read(tmp_path, changed)).pressure_hpa[-1] == 870.0


def test_epochs_of_events_that_are_not_understood_are_refused(tmp_path, text):
    bounce = text.replace("2.447348096476 me09 2", "2.447348096476 me09 1")
    with pytest.raises(InputError, match=r"line 12: epoch event.*found 1"):
        tracking(read(tmp_path, bounce))
    received = text.replace("2.447348096476 me09 2", "2.447348096476 me09 0")
    assert tracking(read(tmp_path, received)).tag.tolist() == ["receive"] + ["transmit"] * 5


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("0 0 0 0 1 0 2 0\nc0 0    1064", "0 1 0 0 1 0 2 0\nc0 0    1064", "troposphere"),
        ("0 0 0 0 1 0 2 0\nc0 0    1064", "0 0 1 0 1 0 2 0\nc0 0    1064", "centre-of-mass"),
        ("0 0 0 0 1 0 2 0\nc0 0    1064", "0 0 0 0 0 0 2 0\nc0 0    1064", "system delay flag"),
        ("0 0 0 0 1 0 2 0\nc0 0    1064", "0 0 0 0 1 0 1 0\nc0 0    1064", "range type"),
        ("h4  1 2015  4 13", "h4  0 2015  4 13", "data type"),
        ("78  1  4", "78  1  1", "epoch time scale"),
        ("447348096476 me09", "447348096476 me08", "system configuration"),
        ("660.8    59     145.7", "660.8     0     145.7", "scatter"),
        ("660.8    59     145.7", "660.8    59      -1.0", "scatter"),
    ],
)
def test_sessions_that_mean_something_else_are_read_but_not_converted(
    tmp_path, text, old, new, words
):
    sessions = read(tmp_path, text.replace(old, new, 1))
    with pytest.raises(InputError, match=words) as caught:
        tracking(sessions)
    assert caught.value.line is not None


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("CRD  1", "XYZ  1", r"line 1: format name"),
        ("CRD  1", "CRD  3", r"line 1: unknown format version"),
        ("2.447348096476", "nan", r"line 12: time of flight: not a finite"),
        ("2.447348096476", "-2.447", r"line 12: not a time of flight"),
        ("19773.160620429800", "99773.1", r"line 12: seconds of day"),
        ("19773.160620429800", "86400.1", r"line 12: seconds of day"),
        ("884.57 282.14", "-1 282.14", r"line 11: pressure_hpa"),
        ("h4  1 2015  4 13", "h4  1 2015 13 13", r"line 4: start of the session: no such date"),
        ("h4  1 2015", "h4  1 1066", r"line 4: start of the session: the year"),
        ("c0 0    1064.2", "c0 0    1.0642", r"line 5: wavelength"),
        ("h2 GRSM       7845", "h2 GRSM       grasse", r"line 2: station number"),
        ("H8\nh1", "h1", r"has no end \(H8\)"),
        ("60 me09 8 1", "77 me09 8 1", r"line 9: unknown record"),
        ("60 me09 8 1", "11 1 2", r"line 9: record 11 is too short"),
        ("h8\n", "h8\nh9\n", "after the end of the file"),
    ],
)
def test_broken_files_are_refused_with_line_and_field(tmp_path, text, old, new, words):
    with pytest.raises(InputError, match=words) as caught:
        read(tmp_path, text.replace(old, new, 1))
    assert caught.value.source == str(tmp_path / "file.npt")


def test_a_file_cut_off_anywhere_within_a_session_is_refused(tmp_path, text):
    for cut in range(0, len(text) - 2, 7):
        if not text[:cut].strip().upper().endswith("H8"):
            with pytest.raises(InputError):
                read(tmp_path, text[:cut])


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_changed_bytes_never_raise_anything_but_an_input_error(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "mutant.npt"
    content = bytearray(SAMPLE.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(content)
    with contextlib.suppress(InputError):
        tracking(read_crd(path))
