"""What the participants of a Tracking Data Message transmitted, from all of its segments.

In: a message and the agreement. Out: `Sent`: frequencies that stations send up, and those that
landers send down from oscillators of their own, by names known here.

A record TRANSMIT_FREQ_n is the frequency at its time tag, TRANSMIT_FREQ_RATE_n the rate from
there to the next. Source: CCSDS 503.0-B-2 (2020), section 3.5.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.link.uplink import Uplink
from wobble.tdm.agreement import Agreement
from wobble.tdm.message import Segment, TrackingDataMessage
from wobble.tdm.signal_path import missing_correction, utc

__all__ = ["Sent", "transmitted"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Sent:
    """Frequencies that were transmitted.

    Parameters
    ----------
    up, down : mapping of str to Uplink
        By station, and by lander.
    """

    up: Mapping[str, Uplink]
    down: Mapping[str, Uplink]


def transmitted(message: TrackingDataMessage, agreement: Agreement) -> Sent:
    """What the stations and the landers of a message transmitted.

    Raises
    ------
    InputError
        If two records contradict each other, or a rate has no frequency at its time.
    """
    # On a longer path a lander sends what it makes of the uplink, not what its oscillator gives.
    alone = [segment for segment in message.segments if len(segment.path()) in (0, 2)]
    return Sent(
        up=_frequencies(message.segments, agreement.stations, agreement),
        down=_frequencies(alone, agreement.landers, agreement),
    )


def _frequencies(
    segments: list[Segment], names: Mapping[str, str], agreement: Agreement
) -> dict[str, Uplink]:
    """What those participants of some segments transmitted who have one of these names."""
    found: dict[str, dict[float, tuple[Fraction, float]]] = {}
    origin: Time | None = None
    for segment in segments:
        for number in range(1, 6):
            name = segment.metadata.get(f"PARTICIPANT_{number}", "")
            rows = segment.rows(f"TRANSMIT_FREQ_{number}")
            if not rows or name not in names:
                continue
            times = utc(segment, rows)
            origin = times[0] if origin is None else origin
            ramps = found.setdefault(names[name], {})
            _collect(segment, number, rows, (times - origin).to_value("s"), agreement, ramps)
    return {
        name: Uplink(
            name,
            origin,
            np.array(sorted(ramps)),
            [ramps[start][0] for start in sorted(ramps)],
            np.array([ramps[start][1] for start in sorted(ramps)]),
        )
        for name, ramps in found.items()
    }


def _collect(
    segment: Segment,
    number: int,
    rows: list[int],
    starts: Array,
    agreement: Agreement,
    ramps: dict[float, tuple[Fraction, float]],
) -> None:
    """Add the ramps of one participant of a segment to those known already."""
    keyword = f"TRANSMIT_FREQ_RATE_{number}"
    rates = {segment.tags[row]: (row, float(segment.values[row])) for row in segment.rows(keyword)}
    line = segment.line(rows[0])
    correction = Fraction(missing_correction(segment, "CORRECTION_TRANSMIT", agreement, line))
    for row, start in zip(rows, starts.tolist(), strict=True):
        rate = rates.pop(segment.tags[row], (row, 0.0))[1]
        ramp = (Fraction(segment.values[row]) + correction, rate)
        if ramps.setdefault(start, ramp) != ramp:
            raise segment.line(row).error(
                "contradicts another frequency of the same station and time",
                segment.keywords[row],
                found=segment.values[row],
            )
    for row, _ in rates.values():
        raise segment.line(row).error("the rate has no frequency at its time", keyword)
