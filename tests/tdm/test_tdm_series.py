"""Weather and media series from Tracking Data Messages.

The units are those of CCSDS 503.0-B-2, section 3.5: hPa, K, %, m at the zenith, TECU.
"""

import numpy as np
import pytest
from astropy.time import Time

import wobble
from wobble.earth.series import MediaSeries, WeatherSeries
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.tdm.station_series import read_message_series

HEAD = """CCSDS_TDM_VERS = 2.0
CREATION_DATE = 2031-05-20T00:00:00
ORIGINATOR = EXAMPLE
"""
SEGMENT = """META_START
TIME_SYSTEM = UTC
PARTICIPANT_1 = {participant}
META_STOP
DATA_START
{records}
DATA_STOP
"""
STATIONS = {"STATION A": "alder", "broom": "broom"}


def message(path, *segments):
    text = HEAD + "".join(SEGMENT.format(participant=p, records="\n".join(r)) for p, r in segments)
    path.write_text(text, encoding="utf-8")
    return path


def records(keyword, *values, every=60):
    return [
        f"{keyword} = 2031-05-01T{every * k // 60:02d}:00:00 {value}"
        for k, value in enumerate(values)
    ]


def test_weather_is_read_in_the_standards_units(tmp_path):
    path = message(
        tmp_path / "weather.kvn",
        ("STATION A", [*records("PRESSURE", 930.0, 932.0), *records("TEMPERATURE", 290.0, 291.0)]),
        ("broom", records("RHUMIDITY", 40.0, 60.0)),
    )
    series = read_message_series(WeatherSeries, path, STATIONS)
    half_past = Epochs.from_time(Time(["2031-05-01T00:30:00"], scale="utc"))
    # Linear between the samples, by hand.
    assert series.at("alder", "pressure_hpa", half_past) == pytest.approx(931.0)
    assert series.at("alder", "temperature_k", half_past) == pytest.approx(290.5)
    assert series.at("broom", "humidity_percent", half_past) == pytest.approx(50.0)


def test_media_are_read_in_the_standards_units(tmp_path):
    path = message(
        tmp_path / "media.kvn",
        (
            "STATION A",
            [
                *records("TROPO_DRY", 2.1, 2.1),
                *records("TROPO_WET", 0.10, 0.14),
                *records("STEC", 30.0, 30.0),
            ],
        ),
    )
    series = read_message_series(MediaSeries, path, STATIONS)
    half_past = Epochs.from_time(Time(["2031-05-01T00:30:00"], scale="utc"))
    assert series.at("alder", "zenith_dry_m", half_past) == pytest.approx(2.1)
    assert series.at("alder", "zenith_wet_m", half_past) == pytest.approx(0.12)
    # One TECU is 1e16 electrons per square metre.
    assert series.at("alder", "slant_content", half_past) == pytest.approx(30e16)


@pytest.mark.parametrize(
    ("participant", "lines", "said"),
    [
        ("STATION X", records("PRESSURE", 930.0), r"line 9.*STATION X.*one of STATION A, broom"),
        ("STATION A", records("TROPO_WET", 0.1), "says nothing.*PRESSURE"),
        (
            "STATION A",
            records("PRESSURE", 93_000.0),
            "line 9: PRESSURE: is out of.*93000.*to 1100",
        ),
    ],
    ids=["unknown station", "other keywords", "other units"],
)
def test_what_cannot_be_used_is_named(tmp_path, participant, lines, said):
    path = message(tmp_path / "weather.kvn", (participant, lines))
    with pytest.raises(InputError, match=f"(?s)weather.kvn.*{said}"):
        read_message_series(WeatherSeries, path, STATIONS)


def test_a_scenario_takes_its_media_from_a_message(short_text, short_tracking, tmp_path):
    tracking = short_tracking[short_tracking.receiver == "alder"]
    first = tracking[tracking.pass_id == tracking.pass_id[0]]
    date = first.epoch[0].isot[:10]

    def ranges(wet):
        records = [f"TROPO_WET = {date}T{hour:02d}:00:00 {wet}" for hour in range(24)]
        message(tmp_path / "media.kvn", ("STATION A", records))
        path = tmp_path / "campaign.toml"
        text = short_text + '\n[media]\nfiles = ["media.kvn"]\noutside = "standard"\n'
        path.write_text(text, encoding="utf-8")
        campaign = wobble.read_scenario(path)
        computed = campaign.plan_network.compute(first)
        return computed.value[first.kind == "range"], computed.elevation[first.kind == "range"]

    dry, elevation = ranges(0.10)
    wet, _ = ranges(0.20)
    # More vapour delays more: a tenth of a metre at the zenith over the sine of the elevation
    # (half of it each way), which the mapping function follows to a percent above 10 degrees.
    np.testing.assert_allclose(wet - dry, 0.1 / np.sin(elevation), rtol=0.03)
