"""One-way data of a lander's own oscillator in tracking data messages."""

from dataclasses import replace

import mpmath
import numpy as np
import pytest
from astropy.time import Time, TimeDelta
from ccsds_ndm.mapping import NDMFileFormats
from ccsds_ndm.ndm_io import NdmIo

from wobble.errors import InputError
from wobble.files.file_inspection import inspect_file
from wobble.measurements.tracking import COLUMNS, Tracking
from wobble.tdm.agreement import Agreement
from wobble.tdm.conversion import tracking
from wobble.tdm.kvn import kvn_text, read_tdm
from wobble.tdm.message import Segment, TrackingDataMessage
from wobble.tdm.needs import needs
from wobble.tdm.notes import overlaps
from wobble.tdm.writing import message_from
from wobble.tdm.xml import xml_text

C = 299792458
AGREEMENT = Agreement(
    stations={"A": "north", "B": "east"},
    landers={"L": "rover"},
    one_way_range_rate_sigma=1e-4,
)
AT = "2021-03-01T05:00:00"
NOMINAL = 8437500000.125
SENT = ("TRANSMIT_FREQ_1", AT, "8437500000.125")
COUNTED = {"TIMETAG_REF": "RECEIVE", "INTEGRATION_INTERVAL": "60", "INTEGRATION_REF": "MIDDLE"}


def message(records: list[tuple[str, str, str]], **metadata: str) -> TrackingDataMessage:
    """One segment from lander L to station A."""
    given = {
        "TIME_SYSTEM": "UTC", "PARTICIPANT_1": "L", "PARTICIPANT_2": "A",
        "MODE": "SEQUENTIAL", "PATH": "1,2", **COUNTED, **metadata,
    }  # fmt: skip
    segment = Segment(source="file")
    for keyword, value in given.items():
        if value:
            segment.describe(keyword, value)
    for record in records:
        segment.add(*record)
    return TrackingDataMessage(segments=[segment], source="file")


def exact_rate(sent: str, received: str) -> float:
    """c (1 - f_R / f_T) with 40 digits: the Doppler of one leg, by its definition."""
    with mpmath.workdps(40):
        return float(C * (1 - mpmath.mpf(received) / mpmath.mpf(sent)))


def test_the_standards_example_of_one_way_data_recedes_from_the_station():
    # CCSDS 503.0-B, annex, the example of one-way data; frequencies from memory. There the
    # station is participant 1 and the path 2,1: the numbers of participants mean nothing.
    sent = "32023442781.733"
    received = ["32021034790.7265", "32021034828.8432", "32021034866.9449"]
    records = [("TRANSMIT_FREQ_2", "2005-159T17:41:00", sent)]
    records += [("RECEIVE_FREQ_1", f"2005-159T17:41:0{k}", f) for k, f in enumerate(received)]
    sample = message(
        records, PARTICIPANT_1="A", PARTICIPANT_2="L", PATH="2,1", FREQ_OFFSET="0.0",
        INTEGRATION_INTERVAL="1.0", DATA_QUALITY="DEGRADED",
    )  # fmt: skip
    found = tracking(sample, AGREEMENT)
    expected = [exact_rate(sent, f) for f in received]
    np.testing.assert_allclose(found.value, expected, rtol=1e-15)
    assert 22542 < found.value.min() < found.value.max() < 22543
    assert set(found.kind) == {"one_way_range_rate"}
    assert (found.transmitter[0], found.receiver[0], found.lander[0]) == ("north", "north", "rover")
    assert found.frequency.tolist() == [float(sent)] * 3
    assert (found.count_time[0], found.tag[0], found.sigma[0]) == (1.0, "receive", 1e-4)
    assert any("DEGRADED" in text for text in found.meta["warnings"])


@pytest.mark.parametrize("keyword", ["RECEIVE_FREQ", "RECEIVE_FREQ_2"])
@pytest.mark.parametrize("offset", ["", "8437500000.0", "8437600000"])
def test_received_frequency_becomes_a_range_rate_with_all_its_digits(keyword, offset):
    received = "8437123456.789012345678"
    with mpmath.workdps(40):
        text = mpmath.nstr(mpmath.mpf(received) - mpmath.mpf(offset or 0), 25)
    found = tracking(message([SENT, (keyword, AT, text)], FREQ_OFFSET=offset), AGREEMENT)
    assert found.value[0] == pytest.approx(exact_rate(SENT[2], received), rel=1e-15)


def test_corrections_of_frequencies_are_added_once():
    for applied, received in [("YES", "8437000000"), ("NO", "8437000002.5")]:
        sample = message(
            [SENT, ("RECEIVE_FREQ_2", AT, "8437000000")],
            CORRECTION_RECEIVE="2.5", CORRECTIONS_APPLIED=applied,
        )  # fmt: skip
        found = tracking(sample, AGREEMENT).value[0]
        assert found == pytest.approx(exact_rate(SENT[2], received), rel=1e-15)


def test_doppler_of_one_leg_is_its_range_rate_and_never_halved():
    for two_way in (None, "half", "whole"):
        said = replace(AGREEMENT, two_way_doppler=two_way)
        found = tracking(message([SENT, ("DOPPLER_INTEGRATED", AT, "-1.25")]), said)
        assert found.value.tolist() == [-1250.0]
        assert found.count_time.tolist() == [60.0]
    instant = message([SENT, ("DOPPLER_INSTANTANEOUS", AT, "-1.25")])
    found = tracking(instant, AGREEMENT)
    assert (found.value[0], found.count_time[0]) == (-1250.0, 2e-3)
    assert found.kind[0] == "one_way_range_rate"


@pytest.mark.parametrize(
    ("reference", "middle"), [("START", 30.0), ("MIDDLE", 0.0), ("END", -30.0)]
)
def test_epochs_are_in_the_middle_of_the_count_at_the_antenna(reference, middle):
    sample = message(
        [SENT, ("RECEIVE_FREQ_2", AT, "8437000000")],
        INTEGRATION_REF=reference, RECEIVE_DELAY_2="0.25", TRANSMIT_DELAY_1="0.5",
    )  # fmt: skip
    found = tracking(sample, replace(AGREEMENT, delays="contained"))
    shift = (found.epoch - Time(AT, scale="utc")).to_value("s")[0]
    assert shift == pytest.approx(middle - 0.25, abs=1e-10)


def test_the_nominal_frequency_is_the_messages_or_the_oscillators():
    records = [("RECEIVE_FREQ_2", AT, "8437000000")]
    with pytest.raises(InputError, match="TRANSMIT_FREQ_1: no frequency is given that rover"):
        tracking(message(records), AGREEMENT)
    known = replace(AGREEMENT, oscillators={"rover": NOMINAL})
    for sample in (message(records), message([SENT, *records])):
        found = tracking(sample, known)
        assert found.value[0] == pytest.approx(exact_rate(SENT[2], "8437000000"), rel=1e-15)
        assert found.frequency.tolist() == [NOMINAL]
    # It may stand in another segment, and earlier or later.
    other = message([("TRANSMIT_FREQ_1", "2021-03-01T09:00:00", SENT[2])])
    other.segments += message(records).segments
    assert tracking(other, AGREEMENT).frequency.tolist() == [NOMINAL]


def test_what_a_transponder_sends_says_nothing_of_the_oscillator():
    # X band, 880/749 of an uplink, stated in a segment of two-way data as participant 2's.
    two_way = message(
        [("TRANSMIT_FREQ_1", AT, "7.2e9"), ("TRANSMIT_FREQ_2", AT, "8459279038.7"),
         ("DOPPLER_INTEGRATED", AT, "1.0")],
        PARTICIPANT_1="A", PARTICIPANT_2="L", PATH="1,2,1",
    )  # fmt: skip
    two_way.segments += message([SENT, F]).segments
    said = replace(AGREEMENT, two_way_doppler="half", range_rate_sigma=1e-4)
    found = tracking(two_way, said)
    assert found.kind.tolist() == ["range_rate", "one_way_range_rate"]
    assert found.frequency.tolist() == [7.2e9, NOMINAL]
    assert found.sigma.tolist() == [1e-4, 1e-4]


F = ("RECEIVE_FREQ_2", AT, "8437000000")


@pytest.mark.parametrize(
    ("records", "metadata", "agreement", "words"),
    [
        ([SENT, F], {}, {"oscillators": {}}, "PARTICIPANT_1: one-way data of a lander without an"),
        ([SENT, F], {}, {"oscillators": {"rover": 8.4e9}}, "TRANSMIT_FREQ_1: contradicts the nom"),
        (
            [SENT, F, ("TRANSMIT_FREQ_1", "2021-03-01T06:00:00", "8.5e9")],
            {},
            {},
            "TRANSMIT_FREQ_1: the frequency that rover transmits changes",
        ),
        (
            [SENT, ("TRANSMIT_FREQ_RATE_1", AT, "0.1"), F],
            {},
            {},
            "TRANSMIT_FREQ_1: the frequency that rover transmits changes",
        ),
        ([SENT, ("RANGE", AT, "5e7")], {"RANGE_UNITS": "km"}, {}, "RANGE: one-way ranges are not"),
        ([SENT, F], {"TIMETAG_REF": "TRANSMIT"}, {}, "TIMETAG_REF: Doppler with time tags of tra"),
        ([SENT, F], {"TIMETAG_REF": ""}, {}, "TIMETAG_REF: the metadata do not say it"),
        ([SENT, F], {"INTEGRATION_INTERVAL": ""}, {}, "INTEGRATION_INTERVAL: the metadata do not"),
        ([SENT, F], {"INTEGRATION_REF": ""}, {}, "INTEGRATION_REF: the metadata do not say it"),
        ([SENT, F], {}, {"one_way_range_rate_sigma": None}, "not say one_way_range_rate_sigma"),
        ([SENT, ("RECEIVE_FREQ_1", AT, "8e9")], {}, {}, "RECEIVE_FREQ_1: received by a participa"),
        ([SENT, ("RECEIVE_FREQ_2", AT, "-376544")], {}, {}, "RECEIVE_FREQ_2: not a frequency; is"),
        ([SENT, F], {"PATH": "2,1"}, {}, "PATH: only the way down is converted"),
        ([SENT, F], {"PARTICIPANT_1": "X"}, {}, "who should be a lander; found 'X'"),
        ([SENT, F], {"PARTICIPANT_2": "X"}, {}, "who should be a station; found 'X'"),
        ([SENT, ("DOPPLER_INTEGRATED", AT, "1"), F], {}, {}, "Doppler twice"),
    ],
)
def test_what_cannot_be_one_way_is_refused(records, metadata, agreement, words):
    with pytest.raises(InputError) as caught:
        tracking(message(records, **metadata), replace(AGREEMENT, **agreement))
    assert words in str(caught.value)
    assert caught.value.source == "file"


def test_an_error_names_the_line_of_the_file(tmp_path):
    sample = message_from(campaign(), AGREEMENT, "EXAMPLE", Time(AT, scale="utc"))
    path = tmp_path / "file.kvn"
    path.write_text(kvn_text(sample))
    lines = path.read_text().splitlines()
    first = next(k for k, text in enumerate(lines, 1) if text.startswith("TRANSMIT_FREQ_1"))
    with pytest.raises(InputError) as caught:
        tracking(read_tdm(path), replace(AGREEMENT, oscillators={"rover": 8.4e9}))
    assert (caught.value.line, caught.value.field) == (first, "TRANSMIT_FREQ_1")
    with pytest.raises(InputError) as caught:
        tracking(read_tdm(path), replace(AGREEMENT, oscillators={}))
    assert (caught.value.line, caught.value.field) == (first + 1, "PARTICIPANT_1")


def campaign() -> Tracking:
    """Invented one-way passes over two stations."""
    rng = np.random.default_rng(11)
    n = 40
    number = np.arange(n) // 10
    receiver = np.where(number == 2, "east", "north")
    return Tracking(
        pass_id=np.array([f"pass {k}" for k in number]),
        transmitter=receiver,
        receiver=receiver,
        lander=np.full(n, "rover"),
        kind=np.full(n, "one_way_range_rate"),
        epoch=Time(AT, scale="utc")
        + TimeDelta(
            86400.0 * number + 61.0 * (np.arange(n) % 10) + rng.uniform(0, 1, n), format="sec"
        ),
        tag=np.full(n, "receive"),
        count_time=np.full(n, 60.0),
        value=rng.normal(0, 9e3, n),
        sigma=np.full(n, 1e-4),
        frequency=np.full(n, NOMINAL),
        pressure_hpa=870.0 + rng.normal(size=n),
    )


@pytest.mark.parametrize("notation", [kvn_text, xml_text])
@pytest.mark.parametrize("version", ["1.0", "2.0"])
def test_one_way_passes_come_back_to_the_last_bit(tmp_path, notation, version):
    made = campaign()
    created = Time("2021-04-01", scale="utc")
    sample = message_from(made, AGREEMENT, "EXAMPLE", created, version=version)
    (tmp_path / "file").write_text(notation(sample))
    found = tracking(read_tdm(tmp_path / "file"), AGREEMENT)
    for name in COLUMNS:
        if name != "pass_id" or version == "2.0":
            np.testing.assert_array_equal(getattr(found, name), getattr(made, name), err_msg=name)
    np.testing.assert_array_equal(found.epoch.jd1, made.epoch.jd1)
    np.testing.assert_array_equal(found.epoch.jd2, made.epoch.jd2)


def test_two_oscillators_in_one_pass_have_a_segment_each():
    made = campaign()
    two = replace(made, frequency=np.where(np.arange(len(made)) % 2, NOMINAL, 8.4e9))
    sample = message_from(two, AGREEMENT, "EXAMPLE", Time(AT, scale="utc"))
    offsets = [s.metadata.get("FREQ_OFFSET") for s in sample.segments]
    assert offsets.count("8400000000.0") == offsets.count(repr(NOMINAL)) == 4


@pytest.mark.parametrize("notation", ["KVN", "XML"])
@pytest.mark.parametrize("version", ["1.0", "2.0"])
def test_the_independent_package_means_the_same(tmp_path, notation, version):
    # ccsds-ndm reads what is written, and what it writes of it is read as it was.
    made = campaign()
    sample = message_from(
        made, AGREEMENT, "EXAMPLE", Time("2021-04-01", scale="utc"), version=version
    )
    theirs = NdmIo().from_string(kvn_text(sample) if notation == "KVN" else xml_text(sample))
    shifts = []
    for segment in theirs.body.segment:
        if segment.metadata.path is None:  # the weather
            continue
        said = segment.metadata
        assert said.path == "1,2"
        assert (said.participant_1, said.participant_2 in ("A", "B")) == ("L", True)
        interval = getattr(said.integration_interval, "value", said.integration_interval)
        offset = getattr(said.freq_offset, "value", said.freq_offset)
        assert (float(interval), float(offset)) == (60.0, NOMINAL)
        for record in segment.data.observation:
            if record.transmit_freq_1 is not None:
                assert float(record.transmit_freq_1) == NOMINAL
            else:
                shifts.append(float(record.receive_freq_2))
    # The definition of the observable, in floats: v = -c (f_R - f_0) / f_0.
    np.testing.assert_allclose(-C * np.array(shifts) / NOMINAL, made.value, rtol=1e-14)
    path = tmp_path / "theirs"
    path.write_text(NdmIo().to_string(theirs, getattr(NDMFileFormats, notation)))
    np.testing.assert_allclose(
        tracking(read_tdm(path), AGREEMENT).value, made.value, rtol=1e-14, atol=1e-12
    )


def test_a_fit_is_told_what_is_missing():
    sample = message([F])
    assert needs(sample) == [
        "stations: whose names here are A?",
        "landers: whose names here are L?",
        "file: TRANSMIT_FREQ_1: no frequency is given that L transmits",
    ]
    assert needs(message([SENT, F]))[2:] == ["one_way_range_rate_sigma: the file has no accuracy"]
    assert needs(message([SENT, F]), AGREEMENT) == []
    assert needs(sample, replace(AGREEMENT, oscillators={"rover": NOMINAL})) == []
    without = needs(sample, replace(AGREEMENT, oscillators={}))
    assert len(without) == 1
    assert "without an oscillator, rover" in without[0]
    upward = needs(message([SENT, F], PATH="2,1"), AGREEMENT)
    assert ["only the way down" in text for text in upward] == [True]


def test_an_inspection_tells_the_path_of_one_way_data(tmp_path):
    path = tmp_path / "file.kvn"
    path.write_text(kvn_text(message_from(campaign(), AGREEMENT, "EXAMPLE", Time(AT, scale="utc"))))
    found = inspect_file(path, AGREEMENT)
    series = {(one.kind, one.path): one for one in found.series}
    assert len(series["RECEIVE_FREQ_2", ("L", "A")].values) == 30
    assert len(series["RECEIVE_FREQ_2", ("L", "B")].values) == 10
    assert series["TRANSMIT_FREQ_1", ("L", "A")].band == "X"
    assert found.fates["RECEIVE_FREQ_2"] == (40, "measurement: range rate averaged over the count")
    assert found.missing == ()


def test_overlapping_one_way_segments_are_noticed():
    sample = message([SENT, F, ("RECEIVE_FREQ_2", "2021-03-01T05:10:00", "8437000000")])
    sample.segments += message(
        [(F[0], "2021-03-01T05:05:00", F[2]), (F[0], "2021-03-01T05:15:00", F[2])]
    ).segments
    assert ["RECEIVE_FREQ_2" in text for text in overlaps(sample)] == [True]
