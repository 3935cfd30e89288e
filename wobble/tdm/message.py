"""The CCSDS Tracking Data Message as an object, whatever its encoding.

In: keywords, time tags and values as text, from one of the readers or from the user's own
hand. Out: `TrackingDataMessage` with `Segment` objects, every text checked against the
standard and kept with all its digits; numbers and times of one keyword with `Segment.series`.

Keywords that the standard does not have are refused. Those that it has but the package
makes no use of are carried, written again, and named by `TrackingDataMessage.carried`.
Source: CCSDS 503.0-B-2 (2020), section 3.
"""

from __future__ import annotations

import math
import sys
from array import array
from collections import Counter
from collections.abc import Iterable, MutableSequence
from dataclasses import dataclass, field

import numpy as np
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.constants import GPS_MINUS_TAI
from wobble.errors import InputError, UnknownNameError
from wobble.tdm.keywords import DATA, HEADER, METADATA, USES, VERSIONS, Rule, is_text
from wobble.text.lines import Line
from wobble.text.time_tags import parse_calendar, parse_uniform

__all__ = ["Segment", "TrackingDataMessage"]

SCALES = {"UTC": "utc", "TAI": "tai", "TT": "tt", "TDB": "tdb", "TCB": "tcb", "TCG": "tcg"}
BY_HAND = Line("message", 0, "")


@dataclass
class Segment:
    """One metadata section and the data that it describes.

    Parameters
    ----------
    metadata : dict of str to str
        Metadata keywords with their text.
    comments, data_comments : list of str
        Comments of the metadata section and of the data section.
    keywords, tags, values : list of str
        One data record each: keyword, time tag, and number with the digits of the file.
    lines : sequence of int
        Where the records stand in their file; 0 if they come from none.
    source : str
        The file.
    """

    metadata: dict[str, str] = field(default_factory=dict)
    comments: list[str] = field(default_factory=list)
    data_comments: list[str] = field(default_factory=list)
    keywords: list[str] = field(default_factory=list)
    tags: list[str] = field(default_factory=list)
    values: list[str] = field(default_factory=list)
    lines: MutableSequence[int] = field(default_factory=lambda: array("q"), compare=False)
    source: str = field(default="message", compare=False)

    def __post_init__(self) -> None:
        # The time tags as two-part Julian dates, and the last of them.
        self._days, self._fractions = array("d"), array("d")
        self._day = self._fraction = math.nan

    def describe(self, keyword: str, value: str, line: Line = BY_HAND) -> None:
        """Add a metadata keyword.

        Raises
        ------
        InputError
            If the standard has no such keyword, it is there already, or its value is wrong.
        """
        _check("metadata keyword", METADATA, keyword, value, line)
        if keyword in self.metadata:
            raise line.error("the keyword is given twice", keyword, found=value)
        if keyword == "TIME_SYSTEM" and self.keywords:
            raise line.error("the time system is given after time tags", keyword, found=value)
        self.metadata[keyword] = value

    def add(self, keyword: str, tag: str, value: str, line: Line = BY_HAND) -> None:
        """Add a data record.

        Raises
        ------
        InputError
            If the standard has no such keyword, or the time tag or the number is wrong.
        """
        _check("data keyword", DATA, keyword, value, line)
        # Records of one instant stand together: its tag is parsed once.
        if not self.tags or self.tags[-1] != tag:
            self._day, self._fraction = self.parse_tag(tag, line, keyword)
        self._days.append(self._day)
        self._fractions.append(self._fraction)
        self.keywords.append(sys.intern(keyword))
        self.tags.append(tag)
        self.values.append(value)
        self.lines.append(line.number)

    def parse_tag(
        self, tag: str, line: Line = BY_HAND, field: str = "EPOCH"
    ) -> tuple[float, float]:
        """Two-part Julian date of a time tag in the segment's time system."""
        parse = parse_calendar if self.time_system == "UTC" else parse_uniform
        try:
            return parse(tag)
        except InputError as error:
            raise line.error(error.problem, field, tag, error.expected) from error

    @property
    def time_system(self) -> str:
        """Time system in capitals."""
        return self.metadata.get("TIME_SYSTEM", "UTC").upper()

    def path(self, keyword: str = "PATH") -> list[int]:
        """Numbers of the participants along the signal's path; empty without a path."""
        text = self.metadata.get(keyword, "").replace(" ", "")
        return [int(stop) for stop in text.split(",")] if text else []

    def line(self, row: int) -> Line:
        """Where a record stands, for messages."""
        return Line(self.source, self.lines[row], "")

    def rows(self, keyword: str) -> list[int]:
        """Indices of the records of one keyword."""
        return [row for row, name in enumerate(self.keywords) if name == keyword]

    def times(self, rows: list[int]) -> Time:
        """Time tags of some records, in the scale of the time system."""
        days, fractions = np.array(self._days)[rows], np.array(self._fractions)[rows]
        scale = SCALES.get(self.time_system, "tai")
        time = Time(days, fractions, format="jd", scale=scale)
        if self.time_system == "GPS":
            time = time - TimeDelta(GPS_MINUS_TAI, format="sec")
        return time

    def series(self, keyword: str) -> tuple[Time, NDArray[np.float64]]:
        """Times and values of one keyword, shape (n,) each, in the standard's unit."""
        rows = self.rows(keyword)
        return self.times(rows), np.array([float(self.values[row]) for row in rows], dtype=float)

    def check_metadata(self, line: Line = BY_HAND) -> None:
        """Check what the metadata keywords demand of one another.

        Raises
        ------
        InputError
            If a keyword is missing that the standard requires, or two do not fit together.
        """
        given = self.metadata
        for keyword, value in given.items():
            _check("metadata keyword", METADATA, keyword, value, line)
        for keyword in ("TIME_SYSTEM", "PARTICIPANT_1"):
            if keyword not in given:
                raise line.error("the metadata lack a keyword", keyword)
        for keyword in ("START_TIME", "STOP_TIME"):
            if keyword in given:
                self.parse_tag(given[keyword], line, keyword)
        if {"START_TIME", "STOP_TIME"} <= given.keys() and self.parse_tag(
            given["START_TIME"]
        ) > self.parse_tag(given["STOP_TIME"]):
            raise line.error("the segment ends before it starts", "STOP_TIME", given["STOP_TIME"])
        if ("TURNAROUND_NUMERATOR" in given) != ("TURNAROUND_DENOMINATOR" in given):
            raise line.error("numerator and denominator belong together", "TURNAROUND_NUMERATOR")
        mode = given.get("MODE", "").upper()
        needed = {"SEQUENTIAL": ("PATH",), "SINGLE_DIFF": ("PATH_1", "PATH_2")}.get(mode, ())
        for keyword in needed:
            if keyword not in given:
                raise line.error(f"mode {mode} needs a path", keyword)
        for keyword in ("PATH", "PATH_1", "PATH_2"):
            for number in self.path(keyword):
                if f"PARTICIPANT_{number}" not in given:
                    raise line.error(
                        f"the path names participant {number}, who is not given",
                        keyword,
                        found=given[keyword],
                    )


@dataclass
class TrackingDataMessage:
    """A whole message.

    Parameters
    ----------
    version : {"1.0", "2.0"}
        Version of the standard.
    header : dict of str to str
        Header keywords with their text.
    comments : list of str
        Comments of the header.
    segments : list of Segment
        Metadata and data.
    source : str
        The file.
    """

    version: str = "2.0"
    header: dict[str, str] = field(default_factory=dict)
    comments: list[str] = field(default_factory=list)
    segments: list[Segment] = field(default_factory=list)
    source: str = field(default="message", compare=False)

    def set_version(self, version: str, line: Line) -> None:
        """Set the version as the file has it."""
        if version not in VERSIONS:
            raise line.error(
                "unknown version of the standard",
                "CCSDS_TDM_VERS",
                found=version,
                expected=" or ".join(VERSIONS),
            )
        self.version = version

    def head(self, keyword: str, value: str, line: Line = BY_HAND) -> None:
        """Add a header keyword.

        Raises
        ------
        InputError
            If the standard has no such keyword, it is there already, or its value is wrong.
        """
        _check("header keyword", HEADER, keyword, value, line)
        if keyword in self.header:
            raise line.error("the keyword is given twice", keyword, found=value)
        self.header[keyword] = value

    def check(self) -> None:
        """Check everything, for a message that is to be written.

        Raises
        ------
        InputError
            If anything would not be read again, or the message's version of the standard does
            not have one of the keywords.
        """
        line = Line(self.source, 0, "")
        self.set_version(self.version, line)
        self.check_header(line)
        for comment in self.comments:
            _check_comment(comment, line)
        if not self.segments:
            raise line.error("the message has no segment")
        for segment in self.segments:
            segment.check_metadata(line)
            if not segment.keywords:
                raise line.error("a segment has no data")
            for comment in [*segment.comments, *segment.data_comments]:
                _check_comment(comment, line)
            self._check_versions(METADATA, segment.metadata, line)
            self._check_versions(DATA, set(segment.keywords), line)
        self._check_versions(HEADER, self.header, line)

    def check_header(self, line: Line) -> None:
        """Check that the header is complete."""
        for keyword, value in self.header.items():
            _check("header keyword", HEADER, keyword, value, line)
        for keyword in ("CREATION_DATE", "ORIGINATOR"):
            if keyword not in self.header:
                raise line.error("the header lacks a keyword", keyword)

    def _check_versions(self, rules: dict[str, Rule], used: Iterable[str], line: Line) -> None:
        for keyword in used:
            if rules[keyword].since > self.version:
                raise line.error(
                    f"version {self.version} of the standard does not have the keyword", keyword
                )

    def count(self) -> Counter[str]:
        """How many records there are of each data keyword."""
        total: Counter[str] = Counter()
        for segment in self.segments:
            total.update(segment.keywords)
        return total

    def carried(self) -> list[str]:
        """Data keywords of the message that the package keeps but makes no use of."""
        return sorted(keyword for keyword in self.count() if keyword not in USES)

    def __repr__(self) -> str:
        counts = ", ".join(f"{n} {keyword}" for keyword, n in sorted(self.count().items()))
        return (
            f"<TrackingDataMessage {self.version}: {len(self.segments)} segments, "
            f"{counts or 'no data'}>"
        )


def _check(kind: str, rules: dict[str, Rule], keyword: str, value: str, line: Line) -> None:
    rule = rules.get(keyword)
    if rule is None:
        raise UnknownNameError(kind, keyword, rules, source=line.source, line=line.number or None)
    if not rule.accepts(value):
        raise line.error("wrong value", keyword, found=value, expected=rule.expected)


def _check_comment(comment: str, line: Line) -> None:
    if comment and not is_text(comment):
        raise line.error("not a text of one line", "COMMENT", found=comment)
