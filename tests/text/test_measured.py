"""Values with their uncertainty, as people write them."""

from __future__ import annotations

import pytest

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.errors import InputError
from wobble.text.measured import parse_measured


@pytest.mark.parametrize("between", [" +- ", "+-", " +/- ", " ± ", "±"])
def test_a_rate_is_read_in_any_hand(between: str) -> None:
    value, sigma = parse_measured(f"-7608.3{between}2.1 mas/yr", "rad / s", field="rate")
    assert value == pytest.approx(-7608.3 * MAS / JULIAN_YEAR, rel=1e-12)
    assert sigma == pytest.approx(2.1 * MAS / JULIAN_YEAR, rel=1e-12)


def test_numbers_without_unit_and_with_exponent() -> None:
    assert parse_measured("0.061 +- 0.006", "", field="F") == (0.061, 0.006)
    assert parse_measured("-2.423e2 +- 2.7 d", "s", field="T")[0] == pytest.approx(-242.3 * DAY)


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("-7608.3 mas/yr", r"rate.*no value with an uncertainty.*1.0 \+- 0.1"),
        ("-7608.3 +- 2.1", "rate.*without a unit"),
        ("-7608.3 +- 2.1 km", "rate.*does not convert"),
        ("-7608.3 +- -2.1 mas/yr", "rate.*negative"),
        ("many +- 1 mas/yr", "rate.*no number"),
        ("nan +- 1 mas/yr", "rate.*no number"),
        ("", "rate.*no value"),
    ],
)
def test_what_is_no_measured_value_is_refused(text: str, match: str) -> None:
    with pytest.raises(InputError, match=match):
        parse_measured(text, "rad / s", field="rate")
