"""A cubic spline as a table: what it must reproduce, and what it refuses."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial import Polynomial
from scipy.interpolate import CubicSpline

from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError
from wobble.planet.cubic_table import CubicTable

UNEVEN = np.cumsum([0.0, 3.0, 1.0, 7.0, 2.0, 5.0, 4.0, 6.0, 3.0]) * 1e5
CUBIC = Polynomial([1.0, -2e-6, 3e-12, 4e-18])


@pytest.fixture
def table() -> CubicTable:
    values = np.stack([CUBIC(UNEVEN), -2.0 * CUBIC(UNEVEN)], axis=1)
    return CubicTable.through(Epochs.of(UNEVEN, 0.5), values, "the test table")


def test_a_cubic_comes_out_as_it_went_in(table: CubicTable) -> None:
    t = np.linspace(0.0, UNEVEN[-1], 200)
    expected = np.stack([CUBIC(t), -2.0 * CUBIC(t)], axis=1)
    np.testing.assert_allclose(table.value(Epochs.of(t, 0.5)), expected, rtol=1e-12)


def test_increments_of_a_cubic_are_exact(table: CubicTable) -> None:
    t, step = np.linspace(1e5, UNEVEN[-1] - 1e5, 50), 1e-3
    # The exact difference of the polynomial, as a polynomial in the step.
    exact = step * (CUBIC.deriv()(t) + step / 2.0 * CUBIC.deriv(2)(t))
    found = table.increment(Epochs.of(t, 0.5), step)
    np.testing.assert_allclose(found[:, 0], exact, rtol=1e-9, atol=1e-24)
    long = table.increment(Epochs.of(t[:20], 0.5), 7e4)[:, 0]
    np.testing.assert_allclose(long, CUBIC(t[:20] + 7e4) - CUBIC(t[:20]), rtol=1e-9, atol=1e-12)


def test_between_the_knots_it_is_the_librarys_spline() -> None:
    values = np.random.default_rng(1).standard_normal((UNEVEN.size, 3))
    table = CubicTable.through(Epochs.of(UNEVEN), values)
    t = np.linspace(0.0, UNEVEN[-1], 101)
    np.testing.assert_allclose(
        table.value(Epochs.of(t)), CubicSpline(UNEVEN, values)(t), atol=1e-12
    )


def test_epochs_outside_are_refused_with_the_span(table: CubicTable) -> None:
    with pytest.raises(EpochRangeError, match=r"the test table \(1 of 2 epochs\).*expected") as e:
        table.value(Epochs.of([1e5, -1.0]))
    assert e.value.outside.tolist() == [False, True]
    with pytest.raises(EpochRangeError, match="outside the span"):
        table.increment(Epochs.of(UNEVEN[-1] - 10.0), 60.0)


@pytest.mark.parametrize(
    ("seconds", "values", "match"),
    [
        ([0.0, 1.0, 2.0], [1.0, 2.0, 3.0], "too few values.*at least 4"),
        ([0.0, 1.0, 1.0, 2.0], [1.0, 2.0, 3.0, 4.0], "do not increase.*after"),
        ([0.0, 1.0, 2.0, 3.0], [1.0, np.nan, 3.0, 4.0], "not finite.*2000-01-01T12:00:01"),
    ],
)
def test_what_is_no_table_is_refused(seconds: list, values: list, match: str) -> None:
    with pytest.raises(InputError, match=match):
        CubicTable.through(Epochs.of(seconds), np.array(values)[:, None], "t")


def test_terrestrial_time_is_refused() -> None:
    with pytest.raises(InputError, match="function of TDB"):
        CubicTable.through(Epochs.of(UNEVEN, scale="tt"), np.zeros((UNEVEN.size, 1)))
