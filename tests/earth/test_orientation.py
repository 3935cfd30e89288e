"""The Earth's orientation against SOFA, astropy, Skyfield and 40-digit arithmetic."""

from __future__ import annotations

from dataclasses import replace

import erfa
import mpmath
import numpy as np
import pytest
from astropy.coordinates import GCRS, ITRS, CartesianRepresentation
from astropy.time import Time
from astropy.units import Quantity
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from skyfield.api import load
from skyfield.framelib import itrs

from wobble.chebyshev import ChebyshevTable
from wobble.earth import orientation
from wobble.earth.orientation import (
    EarthOrientation,
    OrientationTable,
    earth_rotation_angle,
    extended,
    packaged_table,
    tio_locator,
)
from wobble.earth.subdaily import subdaily_variations
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError

Array = NDArray[np.float64]

DAY = 86400.0
ARCSECOND = np.pi / 180 / 3600
STATION = np.array([4075578.385, 931852.890, 4801570.154])


def tt_of_utc(times: Time) -> Epochs:
    return Epochs.from_time(times, "tt")


def at(date: str) -> Epochs:
    return tt_of_utc(Time(date, scale="utc"))


@pytest.fixture(scope="module")
def two_years() -> EarthOrientation:
    return EarthOrientation.over(at("2018-03-01"), at("2020-03-01"))


def random_epochs(number: int, seed: int = 5) -> Epochs:
    random = np.random.default_rng(seed)
    start = at("2018-03-01").seconds[0]
    return Epochs.of(start + random.uniform(0, 730 * DAY, number), 0.0, "tt")


@pytest.fixture(scope="module")
def at_midnight() -> tuple[EarthOrientation, Time]:
    """What astropy and Skyfield can follow: 0h UTC, no offsets of the celestial pole.

    The sub-daily variations are taken off the table, so that with them each midnight has just
    the table's values; at midnight it is of no consequence how others interpolate.
    """
    table = packaged_table()
    days = (table.mjd > 58100) & (table.mjd < 58900)
    x, y, ut1 = subdaily_variations(tt_of_utc(Time(table.mjd[days], format="mjd", scale="utc")))
    plain = OrientationTable(
        mjd=table.mjd[days],
        x_pole=table.x_pole[days] - x,
        y_pole=table.y_pole[days] - y,
        ut1_minus_tai=table.ut1_minus_tai[days] - ut1,
        dx=np.zeros_like(x),
        dy=np.zeros_like(x),
        status=table.status[days],
        source="test",
    )
    midnights = Time(np.arange(58200.0, 58800.0, 29.0), format="mjd", scale="utc")
    epochs = tt_of_utc(midnights)
    return EarthOrientation.over(epochs[0], epochs[-1], plain), midnights


def table_values(times: Time) -> tuple[Array, Array, Array]:
    """x_p, y_p (rad) and UT1 - TAI (s) of the packaged table at 0h UTC days."""
    table = packaged_table()
    index = np.searchsorted(table.mjd, times.mjd)
    return table.x_pole[index], table.y_pole[index], table.ut1_minus_tai[index]


# ---------------------------------------------------------------------------------------------
# Against published values and other libraries


def test_the_chain_gives_the_sofa_test_case(monkeypatch: pytest.MonkeyPatch) -> None:
    # SOFA test case of iauC2t06a, GCRS to ITRS: UT1 = TT = MJD 53736.
    expected = np.array(
        [
            [-0.1810332128305897282, 0.9834769806938592296, 0.6555550962998436505e-4],
            [-0.9834768134136214897, -0.1810332203649130832, 0.5749800844905594110e-3],
            [0.5773474024748545878e-3, 0.3961816829632690581e-4, 0.9999998325501747785],
        ]
    )
    monkeypatch.setattr(
        orientation, "subdaily_variations", lambda epochs: (np.zeros(len(epochs)),) * 3
    )
    mjd = np.arange(53700.0, 53780.0)
    same = np.ones_like(mjd)
    table = OrientationTable(
        mjd=mjd,
        x_pole=2.55060238e-7 * same,
        y_pole=1.860359247e-6 * same,
        ut1_minus_tai=32.184 * same,
        dx=0 * same,
        dy=0 * same,
        status=np.full(mjd.size, "final"),
        source="test",
    )
    epoch = Epochs.of((53736.0 - 51544.5) * DAY, scale="tt")
    earth = EarthOrientation.over(epoch, epoch, table)
    matrix = np.stack([earth.gcrs(axis, epoch)[0] for axis in np.eye(3)])
    np.testing.assert_allclose(matrix, expected, rtol=0, atol=1e-14)
    np.testing.assert_allclose(earth.itrf(np.eye(3)[:1], epoch)[0], expected[:, 0], atol=1e-14)


def test_angles_of_the_intermediate_system_give_the_sofa_test_cases() -> None:
    # SOFA test case of iauGst06a, through the equation of the origins; UT1 = TT = MJD 53736.
    epoch = Epochs.of((53736.0 - 51544.5) * DAY, scale="tt")
    origins = erfa.eo06a(*epoch.julian_date)
    sidereal = earth_rotation_angle(epoch, np.zeros(1)) - origins
    assert sidereal[0] == pytest.approx(1.754166137675019159, abs=1e-14)
    # SOFA test case of iauSp00, MJD 52541.
    epoch = Epochs.of((52541.0 - 51544.5) * DAY, scale="tt")
    assert tio_locator(epoch)[0] == pytest.approx(-0.6216698469981019309e-11, abs=1e-24)


def test_the_rotation_angle_is_that_of_the_conventions_in_forty_digits() -> None:
    # IERS Conventions 2010, eq. 5.15; SOFA's era00 differs from it by up to 4e-14 rad.
    epochs = random_epochs(100)
    ut1_minus_tt = np.full(100, -69.18)
    found = earth_rotation_angle(epochs, ut1_minus_tt)
    with mpmath.workdps(40):
        for k in range(100):
            seconds = (epochs.seconds[k], epochs.fraction[k], ut1_minus_tt[k])
            days = sum(mpmath.mpf(part) for part in seconds) / 86400
            turns = mpmath.mpf("0.7790572732640") + mpmath.mpf("1.00273781191135448") * days
            assert abs(found[k] - 2 * mpmath.pi * mpmath.frac(turns)) < 3e-14


def test_stations_are_where_astropy_puts_them(
    at_midnight: tuple[EarthOrientation, Time],
) -> None:
    earth, times = at_midnight
    place = [Quantity(np.full(len(times), c), "m") for c in STATION]
    fixed = ITRS(CartesianRepresentation(*place), obstime=times)
    expected = fixed.transform_to(GCRS(obstime=times)).cartesian.xyz.to_value("m").T
    np.testing.assert_allclose(earth.gcrs(STATION, tt_of_utc(times)), expected, rtol=0, atol=1e-6)


def test_stations_are_where_skyfield_puts_them_to_its_own_error(
    at_midnight: tuple[EarthOrientation, Time],
) -> None:
    # With the same UT1 and pole Skyfield stays within 0.11 mm in 2018 and 2019: it reaches the
    # same frame by the equinox, with a series of sidereal time of its own.
    earth, times = at_midnight
    x, y, ut1_minus_tai = (v[:10] for v in table_values(times))
    ours = earth.gcrs(STATION, tt_of_utc(times))
    for k in range(10):
        scale = load.timescale(delta_t=32.184 - ut1_minus_tai[k])
        day = times.tt.jd[k]
        scale.polar_motion_table = (
            np.array([day - 1, day + 1]),
            np.full(2, x[k] / ARCSECOND),
            np.full(2, y[k] / ARCSECOND),
        )
        rotation = itrs.rotation_at(scale.tt_jd(times.tt.jd1[k], times.tt.jd2[k]))
        np.testing.assert_allclose(rotation.T @ STATION, ours[k], rtol=0, atol=2e-4)


def direct(epochs: Epochs) -> Array:
    """GCRS vectors of the station by SOFA's routines at each epoch, nothing put on records."""
    table = packaged_table()
    days = (table.mjd > 58000) & (table.mjd < 59000)
    knots = tt_of_utc(Time(table.mjd[days], format="mjd", scale="utc")).since_j2000
    columns = (table.x_pole, table.y_pole, table.ut1_minus_tai, table.dx, table.dy)
    spline = CubicSpline(knots, np.column_stack([c[days] for c in columns]))
    xp, yp, ut1_minus_tai, dx, dy = spline(epochs.since_j2000).T
    tide_x, tide_y, tide_ut1 = subdaily_variations(epochs)
    day, part = epochs.julian_date
    x, y, s = erfa.xys06a(day, part)
    ut1 = part + (ut1_minus_tai - 32.184 + tide_ut1) / DAY
    matrix = erfa.c2tcio(
        erfa.c2ixys(x + dx, y + dy, s),
        erfa.era00(day, ut1),
        erfa.pom00(xp + tide_x, yp + tide_y, erfa.sp00(day, part)),
    )
    return np.einsum("nji,j->ni", matrix, STATION)


def test_records_interpolate_to_well_below_a_hundredth_of_a_millimetre(
    two_years: EarthOrientation,
) -> None:
    epochs = random_epochs(1000)
    error = np.linalg.norm(two_years.gcrs(STATION, epochs) - direct(epochs), axis=1)
    # The comparison itself ends at 2e-7 m: SOFA's rotation angle is rounded by up to 4e-14 rad
    # (against 40 digits), the package's own by 2.5e-14.
    assert error.max() < 2e-7


def test_observed_offsets_of_the_celestial_pole_move_a_station_by_millimetres(
    two_years: EarthOrientation,
) -> None:
    # Some 0.2 mas in 2018 to 2020, the free core nutation; left out they would be missed.
    table = two_years.table
    plain = EarthOrientation.over(
        at("2018-03-01"),
        at("2018-04-01"),
        replace(table, dx=np.zeros_like(table.dx), dy=np.zeros_like(table.dy)),
    )
    epochs = random_epochs(100)[random_epochs(100).seconds < at("2018-03-30").seconds]
    moved = two_years.gcrs(STATION, epochs) - plain.gcrs(STATION, epochs)
    assert 1e-3 < np.linalg.norm(moved, axis=1).max() < 20e-3


# ---------------------------------------------------------------------------------------------
# Increments


def exact_values(table: ChebyshevTable, middle: mpmath.mpf, t: mpmath.mpf) -> list[mpmath.mpf]:
    record = int(mpmath.floor((middle - table.start) / table.length))
    x = 2 * (t - table.start) / mpmath.mpf(table.length) - 2 * record - 1
    sums = []
    for coefficients in table.coefficients[record]:
        powers = [mpmath.mpf(1), x]
        for _ in coefficients[2:]:
            powers.append(2 * x * powers[-1] - powers[-2])
        sums.append(
            mpmath.fsum(mpmath.mpf(c) * p for c, p in zip(coefficients, powers, strict=True))
        )
    return sums


def exactly_turned(axis: int, angle: mpmath.mpf, v: mpmath.matrix) -> mpmath.matrix:
    """Passive rotation of a vector about axis 0, 1 or 2."""
    i, j = (axis + 1) % 3, (axis + 2) % 3
    turned = v.copy()
    turned[i] = mpmath.cos(angle) * v[i] + mpmath.sin(angle) * v[j]
    turned[j] = -mpmath.sin(angle) * v[i] + mpmath.cos(angle) * v[j]
    return turned


def exact_gcrs(
    earth: EarthOrientation, itrf: list[mpmath.mpf], middle: mpmath.mpf, t: mpmath.mpf
) -> mpmath.matrix:
    """The IERS Conventions' chain in 40 digits from the same records (eqs. 5.1 to 5.15)."""
    x, y, s = exact_values(earth.celestial_pole, middle, t)
    xp, yp, ut1_minus_tt = exact_values(earth.spin_and_pole, middle, t)
    century = mpmath.mpf(36525 * 86400)
    locator = -mpmath.mpf("47e-6") / 3600 * mpmath.pi / 180 * t / century
    turns = mpmath.mpf("0.7790572732640") + mpmath.mpf("1.00273781191135448") * (
        (t + ut1_minus_tt) / 86400
    )
    v = exactly_turned(0, yp, mpmath.matrix(itrf))
    v = exactly_turned(1, xp, v)
    v = exactly_turned(2, -locator - 2 * mpmath.pi * turns + s, v)
    z = mpmath.sqrt(1 - x * x - y * y)
    a = 1 / (1 + z)
    q = mpmath.matrix([[1 - a * x * x, -a * x * y, x], [-a * x * y, 1 - a * y * y, y], [-x, -y, z]])
    return q * v


def relative_error_of_increments(
    earth: EarthOrientation, epochs: Epochs, drift: Array, interval: float
) -> Array:
    found = earth.increment(STATION, drift, epochs, np.full(len(epochs), interval))
    errors = []
    for n in range(len(epochs)):
        with mpmath.workdps(40):
            start = mpmath.mpf(epochs.seconds[n]) + mpmath.mpf(epochs.fraction[n])
            middle, end = start + mpmath.mpf(interval) / 2, start + mpmath.mpf(interval)
            place = [mpmath.mpf(c) for c in STATION]
            later = [p + mpmath.mpf(d) for p, d in zip(place, drift, strict=True)]
            step = exact_gcrs(earth, later, middle, end) - exact_gcrs(earth, place, middle, start)
            error = [float(step[k] - mpmath.mpf(found[n, k])) for k in range(3)]
        errors.append(np.linalg.norm(error) / np.linalg.norm(found[n]))
    return np.array(errors)


@pytest.mark.parametrize("interval", [1.0, 60.0, 3600.0])
def test_increments_equal_those_in_forty_digits(
    two_years: EarthOrientation, interval: float
) -> None:
    epochs = random_epochs(40).shift(0.1234)
    drift = np.array([1e-9, -2e-9, 5e-10]) * interval
    # At 400 m/s: 1e-8 mm/s is 3e-14 of the step.
    assert relative_error_of_increments(two_years, epochs, drift, interval).max() < 3e-14


def test_increments_are_exact_for_an_exaggerated_earth_too(two_years: EarthOrientation) -> None:
    # A pole that leans by tenths of a radian and moves as fast as the station: every product of
    # small quantities counts.
    random = np.random.default_rng(13)
    wild = replace(
        two_years,
        celestial_pole=ChebyshevTable(0.0, DAY, random.normal(size=(1, 3, 5)) / 10, scale="tt"),
        spin_and_pole=ChebyshevTable(0.0, DAY, random.normal(size=(1, 3, 5)) / 10, scale="tt"),
    )
    epochs = Epochs.of(np.linspace(0.0, DAY - 3700, 20), 0.25, "tt")
    drift = np.array([1e3, -2e3, 3e3])
    assert relative_error_of_increments(wild, epochs, drift, 3600.0).max() < 3e-14


def test_the_velocity_is_that_of_the_increments(two_years: EarthOrientation) -> None:
    epochs = random_epochs(200)
    tenth = np.full(200, 0.1)
    secant = two_years.increment(STATION, np.zeros(3), epochs.shift(-0.05), tenth) / 0.1
    error = np.linalg.norm(two_years.velocity(two_years.gcrs(STATION, epochs)) - secant, axis=1)
    # One year from the middle of the span at most: 0.05 m/s of precession, 0.02 of nutation.
    assert error.max() < 0.07
    near = np.abs(epochs.since_j2000 - at("2019-03-01").since_j2000) < 30 * DAY
    assert error[near].max() < 0.01


def test_terrestrial_and_celestial_vectors_turn_back_into_each_other(
    two_years: EarthOrientation,
) -> None:
    epochs = random_epochs(20)
    back = two_years.itrf(two_years.gcrs(STATION, epochs), epochs)
    np.testing.assert_allclose(back, np.broadcast_to(STATION, (20, 3)), rtol=0, atol=1e-8)


def test_the_pole_has_its_sub_daily_variation(two_years: EarthOrientation) -> None:
    hours = at("2019-01-01").shift(np.arange(0.0, 2 * DAY, 3600.0))
    x, y = two_years.terrestrial_pole(hours)
    table = two_years.table
    near = np.abs(table.mjd - 58484.0) < 20
    knots = tt_of_utc(Time(table.mjd[near], format="mjd", scale="utc")).since_j2000
    daily = CubicSpline(knots, np.column_stack([table.x_pole, table.y_pole])[near])
    variation = (np.column_stack([x, y]) - daily(hours.since_j2000)) / ARCSECOND
    # IERS Conventions 2010, section 8.2: up to about 1 mas.
    assert ((np.abs(variation).max(axis=0) > 0.1e-3) & (np.abs(variation) < 1.2e-3)).all()


# ---------------------------------------------------------------------------------------------
# The table


def test_the_packaged_table_is_continuous_from_finals_to_predictions() -> None:
    table = packaged_table()
    assert table.last_day("final") < table.last_day("rapid") < table.last_day("predicted")
    assert table.last_day("predicted") == table.mjd[-1]
    # A day is longer than 86400 s by some milliseconds; a leap second would show as a jump.
    assert np.abs(np.diff(table.ut1_minus_tai)).max() < 5e-3
    day = np.searchsorted(table.mjd, 57754.0)  # 2017-01-01, TAI - UTC = 37 s
    by_astropy = Time(57754.0, format="mjd", scale="utc").delta_ut1_utc
    assert table.ut1_minus_tai[day] == pytest.approx(by_astropy - 37.0, abs=1e-9)
    assert "final to" in repr(table)
    assert "predicted to" in repr(table)


def test_offsets_of_the_pole_are_held_where_predictions_have_none() -> None:
    table = packaged_table()
    assert np.ptp(table.dx[-100:]) == 0.0
    assert 0.0 < abs(table.dx[-1]) / ARCSECOND < 1e-3


def small_table(**changes: Array) -> OrientationTable:
    mjd = np.arange(58000.0, 58100.0)
    columns = {
        "mjd": mjd,
        "x_pole": 1e-6 + 0 * mjd,
        "y_pole": 2e-6 + 0 * mjd,
        "ut1_minus_tai": -37.0 - 1e-3 * (mjd - mjd[0]),
        "dx": 1e-9 + 0 * mjd,
        "dy": 0 * mjd,
    }
    return OrientationTable(
        **(columns | changes), status=np.full(mjd.size, "final"), source="small table"
    )


def test_a_table_is_continued_with_its_last_rate_and_its_last_pole() -> None:
    table = small_table()
    longer = extended(table, 58109.2)
    assert longer.mjd[-1] == 58110.0
    assert longer.last_day("final") == 58099.0
    assert longer.last_day("extended") == 58110.0
    assert longer.ut1_minus_tai[-1] == pytest.approx(-37.0 - 1e-3 * 110, abs=1e-12)
    assert (longer.x_pole[-11:], longer.dx[-1]) == (pytest.approx(1e-6), 1e-9)
    assert extended(table, 58050.0) is table


def test_the_rule_errs_by_no_more_than_it_says() -> None:
    # Each year since 1973 foretold from the year before: at most 0.3 s a year.
    table = packaged_table()
    now = np.arange(np.searchsorted(table.mjd, 41684.0), table.mjd.size - 365)
    ut1 = table.ut1_minus_tai
    error = ut1[now + 365] - (2 * ut1[now] - ut1[now - 365])
    assert 0.1 < np.abs(error).max() < orientation.UT1_DRIFT_SCATTER_PER_YEAR


def test_a_plan_beyond_the_table_says_so_and_how_large_the_effect_is() -> None:
    span = [Epochs.of((mjd - 51544.5) * DAY, scale="tt") for mjd in (64328.0, 64359.0)]
    earth = EarthOrientation.over(*span, small_table(), extend=True)
    assert earth.note == (
        "Earth orientation continued by rule after 2017-12-12 (UT1 at its last yearly rate, pole "
        "held), by 17.1 years: UT1 uncertain by some 5.1 s, a station by some 2391 m and a rise "
        "time by some 5.1 s; no new leap second is assumed"
    )
    assert earth.terrestrial_pole(span[0])[1][0] == pytest.approx(2e-6, abs=1e-8)


def test_a_span_within_the_table_needs_no_note_and_predictions_get_one() -> None:
    table = small_table()
    first, last = (Epochs.of((mjd - 51544.5) * DAY, scale="tt") for mjd in (58020.0, 58090.0))
    assert EarthOrientation.over(first, last, table, extend=True).note == ""
    foretold = replace(table, status=np.where(table.mjd < 58085, "final", "predicted"))
    note = EarthOrientation.over(first, last, foretold).note
    assert note == "the last part of the span has predicted Earth orientation"


@pytest.mark.parametrize("span", [(58000.5, 58050.0), (58050.0, 58099.5), (57000.0, 59000.0)])
def test_a_span_outside_the_table_is_refused_with_both_spans(span: tuple[float, float]) -> None:
    first, last = (Epochs.of((mjd - 51544.5) * DAY, scale="tt") for mjd in span)
    with pytest.raises(EpochRangeError) as caught:
        EarthOrientation.over(first, last, small_table())
    dates = [str(Time(mjd, format="mjd").isot[:10]) for mjd in span]
    number = int(span[0] < 58002) + int(span[1] > 58097)
    assert str(caught.value) == (
        f"small table: the span lies outside the Earth-orientation table ({number} of 2 epochs); "
        f"found '{dates[0]} to {dates[1]}'; expected 2017-09-06 to 2017-12-10"
    )


def test_what_lies_before_the_table_cannot_be_continued() -> None:
    early = Epochs.of((57000.0 - 51544.5) * DAY, scale="tt")
    with pytest.raises(EpochRangeError, match="outside the Earth-orientation table"):
        EarthOrientation.over(early, early, small_table(), extend=True)


def test_a_span_that_ends_before_it_starts_is_refused() -> None:
    with pytest.raises(InputError, match="ends before it starts; found '2019-06-01 to 2018"):
        EarthOrientation.over(at("2019-06-01"), at("2018-06-01"))


def test_epochs_past_the_prepared_span_are_refused(two_years: EarthOrientation) -> None:
    with pytest.raises(EpochRangeError, match="outside the span of Earth orientation"):
        two_years.gcrs(STATION, at("2020-03-04"))


def test_epochs_in_tdb_are_refused(two_years: EarthOrientation) -> None:
    with pytest.raises(InputError, match="Earth orientation is a function of TT; found 'TDB'"):
        two_years.gcrs(STATION, Epochs.of(6e8))


def test_a_table_with_a_gap_a_nan_or_too_few_days_is_refused() -> None:
    gap = np.arange(58000.0, 58100.0)
    gap[50:] += 1
    with pytest.raises(InputError, match=r"follow one another; found 'a step of 2.0 days"):
        small_table(mjd=gap)
    hole = np.zeros(100)
    hole[7] = np.nan
    with pytest.raises(InputError, match="small table: dx: value is not finite"):
        small_table(dx=hole)
    with pytest.raises(InputError, match="at least four days; found 3"):
        OrientationTable(*[np.arange(3.0)] * 6, status=np.full(3, "final"), source="tiny")
