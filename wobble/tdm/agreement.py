"""What the parties to a Tracking Data Message have agreed on outside the file.

In: the user's table: whose names the participants are, what a range unit is, whether
two-way values are halved, what is in the delays, how accurate the data are. Out:
`Agreement`, which the conversion asks, and which says what it was not told.

The standard leaves these to the parties (CCSDS 503.0-B-2, annex on items for an interface
control document). None has a default here: a wrong guess would be a wrong range.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from wobble.errors import InputError, UnknownNameError
from wobble.tdm.keywords import METADATA
from wobble.tdm.message import Segment
from wobble.text.lines import Line

__all__ = ["AGREED", "Agreement"]


@dataclass(frozen=True)
class Agreement:
    """What the file does not say; what is left out is asked for where it is needed.

    Parameters
    ----------
    stations, landers : mapping of str to str
        Names of the participants in the file, and the names by which they are known here.
    range_sigma, range_rate_sigma, one_way_range_rate_sigma : float, optional
        Standard deviations, m and m/s (the standard has no keyword for them).
    two_way_range, two_way_doppler : {"half", "whole"}, optional
        Whether RANGE and DOPPLER_INTEGRATED of a two- or three-way path are half the round
        trip (and its rate), or the whole.
    range_unit_seconds : float, optional
        The range unit as an interval of time, s of round trip (or of half of it, as
        ``two_way_range`` says).
    range_units_per_cycle : float, optional
        The range unit as a share of the uplink's cycles, for coherent ranging, where its
        length follows the frequency: the range in units is this number times the cycles sent
        during the round trip.
    delays : {"contained", "removed"}, optional
        Whether TRANSMIT_DELAY and RECEIVE_DELAY are still in ranges and time tags.
    range_epoch : {"tag", "middle"}, optional
        Where INTEGRATION_REF is START or END: whether a range belongs to its time tag or to
        the middle of the integration interval.
    uplink_frequency : float, optional
        Frequency of the uplink, Hz, for ranges without TRANSMIT_FREQ.
    oscillators : mapping of str to float, optional
        Nominal frequency of each lander's own oscillator, Hz, by the name known here; landers
        without one are absent. If it is left out, only a message's TRANSMIT_FREQ can tell.
    metadata : mapping of str to str, optional
        Values of metadata keywords to be taken where the file does not give them: of `AGREED`,
        since whose data they are and of when the file itself must say.
    simulated : bool
        Whether the data are those of a rehearsal, which may lie in the future.

    Raises
    ------
    InputError
        If a value is none of those allowed.
    """

    stations: Mapping[str, str]
    landers: Mapping[str, str]
    range_sigma: float | None = None
    range_rate_sigma: float | None = None
    one_way_range_rate_sigma: float | None = None
    two_way_range: Literal["half", "whole"] | None = None
    two_way_doppler: Literal["half", "whole"] | None = None
    range_unit_seconds: float | None = None
    range_units_per_cycle: float | None = None
    delays: Literal["contained", "removed"] | None = None
    range_epoch: Literal["tag", "middle"] | None = None
    uplink_frequency: float | None = None
    oscillators: Mapping[str, float] | None = None
    metadata: Mapping[str, str] = field(default_factory=dict)
    simulated: bool = False

    def __post_init__(self) -> None:
        for name, allowed in CHOICES.items():
            value = getattr(self, name)
            if value is not None and value not in allowed:
                raise InputError(
                    "not a choice of the agreement",
                    field=name,
                    found=value,
                    expected=" or ".join(allowed),
                )
        for name in POSITIVE:
            value = getattr(self, name)
            if value is not None and not (math.isfinite(value) and value > 0):
                raise InputError("not a positive number", field=name, found=value)
        for keyword, text in self.metadata.items():
            if keyword not in AGREED:
                raise UnknownNameError("metadata keyword of an agreement", keyword, AGREED)
            if not METADATA[keyword].accepts(text):
                raise InputError(
                    "wrong value", field=keyword, found=text, expected=METADATA[keyword].expected
                )

    def need(self, name: str, line: Line, reason: str) -> object:
        """A part of the agreement, or an error that says what is missing and why."""
        value = getattr(self, name)
        if value is None:
            raise line.error(f"the agreement does not say {name}: {reason}", name)
        return value

    def said(self, segment: Segment, keyword: str) -> str | None:
        """Value of a metadata keyword, from the file or else from the agreement."""
        value = segment.metadata.get(keyword, self.metadata.get(keyword))
        if value is None or METADATA[keyword].expected == "text":
            return value
        # Words of the standard may be in small letters; an exponent is no word.
        return value.upper() if value.replace("_", "").isalpha() else value

    def number(self, segment: Segment, keyword: str) -> Decimal:
        """As `said`, as a number; zero if neither says it."""
        return Decimal(self.said(segment, keyword) or 0)

    def demand(self, segment: Segment, keyword: str, line: Line) -> str:
        """As `said`, or an error if neither says it."""
        value = self.said(segment, keyword)
        if value is None:
            raise line.error(
                "the metadata do not say it and the agreement does not either", keyword
            )
        return value

    def station(self, segment: Segment, number: int, line: Line) -> str:
        """Name of a participant who must be a station."""
        return self._name("station", self.stations, segment, number, line)

    def lander(self, segment: Segment, number: int, line: Line) -> str:
        """Name of a participant who must be a lander."""
        return self._name("lander", self.landers, segment, number, line)

    @staticmethod
    def _name(
        kind: str, names: Mapping[str, str], segment: Segment, number: int, line: Line
    ) -> str:
        keyword = f"PARTICIPANT_{number}"
        name = segment.metadata[keyword]
        if name not in names:
            raise UnknownNameError(
                f"participant who should be a {kind}",
                name,
                names,
                source=line.source,
                line=line.number or None,
                field=keyword,
            )
        return names[name]


AGREED = (
    *("MODE", "TIMETAG_REF", "INTEGRATION_INTERVAL", "INTEGRATION_REF", "FREQ_OFFSET"),
    *("TURNAROUND_NUMERATOR", "TURNAROUND_DENOMINATOR"),
    *("RANGE_MODE", "RANGE_MODULUS", "RANGE_UNITS"),
    *(f"{way}_DELAY_{n}" for way in ("TRANSMIT", "RECEIVE") for n in range(1, 6)),
    *(f"CORRECTION_{name}" for name in ("RANGE", "DOPPLER", "RECEIVE", "TRANSMIT")),
    "CORRECTIONS_APPLIED",
)
"""Metadata keywords that an agreement may say."""
CHOICES = {
    "two_way_range": ("half", "whole"),
    "two_way_doppler": ("half", "whole"),
    "delays": ("contained", "removed"),
    "range_epoch": ("tag", "middle"),
}
POSITIVE = (
    "range_sigma",
    "range_rate_sigma",
    "one_way_range_rate_sigma",
    "range_unit_seconds",
    "range_units_per_cycle",
    "uplink_frequency",
)
