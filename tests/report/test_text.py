"""Numbers, units and dates in words."""

from __future__ import annotations

import doctest
import math

import pytest
from astropy.time import Time

from wobble.report import text


def test_the_examples_of_the_docstrings_hold() -> None:
    result = doctest.testmod(text)
    assert result.attempted >= 3
    assert result.failed == 0


@pytest.mark.parametrize(
    ("value", "sigma", "expected"),
    [
        # Two digits of the uncertainty, the value to the same place: ISO/IEC Guide 98-3:2008,
        # sect. 7.2.6 (m_S = 100.021 47 g with u_c = 0.35 mg).
        (100.02147, 0.00035, ("100.02147", "0.00035")),
        (100.021471, 0.000352, ("100.02147", "0.00035")),
        (-7656.31, 21.8, ("\N{MINUS SIGN}7656", "22")),
        (1.0, 0.0996, ("1.00", "0.10")),
        (350.891985509, 1.79e-8, ("350.891985509", "1.8 \N{MULTIPLICATION SIGN} 10⁻⁸")),
        (1234.5, 5600.0, ("1234", "5600")),
    ],
)
def test_values_have_the_digits_that_their_sigma_leaves(
    value: float, sigma: float, expected: tuple[str, str]
) -> None:
    assert text.rounded(value, sigma) == expected


def test_what_is_not_known_is_said() -> None:
    assert text.rounded(3.25, math.inf) == ("3.25", "unlimited")
    assert text.sized(math.nan) == "none"
    assert text.sized(0.0) == "0"


def test_signs_are_true_minus_signs_and_plus_on_demand() -> None:
    assert text.sized(-0.5, 2) == "\N{MINUS SIGN}0.50"
    assert text.sized(0.5, 2, signed=True) == "+0.50"
    assert text.fixed(-2500.2, 0) == "\N{MINUS SIGN}2500"
    assert text.power_of_ten(-13) == "10⁻¹³"


def test_epochs_are_given_to_the_minute_or_the_day() -> None:
    assert text.utc(Time("2021-05-01T06:51:38", scale="utc")) == "2021-05-01 06:51"
    assert text.utc("2021-05-01T06:51:38.123", minutes=False) == "2021-05-01"
