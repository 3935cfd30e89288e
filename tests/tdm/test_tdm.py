"""CCSDS Tracking Data Message: the standard's own examples, and broken files."""

import contextlib
import gzip
from pathlib import Path

import numpy as np
import pytest
from astropy.time import Time
from hypothesis import given, settings
from hypothesis import strategies as st

from wobble.errors import InputError, UnknownNameError
from wobble.tdm.kvn import kvn_text, read_kvn, read_tdm, write_kvn
from wobble.tdm.message import Segment, TrackingDataMessage

ANNEX = Path(__file__).parents[1] / "data" / "tdm"
SAMPLE = ANNEX / "two_way_range_ramped.kvn"


# CCSDS 503.0-B-2, annex E.


def test_figure_e4_two_way_range_with_a_ramped_uplink():
    message = read_tdm(SAMPLE)
    segment = message.segments[0]
    times, ranges = segment.series("RANGE")
    assert times.isot.tolist() == [
        "2005-07-10T00:31:51.000",
        "2005-07-10T00:34:48.000",
        "2005-07-10T00:37:45.000",
    ]
    assert ranges.tolist() == [39242998.5151986, 61172265.3115234, 15998108.8168328]
    _, sent = segment.series("TRANSMIT_FREQ_1")
    _, rate = segment.series("TRANSMIT_FREQ_RATE_1")
    # The ramps join: 177 s at the stated rate lead to the next frequency.
    np.testing.assert_allclose(np.diff(sent) / 177.0, 0.593000, atol=5e-7)
    assert rate.tolist() == [0.59299, 0.59305, 0.59299]
    assert segment.series("PR_N0")[1].tolist() == [28.52538, 28.39347, 28.16193]
    assert segment.metadata["PARTICIPANT_1"] == "STATION A"
    assert segment.comments == ["Range in range units with a ramped uplink."]
    assert message.carried() == ["PR_N0"]


def test_figure_e6_path_by_way_of_a_relay():
    segment = read_tdm(ANNEX / "four_way_relay.kvn").segments[0]
    assert segment.path() == [1, 2, 3, 2, 1]
    sent, received = (segment.series(k)[1][0] for k in ("TRANSMIT_FREQ_1", "RECEIVE_FREQ"))
    assert received / sent == pytest.approx(240 / 221, rel=1e-14)
    assert segment.series("RANGE")[1].tolist() == [80452.7542]


def test_figure_e9_range_with_time_tags_of_transmission():
    segment = read_tdm(ANNEX / "transmit_tagged_range.kvn").segments[0]
    times, km = segment.series("RANGE")
    seconds = (times - times[0]).to_value("s")
    np.testing.assert_allclose(seconds, [0, 2, 80], atol=1e-10)
    assert (km[1] - km[0]) / 2 == pytest.approx(0.894131, abs=5e-7)
    assert segment.metadata["TIMETAG_REF"] == "TRANSMIT"
    assert float(segment.metadata["RANGE_MODULUS"]) == 1e7


def test_figure_e10_differenced_doppler():
    segment = read_tdm(ANNEX / "differenced_doppler.kvn").segments[0]
    assert (segment.path("PATH_1"), segment.path("PATH_2")) == ([1, 2], [1, 3])
    assert segment.values == ["8.738750457763670"]
    assert float(segment.metadata["RECEIVE_DELAY_2"]) == 7.732e-5


def test_figure_e10_has_a_time_tag_that_is_none(tmp_path):
    # As printed in the standard.
    text = (ANNEX / "differenced_doppler.kvn").read_text()
    bad = text.replace("DATA_STOP", "TRANSMIT_FREQ_1 = 2003-07-08T04:10:0000 7.2E9\nDATA_STOP")
    with pytest.raises(InputError, match="line 19: TRANSMIT_FREQ_1: not a calendar time tag"):
        read(tmp_path, bad)


def test_figure_e18_phase_counts_keep_all_their_digits(tmp_path):
    # 16 and 17 digits are all that a float holds: the text is kept.
    message = read_tdm(ANNEX / "phase_counts.kvn")
    write_kvn(tmp_path / "again.kvn", message)
    assert read_kvn(tmp_path / "again.kvn").segments[0].values == [
        "7175173383.615373",
        "8429753135.986102",
    ]
    assert message.segments[0].times([1]).isot[0] == "2005-07-03T13:59:27.270"


def test_figure_e19_range_with_modulus_and_corrections():
    segment = read_tdm(ANNEX / "modular_range_corrected.kvn").segments[0]
    assert segment.series("RANGE")[1].tolist() == [65249.6771931631]
    assert segment.metadata["RANGE_MODULUS"] == "262144"
    assert segment.metadata["CORRECTIONS_APPLIED"] == "YES"
    assert segment.metadata["TURNAROUND_NUMERATOR"] == "880"


# Reading and writing.


def read(tmp_path: Path, text: str) -> TrackingDataMessage:
    (tmp_path / "file.kvn").write_text(text)
    return read_tdm(tmp_path / "file.kvn")


@pytest.mark.parametrize("path", sorted(ANNEX.iterdir()), ids=lambda path: path.stem)
def test_what_is_written_reads_the_same(tmp_path, path):
    message = read_tdm(path)
    assert read(tmp_path, kvn_text(message)) == message


def test_layout_is_of_no_consequence(tmp_path):
    text = SAMPLE.read_text()
    loose = text.replace(" = ", "=").replace("\n", "  \r\n\r\n").replace("RANGE  ", "\tRANGE ")
    assert read(tmp_path, loose) == read_tdm(SAMPLE)
    (tmp_path / "marked.kvn").write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert read_tdm(tmp_path / "marked.kvn") == read_tdm(SAMPLE)


def test_compressed_files_are_read(tmp_path):
    (tmp_path / "file.kvn.gz").write_bytes(gzip.compress(SAMPLE.read_bytes()))
    assert read_tdm(tmp_path / "file.kvn.gz") == read_tdm(SAMPLE)
    (tmp_path / "cut.kvn.gz").write_bytes(gzip.compress(SAMPLE.read_bytes())[:-20])
    with pytest.raises(InputError, match="cannot be read"):
        read_tdm(tmp_path / "cut.kvn.gz")


@pytest.mark.parametrize(("system", "tt_minus_it"), [("TAI", 32.184), ("TT", 0.0), ("GPS", 51.184)])
def test_time_systems_are_told_apart(tmp_path, system, tt_minus_it):
    # TT - TAI = 32.184 s (IAU); TAI - GPS = 19 s (IS-GPS-200).
    message = read(tmp_path, SAMPLE.read_text().replace("= UTC", f"= {system}"))
    time = message.segments[0].series("RANGE")[0][0]
    stated = Time("2005-07-10T00:31:51", scale="tt")
    assert (time - stated).to_value("s") == pytest.approx(tt_minus_it, abs=1e-9)


def test_leap_seconds_are_there_in_utc_and_nowhere_else(tmp_path):
    leap = SAMPLE.read_text().replace("2005-191T00:37:45", "2005-12-31T23:59:60.5")
    after = leap.replace("2005-191T00:34:48", "2006-001T00:00:00")
    times, _ = read(tmp_path, after).segments[0].series("RANGE")
    # The leap second at the end of 2005 (IERS Bulletin C 30).
    assert (times[1] - times[2]).to_value("s") == pytest.approx(0.5, abs=1e-10)
    with pytest.raises(InputError, match="end of the day"):
        read(tmp_path, leap.replace("= UTC", "= TAI"))


def test_versions_have_their_own_keywords():
    message = read_tdm(SAMPLE)
    message.segments[0].describe("TRACK_ID", "first")
    message.version = "1.0"
    with pytest.raises(InputError, match=r"version 1\.0 of the standard.*TRACK_ID|TRACK_ID.*1\.0"):
        kvn_text(message)


def test_a_message_made_by_hand_is_checked_as_it_is_written(tmp_path):
    message = TrackingDataMessage()
    with pytest.raises(InputError, match="CREATION_DATE"):
        kvn_text(message)
    message.head("CREATION_DATE", "2030-01-01T00:00:00")
    message.head("ORIGINATOR", "me")
    with pytest.raises(InputError, match="no segment"):
        kvn_text(message)
    segment = Segment()
    segment.describe("TIME_SYSTEM", "UTC")
    message.segments.append(segment)
    with pytest.raises(InputError, match="PARTICIPANT_1"):
        kvn_text(message)
    segment.describe("PARTICIPANT_1", "A")
    with pytest.raises(InputError, match="no data"):
        kvn_text(message)
    segment.add("PRESSURE", "2030-01-01T00:00:00", "870.1")
    segment.comments.append("two\nlines")
    with pytest.raises(InputError, match="COMMENT"):
        kvn_text(message)
    segment.comments[0] = "one line"
    assert read(tmp_path, kvn_text(message)) == message
    with pytest.raises(InputError, match="cannot be written"):
        write_kvn(tmp_path / "no such folder" / "file.kvn", message)
    with pytest.raises(InputError, match="PARTICIPANT_2"):
        segment.describe("PARTICIPANT_2", "two\nlines")
    with pytest.raises(InputError, match="RHUMIDITY"):
        segment.add("RHUMIDITY", "2030-01-01T00:00:00", "101")


# Bad input.


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("CCSDS_TDM_VERS = 2.0", "CCSDS_TDM_VERS = 3.0", "line 1: CCSDS_TDM_VERS: unknown version"),
        ("CCSDS_TDM_VERS = 2.0", "CCSDS_OEM_VERS = 2.0", "line 1: not a tracking data message"),
        ("ORIGINATOR     = EXAMPLE\n", "", "line 4: the header lacks a keyword|ORIGINATOR"),
        ("PATH                 = 1,2,1", "PATH = 1,4,1", "PATH: the path names participant 4"),
        ("PATH                 = 1,2,1", "PATH = 1", "line 11: PATH: wrong value"),
        ("PATH                 = 1,2,1\n", "", "PATH: mode SEQUENTIAL needs a path"),
        ("TIME_SYSTEM          = UTC\n", "", "TIME_SYSTEM: the metadata lack"),
        ("TIME_SYSTEM          = UTC", "TIME_SYSTEM = MTC", "line 7: TIME_SYSTEM: wrong value"),
        ("RANGE_UNITS          = RU", "RANGE_UNITS = miles", "line 15: RANGE_UNITS: wrong value"),
        ("RANGE_UNITS          = RU", "RANGE_UNITS =", "line 15: RANGE_UNITS: .*no value"),
        ("RANGE_UNITS          = RU", "RANGE_UNITS", "line 15: not a line of the form"),
        ("RANGE_UNITS", "RANGE_UNIT", "unknown metadata keyword.*RANGE_UNIT.*perhaps"),
        (
            "RANGE_MODE           = COHERENT",
            "RANGE_UNITS = km",
            "line 15: RANGE_UNITS: the keyword is given twice",
        ),
        ("39242998.5151986", "nan", "line 21: RANGE: wrong value; found 'nan'"),
        ("39242998.5151986", "1e999", "line 21: RANGE: wrong value"),
        ("39242998.5151986", "39242998,5", "line 21: RANGE: wrong value"),
        ("39242998.5151986", "", "line 21: not a data record"),
        ("39242998.5151986", "39242998 .5", "line 21: not a data record"),
        ("7180064367.3536", "-7180064367.3536", "line 19: TRANSMIT_FREQ_1: wrong value"),
        ("RANGE                = 2005-191T00:31:51", "RANGE = 2005-400T00:31:51", "line 21: RANGE"),
        ("PR_N0  ", "PR_M0  ", "line 22: unknown data keyword"),
        ("DATA_START\n", "", "the data do not follow the metadata"),
        ("META_STOP\n", "", "line 17: not a line of the form"),
        ("DATA_STOP\n", "", "the file is cut off"),
        ("DATA_STOP\n", "DATA_STOP\nRANGE = 1 2\n", "line 32: not the start of a segment"),
        ("= EXAMPLE", "= EX\x07AMPLE", "line 4: the line has a character"),
    ],
)
def test_broken_files_are_refused_with_line_and_keyword(tmp_path, old, new, words):
    text = SAMPLE.read_text()
    assert old in text
    with pytest.raises(InputError, match=words) as caught:
        read(tmp_path, text.replace(old, new, 1))
    assert caught.value.source == str(tmp_path / "file.kvn")


def test_an_unknown_keyword_is_met_with_the_nearest_known(tmp_path):
    with pytest.raises(UnknownNameError) as caught:
        read(tmp_path, SAMPLE.read_text().replace("PR_N0 ", "PR_N1 "))
    assert caught.value.line == 22
    assert "perhaps 'PR_N0'" in str(caught.value)


def test_a_file_cut_anywhere_is_refused_or_complete(tmp_path):
    content = SAMPLE.read_bytes()
    whole = read_tdm(SAMPLE)
    for cut in range(0, len(content), 3):
        (tmp_path / "cut.kvn").write_bytes(content[:cut])
        if content[:cut].endswith(b"DATA_STOP"):
            assert read_tdm(tmp_path / "cut.kvn") == whole
        else:
            with pytest.raises(InputError):
                read_tdm(tmp_path / "cut.kvn")


def test_a_line_left_out_is_missed_or_was_a_record_or_optional(tmp_path):
    lines = SAMPLE.read_text().splitlines(keepends=True)
    whole = read_tdm(SAMPLE)
    records = len(whole.segments[0].keywords)
    for k, line in enumerate(lines):
        with contextlib.suppress(InputError):
            message = read(tmp_path, "".join(lines[:k] + lines[k + 1 :]))
            segment = message.segments[0]
            lost = records - len(segment.keywords)
            lost += len(whole.segments[0].metadata) - len(segment.metadata)
            lost += line.startswith("COMMENT") + (line == "\n")
            assert lost == 1


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_changed_bytes_never_raise_anything_but_an_input_error(tmp_path_factory, data):
    path = tmp_path_factory.getbasetemp() / "mutant.kvn"
    content = bytearray(SAMPLE.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    path.write_bytes(content)
    with contextlib.suppress(InputError):
        kvn_text(read_tdm(path))
