"""Chebyshev tables against 40-digit evaluation of the same polynomials."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from wobble.chebyshev import ChebyshevTable
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError

Array = NDArray[np.float64]

DAY = 86400.0
COUNT_TIMES = [1e-6, 1.0, 60.0, 600.0, 3600.0]


@pytest.fixture(scope="module")
def mars() -> ChebyshevTable:
    """Mars in DE440: records of 32 days, degree 10."""
    return open_ephemeris("de440").chains["mars"][0][1]


def epochs_between(years: tuple[float, float], number: int, seed: int = 1) -> Epochs:
    random = np.random.default_rng(seed)
    first, last = (365.25 * DAY * year for year in years)
    return Epochs.of(random.uniform(first, last, number), random.uniform(-0.5, 0.5, number))


def exact_value(table: ChebyshevTable, record: int, seconds: mpmath.mpf) -> list[mpmath.mpf]:
    """The record's polynomials at an instant, in 40 digits."""
    x = 2 * (seconds - mpmath.mpf(table.start)) / mpmath.mpf(table.length) - 2 * record - 1
    sums = []
    for coefficients in table.coefficients[record]:
        before, now = mpmath.mpf(1), x
        total = mpmath.mpf(coefficients[0])
        for c in coefficients[1:]:
            total += mpmath.mpf(c) * now
            before, now = now, 2 * x * now - before
        sums.append(total)
    return sums


def exact_increment(table: ChebyshevTable, epoch: Epochs, interval: float) -> list[mpmath.mpf]:
    """Difference of two 40-digit values in the record of the interval's middle."""
    with mpmath.workdps(40):
        start = mpmath.mpf(epoch.seconds[0]) + mpmath.mpf(epoch.fraction[0])
        middle = start + mpmath.mpf(interval) / 2
        record = int(mpmath.floor((middle - table.start) / table.length))
        first = exact_value(table, record, start)
        last = exact_value(table, record, start + mpmath.mpf(interval))
        return [b - a for a, b in zip(first, last, strict=True)]


@pytest.mark.parametrize("interval", COUNT_TIMES)
def test_increments_of_mars_equal_those_in_forty_digits(
    mars: ChebyshevTable, interval: float
) -> None:
    epochs = epochs_between((20.0, 22.0), 100)
    found = mars.increment(epochs, interval)
    expected = np.array([exact_increment(mars, e, interval) for e in epochs], object)
    error = np.abs((found - expected).astype(float)).max(axis=1)
    assert (error / np.linalg.norm(found, axis=1)).max() < 1e-15


def test_subtracted_values_carry_the_rounding_of_the_distance(mars: ChebyshevTable) -> None:
    # The gain, as a negative control: the same increments over one second as differences.
    epochs = epochs_between((20.0, 22.0), 100)
    subtracted = mars.value(epochs.shift(1.0)) - mars.value(epochs)
    error = np.linalg.norm(subtracted - mars.increment(epochs, 1.0), axis=1)
    assert 1e-6 < error.max() < 1e-3


def test_values_equal_those_in_forty_digits(mars: ChebyshevTable) -> None:
    epochs = epochs_between((0.0, 40.0), 100)
    with mpmath.workdps(40):
        expected = []
        for epoch in epochs:
            seconds = mpmath.mpf(epoch.seconds[0]) + mpmath.mpf(epoch.fraction[0])
            record = int(mpmath.floor((seconds - mars.start) / mars.length))
            expected.append(exact_value(mars, record, seconds))
        error = (mars.value(epochs) - np.array(expected, object)).astype(float)
    # One unit in the last place of 2.5e11 m is 3e-5 m.
    assert np.abs(error).max() < 1e-4


def test_rates_equal_the_derivative_by_numpy() -> None:
    random = np.random.default_rng(3)
    table = ChebyshevTable(-100.0, 50.0, random.normal(size=(4, 2, 9)))
    epochs = Epochs.of(np.linspace(-99.0, 99.0, 23))
    value, rate = table.value_and_rate(epochs)
    for n, t in enumerate(epochs.seconds):
        record = int((t + 100.0) // 50.0)
        x = (t + 100.0 - 50.0 * (record + 0.5)) / 25.0
        for k in range(2):
            coefficients = table.coefficients[record, k]
            slope = chebyshev.chebval(x, chebyshev.chebder(coefficients)) / 25.0
            assert rate[n, k] == pytest.approx(slope, rel=1e-12, abs=1e-12)
            assert value[n, k] == pytest.approx(chebyshev.chebval(x, coefficients), rel=1e-12)
    np.testing.assert_allclose(value, table.value(epochs), rtol=1e-14)


def test_a_tiny_increment_is_the_rate_times_the_interval(mars: ChebyshevTable) -> None:
    epochs = epochs_between((20.0, 22.0), 50)
    speed = np.linalg.norm(mars.value_and_rate(epochs)[1], axis=1)
    for interval in (1e-6, 1e-9, 1e-12):
        middle_rate = mars.value_and_rate(epochs.shift(interval / 2))[1]
        step = mars.increment(epochs, interval)
        error = np.linalg.norm(step - middle_rate * interval, axis=1)
        assert (error / (speed * interval)).max() < 1e-14


def test_increments_add_up_and_reverse(mars: ChebyshevTable) -> None:
    start = Epochs.of(mars.start + 300.25 * mars.length + np.arange(0.0, 1e6, 1e5), 0.125)
    whole = mars.increment(start, 3600.0)
    parts = mars.increment(start, 1000.0) + mars.increment(start.shift(1000.0), 2600.0)
    np.testing.assert_allclose(parts, whole, rtol=1e-14)
    back = mars.increment(start.shift(3600.0), -3600.0)
    np.testing.assert_allclose(back, -whole, rtol=1e-14)


def test_each_epoch_may_have_its_own_interval(mars: ChebyshevTable) -> None:
    epochs = epochs_between((20.0, 22.0), 3)
    together = mars.increment(epochs, np.array([1.0, 60.0, -600.0]))
    apart = [mars.increment(e, t)[0] for e, t in zip(epochs, (1.0, 60.0, -600.0), strict=True)]
    np.testing.assert_array_equal(together, apart)


def test_an_interval_over_a_boundary_does_not_see_the_jump() -> None:
    # Two records that do not join: the function jumps by 5 at t = 100.
    straight = np.array([[[50.0, 50.0]], [[155.0, 50.0]]])
    table = ChebyshevTable(0.0, 100.0, straight)
    assert table.value(Epochs.of(101.0))[0, 0] - table.value(Epochs.of(99.0))[0, 0] == 7.0
    assert table.increment(Epochs.of(99.0), 2.0)[0, 0] == pytest.approx(2.0, rel=1e-15)


def test_records_of_de440_jump_by_hundredths_of_a_millimetre(mars: ChebyshevTable) -> None:
    # Measured by plain evaluation on both sides: this is what the rule above keeps out.
    records = np.arange(6000, 6400)
    ends = mars.coefficients[records].sum(axis=2)
    signs = (-1.0) ** np.arange(mars.coefficients.shape[2])
    jumps = (mars.coefficients[records + 1] * signs).sum(axis=2) - ends
    assert 2e-6 < np.sqrt((jumps**2).mean()) < 1e-4


# ---------------------------------------------------------------------------------------------
# Fitting


def test_a_fit_reproduces_a_smooth_function_over_whole_records() -> None:
    def circle(epochs: Epochs) -> Array:
        phase = 2 * np.pi * epochs.since_j2000 / DAY
        return np.column_stack([np.cos(phase), np.sin(phase)])

    table = ChebyshevTable.fit(circle, 1000.0, 2.5 * DAY, DAY / 4, 14)
    assert (table.start, table.stop) == (0.0, 2.5 * DAY)
    epochs = Epochs.of(np.linspace(0.0, 2.5 * DAY, 501))
    np.testing.assert_allclose(table.value(epochs), circle(epochs), atol=2e-14)


def test_a_fit_of_a_polynomial_is_the_polynomial() -> None:
    table = ChebyshevTable.fit(
        lambda e: (3.0 - 2.0 * e.since_j2000 + e.since_j2000**2)[:, None], -1.0, 1.0, 2.0, 3
    )
    t = Epochs.of([-1.0, 0.0, 1.0], 0.0)
    np.testing.assert_allclose(table.value(t)[:, 0], [6.0, 3.0, 2.0], rtol=1e-14)


# ---------------------------------------------------------------------------------------------
# What is refused


@pytest.fixture
def hour() -> ChebyshevTable:
    return ChebyshevTable(0.0, 1800.0, np.ones((2, 1, 3)), name="an hour")


def test_epochs_outside_the_span_are_named_with_the_span(hour: ChebyshevTable) -> None:
    epochs = Epochs.of([0.0, -0.5, 3600.0, 3600.25])
    for ask in (hour.value, hour.value_and_rate):
        with pytest.raises(EpochRangeError) as caught:
            ask(epochs)
        assert caught.value.outside.tolist() == [False, True, False, True]
        assert str(caught.value) == (
            "epochs outside the span of an hour (2 of 4 epochs); found '2000-01-01T11:59:59'; "
            "expected 2000-01-01T12:00:00 to 2000-01-01T13:00:00"
        )


def test_an_interval_that_leads_past_the_end_is_refused(hour: ChebyshevTable) -> None:
    inside = Epochs.of([3500.0, 3500.0, 20.0])
    assert hour.increment(inside, np.array([99.0, -99.0, -20.0])).shape == (3, 1)
    with pytest.raises(EpochRangeError, match="2000-01-01T13:00:01") as caught:
        hour.increment(inside, np.array([101.0, 50.0, -21.0]))
    assert caught.value.outside.tolist() == [True, False, True]


def test_an_interval_too_long_for_the_records_is_refused(hour: ChebyshevTable) -> None:
    with pytest.raises(InputError, match=r"too long .* found '451 s'; expected at most 450 s"):
        hour.increment(Epochs.of(900.0), 451.0)


def test_epochs_of_another_scale_are_refused(hour: ChebyshevTable) -> None:
    with pytest.raises(InputError, match="an hour is a function of TDB; found 'TT'"):
        hour.value(Epochs.of(0.0, scale="tt"))


@pytest.mark.parametrize("shape", [(3, 4), (3, 2, 1)])
def test_coefficients_of_the_wrong_shape_are_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(InputError, match="coefficients of shape"):
        ChebyshevTable(0.0, 1.0, np.zeros(shape))
