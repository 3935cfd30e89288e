"""The calendar of passes against RFC 5545: its rules, its example, and an independent reader."""

import icalendar
import numpy as np
import pytest
from astropy.time import Time, TimeDelta

from wobble.campaign.schedule import Passes
from wobble.files.icalendar import _escaped, _folded, calendar_text

NOTE = "A proposal; who decides: the station, the lander's rules, and \\ back\nslash"
CAMPAIGN = "Two years, of the héron; ½"
MADE = Time("2031-01-02T03:04:05.6")


@pytest.fixture(scope="module")
def passes():
    start = Time("2031-05-01T23:30:00") + TimeDelta(np.arange(12) * 86_400.0, format="sec")
    names = [np.array([name] * 12) for name in ("alder", "heron", "east")]
    sender = np.array(["alder", "broom"] * 6)
    stop = start + TimeDelta(2700.0, format="sec")
    return Passes(np.array([f"P{i}" for i in range(12)]), start, stop, *names, sender)


@pytest.fixture(scope="module")
def text(passes):
    return calendar_text(passes, CAMPAIGN, NOTE, MADE)


def test_lines_end_with_cr_lf_and_have_75_octets_at_most(text):
    # RFC 5545, section 3.1.
    raw = text.encode()
    assert raw.endswith(b"\r\n")
    assert raw.count(b"\n") == raw.count(b"\r\n") == raw.count(b"\r")
    lengths = [len(line) for line in raw.split(b"\r\n")]
    assert max(lengths) <= 75
    assert max(lengths) > 70
    for line in raw.split(b"\r\n"):
        line.decode()  # no character is cut


def test_unfolding_gives_the_line_back():
    # Section 3.1: "CRLF immediately followed by a single linear white-space character" goes.
    line = "DESCRIPTION:" + "wind und öde " * 30
    assert "\r\n".join(_folded(line)).replace("\r\n ", "") == line


def test_the_texts_of_the_standard_are_escaped_as_there():
    # Section 3.3.11, its example: a project of three lines with a comma.
    assert (
        _escaped("Project XYZ Final Review\nConference Room - 3B\nCome Prepared.")
        == r"Project XYZ Final Review\nConference Room - 3B\nCome Prepared."
    )
    # The rule there: ESCAPED-CHAR = "\\" / "\;" / "\," / "\N" / "\n".
    assert _escaped("a\\b;c,d\ne:f") == r"a\\b\;c\,d\ne:f"


def test_required_properties_stand_once_in_every_event(text):
    # Section 3.6 and 3.6.1: VERSION and PRODID of the calendar, UID and DTSTAMP of an event.
    unfolded = text.replace("\r\n ", "")
    head, *events = unfolded.split("BEGIN:VEVENT\r\n")
    assert head.count("VERSION:2.0\r\n") == 1
    assert head.count("PRODID:") == 1
    assert len(events) == 12
    for event in events:
        for key in ("UID:", "DTSTAMP:20310102T030406Z", "DTSTART:", "DTEND:"):
            assert event.count(key) == 1
    identities = [line for line in unfolded.split("\r\n") if line.startswith("UID:")]
    assert len(set(identities)) == 12


def test_an_independent_reader_finds_every_pass(text, passes):
    calendar = icalendar.Calendar.from_ical(text.encode())
    events = list(calendar.walk("VEVENT"))
    assert len(events) == 12
    for k, event in enumerate(events):
        assert Time(event["DTSTART"].dt.isoformat()[:19]) == passes.start[k]
        assert (event["DTEND"].dt - event["DTSTART"].dt).total_seconds() == 2700.0
        assert event["DTSTART"].dt.utcoffset().total_seconds() == 0.0
        assert str(event["SUMMARY"]) == f"P{k}: alder tracks heron"
        assert str(event["DESCRIPTION"]).endswith(NOTE)
        assert str(event["STATUS"]) == "TENTATIVE"
    assert "three-way, broom transmits" in str(events[1]["DESCRIPTION"])
    assert events[0]["CATEGORIES"].cats == [CAMPAIGN]


def test_the_same_passes_keep_their_identity(passes, text):
    later = calendar_text(passes, CAMPAIGN, NOTE, MADE + TimeDelta(9.0, format="jd"))

    def uid(content):
        return [line for line in content.split("\r\n") if line.startswith("UID:")]

    assert uid(later) == uid(text)
