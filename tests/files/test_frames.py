"""Measurements as pandas and xarray have them."""

import sys

import numpy as np
import pandas as pd
import pytest
from astropy.time import Time
from test_passes_file import campaign

from wobble.errors import InputError
from wobble.measurements.tracking import COLUMNS, Tracking
from wobble.text.time_tags import calendar_text


def test_every_column_is_there_with_its_values_and_unit():
    tracking = campaign()
    frame, data = tracking.to_pandas(), tracking.to_xarray()
    for name in COLUMNS:
        np.testing.assert_array_equal(frame[name].to_numpy(), getattr(tracking, name))
        np.testing.assert_array_equal(data[name].values, getattr(tracking, name))
    assert data["frequency"].attrs == {"units": "Hz"}
    assert frame.attrs["units"]["pressure_hpa"] == "hPa"
    assert frame.attrs["meta"] == tracking.meta
    assert data.attrs == tracking.meta
    assert set(frame.columns) == {*data.data_vars, "epoch"} == {*COLUMNS, "epoch", "jd1", "jd2"}


def test_epochs_are_right_to_a_nanosecond_and_exact_in_two_parts():
    tracking = campaign()
    frame, data = tracking.to_pandas(), tracking.to_xarray()
    # pandas reads the text of the time tags by itself.
    expected = pd.to_datetime(
        [text[:29] for text in calendar_text(tracking.epoch)], format="ISO8601"
    )
    assert np.abs(frame["epoch"].to_numpy() - expected.to_numpy()).max() <= np.timedelta64(1, "ns")
    np.testing.assert_array_equal(data["epoch"].values, frame["epoch"].to_numpy())
    back = Time(frame["jd1"].to_numpy(), frame["jd2"].to_numpy(), format="jd", scale="utc")
    assert (back == tracking.epoch).all()


def test_a_leap_second_coincides_with_the_second_after_it():
    # IERS Bulletin C 52: 2016-12-31 ended with 23:59:60.
    column = campaign()[:3]
    times = Time(["2016-12-31T23:59:59.5", "2016-12-31T23:59:60.5", "2017-01-01T00:00:00.5"])
    tracking = Tracking(**{name: getattr(column, name) for name in COLUMNS}, epoch=times)
    found = tracking.to_pandas()["epoch"].to_numpy().astype(str).tolist()
    assert found == [
        "2016-12-31T23:59:59.500000000",
        "2017-01-01T00:00:00.500000000",
        "2017-01-01T00:00:00.500000000",
    ]


@pytest.mark.parametrize("name", ["pandas", "xarray"])
def test_what_is_not_installed_is_named_with_the_extra(name, monkeypatch):
    monkeypatch.setitem(sys.modules, name, None)
    with pytest.raises(InputError, match=rf"{name} is not installed.*wobble\[tables\]"):
        getattr(campaign(), f"to_{name}")()
