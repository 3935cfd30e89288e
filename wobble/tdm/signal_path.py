"""One segment of a Tracking Data Message as the path of a signal, whatever its stops are.

In: a segment and the agreement. Out: `SignalPath`: who sends and receives, with the time tags,
corrections and delays that the conversion of a measurement asks for.

Corrections that are not applied yet are added, as the standard has it. Delays that the data
still contain are taken out, and time tags move from the electronics of the station to its
antenna. Source: CCSDS 503.0-B-2 (2020), section 3.3.
"""

from dataclasses import dataclass
from decimal import Decimal

from astropy.time import Time, TimeDelta

from wobble.tdm.agreement import Agreement
from wobble.tdm.message import Segment
from wobble.text.lines import Line

__all__ = ["EXACT_SCALES", "SignalPath", "missing_correction", "utc"]

LONGEST = Decimal(86_400)
"""No delay of electronics and no count is longer, s."""
EXACT_SCALES = ("UTC", "TAI", "TT", "GPS")


# The annotations of this module are objects, not texts: the classes derived from this one have
# them in their own signatures, where the names of this module mean nothing.
@dataclass(frozen=True)
class SignalPath:
    """A segment whose signal comes from a lander to a station in the end.

    Parameters
    ----------
    segment : Segment
        The data.
    agreement : Agreement
        What the file does not say.
    line : Line
        Where its first measurement stands.
    """

    segment: Segment
    agreement: Agreement
    line: Line

    @property
    def stops(self) -> list[int]:
        """Numbers of the participants along the path; the last two are lander and receiver."""
        return self.segment.path()

    @property
    def lander(self) -> str:
        """Name of the lander."""
        return self.agreement.lander(self.segment, self.stops[-2], self.line)

    @property
    def receiver(self) -> str:
        """Name of the receiving station."""
        return self.agreement.station(self.segment, self.stops[-1], self.line)

    @property
    def tag(self) -> str:
        """The event to which time tags belong, "receive" or "transmit"."""
        return self.agreement.demand(self.segment, "TIMETAG_REF", self.line).lower()

    def corrected(self, rows: list[int], keyword: str) -> list[Decimal]:
        """The numbers of some records, with the correction if that is not applied yet."""
        correction = missing_correction(self.segment, keyword, self.agreement, self.line)
        return [Decimal(self.segment.values[row]) + correction for row in rows]

    def received(self, rows: list[int]) -> list[Decimal]:
        """The frequencies of some records RECEIVE_FREQ, Hz, with FREQ_OFFSET.

        Raises
        ------
        InputError
            If one is not positive.
        """
        offset = self.agreement.number(self.segment, "FREQ_OFFSET")
        received = [f + offset for f in self.corrected(rows, "CORRECTION_RECEIVE")]
        for row, frequency in zip(rows, received, strict=True):
            if frequency <= 0:
                raise self.segment.line(row).error(
                    "not a frequency; is FREQ_OFFSET missing?",
                    self.segment.keywords[row],
                    found=float(frequency),
                )
        return received

    def delay(self, *keywords: str) -> Decimal:
        """Sum of those delays that are still in the data, s."""
        given = [
            self._bounded(keyword, self.agreement.number(self.segment, keyword))
            for keyword in keywords
        ]
        total = sum(given, Decimal(0))
        if total and self.agreement.need("delays", self.line, "delays are given") == "removed":
            return Decimal(0)
        return total

    def _bounded(self, keyword: str, seconds: Decimal) -> Decimal:
        if abs(seconds) > LONGEST:
            raise self.line.error("is out of range", keyword, str(seconds), f"at most {LONGEST} s")
        return seconds

    def at_antenna(self, times: Time) -> Time:
        """Time tags moved from the electronics of the station to its antenna."""
        if self.tag == "receive":
            return shifted(times, -self.delay(f"RECEIVE_DELAY_{self.stops[-1]}"))
        return shifted(times, self.delay(f"TRANSMIT_DELAY_{self.stops[0]}"))

    def to_middle(self, times: Time) -> Time:
        """Time tags moved to the middle of the integration interval."""
        reference = self.agreement.demand(self.segment, "INTEGRATION_REF", self.line)
        interval = self.agreement.demand(self.segment, "INTEGRATION_INTERVAL", self.line)
        half = self._bounded("INTEGRATION_INTERVAL", Decimal(interval)) / 2
        return shifted(times, {"START": half, "MIDDLE": Decimal(0), "END": -half}[reference])


def missing_correction(segment: Segment, keyword: str, agreement: Agreement, line: Line) -> Decimal:
    """What must be added to the numbers of a segment; zero if it has been added already."""
    correction = agreement.number(segment, keyword)
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
