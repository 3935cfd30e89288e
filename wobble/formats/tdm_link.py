"""One segment of a Tracking Data Message as a link: station, lander, station.

In: a segment, the agreement, and what the whole message says about uplinks and weather.
Out: `Link` with the names of the participants, and the corrections, delays, uplink and
predictions that the conversion of a measurement asks for.

Corrections that are not applied yet are added, as the standard has it. Delays that the data
still contain are taken out of the round trip, and time tags move from the electronics of the
station to its antenna. Source: CCSDS 503.0-B-2 (2020), section 3.3.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

import numpy as np
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.formats.tdm_agreement import Agreement
from wobble.formats.tdm_message import Segment, TrackingDataMessage
from wobble.formats.text import Line
from wobble.formats.uplink import Uplink

__all__ = ["Link", "RoundTrip", "uplinks", "utc"]

Array = NDArray[np.float64]
RoundTrip = Callable[[Time, str, str, str, str], Array]
"""Predicted round trip on the station's clock, s, of (times, transmitter, receiver, lander,
tag), where tag is "receive" or "transmit" and says to what the times belong."""

LONGEST = Decimal(86_400)
"""No delay of electronics and no count is longer, s."""
EXACT_SCALES = ("UTC", "TAI", "TT", "GPS")


@dataclass(frozen=True)
class Link:
    """A segment with a path from a station by way of a lander to a station.

    Parameters
    ----------
    segment : Segment
        The data.
    agreement : Agreement
        What the file does not say.
    uplinks : dict of str to Uplink
        What the stations transmitted, by station.
    predict : callable or None
        Prediction of the round trip.
    line : Line
        Where its first measurement stands.
    """

    segment: Segment
    agreement: Agreement
    uplinks: dict[str, Uplink]
    predict: RoundTrip | None
    line: Line

    def __post_init__(self) -> None:
        mode = self.agreement.said(self.segment, "MODE")
        if mode not in (None, "SEQUENTIAL") or len(self.segment.path()) != 3:
            raise self.line.error(
                "only the path station, lander, station is converted",
                "PATH",
                found=f"{mode}, {self.segment.metadata.get('PATH', 'no path')}",
                expected="SEQUENTIAL, such as 1,2,1 or 1,2,3",
            )

    @property
    def stops(self) -> list[int]:
        """Numbers of transmitter, lander and receiver among the participants."""
        return self.segment.path()

    @property
    def transmitter(self) -> str:
        """Name of the transmitting station."""
        return self.agreement.station(self.segment, self.stops[0], self.line)

    @property
    def lander(self) -> str:
        """Name of the lander."""
        return self.agreement.lander(self.segment, self.stops[1], self.line)

    @property
    def receiver(self) -> str:
        """Name of the receiving station."""
        return self.agreement.station(self.segment, self.stops[2], self.line)

    @property
    def tag(self) -> str:
        """The event to which time tags belong, "receive" or "transmit"."""
        return self.agreement.demand(self.segment, "TIMETAG_REF", self.line).lower()

    def corrected(self, rows: list[int], keyword: str) -> list[Decimal]:
        """The numbers of some records, with the correction if that is not applied yet."""
        correction = missing_correction(self.segment, keyword, self.agreement, self.line)
        return [Decimal(self.segment.values[row]) + correction for row in rows]

    def delay(self, *keywords: str) -> Decimal:
        """Sum of those delays that are still in the data, s."""
        given = [
            self._bounded(keyword, self.segment.metadata.get(keyword, "0")) for keyword in keywords
        ]
        total = sum(given, Decimal(0))
        if total and self.agreement.need("delays", self.line, "delays are given") == "removed":
            return Decimal(0)
        return total

    def _bounded(self, keyword: str, text: str) -> Decimal:
        seconds = Decimal(text)
        if abs(seconds) > LONGEST:
            raise self.line.error("is out of range", keyword, text, f"at most {LONGEST} s")
        return seconds

    @property
    def round_trip_delay(self) -> Decimal:
        """What the electronics still add to a round trip, s."""
        first, middle, last = self.stops
        return self.delay(
            f"TRANSMIT_DELAY_{first}",
            f"RECEIVE_DELAY_{middle}",
            f"TRANSMIT_DELAY_{middle}",
            f"RECEIVE_DELAY_{last}",
        )

    def at_antenna(self, times: Time) -> Time:
        """Time tags moved from the electronics of the station to its antenna."""
        first, _, last = self.stops
        if self.tag == "receive":
            return shifted(times, -self.delay(f"RECEIVE_DELAY_{last}"))
        return shifted(times, self.delay(f"TRANSMIT_DELAY_{first}"))

    def to_middle(self, times: Time) -> Time:
        """Time tags moved to the middle of the integration interval."""
        reference = self.agreement.demand(self.segment, "INTEGRATION_REF", self.line)
        interval = self.agreement.demand(self.segment, "INTEGRATION_INTERVAL", self.line)
        half = self._bounded("INTEGRATION_INTERVAL", interval) / 2
        return shifted(times, {"START": half, "MIDDLE": Decimal(0), "END": -half}[reference])

    def uplink(self) -> Uplink:
        """What the transmitting station sent, or an error if the message does not say."""
        if self.transmitter not in self.uplinks:
            raise self.line.error(
                f"no frequency is given that {self.transmitter} transmits", "TRANSMIT_FREQ"
            )
        return self.uplinks[self.transmitter]

    def frequencies(self, times: Time) -> Array:
        """Frequency of the uplink at some time tags, Hz; before the first that is given, that.

        It serves the dispersive delays. What a ramp changes during a round trip is 1e-6 of the
        frequency and counts for nothing there, so that time tags of reception will do.
        """
        if self.transmitter not in self.uplinks and self.agreement.uplink_frequency is not None:
            return np.full(len(times), self.agreement.uplink_frequency)
        uplink = self.uplink()
        return uplink.at(np.maximum(uplink.seconds(times), uplink.starts[0]))

    def predicted(self, times: Time, reason: str) -> Array:
        """Predicted round trips, s, or an error that says why they are needed."""
        if self.predict is None:
            raise self.line.error(f"a prediction of the round trip is needed: {reason}")
        names = (self.transmitter, self.receiver, self.lander)
        seconds = np.asarray(self.predict(times, *names, self.tag), dtype=float)
        if seconds.shape != (len(times),) or not (np.isfinite(seconds) & (seconds > 0)).all():
            raise self.line.error(
                "the prediction of the round trip is no array of positive numbers",
                found=seconds.shape,
                expected=f"({len(times)},)",
            )
        return seconds


def missing_correction(segment: Segment, keyword: str, agreement: Agreement, line: Line) -> Decimal:
    """What must be added to the numbers of a segment; zero if it has been added already."""
    correction = Decimal(segment.metadata.get(keyword, "0"))
    if correction and agreement.demand(segment, "CORRECTIONS_APPLIED", line) == "YES":
        return Decimal(0)
    return correction


def shifted(times: Time, seconds: Decimal) -> Time:
    """Times moved by so many seconds; untouched by none."""
    return times + TimeDelta(float(seconds), format="sec") if seconds else times


def utc(segment: Segment, rows: list[int]) -> Time:
    """Time tags of some records in UTC.

    Raises
    ------
    InputError
        If the time system is a coordinate time, whose difference from UTC depends on the
        place of the clock.
    """
    if segment.time_system not in EXACT_SCALES:
        raise segment.line(rows[0]).error(
            "time tags of a coordinate time are not converted",
            "TIME_SYSTEM",
            found=segment.time_system,
            expected=" or ".join(EXACT_SCALES),
        )
    return segment.times(rows).utc


def uplinks(message: TrackingDataMessage, agreement: Agreement) -> dict[str, Uplink]:
    """What each station of a message transmitted, from all segments.

    Raises
    ------
    InputError
        If two records contradict each other, or a rate has no frequency at its time.
    """
    found: dict[str, dict[float, tuple[Fraction, float]]] = {}
    origin: Time | None = None
    for segment in message.segments:
        for number in range(1, 6):
            name = segment.metadata.get(f"PARTICIPANT_{number}", "")
            rows = segment.rows(f"TRANSMIT_FREQ_{number}")
            if not rows or name not in agreement.stations:
                continue
            times = utc(segment, rows)
            origin = times[0] if origin is None else origin
            ramps = found.setdefault(agreement.stations[name], {})
            _collect(segment, number, rows, (times - origin).to_value("s"), agreement, ramps)
    return {
        station: Uplink(
            station,
            origin,
            np.array(sorted(ramps)),
            [ramps[start][0] for start in sorted(ramps)],
            np.array([ramps[start][1] for start in sorted(ramps)]),
        )
        for station, ramps in found.items()
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
