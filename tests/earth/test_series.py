"""Series of weather and media: values between samples by hand, gaps, and bad samples."""

import astropy.units as u
import numpy as np
import pytest
from astropy.time import Time

from wobble.earth.series import MediaSeries, WeatherSeries
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError

BEGIN = Time("2016-12-31T22:00:00", scale="utc")


def hours(*given):
    """UTC so many hours after the begin; the leap second of 2016 lies two hours after it."""
    return Time(BEGIN.tai + np.array(given) * u.hour, scale="tai").utc


def tt(*given):
    return Epochs.from_time(hours(*given), "tt")


def weather(**changed):
    given = {
        "station": ["alder"] * 3 + ["broom"],
        "epoch": hours(0.0, 1.0, 3.0, 0.0),
        "pressure_hpa": [900.0, 910.0, 930.0, 1000.0],
        "longest_gap": 2 * 3600.0,
    }
    return WeatherSeries(**(given | changed))


def test_values_lie_on_the_line_between_two_samples():
    # By hand; from one hour to the other across a leap second.
    found = weather().at("alder", "pressure_hpa", tt(0.0, 0.25, 1.0, 2.5, 3.0))
    np.testing.assert_allclose(found, [900.0, 902.5, 910.0, 925.0, 930.0], rtol=1e-12)


def test_the_order_of_the_rows_does_not_matter():
    turned = weather(
        station=["alder"] * 3,
        epoch=hours(3.0, 0.0, 1.0),
        pressure_hpa=[930.0, 900.0, 910.0],
    )
    assert turned.at("alder", "pressure_hpa", tt(0.25)) == pytest.approx(902.5)


def test_a_quantity_without_samples_is_unknown():
    assert np.isnan(weather().at("alder", "temperature_k", tt(0.5))).all()
    assert np.isnan(weather().at("cliff", "pressure_hpa", tt(0.5))).all()


def test_each_quantity_has_its_own_samples():
    # As in a tracking file, where each line gives one quantity.
    series = weather(
        station=["alder"] * 4,
        epoch=hours(0.0, 0.5, 1.0, 1.5),
        pressure_hpa=[900.0, np.nan, 910.0, np.nan],
        temperature_k=[np.nan, 280.0, np.nan, 284.0],
    )
    assert series.at("alder", "pressure_hpa", tt(0.75)) == pytest.approx(907.5)
    assert series.at("alder", "temperature_k", tt(0.75)) == pytest.approx(281.0)


@pytest.mark.parametrize("hour", [-0.01, 3.01])
def test_outside_its_span_a_series_refuses(hour):
    with pytest.raises(EpochRangeError, match=r"pressure_hpa at alder .*2016-12-31T22:00:00 UTC"):
        weather().at("alder", "pressure_hpa", tt(hour))


def test_within_a_long_gap_a_series_refuses():
    series = weather(longest_gap=1.5 * 3600.0)
    assert series.at("alder", "pressure_hpa", tt(0.5)) == pytest.approx(905.0)
    with pytest.raises(EpochRangeError, match="gap of more than 5400 s"):
        series.at("alder", "pressure_hpa", tt(2.0))


def test_the_nearest_sample_holds_if_the_rule_says_so():
    series = weather(outside="hold", longest_gap=1.5 * 3600.0)
    found = series.at("alder", "pressure_hpa", tt(-5.0, 0.5, 1.4, 2.6, 9.0))
    np.testing.assert_allclose(found, [900.0, 905.0, 910.0, 930.0, 930.0])


def test_the_series_is_silent_if_the_rule_says_standard():
    series = weather(outside="standard", longest_gap=1.5 * 3600.0)
    found = series.at("alder", "pressure_hpa", tt(-5.0, 0.5, 2.0, 9.0))
    np.testing.assert_allclose(found, [np.nan, 905.0, np.nan, np.nan])


def test_a_single_sample_counts_at_its_instant():
    assert weather().at("broom", "pressure_hpa", tt(0.0)) == pytest.approx(1000.0)
    with pytest.raises(EpochRangeError):
        weather().at("broom", "pressure_hpa", tt(0.1))


def test_a_repeated_sample_counts_once_and_a_contradiction_is_refused():
    same = weather(station=["alder"] * 3, epoch=hours(0.0, 0.0, 1.0), pressure_hpa=[900, 900, 910])
    assert same.at("alder", "pressure_hpa", tt(0.5)) == pytest.approx(905.0)
    other = weather(station=["alder"] * 3, epoch=hours(0.0, 0.0, 1.0), pressure_hpa=[900, 901, 910])
    with pytest.raises(InputError, match=r"contradict each other at 2016-12-31T22:00:00 UTC"):
        other.at("alder", "pressure_hpa", tt(0.5))


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"pressure_hpa": [90000.0, 910.0, 930.0, 1000.0]}, "row 0 is out of range"),
        ({"temperature_k": [15.0] * 4}, r"temperature_k.*180 to 335"),
        ({"humidity_percent": [np.inf] * 4}, "humidity_percent"),
        ({"wind_m_s": [-1.0] * 4}, "wind_m_s"),
        ({"pressure_hpa": [900.0]}, "another number of rows"),
        ({"station": ["alder", "", "alder", "alder"]}, "row 1 names no station"),
        ({"epoch": hours(0.0, 1.0, 3.0, 0.0).tai}, "UTC times"),
        ({"outside": "guess"}, "refuse or hold or standard"),
        ({"longest_gap": 0.0}, "longest_gap"),
        ({"station": [], "epoch": hours()[:0], "pressure_hpa": []}, "no sample"),
    ],
)
def test_bad_samples_are_refused(changed, message):
    with pytest.raises(InputError, match=message):
        weather(**changed)


def test_a_content_in_another_unit_is_refused():
    given = {"station": ["alder"], "epoch": hours(0.0)}
    assert MediaSeries(vertical_content=[0.0], **given).has("vertical_content")
    with pytest.raises(InputError, match="another unit"):
        MediaSeries(slant_content=[25.0], **given)


def test_series_are_joined_and_renamed():
    both = WeatherSeries.joined(
        [weather(), weather(station=["cliff"] * 4, epoch=hours(0.0, 1.0, 2.0, 3.0))]
    )
    assert both.stations == ("alder", "broom", "cliff")
    assert len(both) == 8
    renamed = both.renamed({"alder": "elm"})
    assert renamed.at("elm", "pressure_hpa", tt(0.25)) == pytest.approx(902.5)
    with pytest.raises(InputError, match="no series"):
        WeatherSeries.joined([])
