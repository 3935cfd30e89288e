"""What an inspection says of a file, against what the file says of itself."""

import gzip
from pathlib import Path

import numpy as np
import pytest
from test_tdm_tracking import AGREEMENT, AT, DOPPLER, RANGE, SENT, message

from wobble.errors import InputError
from wobble.files.file_inspection import inspect_file
from wobble.files.measurement_table import write_passes
from wobble.tdm.conversion import tracking
from wobble.tdm.keywords import DATA, METADATA, METADATA_USES, USES
from wobble.tdm.kvn import write_kvn
from wobble.tdm.needs import needs
from wobble.tdm.xml import write_xml

DATA_FOLDER = Path(__file__).parents[1] / "data"
RAMPED = DATA_FOLDER / "tdm" / "two_way_range_ramped.kvn"


def test_a_message_of_the_standard_is_told_as_the_standard_prints_it():
    # CCSDS 503.0-B-2, annex E, figure E-4: three ranges, ramps and signal to noise ratios,
    # 177 s apart, on day 191 of 2005, which is 10 July.
    found = inspect_file(RAMPED)
    assert found.format == "CCSDS Tracking Data Message 2.0"
    assert found.participants == ("STATION A", "SPACECRAFT")
    assert found.ramps == {"STATION A": 3}
    series = {one.kind: one.as_json() for one in found.series}
    assert set(series) == {"TRANSMIT_FREQ_1", "TRANSMIT_FREQ_RATE_1", "RANGE", "PR_N0"}
    assert series["RANGE"] == {
        "kind": "RANGE",
        "path": ["STATION A", "SPACECRAFT", "STATION A"],
        "count": 3,
        "first_utc": "2005-07-10T00:31:51",
        "last_utc": "2005-07-10T00:37:45",
        "step_s": 177.0,
        "gaps_utc": [],
        "in_order": True,
        "repeated_same_value": 0,
        "repeated_other_value": 0,
        "band": None,
    }
    assert series["TRANSMIT_FREQ_1"]["band"] == "X"
    assert found.fates["PR_N0"] == (3, "carried")
    assert found.fates["RANGE"] == (3, "measurement: range")


def test_real_normal_points_are_told_as_their_own_summary_does():
    # The file's header and its table beside it: two stations, six normal points, Nd:YAG lasers.
    found = inspect_file(DATA_FOLDER / "lunar_ranging" / "luna17_201504_sample.npt")
    assert found.participants == ("GRSM", "luna17", "APOL")
    assert [(one.path[0], len(one.values), one.band) for one in found.series] == [
        ("GRSM", 5, "1064 nm"),
        ("APOL", 1, "532 nm"),
    ]
    assert found.fates["11"] == (6, "measurement: range")
    assert found.fates["50"] == (3, "carried")
    assert any("stands out from the median" in text for text in found.warnings)
    assert found.missing == ()


def test_tables_are_inspected_too(tmp_path, short_tracking):
    write_passes(tmp_path / "passes.ecsv", short_tracking)
    packed = tmp_path / "passes.ecsv.gz"
    packed.write_bytes(gzip.compress((tmp_path / "passes.ecsv").read_bytes()))
    found = inspect_file(packed)
    assert sum(len(one.values) for one in found.series) == len(short_tracking)
    assert found.fates["range"][0] == np.sum(short_tracking.kind == "range")
    table = inspect_file(DATA_FOLDER / "lunar_ranging" / "normal_points_2015_04.csv")
    assert sum(len(one.values) for one in table.series) == 75
    with pytest.raises(InputError, match=r"no reader.*\.kvn"):
        inspect_file(tmp_path / "passes.doc")


def test_gaps_order_and_repetitions_are_counted(tmp_path):
    tags = ["00:00", "01:00", "02:00", "03:00", "20:00", "21:00", "01:00", "02:00", "22:00"]
    values = ["1", "2", "3", "4", "5", "6", "2", "99", "7"]
    sample = message(
        [SENT, *(("RANGE", f"2021-03-01T05:{t}", v) for t, v in zip(tags, values, strict=True))],
        **RANGE,
    )
    sample.head("CREATION_DATE", AT)
    sample.head("ORIGINATOR", "EXAMPLE")
    for write, name in ((write_kvn, "a.kvn"), (write_xml, "a.xml")):
        write(tmp_path / name, sample)
        found = inspect_file(tmp_path / name)
        ranges = found.series[1]
        said = ranges.as_json()
        assert said["gaps_utc"] == [["2021-03-01T05:03:00", "2021-03-01T05:20:00"]]
        assert [(b - a).to_value("s") for a, b in ranges.stretches] == pytest.approx([180, 120])
        assert (said["step_s"], said["in_order"]) == (60.0, False)
        assert (said["repeated_same_value"], said["repeated_other_value"]) == (1, 1)
        assert [text.partition(" A: ")[2] for text in found.warnings] == [
            "the time tags are not in order",
            "1 stand twice and are used once",
            "1 contradict another value of the same time tag",
        ]


@pytest.mark.parametrize("path", sorted((DATA_FOLDER / "tdm").iterdir()), ids=lambda p: p.stem)
def test_every_example_of_the_standard_can_be_inspected(path):
    found = inspect_file(path)
    assert found.series
    assert set(found.fates) <= METADATA.keys() | DATA.keys()
    assert not any("time tags are not in order" in text for text in found.warnings)


def test_every_use_belongs_to_a_keyword_of_the_standard():
    assert METADATA.keys() >= METADATA_USES.keys()
    assert DATA.keys() >= USES.keys()


def test_what_is_missing_is_what_the_conversion_asks_for():
    sample = message([SENT, ("RANGE", AT, "1"), ("DOPPLER_INTEGRATED", AT, "1")],
                     RANGE_UNITS="km", INTEGRATION_INTERVAL="60", CORRECTION_RANGE="1",
                     TRANSMIT_DELAY_1="1e-6")  # fmt: skip
    assert {text.partition(":")[0] for text in needs(sample)} == {
        "stations", "landers", "metadata.TIMETAG_REF", "delays", "two_way_range",
        "metadata.CORRECTIONS_APPLIED", "range_sigma", "metadata.INTEGRATION_REF",
        "two_way_doppler", "range_rate_sigma",
    }  # fmt: skip


def test_nothing_is_missing_where_the_conversion_succeeds():
    sample = message([SENT, ("RANGE", AT, "1"), ("DOPPLER_INTEGRATED", AT, "1")],
                     **RANGE | DOPPLER)  # fmt: skip
    assert len(tracking(sample, AGREEMENT)) == 2
    assert needs(sample, AGREEMENT) == []
    assert needs(message([("RANGE", AT, "1")], **RANGE), AGREEMENT) == [
        "file: TRANSMIT_FREQ: no frequency is given that north transmits"
    ]
