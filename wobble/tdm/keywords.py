"""The vocabulary of the CCSDS Tracking Data Message, and what the package does with it.

In: a keyword of the standard. Out: what its value must be, its unit, in which versions of
the standard it exists, and whether the package measures, models or only carries it.

Source: CCSDS 503.0-B-2 (2020), Tracking Data Message, tables 3-2 to 3-5, and 503.0-B-1
(2007) for version 1; value limits as in the XML schema that belongs to the standard.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from wobble.errors import InputError
from wobble.text.lines import INTEGER, NUMBER
from wobble.text.time_tags import parse_calendar, parse_uniform

__all__ = ["DATA", "HEADER", "METADATA", "METADATA_USES", "USES", "VERSIONS", "Rule"]

VERSIONS = ("1.0", "2.0")
MOST_DIGITS = 100


@dataclass(frozen=True)
class Rule:
    """What a value must be.

    Parameters
    ----------
    expected : str
        The rule in words.
    accepts : callable
        Whether a text keeps it.
    unit : str
        Unit that the standard gives to the value, "" for none.
    since : str
        First version of the standard that has the keyword.
    """

    expected: str
    accepts: Callable[[str], bool]
    unit: str = ""
    since: str = "1.0"


def real(text: str) -> float:
    """Value of a number's text; NaN if it is none."""
    if len(text) > MOST_DIGITS or not NUMBER.fullmatch(text) or "d" in text.lower():
        return math.nan
    return float(text)


def _limited(low: float, high: float, open_low: bool = False) -> Callable[[str], bool]:
    def accepts(text: str) -> bool:
        value = real(text)
        return low <= value <= high and not math.isinf(value) and not (open_low and value == low)

    return accepts


def _is_time(text: str) -> bool:
    # A leap second is a matter of the time system, which another keyword tells.
    for parse in (parse_calendar, parse_uniform):
        try:
            parse(text)
        except InputError:
            continue
        return True
    return False


def _is_path(text: str) -> bool:
    stops = [stop.strip(" ") for stop in text.split(",")]
    return (
        is_text(text)
        and len(stops) >= 2
        and all(stop in ("1", "2", "3", "4", "5") for stop in stops)
    )


def is_text(text: str) -> bool:
    """Whether a text can stand in a line and comes back as it is."""
    return text != "" and text.isprintable() and text == text.strip()


def _text(since: str = "1.0") -> Rule:
    return Rule("text", is_text, since=since)


def _number(unit: str = "", since: str = "1.0") -> Rule:
    return Rule("a finite number", _limited(-math.inf, math.inf), unit, since)


def _at_least_zero(unit: str = "", since: str = "1.0") -> Rule:
    return Rule("a number, 0 or more", _limited(0.0, math.inf), unit, since)


def _positive(unit: str = "", since: str = "1.0") -> Rule:
    return Rule("a positive number", _limited(0.0, math.inf, open_low=True), unit, since)


def _whole(since: str = "1.0") -> Rule:
    return Rule("a whole number", lambda text: bool(INTEGER.fullmatch(text)), since=since)


def _one_of(*values: str, since: str = "1.0") -> Rule:
    # The standard allows these values in capitals or in small letters.
    known = {value.upper() for value in values}
    return Rule(" or ".join(values), lambda text: text.upper() in known, since=since)


TIME = Rule("a calendar time tag, YYYY-MM-DDThh:mm:ss.s or YYYY-DDDThh:mm:ss.s", _is_time)
PATH = Rule("numbers of participants with commas between them, such as 1,2,1", _is_path)
ANGLE = Rule("a number from -180 to 360", _limited(-180.0, 360.0), "deg")

HEADER: dict[str, Rule] = {
    "CREATION_DATE": TIME,
    "ORIGINATOR": _text(),
    "MESSAGE_ID": _text("2.0"),
}
"""Header keywords in the order of the standard."""

METADATA: dict[str, Rule] = {
    "TRACK_ID": _text("2.0"),
    "DATA_TYPES": _text("2.0"),
    "TIME_SYSTEM": _one_of("UTC", "TAI", "TT", "TDB", "TCB", "TCG", "GPS"),
    "START_TIME": TIME,
    "STOP_TIME": TIME,
    **{f"PARTICIPANT_{n}": _text() for n in range(1, 6)},
    "MODE": _one_of("SEQUENTIAL", "SINGLE_DIFF"),
    "PATH": PATH,
    "PATH_1": PATH,
    "PATH_2": PATH,
    **{f"EPHEMERIS_NAME_{n}": _text("2.0") for n in range(1, 6)},
    "TRANSMIT_BAND": _text(),
    "RECEIVE_BAND": _text(),
    "TURNAROUND_NUMERATOR": _whole(),
    "TURNAROUND_DENOMINATOR": _whole(),
    "TIMETAG_REF": _one_of("TRANSMIT", "RECEIVE"),
    "INTEGRATION_INTERVAL": _positive("s"),
    "INTEGRATION_REF": _one_of("START", "MIDDLE", "END"),
    "FREQ_OFFSET": _number("Hz"),
    "RANGE_MODE": _one_of("COHERENT", "CONSTANT", "ONE_WAY"),
    "RANGE_MODULUS": _at_least_zero(),
    "RANGE_UNITS": _one_of("km", "s", "RU"),
    "ANGLE_TYPE": _one_of("AZEL", "RADEC", "XEYN", "XSYE"),
    "REFERENCE_FRAME": _text(),
    "INTERPOLATION": _text("2.0"),
    "INTERPOLATION_DEGREE": _whole("2.0"),
    "DOPPLER_COUNT_BIAS": _positive("Hz", "2.0"),
    "DOPPLER_COUNT_SCALE": _whole("2.0"),
    "DOPPLER_COUNT_ROLLOVER": _one_of("YES", "NO", since="2.0"),
    **{f"TRANSMIT_DELAY_{n}": _at_least_zero("s") for n in range(1, 6)},
    **{f"RECEIVE_DELAY_{n}": _at_least_zero("s") for n in range(1, 6)},
    "DATA_QUALITY": _one_of("RAW", "VALIDATED", "DEGRADED"),
    "CORRECTION_ANGLE_1": _number("deg"),
    "CORRECTION_ANGLE_2": _number("deg"),
    "CORRECTION_DOPPLER": _number("km/s"),
    "CORRECTION_MAG": _number(since="2.0"),
    "CORRECTION_RANGE": _number(),
    "CORRECTION_RCS": _number("m**2", "2.0"),
    "CORRECTION_RECEIVE": _number("Hz"),
    "CORRECTION_TRANSMIT": _number("Hz"),
    "CORRECTION_ABERRATION_YEARLY": _number("deg", "2.0"),
    "CORRECTION_ABERRATION_DIURNAL": _number("deg", "2.0"),
    "CORRECTIONS_APPLIED": _one_of("YES", "NO"),
}
"""Metadata keywords in the order of the standard."""

DATA: dict[str, Rule] = {
    "ANGLE_1": ANGLE,
    "ANGLE_2": ANGLE,
    "CARRIER_POWER": _number("dBW"),
    "CLOCK_BIAS": _number("s"),
    "CLOCK_DRIFT": _number("s/s"),
    "DOPPLER_COUNT": _number("", "2.0"),
    "DOPPLER_INSTANTANEOUS": _number("km/s"),
    "DOPPLER_INTEGRATED": _number("km/s"),
    "DOR": _number("s"),
    "MAG": _number("", "2.0"),
    "PC_N0": _number("dBHz"),
    "PR_N0": _number("dBHz"),
    "PRESSURE": _number("hPa"),
    "RANGE": _number(),
    "RCS": _number("m**2", "2.0"),
    "RECEIVE_FREQ": _number("Hz"),
    **{f"RECEIVE_FREQ_{n}": _number("Hz") for n in range(1, 6)},
    **{f"RECEIVE_PHASE_CT_{n}": _number("", "2.0") for n in range(1, 6)},
    "RHUMIDITY": Rule("a number from 0 to 100", _limited(0.0, 100.0), "%"),
    "STEC": _number("TECU"),
    "TEMPERATURE": _at_least_zero("K"),
    **{f"TRANSMIT_FREQ_{n}": _positive("Hz") for n in range(1, 6)},
    **{f"TRANSMIT_FREQ_RATE_{n}": _number("Hz/s") for n in range(1, 6)},
    **{f"TRANSMIT_PHASE_CT_{n}": _number("", "2.0") for n in range(1, 6)},
    "TROPO_DRY": _at_least_zero("m"),
    "TROPO_WET": _at_least_zero("m"),
    "VLBI_DELAY": _number("s"),
}
"""Data keywords in alphabetical order, as in the standard."""

USES: dict[str, str] = {
    "RANGE": "measurement: range",
    "DOPPLER_INTEGRATED": "measurement: range rate averaged over the count",
    "DOPPLER_INSTANTANEOUS": "measurement: range rate over 2 ms",
    **{
        name: "measurement: range rate averaged over the count"
        for name in ("RECEIVE_FREQ", *(f"RECEIVE_FREQ_{n}" for n in range(1, 6)))
    },
    "PRESSURE": "weather at the receiving station",
    "TEMPERATURE": "weather at the receiving station",
    "RHUMIDITY": "weather at the receiving station",
    **{f"TRANSMIT_FREQ_{n}": "frequency of the uplink or oscillator" for n in range(1, 6)},
    **{f"TRANSMIT_FREQ_RATE_{n}": "ramp of the uplink" for n in range(1, 6)},
}
"""What becomes of the data keywords that the package converts; all others are carried."""

METADATA_USES: dict[str, str] = {
    "TRACK_ID": "name of the pass",
    "TIME_SYSTEM": "scale of the time tags",
    **{f"PARTICIPANT_{n}": "station or lander, by the agreement" for n in range(1, 6)},
    **dict.fromkeys(("MODE", "PATH"), "who transmits, returns and receives"),
    "TIMETAG_REF": "event to which time tags belong",
    **dict.fromkeys(("INTEGRATION_INTERVAL", "INTEGRATION_REF"), "count time and its middle"),
    "FREQ_OFFSET": "added to received frequencies",
    **dict.fromkeys(("TURNAROUND_NUMERATOR", "TURNAROUND_DENOMINATOR"), "turnaround ratio"),
    "RANGE_MODE": "one-way ranges are refused",
    "RANGE_UNITS": "unit of ranges",
    "RANGE_MODULUS": "undone by a prediction",
    **{
        f"{way}_DELAY_{n}": "taken out of ranges and time tags, unless removed already"
        for way in ("TRANSMIT", "RECEIVE")
        for n in range(1, 6)
    },
    **{
        f"CORRECTION_{name}": "added, unless applied already"
        for name in ("RANGE", "DOPPLER", "RECEIVE", "TRANSMIT")
    },
    "CORRECTIONS_APPLIED": "whether corrections are added",
    "DATA_QUALITY": "reported",
    **dict.fromkeys(("TRANSMIT_BAND", "RECEIVE_BAND"), "reported"),
    **dict.fromkeys(("START_TIME", "STOP_TIME"), "checked"),
}
"""What becomes of the metadata keywords; all others are carried."""
