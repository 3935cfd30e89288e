"""Ranges of a Tracking Data Message as round trips in seconds.

In: a `Link` and a record RANGE in km, s or range units, with or without a modulus. Out: the
round trip on the station's clock, s, as a decimal number with the digits of the file.

A range unit is an interval of time, or a share C of the cycles of the uplink: then the range
is C times the integral of the transmitted frequency over the round trip, and its length
follows the ramps. A modulus M is undone by a prediction: the multiple of M that brings the
range nearest to it, which must be nearer than M / 4.
Source: CCSDS 503.0-B-2 (2020), sections 3.3.2 and 3.5.2.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Protocol, cast

from astropy.time import Time

from wobble.constants import SPEED_OF_LIGHT
from wobble.link.uplink import Uplink
from wobble.tdm.round_trip import Link
from wobble.text.lines import Line

__all__ = ["LIGHT", "range_epochs", "round_trip_seconds"]

LIGHT = Decimal(int(SPEED_OF_LIGHT))
MOST_ITERATIONS = 8


class Scale(Protocol):
    """How the numbers of a file and the seconds of the round trip belong together."""

    def seconds(self, units: Decimal) -> Decimal:
        """Round trip of a number of units, s."""

    def units(self, seconds: Decimal) -> Decimal:
        """Number of units in a round trip."""


@dataclass(frozen=True)
class ConstantUnit:
    """A unit that is an interval of time, s of round trip."""

    length: Decimal

    def seconds(self, units: Decimal) -> Decimal:
        return units * self.length

    def units(self, seconds: Decimal) -> Decimal:
        return seconds / self.length


@dataclass(frozen=True)
class CycleUnit:
    """A unit that is a share of the cycles that the uplink sent during the round trip."""

    share: float
    uplink: Uplink
    time: float
    tag: str

    def units(self, seconds: Decimal) -> Decimal:
        length = float(seconds)
        start = self.time if self.tag == "transmit" else self.time - length
        return Decimal(self.share * float(self.uplink.cycles(start, start + length)[0]))

    def seconds(self, units: Decimal) -> Decimal:
        rate = Decimal(self.share * float(self.uplink.at(self.time)[0]))
        seconds = units / rate
        # The frequency changes by less than 1e-5 of itself over any ramp: each step gains as
        # much, down to the rounding of the sum of cycles.
        for _ in range(MOST_ITERATIONS):
            step = (units - self.units(seconds)) / rate
            seconds += step
            if abs(step) < Decimal("1e-14") * abs(seconds):
                break
        return seconds


def round_trip_seconds(link: Link, rows: list[int], times: Time) -> list[Decimal]:
    """The round trips that some records RANGE measure, s.

    Parameters
    ----------
    link : Link
        The segment.
    rows : list of int, length n
        The records.
    times : Time, shape (n,)
        Their epochs.

    Raises
    ------
    InputError
        If the file and the agreement leave the meaning open.
    """
    if link.agreement.said(link.segment, "RANGE_MODE") == "ONE_WAY":
        raise link.line.error("one-way ranges are not converted", "RANGE_MODE")
    scales = _scales(link, times)
    units = link.corrected(rows, "CORRECTION_RANGE")
    modulus = link.agreement.number(link.segment, "RANGE_MODULUS")
    if modulus:
        predicted = link.predicted(times, "the range has a modulus")
        for k, row in enumerate(rows):
            expected = scales[k].units(Decimal(float(predicted[k])))
            units[k] = _resolved(units[k], modulus, expected, link.segment.line(row))
    delay = link.round_trip_delay
    return [scale.seconds(unit) - delay for scale, unit in zip(scales, units, strict=True)]


def range_epochs(link: Link, times: Time) -> Time:
    """The epochs of ranges with such time tags, by the agreement where they are ambiguous."""
    reference = link.agreement.said(link.segment, "INTEGRATION_REF")
    interval = link.agreement.said(link.segment, "INTEGRATION_INTERVAL")
    if interval is None or reference in (None, "MIDDLE"):
        return times
    reason = "the time tag is not the middle of the integration"
    at_tag = link.agreement.need("range_epoch", link.line, reason) == "tag"
    return times if at_tag else link.to_middle(times)


def _resolved(units: Decimal, modulus: Decimal, predicted: Decimal, line: Line) -> Decimal:
    """The range with the multiple of its modulus that is nearest to the prediction."""
    whole = units + modulus * ((predicted - units) / modulus).to_integral_value()
    if abs(whole - predicted) > modulus / 4:
        raise line.error(
            "the predicted round trip is too far off to decide the ambiguity",
            "RANGE_MODULUS",
            found=f"{float(abs(whole - predicted)):.4g} units",
            expected=f"less than a quarter of the modulus, {float(modulus / 4):.4g} units",
        )
    return whole


def _scales(link: Link, times: Time) -> list[Scale]:
    """What the numbers of the file mean at some epochs."""
    agreement, line = link.agreement, link.line
    unit = agreement.demand(link.segment, "RANGE_UNITS", line)
    halved = agreement.need("two_way_range", line, "the path is two-way") == "half"
    share = agreement.range_units_per_cycle
    if unit == "RU" and share is not None:
        uplink, tag = link.uplink(), link.tag
        share = share / 2 if halved else share
        return [CycleUnit(share, uplink, t, tag) for t in uplink.seconds(times).tolist()]
    if unit == "RU":
        reason = "ranges are in range units"
        length = Decimal(cast(float, agreement.need("range_unit_seconds", line, reason)))
    else:
        length = {"KM": 1000 / LIGHT, "S": Decimal(1)}[unit]
    return [ConstantUnit(2 * length if halved else length)] * len(times)
