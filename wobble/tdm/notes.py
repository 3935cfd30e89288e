"""What a person should know of a Tracking Data Message before its numbers are used.

In: a message. Out: texts, each with file and line: data that are carried but not used, data of
degraded quality, corrections that are added on reading, and segments of one kind that overlap.
"""

from __future__ import annotations

from collections import Counter
from itertools import pairwise

from astropy.time import Time

from wobble.tdm.agreement import Agreement
from wobble.tdm.keywords import USES
from wobble.tdm.message import Segment, TrackingDataMessage

__all__ = ["notes", "overlaps"]

MEASURED = {
    *("RANGE", "DOPPLER_INTEGRATED", "DOPPLER_INSTANTANEOUS", "RECEIVE_FREQ"),
    *(f"RECEIVE_FREQ_{n}" for n in range(1, 6)),
}
# Which correction belongs to which data.
CORRECTIONS = {
    "CORRECTION_RANGE": "RANGE",
    "CORRECTION_DOPPLER": "DOPPLER_IN",  # integrated and instantaneous
    "CORRECTION_RECEIVE": "RECEIVE_FREQ",
    "CORRECTION_TRANSMIT": "TRANSMIT_FREQ",
}

OF_MEDIA = ("STEC", "TROPO_DRY", "TROPO_WET")
"""Keywords that make a series (`wobble.tdm.station_series`)."""


def notes(message: TrackingDataMessage, agreement: Agreement) -> list[str]:
    """Warnings about a message, in the order of its segments; what is not used comes last."""
    found: list[str] = []
    for segment in message.segments:
        where = f"{message.source}, line {segment.lines[0]}"
        if segment.metadata.get("DATA_QUALITY", "").upper() == "DEGRADED":
            found.append(f"{where}: the data quality is DEGRADED")
        found += [f"{where}: {text}" for text in _corrections(segment, agreement)]
    found += overlaps(message)
    unused = Counter({keyword: n for keyword, n in message.count().items() if keyword not in USES})
    return found + [
        f"{message.source}: {keyword} {_fate(keyword)} ({n} in the file)"
        for keyword, n in sorted(unused.items())
    ]


def _fate(keyword: str) -> str:
    if keyword in OF_MEDIA:
        return "is used where the scenario's [media] names the file, not here"
    return "is carried, not used"


def _corrections(segment: Segment, agreement: Agreement) -> list[str]:
    """Corrections that are added to the data here; those applied already are silent."""
    if agreement.said(segment, "CORRECTIONS_APPLIED") == "YES":
        return []
    return [
        f"{keyword} = {agreement.said(segment, keyword)} is not applied yet and is added"
        for keyword, data in CORRECTIONS.items()
        if agreement.number(segment, keyword)
        and any(name.startswith(data) for name in segment.keywords)
    ]


def overlaps(message: TrackingDataMessage) -> list[str]:
    """Segments whose data of one kind and path overlap in time."""
    spans: dict[tuple[str, ...], list[tuple[Time, Time, int]]] = {}
    for segment in message.segments:
        path = tuple(segment.metadata.get(f"PARTICIPANT_{k}", "") for k in segment.path())
        for keyword in MEASURED & set(segment.keywords):
            rows = segment.rows(keyword)
            times = segment.times(rows)
            span = (times.min(), times.max(), segment.lines[rows[0]])
            spans.setdefault((keyword, segment.time_system, *path), []).append(span)
    found: list[str] = []
    for (keyword, *_), several in sorted(spans.items()):
        ordered = sorted(several, key=lambda span: (span[0].jd1, span[0].jd2))
        for before, after in pairwise(ordered):
            if after[0] < before[1]:
                found.append(
                    f"{message.source}, line {after[2]}: the {keyword} of this segment overlap in "
                    f"time with those from line {before[2]} on"
                )
    return found
