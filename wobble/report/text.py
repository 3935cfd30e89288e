"""Numbers, units and dates as a reader wants them.

In: floats, units in astropy's notation, times. Out: text with as many digits as the
standard deviation leaves, true minus signs, and units without stray spaces.
"""

from __future__ import annotations

import math

from astropy.time import Time

__all__ = [
    "MINUS",
    "MOST_DECIMALS",
    "SIGMA",
    "TIMES",
    "fixed",
    "power_of_ten",
    "rounded",
    "sized",
    "unit_text",
    "utc",
]

MINUS = "\N{MINUS SIGN}"
TIMES = "\N{MULTIPLICATION SIGN}"
SIGMA = "\N{GREEK SMALL LETTER SIGMA}"
RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
MOST_DECIMALS = 6
"""A number that would need more decimals is written with a power of ten."""


def sized(value: float, digits: int = 2, *, signed: bool = False) -> str:
    """A number with so many significant digits.

    >>> sized(0.04995, 3), sized(1.79e-8), sized(-2490.2, 3)
    ('0.0500', '1.8 × 10⁻⁸', '−2490')
    """
    if not math.isfinite(value):
        return "none" if math.isnan(value) else "unlimited"
    if value == 0.0:
        return "0"
    decimals = _decimals(value, digits)
    plus = "+" if signed else ""
    if decimals <= MOST_DECIMALS:
        return f"{value:{plus}.{max(decimals, 0)}f}".replace("-", MINUS)
    factor, power = f"{value:{plus}.{digits - 1}e}".split("e")
    return f"{factor} {TIMES} {power_of_ten(int(power))}".replace("-", MINUS)


def fixed(value: float, decimals: int) -> str:
    """A number with so many decimals."""
    return f"{value:.{decimals}f}".replace("-", MINUS)


def rounded(value: float, sigma: float) -> tuple[str, str]:
    """A value and its standard deviation, both to the second digit of the latter.

    >>> rounded(-7656.31, 21.8), rounded(0.0882, 0.0307)
    (('−7656', '22'), ('0.088', '0.031'))
    """
    if not (math.isfinite(sigma) and sigma > 0.0):
        return f"{value:.10g}".replace("-", MINUS), sized(sigma)
    decimals = max(_decimals(sigma, 2), 0)
    return fixed(value, decimals), sized(sigma)


def _decimals(value: float, digits: int) -> int:
    """Decimals that show so many significant digits of a value after rounding."""
    rounded_power = int(f"{value:.{digits - 1}e}".split("e")[1])
    return digits - 1 - rounded_power


def power_of_ten(power: int) -> str:
    """Ten to a whole power, in characters that any font has."""
    return f"10{str(power).translate(RAISED)}"


def unit_text(unit: str) -> str:
    """A unit of astropy's notation as people write it.

    >>> unit_text("mas / yr2"), unit_text("m / s"), unit_text("")
    ('mas/yr²', 'm/s', '')
    """
    return unit.replace(" / ", "/").replace("yr2", "yr²").replace("s2", "s²")


def utc(time: Time | str, *, minutes: bool = True) -> str:
    """An epoch as date and time to the minute, or as a date."""
    text = str(time.utc.isot) if isinstance(time, Time) else str(time)
    return text[:16].replace("T", " ") if minutes else text[:10]
