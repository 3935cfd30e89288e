"""UTC time tags of data files, exact to their last digit.

In: calendar text, or a date and the text of the seconds of day. Out: the two-part Julian
date of `astropy.time.Time`, and `Time` back to text.

A decimal time tag is a fraction of its day with integer numerator and denominator, and
Python's division of integers rounds it correctly. The text that is written is the shortest
one, in steps of three decimals, that reads back to the same two floats. The resolution of
the pair is 5e-12 s. On a day with a leap second (23:59:60) the day has 86,401 s, which is
the convention of the SOFA library and of `astropy.time` for UTC as a Julian date.
"""

from __future__ import annotations

import datetime
import functools
import re
import warnings
from collections.abc import Iterable

import erfa
import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.errors import InputError

__all__ = [
    "calendar_text",
    "day_and_seconds",
    "day_number",
    "parse_calendar",
    "parse_uniform",
    "utc_time",
]

CALENDAR = re.compile(
    r"([0-9]{4}-(?:[0-9]{2}-[0-9]{2}|[0-9]{3}))"
    r"T([0-9]{2}):([0-9]{2}):([0-9]{2})(?:\.([0-9]{0,30}))?Z?"
)
SECONDS = re.compile(r"([0-9]{1,6})(?:\.([0-9]{0,30}))?")
EXPECTED = "YYYY-MM-DDThh:mm:ss.s or YYYY-DDDThh:mm:ss.s, UTC"
ORDINAL_OF_MJD_0 = 678_576
NOON_OF_MJD_0 = 2_400_001
# Before 1972 UTC had seconds of another length; the standards of tracking data are younger.
FIRST_YEAR, LAST_YEAR = 1972, 2199
MOST_DECIMALS = 24


def day_number(year: int, month: int, day: int) -> int:
    """Modified Julian Day of a calendar date.

    Raises
    ------
    InputError
        If there is no such date, or it lies outside 1972 to 2199.
    """
    try:
        date = datetime.date(year, month, day)
    except (ValueError, OverflowError) as error:
        raise InputError(f"no such date ({error})", found=f"{year}-{month}-{day}") from error
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise InputError(
            "the year is out of range", found=year, expected=f"{FIRST_YEAR} to {LAST_YEAR}"
        )
    return date.toordinal() - ORDINAL_OF_MJD_0


def day_and_seconds(mjd: int, seconds: str) -> tuple[float, float]:
    """Two-part Julian date (UTC) of a day and the text of its seconds of day.

    Raises
    ------
    InputError
        If the text is no number, or the day is over by then.
    """
    match = SECONDS.fullmatch(seconds)
    if not match:
        raise InputError("not a number of seconds of day", found=seconds)
    whole, decimals = match.groups()
    return _julian(mjd, int(whole), decimals or "", day_length(mjd))


def parse_calendar(text: str) -> tuple[float, float]:
    """Two-part Julian date (UTC) of a calendar time tag, with month and day or day of year.

    Raises
    ------
    InputError
        If the text is no time tag of that form, or there is no such instant.
    """
    mjd, hms, decimals = _calendar(text)
    return _julian(mjd, hms, decimals, day_length(mjd))


def parse_uniform(text: str) -> tuple[float, float]:
    """As `parse_calendar`, on a scale whose days all have 86,400 s (TAI, TT, TDB, ...)."""
    mjd, hms, decimals = _calendar(text)
    return _julian(mjd, hms, decimals, 86_400)


def utc_time(parts: Iterable[tuple[float, float]]) -> Time:
    """`astropy.time.Time` in UTC, shape (n,), of two-part Julian dates."""
    array = np.array(list(parts), dtype=float).reshape(-1, 2)
    return Time(array[:, 0], array[:, 1], format="jd", scale="utc")


def calendar_text(time: Time) -> NDArray[np.str_]:
    """Calendar text (YYYY-MM-DDThh:mm:ss.s) that reads back to the same times, shape (n,)."""
    jd1, jd2 = np.atleast_1d(time.utc.jd1), np.atleast_1d(time.utc.jd2)
    # The typed empty list keeps the text dtype when there are no times.
    return np.array([_text(*pair) for pair in zip(jd1.tolist(), jd2.tolist(), strict=True)], str)


@functools.lru_cache(maxsize=4096)
def day_length(mjd: int) -> int:
    """Length of a UTC day, 86,400 s or, with a leap second, 86,401 s."""
    today = datetime.date.fromordinal(mjd + ORDINAL_OF_MJD_0)
    tomorrow = today + datetime.timedelta(days=1)
    with warnings.catch_warnings():
        # Beyond the table of leap seconds none is known, and the library says so.
        warnings.simplefilter("ignore", erfa.ErfaWarning)
        step = erfa.dat(tomorrow.year, tomorrow.month, tomorrow.day, 0.0) - erfa.dat(
            today.year, today.month, today.day, 0.0
        )
    return 86_400 + round(float(step))


@functools.lru_cache(maxsize=4096)
def _calendar_day(text: str) -> int:
    """Modified Julian Day of YYYY-MM-DD or YYYY-DDD."""
    year, _, rest = text.partition("-")
    if len(rest) == 5:
        return day_number(int(year), int(rest[:2]), int(rest[3:]))
    mjd = day_number(int(year), 1, 1) + int(rest) - 1
    if not int(rest) or mjd > day_number(int(year), 12, 31):
        raise InputError("no such day of the year", found=text)
    return mjd


def _calendar(text: str) -> tuple[int, int, str]:
    """Day, whole seconds of day, and decimals of a time tag."""
    match = CALENDAR.fullmatch(text)
    if not match:
        raise InputError("not a calendar time tag", found=text, expected=EXPECTED)
    day, hour, minute, second, decimals = match.groups()
    h, m, s = int(hour), int(minute), int(second)
    # Only the last second of a day can be its 86,401st; whether it is there, the day tells.
    if h > 23 or m > 59 or s > 60 or (s == 60 and (h, m) != (23, 59)):
        raise InputError("no such time of day", found=text)
    return _calendar_day(day), 3600 * h + 60 * m + s, decimals or ""


def _julian(mjd: int, whole_seconds: int, decimals: str, length: int) -> tuple[float, float]:
    if whole_seconds >= length:
        raise InputError(
            "the time of day is beyond the end of the day",
            found=f"{whole_seconds} s",
            expected=f"less than {length} s",
        )
    scale = 10 ** len(decimals)
    seconds = whole_seconds * scale + int(decimals or "0")
    return float(mjd + NOON_OF_MJD_0), _fraction_from_noon(seconds, scale, length)


def _fraction_from_noon(seconds: int, scale: int, length: int) -> float:
    """Fraction of the day from its middle, of ``seconds / scale``, rounded once."""
    return (2 * seconds - length * scale) / (2 * length * scale)


def _text(jd1: float, jd2: float) -> str:
    if jd2 == 0.5:
        jd1, jd2 = jd1 + 1.0, -0.5
    mjd = int(jd1) - NOON_OF_MJD_0
    length = day_length(mjd)
    numerator, denominator = jd2.as_integer_ratio()
    for decimals in range(0, MOST_DECIMALS + 1, 3):
        scale = 10**decimals
        # Nearest integer to (jd2 + 1/2) * length * scale.
        seconds = ((2 * numerator + denominator) * length * scale + denominator) // (
            2 * denominator
        )
        if _fraction_from_noon(seconds, scale, length) == jd2:
            break
    whole, rest = divmod(seconds, scale)
    hour = min(whole // 3600, 23)
    minute = min((whole - 3600 * hour) // 60, 59)
    second = whole - 3600 * hour - 60 * minute
    date = datetime.date.fromordinal(mjd + ORDINAL_OF_MJD_0)
    fraction = f".{rest:0{decimals}d}" if decimals else ""
    return f"{date.isoformat()}T{hour:02d}:{minute:02d}:{second:02d}{fraction}"
