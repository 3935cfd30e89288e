"""From tracking data messages to measurements and back."""

from dataclasses import replace
from pathlib import Path

import mpmath
import numpy as np
import pytest
from astropy.time import Time, TimeDelta

from wobble.errors import InputError, UnknownNameError
from wobble.measurements.tracking import COLUMNS, Tracking
from wobble.tdm.agreement import Agreement
from wobble.tdm.conversion import tracking
from wobble.tdm.kvn import kvn_text, read_tdm
from wobble.tdm.message import Segment, TrackingDataMessage
from wobble.tdm.needs import needs
from wobble.tdm.writing import message_from
from wobble.tdm.xml import xml_text

ANNEX = Path(__file__).parents[1] / "data" / "tdm"
C = 299792458

AGREEMENT = Agreement(
    stations={"A": "north", "B": "east"},
    landers={"L": "rover"},
    range_sigma=0.5,
    range_rate_sigma=5e-5,
    two_way_range="whole",
    two_way_doppler="half",
)
RANGE = {"TIMETAG_REF": "RECEIVE", "RANGE_UNITS": "km"}
DOPPLER = {"TIMETAG_REF": "RECEIVE", "INTEGRATION_INTERVAL": "60", "INTEGRATION_REF": "MIDDLE"}
COHERENT = {**DOPPLER, "TURNAROUND_NUMERATOR": "880", "TURNAROUND_DENOMINATOR": "749"}
AT = "2021-03-01T05:00:00"


def message(records: list[tuple[str, str, str]], **metadata: str) -> TrackingDataMessage:
    """One segment from station A by way of lander L to station A."""
    given = {
        "TIME_SYSTEM": "UTC", "PARTICIPANT_1": "A", "PARTICIPANT_2": "L",
        "MODE": "SEQUENTIAL", "PATH": "1,2,1", **metadata,
    }  # fmt: skip
    segment = Segment(source="file")
    for keyword, value in given.items():
        if value:
            segment.describe(keyword, value)
    for record in records:
        segment.add(*record)
    return TrackingDataMessage(segments=[segment], source="file")


SENT = ("TRANSMIT_FREQ_1", AT, "7200000000.0")


def test_ranges_become_half_the_round_trip_in_metres():
    # 1 km of round trip is 500 m; 1 s is half a light-second (SI).
    for units, whole, text, expected in [
        ("km", "whole", "1000.5", 500250.0),
        ("km", "half", "1000.5", 1000500.0),
        ("s", "whole", "2.000000000001", C * 1.0000000000005),
        ("s", "half", "1.0", C),
    ]:
        sample = message([SENT, ("RANGE", AT, text)], **{**RANGE, "RANGE_UNITS": units})
        found = tracking(sample, replace(AGREEMENT, two_way_range=whole))
        assert found.value.tolist() == [expected]
        assert (found.kind[0], found.tag[0], found.sigma[0]) == ("range", "receive", 0.5)
        assert (found.transmitter[0], found.lander[0]) == ("north", "rover")
        assert found.frequency[0] == 7.2e9
        assert found.pass_id[0] == "north-rover-2021-03-01"


@pytest.mark.parametrize(
    ("reference", "middle"), [("START", 30.0), ("MIDDLE", 0.0), ("END", -30.0)]
)
def test_epochs_of_range_rates_are_in_the_middle_of_the_count(reference, middle):
    sample = message(
        [SENT, ("DOPPLER_INTEGRATED", AT, "-1.25")], **{**DOPPLER, "INTEGRATION_REF": reference}
    )
    found = tracking(sample, AGREEMENT)
    assert found.value.tolist() == [-1250.0]
    assert found.count_time.tolist() == [60.0]
    assert (found.epoch - Time(AT, scale="utc")).to_value("s")[0] == pytest.approx(
        middle, abs=1e-10
    )
    whole = tracking(sample, replace(AGREEMENT, two_way_doppler="whole"))
    assert whole.value.tolist() == [-625.0]


def test_an_instantaneous_rate_stands_at_its_tag_over_two_milliseconds():
    # By the agreement: half the rate of the round trip is given, 1 km/s is 1000 m/s.
    records = [SENT, ("DOPPLER_INSTANTANEOUS", AT, "-1.25")]
    found = tracking(message(records, TIMETAG_REF="RECEIVE"), AGREEMENT)
    assert found.value.tolist() == [-1250.0]
    assert found.count_time.tolist() == [2e-3]
    assert (found.epoch - Time(AT, scale="utc")).to_value("s")[0] == pytest.approx(0.0, abs=1e-10)


def test_equal_frequencies_up_and_down_mean_no_motion():
    # CCSDS 503.0-B, figure E-6: received over transmitted is 240/221 to all printed digits.
    values = read_tdm(ANNEX / "four_way_relay.kvn").segments[0]
    sent, received = (values.values[values.rows(k)[0]] for k in ("TRANSMIT_FREQ_1", "RECEIVE_FREQ"))
    sample = message(
        [("TRANSMIT_FREQ_1", AT, sent), ("RECEIVE_FREQ", AT, received)],
        **{**COHERENT, "TURNAROUND_NUMERATOR": "240", "TURNAROUND_DENOMINATOR": "221"},
    )
    # The last printed digit, 5e-6 Hz, is 4e-7 m/s.
    assert abs(tracking(sample, AGREEMENT).value[0]) < 4e-7


@pytest.mark.parametrize("offset", ["", "8400000000.0"])
def test_received_frequency_becomes_a_range_rate_with_all_its_digits(offset):
    # c/2 (1 - f_R / (M f_T)), evaluated with 40 digits.
    received = "8459279512.123456789"
    with mpmath.workdps(40):
        exact = (
            mpmath.mpf(C) / 2 * (1 - mpmath.mpf(received) / (mpmath.mpf(7200000000) * 880 / 749))
        )
    text = "59279512.123456789" if offset else received
    for keyword in ("RECEIVE_FREQ", "RECEIVE_FREQ_1"):
        sample = message([SENT, (keyword, AT, text)], FREQ_OFFSET=offset, **COHERENT)
        assert tracking(sample, AGREEMENT).value[0] == pytest.approx(float(exact), rel=1e-14)


def test_a_ramped_uplink_needs_the_round_trip_and_then_gives_the_range_rate():
    # A round trip of 1000 s growing by 2e-5: half its rate is 2997.92458 m/s by definition.
    start, rate = Time("2021-03-01T04:00:00", scale="utc"), 2e-5
    tags = [f"2021-03-01T05:{k:02d}:30" for k in range(5)]
    ramp = [
        ("TRANSMIT_FREQ_1", "2021-03-01T04:00:00", "7200000000.125"),
        ("TRANSMIT_FREQ_RATE_1", "2021-03-01T04:00:00", "0.59305"),
    ]
    received = []
    with mpmath.workdps(40):

        def phase(t):
            return t * mpmath.mpf("7200000000.125") + mpmath.mpf("0.59305") * t**2 / 2

        def round_trip_at(t):
            return 1000 + mpmath.mpf(rate) * (t - 3600)

        for k in range(5):
            a, b = mpmath.mpf(3600 + 60 * k), mpmath.mpf(3660 + 60 * k)
            sent = phase(b - round_trip_at(b)) - phase(a - round_trip_at(a))
            received.append(mpmath.nstr(mpmath.mpf(880) / 749 * sent / 60, 20))
    records = [("RECEIVE_FREQ", tag, text) for tag, text in zip(tags, received, strict=True)]
    sample = message(ramp + records, **COHERENT)

    def round_trip(times, transmitter, receiver, lander, tag):
        assert (transmitter, receiver, lander, tag) == ("north", "north", "rover", "receive")
        return 1000.0 + rate * ((times - start).to_value("s") - 3600.0)

    found = tracking(sample, AGREEMENT, round_trip)
    np.testing.assert_allclose(found.value, C * rate / 2, rtol=0, atol=1e-8)
    with pytest.raises(InputError, match=r"prediction of the round trip.*ramps"):
        tracking(sample, AGREEMENT)


def test_a_modulus_is_undone_by_a_prediction_that_is_good_enough():
    # 1234.5 km modulo 1000 km.
    metadata = {**RANGE, "RANGE_MODULUS": "1000.0"}
    sample = message([SENT, ("RANGE", AT, "234.5")], **metadata)
    with pytest.raises(InputError, match="prediction of the round trip is needed"):
        tracking(sample, AGREEMENT)
    for error_km in (-200.0, 0.0, 200.0):
        near = (1234.5 + error_km) * 1e3 / C
        found = tracking(sample, AGREEMENT, lambda times, *_, near=near: np.full(len(times), near))
        assert found.value.tolist() == [617250.0]
    with pytest.raises(InputError, match="too far off"):
        tracking(sample, AGREEMENT, lambda times, *_: np.full(len(times), 1534.5e3 / C))
    with pytest.raises(InputError, match="no array of positive"):
        tracking(sample, AGREEMENT, lambda times, *_: -1.0)


def test_range_units_are_what_the_agreement_says():
    sample = message([SENT, ("RANGE", AT, "1000")], **{**RANGE, "RANGE_UNITS": "RU"})
    with pytest.raises(InputError, match="range_unit_seconds: ranges are in range units"):
        tracking(sample, AGREEMENT)
    found = tracking(sample, replace(AGREEMENT, range_unit_seconds=1e-6))
    assert found.value[0] == pytest.approx(C * 0.5e-3, rel=1e-15)


@pytest.mark.parametrize("tag", ["RECEIVE", "TRANSMIT"])
def test_coherent_range_units_follow_the_ramp(tag):
    # A share of the cycles sent during a round trip of 2000 s, counted with 40 digits,
    # modulo 2^20 units. (221/1498 units a cycle: common practice at X band, no source.)
    share, trip = 221 / 1498, 2000.123456789
    with mpmath.workdps(40):
        f, r = mpmath.mpf("7180064367.3536"), mpmath.mpf("0.59299")
        a = mpmath.mpf(3600) - (trip if tag == "RECEIVE" else 0)
        b = a + mpmath.mpf(trip)
        units = mpmath.mpf(share) * (f * (b - a) + r * (b**2 - a**2) / 2)
        text = mpmath.nstr(units % 2**20, 20)
    records = [
        ("TRANSMIT_FREQ_1", "2021-03-01T04:00:00", "7180064367.3536"),
        ("TRANSMIT_FREQ_RATE_1", "2021-03-01T04:00:00", "0.59299"),
        ("RANGE", AT, text),
    ]
    metadata = {"TIMETAG_REF": tag, "RANGE_UNITS": "RU", "RANGE_MODULUS": "1048576"}
    found = tracking(
        message(records, **metadata),
        replace(AGREEMENT, range_units_per_cycle=share),
        lambda times, *_: np.full(len(times), trip + 1e-5),
    )
    # The sum of 1.4e13 cycles is rounded to 2e-3 of them, 0.3 ps or 0.05 mm.
    assert found.value[0] == pytest.approx(C * trip / 2, abs=2e-4)
    assert found.tag[0] == tag.lower()


def test_corrections_are_added_once():
    for applied, expected in [("YES", 500.0), ("NO", 625.0)]:
        sample = message(
            [SENT, ("RANGE", AT, "1.0")],
            CORRECTION_RANGE="0.25", CORRECTIONS_APPLIED=applied, **RANGE,
        )  # fmt: skip
        assert tracking(sample, AGREEMENT).value.tolist() == [expected]
    with pytest.raises(InputError, match="CORRECTIONS_APPLIED"):
        tracking(message([SENT, ("RANGE", AT, "1.0")], CORRECTION_RANGE="0.25", **RANGE), AGREEMENT)
    sample = message(
        [SENT, ("DOPPLER_INTEGRATED", AT, "1.0")],
        CORRECTION_DOPPLER="0.5", CORRECTIONS_APPLIED="NO", **DOPPLER,
    )  # fmt: skip
    assert tracking(sample, AGREEMENT).value.tolist() == [1500.0]


def test_delays_are_taken_out_of_round_trips_and_time_tags():
    delays = {
        "TRANSMIT_DELAY_1": "1e-6", "RECEIVE_DELAY_1": "2e-6",
        "TRANSMIT_DELAY_2": "3e-6", "RECEIVE_DELAY_2": "4e-6",
    }  # fmt: skip
    sample = message([SENT, ("RANGE", AT, "2.0")], **{**RANGE, "RANGE_UNITS": "s"}, **delays)
    with pytest.raises(InputError, match="the agreement does not say delays"):
        tracking(sample, AGREEMENT)
    found = tracking(sample, replace(AGREEMENT, delays="contained"))
    assert found.value[0] == pytest.approx(C * (2.0 - 1e-5) / 2, rel=1e-15)
    shift = (found.epoch - Time(AT, scale="utc")).to_value("s")[0]
    assert shift == pytest.approx(-2e-6, abs=1e-11)
    removed = tracking(sample, replace(AGREEMENT, delays="removed"))
    assert removed.value.tolist() == [C]
    shift = (removed.epoch - Time(AT, scale="utc")).to_value("s")[0]
    assert shift == pytest.approx(0.0, abs=1e-11)


def test_three_way_data_have_two_stations():
    sample = message(
        [SENT, ("DOPPLER_INTEGRATED", AT, "1.0")],
        **{**DOPPLER, "PATH": "1,2,3", "PARTICIPANT_3": "B"},
    )
    found = tracking(sample, AGREEMENT)
    assert (found.transmitter[0], found.receiver[0]) == ("north", "east")


def test_weather_is_interpolated_within_its_span_and_unknown_outside():
    records = [SENT, *(("RANGE", f"2021-03-01T0{h}:00:00", "1.0") for h in (5, 6, 7, 9))]
    sample = message(records, **RANGE)
    weather = Segment()
    for keyword, value in (("TIME_SYSTEM", "UTC"), ("PARTICIPANT_1", "A")):
        weather.describe(keyword, value)
    for tag, pressure in (("2021-03-01T07:30:00", "880"), ("2021-03-01T05:30:00", "870")):
        weather.add("PRESSURE", tag, pressure)
    weather.add("RHUMIDITY", "2021-03-01T06:00:00", "45.5")
    sample.segments.append(weather)
    found = tracking(sample, AGREEMENT)
    np.testing.assert_allclose(found.pressure_hpa, [np.nan, 872.5, 877.5, np.nan], rtol=1e-12)
    np.testing.assert_allclose(found.humidity_percent, [np.nan, 45.5, np.nan, np.nan])
    assert np.isnan(found.temperature_k).all()
    weather.add("TEMPERATURE", "2021-03-01T06:00:00", "12.5")
    with pytest.raises(InputError, match="TEMPERATURE: is out of range for the air of the Earth"):
        tracking(sample, AGREEMENT)


def test_weather_is_unknown_in_a_gap_that_is_too_long():
    # The rule of every weather series: linear over at most three hours, unless another gap is said.
    records = [SENT, *(("RANGE", f"2021-03-01T{h:02d}:00:00", "1.0") for h in (5, 6, 9, 11))]
    sample = message(records, **RANGE)
    weather = Segment()
    for keyword, value in (("TIME_SYSTEM", "UTC"), ("PARTICIPANT_1", "A")):
        weather.describe(keyword, value)
    for hour, pressure in ((5, "870"), (7, "880"), (11, "840")):
        weather.add("PRESSURE", f"2021-03-01T{hour:02d}:00:00", pressure)
    sample.segments.append(weather)
    found = tracking(sample, AGREEMENT)
    np.testing.assert_allclose(found.pressure_hpa, [870.0, 875.0, np.nan, 840.0], rtol=1e-9)
    wider = tracking(sample, AGREEMENT, longest_gap=4 * 3600.0)
    np.testing.assert_allclose(wider.pressure_hpa, [870.0, 875.0, 860.0, 840.0], rtol=1e-9)


def test_two_readings_of_one_instant_that_differ_are_refused():
    sample = message([SENT, ("RANGE", AT, "1.0")], **RANGE)
    weather = Segment()
    for keyword, value in (("TIME_SYSTEM", "UTC"), ("PARTICIPANT_1", "A")):
        weather.describe(keyword, value)
    for pressure in ("870", "880"):
        weather.add("PRESSURE", AT, pressure)
    sample.segments.append(weather)
    with pytest.raises(InputError, match="pressure_hpa: two samples at north contradict"):
        tracking(sample, AGREEMENT)


def test_what_is_not_converted_is_named():
    sample = message(
        [SENT, ("RANGE", AT, "1.0"), ("PC_N0", AT, "30"), ("MAG", AT, "1")],
        DATA_QUALITY="DEGRADED", **RANGE,
    )  # fmt: skip
    meta = tracking(sample, AGREEMENT).meta
    assert meta["not_used"] == ["MAG", "PC_N0"]
    assert meta["warnings"] == [
        "file, line 0: the data quality is DEGRADED",
        "file: MAG is carried, not used (1 in the file)",
        "file: PC_N0 is carried, not used (1 in the file)",
    ]
    with pytest.raises(InputError, match="no measurement that is converted; found 'PC_N0'"):
        tracking(message([("PC_N0", AT, "30")]), AGREEMENT)


R, D, F = ("RANGE", AT, "1.0"), ("DOPPLER_INTEGRATED", AT, "1.0"), ("RECEIVE_FREQ", AT, "8.4e9")


@pytest.mark.parametrize(
    ("records", "metadata", "agreement", "words"),
    [
        ([SENT, R], {"RANGE_UNITS": "km"}, {}, "TIMETAG_REF: the metadata do not say"),
        ([SENT, R], {"TIMETAG_REF": "RECEIVE"}, {}, "RANGE_UNITS: the metadata do not say"),
        ([SENT, R], RANGE, {"two_way_range": None}, "does not say two_way_range"),
        ([SENT, R], RANGE, {"range_sigma": None}, "does not say range_sigma"),
        ([R], RANGE, {}, "no frequency is given that north transmits"),
        ([SENT, R], {**RANGE, "PATH": "1,2"}, {}, "PATH: only the way down is converted"),
        ([SENT, R], {**RANGE, "PATH": "1,2,1,2"}, {}, "PATH: only the paths station, lander, st"),
        ([SENT, R], {**RANGE, "PATH": "2,1,2"}, {}, "unknown participant who should be a station"),
        ([SENT, R], {**RANGE, "PARTICIPANT_2": "A"}, {}, "who should be a lander"),
        ([SENT, R], {**RANGE, "RANGE_MODE": "one_way"}, {}, "one-way ranges"),
        ([SENT, R], {**RANGE, "TIME_SYSTEM": "TDB"}, {}, "time tags of a coordinate time"),
        (
            [SENT, R],
            {**RANGE, "INTEGRATION_INTERVAL": "1", "INTEGRATION_REF": "START"},
            {},
            "does not say range_epoch",
        ),
        ([SENT, D], {**DOPPLER, "TIMETAG_REF": "TRANSMIT"}, {}, "tags of transmission"),
        ([SENT, D], {**DOPPLER, "INTEGRATION_REF": ""}, {}, "INTEGRATION_REF: the metadata do"),
        ([SENT, D], {**DOPPLER, "INTEGRATION_INTERVAL": ""}, {}, "INTEGRATION_INTERVAL: the met"),
        ([SENT, D], DOPPLER, {"two_way_doppler": None}, "does not say two_way_doppler"),
        ([SENT, D, F], COHERENT, {}, "Doppler twice"),
        ([SENT, F], DOPPLER, {}, "TURNAROUND_NUMERATOR: the metadata do not say"),
        ([SENT, F], {**COHERENT, "TURNAROUND_NUMERATOR": "0"}, {}, "not a turnaround ratio"),
        ([SENT, ("RECEIVE_FREQ_2", AT, "8e9")], COHERENT, {}, "not at the end of the path"),
        ([SENT, ("RECEIVE_FREQ", AT, "-3.5")], COHERENT, {}, "is FREQ_OFFSET missing"),
        (
            [("TRANSMIT_FREQ_1", "2021-03-01T05:10:00", "7.2e9"), F],
            COHERENT,
            {},
            "not known that early",
        ),
        ([SENT, ("TRANSMIT_FREQ_1", AT, "7.3e9"), F], COHERENT, {}, "contradicts another"),
        (
            [("TRANSMIT_FREQ_RATE_1", "2021-060T04:00:00", "1"), SENT, F],
            COHERENT,
            {},
            "rate has no",
        ),
    ],
)
def test_what_is_not_certain_is_refused_with_what_is_missing(records, metadata, agreement, words):
    with pytest.raises(InputError, match=words) as caught:
        tracking(message(records, **metadata), replace(AGREEMENT, **agreement))
    assert caught.value.source == "file"


def test_the_agreement_may_say_what_the_metadata_leave_out():
    sample = message([SENT, ("RANGE", AT, "1.0")])
    said = replace(AGREEMENT, metadata={"TIMETAG_REF": "TRANSMIT", "RANGE_UNITS": "km"})
    assert tracking(sample, said).tag.tolist() == ["transmit"]
    with pytest.raises(UnknownNameError, match="TIMETAG_REF"):
        replace(AGREEMENT, metadata={"TIMETAG": "TRANSMIT"})
    # Whose data they are, the message itself must say.
    with pytest.raises(UnknownNameError, match="metadata keyword of an agreement; found 'PATH'"):
        replace(AGREEMENT, metadata={"PATH": "1,2,1"})
    with pytest.raises(InputError, match="TRANSMIT or RECEIVE"):
        replace(AGREEMENT, metadata={"TIMETAG_REF": "bounce"})
    with pytest.raises(InputError, match="two_way_range"):
        replace(AGREEMENT, two_way_range="double")
    with pytest.raises(InputError, match="range_sigma"):
        replace(AGREEMENT, range_sigma=0.0)
    plain = replace(AGREEMENT, uplink_frequency=7.1e9)
    assert tracking(message([("RANGE", AT, "1.0")], **RANGE), plain).frequency.tolist() == [7.1e9]


def test_numbers_of_the_agreement_count_like_those_of_the_metadata():
    said = {
        **COHERENT, **RANGE, "FREQ_OFFSET": "8.4e9", "CORRECTION_RANGE": "0.25",
        "CORRECTION_RECEIVE": "2", "CORRECTIONS_APPLIED": "NO", "RANGE_MODULUS": "1000",
        "RECEIVE_DELAY_1": "2e-6",
    }  # fmt: skip
    records = [SENT, ("RANGE", AT, "234.5"), ("RECEIVE_FREQ", AT, "59279512.5")]
    given = replace(AGREEMENT, delays="contained")
    agreed = replace(given, metadata=said)

    def near(times, *_):
        return np.full(len(times), 1234.5e3 / C)

    in_file = tracking(message(records, **said), given, near)
    elsewhere = tracking(message(records), agreed, near)
    assert in_file.value.tolist() == elsewhere.value.tolist()
    assert (in_file.epoch == elsewhere.epoch).all()
    assert in_file.meta["warnings"] == elsewhere.meta["warnings"] != []
    assert needs(message(records, **said), given) == needs(message(records), agreed)
    # 1234.75 km of round trip, without 2 microseconds of delay.
    assert elsewhere.value[0] == pytest.approx(617375.0 - C * 1e-6, rel=1e-12)


def campaign() -> Tracking:
    """Invented passes, in the order in which a message has them."""
    rng = np.random.default_rng(8)
    n = 40
    number = np.arange(n) // 10
    counted = np.arange(n) % 10 >= 4
    seconds = 86400.0 * number + 61.0 * (np.arange(n) % 10) + rng.uniform(0, 1, n)
    return Tracking(
        pass_id=np.array([f"pass {k}" for k in number]),
        transmitter=np.full(n, "north"),
        receiver=np.where(number == 2, "east", "north"),
        lander=np.full(n, "rover"),
        kind=np.where(counted, "range_rate", "range"),
        epoch=Time("2021-03-01T05:00:00", scale="utc") + TimeDelta(seconds, format="sec"),
        tag=np.full(n, "receive"),
        count_time=np.where(counted, 60.0, np.nan),
        value=np.where(counted, rng.normal(0, 9e3, n), rng.uniform(5e10, 4e11, n)),
        sigma=np.where(counted, 5e-5, 0.5),
        frequency=7.2e9 + number / 3.0,
        pressure_hpa=870.0 + rng.normal(size=n),
        temperature_k=283.0 + rng.normal(size=n),
        humidity_percent=np.full(n, 1.0 / 3.0),
    )


@pytest.mark.parametrize("notation", [kvn_text, xml_text])
@pytest.mark.parametrize("two_way", ["half", "whole"])
@pytest.mark.parametrize("units", ["km", "s"])
def test_a_campaign_comes_back_to_the_last_bit(tmp_path, notation, two_way, units):
    made = campaign()
    agreement = replace(AGREEMENT, two_way_range=two_way, two_way_doppler=two_way)
    created = Time("2021-04-01", scale="utc")
    text = notation(message_from(made, agreement, "EXAMPLE", created, range_units=units))
    (tmp_path / "file").write_text(text)
    found = tracking(read_tdm(tmp_path / "file"), agreement)
    for name in COLUMNS:
        np.testing.assert_array_equal(getattr(found, name), getattr(made, name), err_msg=name)
    np.testing.assert_array_equal(found.epoch.jd1, made.epoch.jd1)
    np.testing.assert_array_equal(found.epoch.jd2, made.epoch.jd2)


def test_version_1_has_no_names_of_passes_and_nothing_else_is_lost():
    made = campaign()
    created = Time("2021-04-01", scale="utc")
    sample = message_from(made, AGREEMENT, "EXAMPLE", created, version="1.0")
    found = tracking(sample, AGREEMENT)
    assert found.pass_id[0] == "north-rover-2021-03-01"
    np.testing.assert_array_equal(found.value, made.value)


@pytest.mark.parametrize(
    ("created", "written"),
    [
        # The leap second at the end of 2016 (IERS Bulletin C 52), and its neighbours.
        ("2016-12-31T23:59:59.4", "2016-12-31T23:59:59"),
        ("2016-12-31T23:59:59.6", "2016-12-31T23:59:60"),
        ("2016-12-31T23:59:60.4", "2016-12-31T23:59:60"),
        ("2016-12-31T23:59:60.6", "2017-01-01T00:00:00"),
        ("2026-11-25T13:25:48.9999999", "2026-11-25T13:25:49"),
    ],
)
def test_a_message_is_dated_to_the_second(created, written):
    made = campaign()
    for time in (Time(created, scale="utc"), Time(created, scale="utc").tai):
        sample = message_from(made, AGREEMENT, "EXAMPLE", time)
        assert sample.header["CREATION_DATE"] == written
        assert f"= {written}\n" in kvn_text(sample)


def test_what_cannot_be_written_is_refused():
    made, created = campaign(), Time("2021-04-01", scale="utc")
    with pytest.raises(InputError, match="km or s"):
        message_from(made, AGREEMENT, "EXAMPLE", created, range_units="RU")
    with pytest.raises(UnknownNameError, match="station of the agreement"):
        message_from(made, replace(AGREEMENT, stations={"A": "north"}), "EXAMPLE", created)
    with pytest.raises(InputError, match="two_way_range"):
        message_from(made, replace(AGREEMENT, two_way_range=None), "EXAMPLE", created)
