"""Uplinks in ramps, against an evaluation with 40 digits."""

from fractions import Fraction

import mpmath
import numpy as np
import pytest
from astropy.time import Time

from wobble.errors import InputError
from wobble.link.uplink import Uplink

STARTS = [0.0, 100.0, 130.0, 2000.0]
FREQUENCIES = ["7180064367.3536", "7180064426.6526", "7180064444.4441", "7180065553.3354"]
RATES = [0.59299, 0.59305, -0.125, 0.0]


def ramps() -> Uplink:
    return Uplink(
        "north",
        Time("2021-01-01", scale="utc"),
        np.array(STARTS),
        [Fraction(text) for text in FREQUENCIES],
        np.array(RATES),
    )


def cycles(start: mpmath.mpf, stop: mpmath.mpf) -> mpmath.mpf:
    """Cycles sent, by the antiderivative of each ramp in multiple precision."""
    total = mpmath.mpf(0)
    for k, begin in enumerate(STARTS):
        end = STARTS[k + 1] if k + 1 < len(STARTS) else mpmath.inf
        a, b = max(start, begin), min(stop, end)
        if a < b:
            f, r = mpmath.mpf(FREQUENCIES[k]), mpmath.mpf(RATES[k])
            total += f * (b - a) + r * ((b - begin) ** 2 - (a - begin) ** 2) / 2
    return total


@pytest.mark.parametrize(("start", "stop"), [(3.0, 9.5), (90.0, 140.0), (1.0, 3000.0)])
def test_cycles_agree_with_multiple_precision(start, stop):
    with mpmath.workdps(40):
        expected = cycles(mpmath.mpf(start), mpmath.mpf(stop))
    assert ramps().cycles(start, stop)[0] == pytest.approx(float(expected), rel=1e-15)


@pytest.mark.parametrize("speed", [-3e-5, 1e-9, 2e-4])
@pytest.mark.parametrize("first", [10.0, 95.0, 1990.0])
def test_change_of_the_round_trip_agrees_with_multiple_precision(first, speed):
    # A round trip that grows by `speed` seconds a second, counted over 60 s.
    count, turnaround = 60, Fraction(880, 749)
    with mpmath.workdps(40):
        change = mpmath.mpf(speed) * count
        sent = cycles(mpmath.mpf(first), mpmath.mpf(first) + count - change)
        received = mpmath.mpf(880) / 749 * sent / count
        exact = Fraction(mpmath.nstr(received, 35))
    # Of three counts the outer ones end elsewhere, so that they have other numbers of ramps.
    starts = np.array([400.0, first, 2500.0])
    found = ramps().round_trip_change(starts, float(count), turnaround, 3 * [exact])[1]
    # 1e-18 of the count is 1.5e-10 m/s.
    assert found == pytest.approx(float(change), rel=1e-13, abs=60e-18)


def test_frequency_is_continued_from_the_last_start():
    uplink = ramps()
    np.testing.assert_allclose(
        uplink.at([0.0, 50.0, 100.0, 5000.0]),
        [7180064367.3536, 7180064367.3536 + 50 * 0.59299, 7180064426.6526, 7180065553.3354],
        rtol=1e-15,
    )
    assert not uplink.is_constant


def test_data_before_the_first_ramp_are_refused():
    with pytest.raises(InputError, match=r"north.*12\.500 s before the first"):
        ramps().cycles(-12.5, 10.0)
