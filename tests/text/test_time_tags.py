"""UTC time tags of data files."""

from fractions import Fraction

import erfa
import numpy as np
import pytest
from astropy.time import Time
from hypothesis import given
from hypothesis import strategies as st

from wobble.errors import InputError
from wobble.text.time_tags import (
    calendar_text,
    day_and_seconds,
    day_number,
    parse_calendar,
    utc_time,
)


@pytest.mark.parametrize(
    "text",
    [
        "2005-07-10T00:31:51",
        "1998-06-10T00:57:37.123456789",
        "2016-12-31T23:59:60.25",  # the leap second at the end of 2016 (IERS Bulletin C 52)
        "2016-12-31T23:59:59.75",
        "2017-01-01T00:00:00",
        "2012-02-29T12:00:00",
    ],
)
def test_calendar_tags_agree_with_the_sofa_library(text):
    # SOFA dtf2d by way of astropy.
    expected = Time(text, format="isot", scale="utc")
    found = utc_time([parse_calendar(text)])[0]
    assert abs((found - expected).to_value("s")) < 3e-11
    assert calendar_text(found)[0].rstrip("0") == text.rstrip("0")


def test_a_leap_second_lasts_one_second():
    times = utc_time(
        map(parse_calendar, ["2016-12-31T23:59:59", "2016-12-31T23:59:60", "2017-01-01T00:00:00"])
    )
    np.testing.assert_allclose((times[1:] - times[:-1]).to_value("s"), 1.0, atol=1e-11)


def test_day_of_year_and_date_are_the_same_instant():
    # 2005-191 is 10 July; 2010-215 is 3 August (calendar).
    assert parse_calendar("2005-191T00:31:51Z") == parse_calendar("2005-07-10T00:31:51")
    assert parse_calendar("2010-215T20:04:24") == parse_calendar("2010-08-03T20:04:24")
    assert parse_calendar("2012-366T01:00:00") == parse_calendar("2012-12-31T01:00:00")


def test_modified_julian_day_agrees_with_the_sofa_library():
    assert day_number(2015, 4, 29) == erfa.cal2jd(2015, 4, 29)[1]


@pytest.mark.filterwarnings("ignore::erfa.ErfaWarning")
@given(
    mjd=st.integers(41_317, 88_000),
    seconds=st.integers(0, 86_399),
    decimals=st.text("0123456789", max_size=12),
)
def test_tags_are_rounded_once_and_written_back(mjd, seconds, decimals):
    jd1, jd2 = day_and_seconds(mjd, f"{seconds}.{decimals}")
    length = 86_401 if erfa_day_length(mjd) > 86_400.5 else 86_400
    exact = Fraction(f"{seconds}.{decimals or '0'}") / length - Fraction(1, 2)
    assert jd1 == mjd + 2_400_001
    assert jd2 == float(exact)
    time = utc_time([(jd1, jd2)])
    again = utc_time(map(parse_calendar, calendar_text(time)))
    assert (again.jd1[0], again.jd2[0]) == (time.jd1[0], time.jd2[0])


def erfa_day_length(mjd: int) -> float:
    year, month, day, _ = erfa.jd2cal(2_400_000.5, mjd)
    next_year, next_month, next_day, _ = erfa.jd2cal(2_400_000.5, mjd + 1)
    later = erfa.dat(next_year, next_month, next_day, 0.0)
    return 86_400.0 + later - erfa.dat(year, month, day, 0.0)


@given(jd2=st.floats(-0.5, 0.5))
def test_any_time_is_written_so_that_it_is_read_back(jd2):
    time = Time([2_459_000.0], [jd2], format="jd", scale="utc")
    again = utc_time(map(parse_calendar, calendar_text(time)))
    assert abs((again - time).to_value("s")[0]) < 1e-23
    if abs(jd2) > 1e-12:
        assert (again.jd1[0], again.jd2[0]) == (time.jd1[0], time.jd2[0])


@pytest.mark.parametrize(
    "text",
    [
        "",
        "2015-04-31T00:00:00",
        "2015-366T00:00:00",
        "2015-000T00:00:00",
        "2015-04-29T24:00:00",
        "2015-04-29T12:60:00",
        "2015-04-29T23:59:60",
        "2016-12-31T23:58:60",
        "2003-07-08T04:10:0000",
        "2015-04-29 12:00:00",
        "2015-04-29T12:00:00+01:00",
        "2015-04-29T12:00:nan",
        "٢٠١٥-04-29T12:00:00",
        "0001-01-01T00:00:00",
        "9999-12-31T00:00:00",
    ],
)
def test_what_is_no_instant_is_refused(text):
    with pytest.raises(InputError):
        parse_calendar(text)


def test_seconds_beyond_the_day_are_refused_but_for_a_leap_second():
    with pytest.raises(InputError, match="end of the day"):
        day_and_seconds(57_141, "86400.0")
    assert day_and_seconds(57_753, "86400.5")[1] == pytest.approx(0.5, abs=1e-5)
