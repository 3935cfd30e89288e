"""Passes as a calendar that anyone's calendar program opens: iCalendar (RFC 5545).

In: passes, the campaign's name and what is to be said with each. Out: the text of an
``.ics`` file.

Each pass is a ``VEVENT`` from its begin to its end at the receiving station, in UTC, with the
status ``TENTATIVE``: a schedule is a proposal. Its ``UID`` is made from what identifies the
pass (RFC 9562, version 5), so that a schedule imported again replaces the older entries.

Rules of RFC 5545 that a writer must keep: lines end with CR LF and have at most 75 octets,
longer ones are folded (section 3.1), never within a character; in texts backslash, semicolon,
comma and line end are escaped (3.3.11); every event has UID and DTSTAMP (3.6.1). The
calendar's ``NAME`` is that of RFC 7986.
"""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator

from astropy.time import Time

from wobble.campaign.schedule import Passes
from wobble.version import __version__

__all__ = ["calendar_text"]

OCTETS = 75
NAMESPACE = uuid.uuid5(uuid.NAMESPACE_DNS, "pass.wobble.invalid")


def calendar_text(passes: Passes, campaign: str, note: str, made: Time) -> str:
    """An iCalendar object of all passes.

    Parameters
    ----------
    passes : Passes
    campaign : str
        Its name; it heads the calendar.
    note : str
        Said with every pass, for example who decides.
    made : Time
        When the schedule was made.
    """
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        f"PRODID:-//wobble//wobble {__version__}//EN",
        "CALSCALE:GREGORIAN",
        f"NAME:{_escaped(campaign)}",
    ]
    for k in range(len(passes)):
        lines += _event(passes, k, campaign, note, made)
    lines.append("END:VCALENDAR")
    return "".join(part + "\r\n" for line in lines for part in _folded(line))


def _event(passes: Passes, k: int, campaign: str, note: str, made: Time) -> list[str]:
    name, station, lander = (
        str(column[k]) for column in (passes.pass_id, passes.station, passes.lander)
    )
    transmitter, antenna = str(passes.transmitter[k]), str(passes.antenna[k])
    start, stop = _stamp(passes.start[k]), _stamp(passes.stop[k])
    way = "two-way" if transmitter == station else f"three-way, {transmitter} transmits"
    through = f", lander's antenna {antenna}" if antenna else ""
    identity = uuid.uuid5(NAMESPACE, "\n".join((campaign, station, transmitter, lander, start)))
    return [
        "BEGIN:VEVENT",
        f"UID:{identity}",
        f"DTSTAMP:{_stamp(made)}",
        f"DTSTART:{start}",
        f"DTEND:{stop}",
        f"SUMMARY:{_escaped(f'{name}: {station} tracks {lander}')}",
        f"DESCRIPTION:{_escaped(f'{way}{through}. Times of reception. {note}')}",
        f"LOCATION:{_escaped(station)}",
        f"CATEGORIES:{_escaped(campaign)}",
        "STATUS:TENTATIVE",
        "END:VEVENT",
    ]


def _stamp(time: Time) -> str:
    """UTC to the nearest second, as in 20310501T120000Z (section 3.3.5)."""
    return re.sub(r"[-:]", "", Time(time.utc, format="isot", precision=0).value) + "Z"


def _escaped(text: str) -> str:
    """A value of type TEXT (section 3.3.11)."""
    text = re.sub(r"[\x00-\x08\x0b-\x1f\x7f]", " ", text.replace("\r\n", "\n"))
    return re.sub(r"([\\;,])", r"\\\1", text).replace("\n", "\\n")


def _folded(line: str) -> Iterator[str]:
    """The line in pieces of at most 75 octets; each further one begins with a space."""
    piece = ""
    for character in line:
        if len((piece + character).encode()) > OCTETS:
            yield piece
            piece = " "
        piece += character
    yield piece
