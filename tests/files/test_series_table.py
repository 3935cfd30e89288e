"""Weather and media tables: units, gaps, precedence in a scenario, and what is wrong with them."""

import astropy.units as u
import numpy as np
import pytest
from astropy.table import QTable, Table
from astropy.time import Time

import wobble
from wobble.earth.series import MediaSeries, WeatherSeries
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError, UnknownNameError
from wobble.files.series_table import read_series

WEATHER = """\
# %ECSV 1.0
# ---
# datatype:
# - {name: time, datatype: string}
# - {name: station, datatype: string}
# - {name: pressure, unit: kPa, datatype: float64}
# - {name: temperature, unit: deg_C, datatype: float64}
# - {name: humidity, unit: '%', datatype: float64}
# - {name: wind, unit: km / h, datatype: float64}
# - {name: rain, unit: mm / h, datatype: float64}
# schema: astropy-2.0
time station pressure temperature humidity wind rain
2031-05-01T00:00:00 alder 90.0 10.0 40.0 18.0 0.0
2031-05-01T01:00:00 alder 91.0 12.0 nan 36.0 ""
"""
MEDIA = """\
# %ECSV 1.0
# ---
# datatype:
# - {name: time, datatype: string}
# - {name: station, datatype: string}
# - {name: zenith_dry, unit: m, datatype: float64}
# - {name: zenith_wet, unit: mm, datatype: float64}
# - {name: vertical_content, unit: TECU, datatype: float64}
# schema: astropy-2.0
time station zenith_dry zenith_wet vertical_content
2031-05-01T00:00:00 alder 2.1 120.0 25.0
2031-05-01T01:00:00 alder 2.2 140.0 35.0
"""
HALF_PAST = Epochs.from_time(Time(["2031-05-01T00:30:00"], scale="utc"), "tt")


def read(folder, text, kind=WeatherSeries, **settings):
    (folder / "table.ecsv").write_text(text)
    return read_series(kind, folder / "table.ecsv", **settings)


def test_weather_is_read_in_any_unit_of_its_dimension(tmp_path):
    # Between the two rows, by hand: 90.5 kPa, 11 deg C, 27 km/h; humidity and rain stand in the
    # first row alone, so nothing is known half an hour later.
    series = read(tmp_path, WEATHER, outside="standard")
    found = {q: series.at("alder", q, HALF_PAST)[0] for q in series.quantities()}
    assert found["pressure_hpa"] == pytest.approx(905.0)
    assert found["temperature_k"] == pytest.approx(284.15)
    assert found["wind_m_s"] == pytest.approx(7.5)
    assert np.isnan([found["humidity_percent"], found["rain_mm_h"]]).all()


def test_media_are_read_in_their_units(tmp_path):
    series = read(tmp_path, MEDIA, MediaSeries)
    assert series.at("alder", "zenith_dry_m", HALF_PAST) == pytest.approx(2.15)
    assert series.at("alder", "zenith_wet_m", HALF_PAST) == pytest.approx(0.13)
    # One TEC unit is 1e16 electrons a square metre.
    assert series.at("alder", "vertical_content", HALF_PAST) == pytest.approx(3.0e17)


def test_a_table_that_astropy_wrote_is_read(tmp_path):
    table = QTable(
        {
            "time": Time(["2031-05-01T00:00:00", "2031-05-01T01:00:00"], scale="utc"),
            "station": ["alder", "alder"],
            "pressure": [900.0, 910.0] * u.hPa,
        }
    )
    table.write(tmp_path / "table.ecsv")
    series = read_series(WeatherSeries, tmp_path / "table.ecsv")
    assert series.at("alder", "pressure_hpa", HALF_PAST) == pytest.approx(905.0)


@pytest.mark.parametrize(
    ("text", "error", "message"),
    [
        ("", InputError, "empty"),
        ("time station\n", InputError, "not a table in ECSV"),
        (WEATHER[:-3], InputError, "cut off"),
        (WEATHER[: WEATHER.index("2031")], InputError, "no row"),
        (WEATHER.replace("kPa", "m"), InputError, "pressure.*expected hPa"),
        (WEATHER.replace(", unit: kPa", ""), InputError, "pressure.*unit is missing"),
        (WEATHER.replace("90.0 10.0", "9000.0 10.0"), InputError, "row 0 is out of range"),
        (WEATHER.replace("T01:00", "T25:00"), InputError, "row 1"),
        (WEATHER.replace("alder 91.0", '"" 91.0'), InputError, "row 1 "),
        (WEATHER.replace("wind", "wand"), UnknownNameError, "perhaps 'wind'"),
        (WEATHER.replace("station", "place"), InputError, "station.*column is missing|missing"),
        (WEATHER.replace("90.0", "ninety"), InputError, "ECSV"),
        (WEATHER.replace("kPa", "TECU"), InputError, "pressure"),
    ],
)
def test_broken_tables_are_refused_by_name(tmp_path, text, error, message):
    with pytest.raises(error, match=message) as caught:
        read(tmp_path, text)
    assert "table.ecsv" in str(caught.value)


def test_a_table_without_a_quantity_is_refused(tmp_path):
    Table({"time": ["2031-05-01T00:00:00"], "station": ["alder"]}).write(tmp_path / "table.ecsv")
    with pytest.raises(InputError, match="no quantity"):
        read_series(MediaSeries, tmp_path / "table.ecsv")


# ------------------------------------------------------------------- in a scenario


def series_over_the_campaign(folder, stations, **columns):
    """A table with one sample a day from before to after the campaign of two months."""
    days = Time("2031-04-29", scale="utc") + np.arange(70) * u.day
    table = QTable(
        {
            "time": np.concatenate([days.isot] * len(stations)),
            "station": np.repeat(stations, len(days)),
            **{
                name: np.tile(np.broadcast_to(values, len(days)), len(stations)) << unit
                for name, (values, unit) in columns.items()
            },
        }
    )
    table.write(folder / "series.ecsv", overwrite=True)


def campaign_with(folder, text, section):
    (folder / "campaign.toml").write_text(f"{text}\n{section}\n")
    return wobble.read_scenario(folder / "campaign.toml")


NAMES = ["alder", "broom", "cliff"]
FILES = 'files = ["series.ecsv"]\nlongest_gap = "30 h"\n'


def test_measured_zenith_delays_reach_the_range(tmp_path, short_text, short_campaign, short_passes):
    # 0.1 m more of wet delay at the zenith is 0.1 m times the mapping function on either way.
    tags = short_passes.tags(short_campaign.rule, short_campaign.frequency)[::9]
    values = []
    for wet in (0.1, 0.2):
        series_over_the_campaign(tmp_path, NAMES, zenith_dry=(2.1, u.m), zenith_wet=(wet, u.m))
        campaign = campaign_with(tmp_path, short_text, f"[media]\n{FILES}")
        computed = campaign.plan_network.compute(tags)
        values.append(computed.value)
    ranges = tags.kind == "range"
    # Within 1 % of the cosecant above 15 degrees.
    high = ranges & (computed.elevation > 0.3) & (computed.transmit_elevation > 0.3)
    expected = 0.05 * (1 / np.sin(computed.elevation) + 1 / np.sin(computed.transmit_elevation))
    assert high.sum() > 10
    np.testing.assert_allclose((values[1] - values[0])[high], expected[high], rtol=0.02)


def test_a_growing_delay_is_a_range_rate(tmp_path, short_text, short_campaign, short_passes):
    # 1 mm of wet delay more a day at the zenith, on both ways: 1.2e-8 m/s over sin(elevation).
    tags = short_passes.tags(short_campaign.rule, short_campaign.frequency)
    tags = tags[tags.kind == "range_rate"][::9]
    rates = []
    for growth in (0.0, 1e-3):
        wet = 0.1 + growth * np.arange(70)
        series_over_the_campaign(tmp_path, NAMES, zenith_dry=(2.1, u.m), zenith_wet=(wet, u.m))
        campaign = campaign_with(tmp_path, short_text, f"[media]\n{FILES}")
        computed = campaign.plan_network.compute(tags)
        rates.append(computed.value)
    still = [0.1 + 1e-3 * k for k in (20, 40)]
    # What the mapping function's own change makes of the larger delay is taken off.
    level = []
    for wet in still:
        series_over_the_campaign(tmp_path, NAMES, zenith_dry=(2.1, u.m), zenith_wet=(wet, u.m))
        campaign = campaign_with(tmp_path, short_text, f"[media]\n{FILES}")
        level.append(campaign.plan_network.compute(tags).value)
    per_metre = (level[1] - level[0]) / (still[1] - still[0])
    day = tags.epoch.mjd - Time("2031-04-29").mjd
    grown = rates[1] - rates[0] - per_metre * 1e-3 * day
    sines = 1 / np.sin(computed.elevation) + 1 / np.sin(computed.transmit_elevation)
    high = (computed.elevation > 0.4) & (computed.transmit_elevation > 0.4)
    assert high.sum() > 20
    # The two ways are up to 40 minutes apart, for which the level above has one day.
    np.testing.assert_allclose(grown[high] / (0.5e-3 / 86400.0 * sines[high]), 1.0, atol=0.1)


def test_weather_of_a_scenario_goes_before_the_standard_atmosphere(
    tmp_path, short_text, short_campaign, short_passes
):
    tags = short_passes.tags(short_campaign.rule, short_campaign.frequency)[::9]
    values = []
    for pressure in (900.0, 910.0):
        series_over_the_campaign(
            tmp_path,
            NAMES,
            pressure=(pressure, u.hPa),
            temperature=(283.0, u.K),
            humidity=(0.0, u.percent),
        )
        campaign = campaign_with(tmp_path, short_text, f"[weather]\n{FILES}")
        computed = campaign.plan_network.compute(tags)
        values.append(computed.value)
    high = (tags.kind == "range") & (computed.elevation > 0.3) & (computed.transmit_elevation > 0.3)
    # 2.2768 mm/hPa at the zenith (Saastamoinen 1972).
    sines = 1 / np.sin(computed.elevation) + 1 / np.sin(computed.transmit_elevation)
    expected = 0.5 * 0.022768 * sines
    np.testing.assert_allclose((values[1] - values[0])[high], expected[high], rtol=0.02)


def test_outside_a_series_is_refused_unless_the_scenario_says_how(
    tmp_path, short_text, short_campaign, short_passes
):
    tags = short_passes.tags(short_campaign.rule, short_campaign.frequency)[::50]
    (tmp_path / "series.ecsv").write_text(WEATHER)
    refusing = campaign_with(tmp_path, short_text, f"[weather]\n{FILES}")
    with pytest.raises(EpochRangeError, match=r"pressure_hpa at alder.*series\.ecsv|series\.ecsv"):
        refusing.plan_network.compute(tags)
    computed = {}
    for rule in ("hold", "standard"):
        section = f'[weather]\n{FILES}outside = "{rule}"\n'
        campaign = campaign_with(tmp_path, short_text, section)
        computed[rule] = campaign.plan_network.compute(tags).value
    plain = short_campaign.plan_network.compute(tags).value
    at_alder = tags.receiver == "alder"
    np.testing.assert_array_equal(computed["standard"], plain)
    assert (computed["hold"] != plain)[at_alder & (tags.kind == "range")].all()
    np.testing.assert_array_equal(computed["hold"][~at_alder], plain[~at_alder])


def test_names_that_do_not_fit_are_warned_of(tmp_path, short_text):
    (tmp_path / "series.ecsv").write_text(
        WEATHER + WEATHER.splitlines()[-1].replace("alder", "elder") + "\n"
    )
    campaign = campaign_with(tmp_path, short_text, f"[weather]\n{FILES}")
    assert campaign.warnings == (
        "the weather tables say nothing of broom, cliff",
        "the weather tables have samples of unknown elder",
    )


@pytest.mark.parametrize(
    ("section", "message"),
    [
        ("[weather]\n", r"weather\.files: a key is missing"),
        ("[weather]\nfiles = []\n", "no file is named"),
        ('[weather]\nfiles = ["none.ecsv"]\n', r"none\.ecsv"),
        (f'[weather]\n{FILES}outside = "guess"\n', r"campaign\.toml.*weather\.outside"),
        (f'[weather]\n{FILES}gap = "1 h"\n', "unknown key"),
        ('[weather]\nfiles = ["series.ecsv"]\nlongest_gap = "-1 h"\n', r"weather\.longest_gap"),
        ('[weather]\nfiles = ["series.ecsv", "series.ecsv"]\nlongest_gap = 3\n', "longest_gap"),
        (f"[media]\n{FILES}", "unknown column"),
    ],
)
def test_sections_that_cannot_be_used_are_refused(tmp_path, short_text, section, message):
    (tmp_path / "series.ecsv").write_text(WEATHER)
    with pytest.raises(InputError, match=message):
        campaign_with(tmp_path, short_text, section)


# ------------------------------------------------------------------- suspicious samples


def test_wind_rain_and_low_elevation_are_reasons_in_the_log(
    tmp_path, short_text, short_campaign, short_tracking
):
    days = np.arange(70)
    storm, shower = np.where(days < 20, 20.0, 5.0), np.where(days > 30, 4.0, 0.0)
    series_over_the_campaign(
        tmp_path, ["alder"], wind=(storm, u.m / u.s), rain=(shower, u.mm / u.h)
    )
    limits = """
[editing]
maximum_wind = "15 m/s"
maximum_rain = "2 mm/h"
minimum_elevation = "12 deg"
"""
    campaign = campaign_with(tmp_path, short_text, f"[weather]\n{FILES}{limits}")
    solution = campaign.fit(short_tracking)
    samples = solution.samples
    station = {p: str(short_tracking.receiver[i[0]]) for p, i in short_tracking.passes()}
    at_alder = np.array([station[name] == "alder" for name in samples.pass_name.tolist()])
    day = Time(samples.epoch.tolist(), scale="utc").mjd - Time("2031-04-29").mjd
    windy = at_alder & (day < 19)
    rainy = at_alder & (day > 32)
    assert windy.sum() > 10
    assert rainy.sum() > 10
    for mask, text in (
        (windy, "wind of 20 m/s at alder (limit 15 m/s)"),
        (rainy, "rain of 4 mm/h at alder (limit 2 mm/h)"),
    ):
        assert not samples.accepted[mask].any()
        assert set(samples.reason[mask].tolist()) == {text}
    low = np.char.startswith(samples.reason, "elevation of")
    assert not samples.accepted[low].any()
    everything = short_campaign.fit(short_tracking)
    assert everything.n_used > solution.n_used
    calm = ~(
        np.char.startswith(samples.reason, "wind") | np.char.startswith(samples.reason, "rain")
    )
    assert samples.accepted[calm & ~low].mean() > 0.98


@pytest.mark.parametrize(
    ("limit", "message"),
    [
        ('maximum_wind = "15 m/s"', "no weather table"),
        ('maximum_rain = "2 mm/h"', "no weather table"),
        ('maximum_wind = "15 m"', "does not convert"),
        ('maximum_wind = "-15 m/s"', "not positive"),
        ("minimum_elevation = 10", "minimum_elevation"),
    ],
)
def test_a_limit_without_anything_to_limit_is_refused(tmp_path, short_text, limit, message):
    with pytest.raises(InputError, match=message):
        campaign_with(tmp_path, short_text, f"[editing]\n{limit}")
