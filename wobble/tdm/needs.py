"""What a Tracking Data Message needs to be told before it can be fitted.

In: a message, and the agreement as far as there is one. Out: what is missing, and why.

The conversion itself is asked: it runs over the first records of each segment under an
agreement that notes every question and answers it with a stand-in. So nothing that
`wobble.tdm.conversion` would ask for can be forgotten here.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.errors import InputError
from wobble.tdm.agreement import Agreement
from wobble.tdm.conversion import segment_measurements
from wobble.tdm.message import Segment, TrackingDataMessage
from wobble.tdm.sent import transmitted
from wobble.text.lines import Line

__all__ = ["needs"]

MEASURED = ("RANGE", "DOPPLER_INTEGRATED", "DOPPLER_INSTANTANEOUS", "RECEIVE_FREQ")
STAND_INS: dict[str, object] = {
    "two_way_range": "half",
    "two_way_doppler": "half",
    "delays": "contained",
    "range_epoch": "tag",
}
SAID_STAND_INS = {
    "TIMETAG_REF": "RECEIVE",
    "INTEGRATION_REF": "MIDDLE",
    "RANGE_UNITS": "KM",
    "CORRECTIONS_APPLIED": "NO",
}


@dataclass(frozen=True)
class _Asking(Agreement):
    """An agreement that notes what it is asked for and does not know."""

    asked: dict[str, str] = field(default_factory=dict)

    def need(self, name: str, line: Line, reason: str) -> object:
        value = getattr(self, name)
        if value is None:
            self.asked.setdefault(name, reason)
            return STAND_INS.get(name, 1.0)
        return value

    def demand(self, segment: Segment, keyword: str, line: Line) -> str:
        value = self.said(segment, keyword)
        if value is None:
            self.asked.setdefault(f"metadata.{keyword}", "the metadata do not say it")
            return SAID_STAND_INS.get(keyword, "1")
        return value


def needs(message: TrackingDataMessage, agreement: Agreement | None = None) -> list[str]:
    """What is missing for a fit of a message.

    Parameters
    ----------
    message : TrackingDataMessage
    agreement : Agreement, optional
        What is known already; nothing if left out.

    Returns
    -------
    list of str
        Keys of the agreement, each with the reason; then what the reader would refuse of the
        first records of a segment.
    """
    known = agreement or Agreement({}, {})
    stations, landers = _participants(message, known)
    strangers = set(landers) - set(known.landers)
    asking = _Asking(
        **{f.name: getattr(known, f.name) for f in dataclasses.fields(Agreement)}
        | {
            "stations": {name: known.stations.get(name, name) for name in stations},
            "landers": {name: known.landers.get(name, name) for name in landers},
            # Whether a lander has an oscillator can be asked only of one who is known.
            # A stand-in for the prediction decides no ambiguity: the modulus is asked for apart.
            "metadata": {k: v for k, v in known.metadata.items() if k != "RANGE_MODULUS"},
            "oscillators": None if strangers else known.oscillators,
        }
    )
    for kind, names, given in (
        ("stations", stations, known.stations),
        ("landers", landers, known.landers),
    ):
        missing = [name for name in names if name not in given]
        if missing:
            asking.asked[kind] = f"whose names here are {', '.join(missing)}?"
    refused: dict[str, None] = {}
    try:
        sent = transmitted(message, asking)
    except InputError as error:
        return [*_texts(asking), str(error)]
    for segment in message.segments:
        try:
            if known.number(segment, "RANGE_MODULUS") and "RANGE" in segment.keywords:
                reason = "the range has a modulus; the scenario's model predicts the round trip"
                asking.asked.setdefault("a priori place of the lander", reason)
            segment_measurements(_first_records(segment), asking, sent, _some_round_trip)
        except InputError as error:
            refused.setdefault(str(error))
    return [*_texts(asking), *refused]


def _texts(asking: _Asking) -> list[str]:
    return [f"{name}: {reason}" for name, reason in asking.asked.items()]


def _participants(message: TrackingDataMessage, known: Agreement) -> tuple[list[str], list[str]]:
    """Names of stations and landers, by where they stand in the paths.

    A path of one leg comes down from the lander, unless it starts at a known station.
    """
    stations: dict[str, None] = {}
    landers: dict[str, None] = {}
    for segment in message.segments:
        names = [segment.metadata[f"PARTICIPANT_{number}"] for number in segment.path() or [1]]
        if len(names) == 2:
            between = {int(names[0] in known.stations)}
        else:
            between = set(range(1, len(names) - 1))
        for place, name in enumerate(names):
            (landers if place in between else stations).setdefault(name)
    return list(stations), list(landers)


def _first_records(segment: Segment) -> Segment:
    """The first record of each measurement, without a modulus."""
    few = Segment(metadata=dict(segment.metadata), source=segment.source)
    few.metadata.pop("RANGE_MODULUS", None)
    for keyword in dict.fromkeys(segment.keywords):
        if keyword.startswith(MEASURED):
            row = segment.keywords.index(keyword)
            line = segment.line(row)
            few.add(keyword, segment.tags[row], segment.values[row], line)
    return few


def _some_round_trip(times: Time, *_: str) -> NDArray[np.float64]:
    """A round trip that leaves the ramps in force at the times themselves."""
    return np.full(len(times), 1e-3)
