"""Two-part epochs against exact fractions and against `astropy.time`."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from astropy.time import Time, TimeDelta
from hypothesis import given
from hypothesis import strategies as st

from wobble.epochs import Epochs, iso_texts, tdb_minus_tt
from wobble.errors import InputError

NANOSECOND = 1e-9
# Resolution of a fraction of a second, and of the two-part days of a Julian date.
ROUNDING = 2.0**-53
DAYS_ROUNDING = 2e-11

seconds = st.floats(-4e10, 4e10)
fractions = st.floats(-1e5, 1e5)


def exact(epochs: Epochs) -> Fraction:
    return Fraction(epochs.seconds[0]) + Fraction(epochs.fraction[0])


# ---------------------------------------------------------------------------------------------
# Every door keeps a nanosecond


@given(seconds, fractions)
def test_two_parts_are_carried_over_exactly(a: float, b: float) -> None:
    epoch = Epochs.of(a, b)
    assert epoch.seconds[0] == np.round(epoch.seconds[0])
    assert abs(epoch.fraction[0]) <= 0.5
    assert abs(exact(epoch) - (Fraction(a) + Fraction(b))) <= ROUNDING


@given(seconds, fractions, fractions)
def test_a_shift_adds_exactly(a: float, b: float, step: float) -> None:
    epoch = Epochs.of(a, b)
    assert abs(exact(epoch.shift(step)) - exact(epoch) - Fraction(step)) <= 2 * ROUNDING


@given(seconds, st.floats(-0.5, 0.5), st.floats(-1e-3, 1e-3))
def test_a_small_step_is_found_again_by_the_difference(a: float, b: float, step: float) -> None:
    epoch = Epochs.of(a, b)
    assert abs(epoch.shift(step).minus(epoch)[0] - step) <= 2 * ROUNDING


@given(st.integers(2_300_000, 2_600_000), st.floats(-0.5, 0.5))
@pytest.mark.parametrize("scale", ["tdb", "tt"])
def test_astropy_times_enter_exactly(scale: str, day: int, part: float) -> None:
    time = Time(day, part, format="jd", scale=scale)
    expected = (Fraction(time.jd1) - 2451545 + Fraction(time.jd2)) * 86400
    assert abs(exact(Epochs.from_time(time, scale)) - expected) <= ROUNDING


@given(st.integers(-(10**9), 10**9), st.floats(-0.5, 0.5))
def test_epochs_leave_to_astropy_and_come_back(whole: int, part: float) -> None:
    epoch = Epochs.of(float(whole), part)
    back = Epochs.from_time(epoch.to_time(), "tdb")
    assert abs(back.minus(epoch)[0]) <= DAYS_ROUNDING


@given(st.integers(-(10**9), 10**9), st.floats(-0.5, 0.5))
def test_the_two_part_julian_date_adds_up(whole: int, part: float) -> None:
    epoch = Epochs.of(float(whole), part)
    day, rest = epoch.julian_date
    found = (Fraction(day[0]) - 2451545 + Fraction(rest[0])) * 86400
    assert abs(found - exact(epoch)) <= DAYS_ROUNDING
    assert day[0] == np.round(day[0])
    # The second part of an epoch lies within half a second of a whole one, to either side.
    assert -0.5 / 86400 <= rest[0] <= 1.0


def test_a_nanosecond_survives_each_door() -> None:
    utc = Time("2021-05-01T12:34:56", scale="utc")
    later = utc + TimeDelta(NANOSECOND, format="sec")
    doors = {
        "utc to tdb": (Epochs.from_time(utc, "tdb"), Epochs.from_time(later, "tdb")),
        "utc to tt": (Epochs.from_time(utc, "tt"), Epochs.from_time(later, "tt")),
        "tdb": (Epochs.from_time(utc.tdb), Epochs.from_time(later.tdb)),
    }
    start = Epochs.from_time(utc)
    doors["shift"] = (start, start.shift(NANOSECOND))
    doors["of"] = (Epochs.of(9.9e8, 0.25), Epochs.of(9.9e8, 0.25 + NANOSECOND))
    doors["to time"] = (
        Epochs.from_time(start.to_time()),
        Epochs.from_time(start.shift(NANOSECOND).to_time()),
    )
    for door, (before, after) in doors.items():
        step = after.minus(before)[0]
        assert step == pytest.approx(NANOSECOND, abs=2 * DAYS_ROUNDING), door


def test_utc_enters_with_its_leap_seconds() -> None:
    # TAI - UTC was 36 s until the end of 2016 and 37 s after it (IERS Bulletin C 52).
    times = Time(["2016-12-31T23:59:59", "2016-12-31T23:59:60", "2017-01-01T00:00:00"])
    epochs = Epochs.from_time(times, "tt")
    days = 366 * 5 + 365 * 12 - 0.5  # from noon of 2000-01-01 to 2017-01-01
    expected = days * 86400 + np.array([-1.0, 0.0, 1.0]) + 36 + 32.184
    np.testing.assert_allclose(epochs.seconds - expected + epochs.fraction, 0, atol=2e-7)
    np.testing.assert_allclose(epochs[1:].minus(epochs[:-1]), 1.0, atol=DAYS_ROUNDING)


# ---------------------------------------------------------------------------------------------
# What is refused, and how epochs show themselves


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_an_epoch_that_is_not_finite_is_refused(bad: float) -> None:
    for parts in ((bad, 0.0), (0.0, bad)):
        with pytest.raises(InputError, match="not finite"):
            Epochs.of(*parts)
    with pytest.raises(InputError, match="not finite"):
        Epochs.of(0.0).shift(bad)


def test_an_unknown_scale_is_refused() -> None:
    with pytest.raises(InputError, match="unknown time scale; found 'utc'; expected tdb or tt"):
        Epochs.of(0.0, scale="utc")


def test_epochs_of_two_scales_have_no_difference() -> None:
    with pytest.raises(InputError, match="two scales"):
        Epochs.of(0.0, scale="tt").minus(Epochs.of(0.0, scale="tdb"))


def test_epochs_are_counted_indexed_and_walked_through() -> None:
    epochs = Epochs.of([0.0, 1.0, 2.0], 0.25, "tt")
    assert len(epochs) == 3
    assert [e.seconds[0] for e in epochs] == [0.0, 1.0, 2.0]
    assert {e.scale for e in epochs} == {"tt"}
    assert epochs[-1].since_j2000[0] == 2.25
    np.testing.assert_array_equal(epochs[epochs.seconds > 0].seconds, [1.0, 2.0])


def test_epochs_show_their_number_span_and_scale() -> None:
    text = repr(Epochs.of([0.0, 86400.0]))
    assert text == "<Epochs: 2, 2000-01-01T12:00:00.000 to 2000-01-02T12:00:00.000 TDB>"
    assert repr(Epochs.of(np.array([]))) == "<Epochs: none, TDB>"


# ---------------------------------------------------------------------------------------------
# TDB - TT


def test_tdb_minus_tt_is_that_of_astropy_at_the_geocentre() -> None:
    times = Time(np.linspace(1990.0, 2025.0, 50), format="jyear", scale="tt")
    by_astropy = ((times.tdb.jd1 - times.jd1) + (times.tdb.jd2 - times.jd2)) * 86400
    ours = tdb_minus_tt(Epochs.from_time(times, "tt"))
    np.testing.assert_allclose(ours, by_astropy, atol=DAYS_ROUNDING)


def test_tdb_minus_tt_differs_from_the_sofa_case_by_the_place_on_the_earth_alone() -> None:
    # SOFA test case of iauDtdb: an observer 5525 km from the axis, whose own terms are at most
    # 2.1 microseconds (Moyer 1981, Celest. Mech. 23, 33).
    epoch = Epochs.of((2448939.5 - 2451545.0) * 86400, 0.123 * 86400)
    difference = tdb_minus_tt(epoch)[0] - -0.1280368005936998991e-2
    assert 1e-9 < abs(difference) < 2.1e-6


def test_tdb_minus_tt_has_its_known_amplitude() -> None:
    # Largest value in 2000 and 2001 by the SOFA routine itself: 1.643 ms.
    year = Epochs.of(np.arange(0.0, 2 * 365.25 * 86400, 86400.0))
    assert np.abs(tdb_minus_tt(year)).max() == pytest.approx(1.643e-3, abs=1e-6)


def test_texts_of_instants_are_those_of_astropy_leap_second_and_all() -> None:
    # astropy.time writes the same; the second 60 stood at the end of 2016 (IERS Bulletin C 52).
    time = Time("2016-12-31T23:59:58.0005", scale="utc") + np.arange(40) * TimeDelta(
        0.1, format="sec"
    )
    far = Time(["1969-07-21T02:56:15.123", "2031-05-01T00:00:00", "2050-12-31T23:59:59.9996"])
    assert any(text.startswith("2016-12-31T23:59:60.") for text in iso_texts(time))
    np.testing.assert_array_equal(iso_texts(time), time.isot)
    np.testing.assert_array_equal(iso_texts(far), far.isot)
