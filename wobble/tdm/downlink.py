"""One segment of a Tracking Data Message as a downlink: a lander's own oscillator, a station.

In: a segment with a path of one leg, such as 1,2, the agreement, and what the landers of the
whole message transmitted. Out: `Downlink`, with range rates of received frequencies, m/s.

The frequency f_0 to which the range rates belong is TRANSMIT_FREQ_n of the lander; where the
message does not give it, that of the lander's oscillator in the scenario; where both do, they
must be the same. A received frequency becomes c (f_0 - f_R) / f_0 (`wobble.measurements`), formed
of decimal digits; DOPPLER on a path of one leg is the range rate of that leg, and nothing is
halved. Source: CCSDS 503.0-B-2 (2020), sections 3.3.2 and 3.5.2.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import ClassVar

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.link.uplink import Uplink
from wobble.tdm.signal_path import SignalPath

__all__ = ["Downlink"]

Array = NDArray[np.float64]
LIGHT = Decimal(int(SPEED_OF_LIGHT))


@dataclass(frozen=True)
class Downlink(SignalPath):
    """A segment with a path from a lander to a station.

    Parameters
    ----------
    segment : Segment
        The data.
    agreement : Agreement
        What the file does not say.
    line : Line
        Where its first measurement stands.
    downlinks : mapping of str to Uplink
        What the landers transmitted, by lander.

    Raises
    ------
    InputError
        If the path leads up from a station.
    """

    downlinks: Mapping[str, Uplink]
    rate_kind: ClassVar[str] = "one_way_range_rate"
    doppler_scale: ClassVar[int] = 1000

    def __post_init__(self) -> None:
        first = self.segment.metadata[f"PARTICIPANT_{self.stops[0]}"]
        if first in self.agreement.stations and first not in self.agreement.landers:
            raise self.line.error(
                "only the way down is converted of the paths of one leg",
                "PATH",
                found=f"{self.segment.metadata['PATH']}, which starts at station {first}",
                expected="lander, station",
            )

    @property
    def transmitter(self) -> str:
        """Name of the receiving station, as the table of measurements has it for one-way data."""
        return self.receiver

    @property
    def nominal(self) -> Decimal:
        """The frequency to which the range rates belong, Hz.

        Raises
        ------
        InputError
            If neither the message nor the scenario gives it, the two contradict each other, it
            changes, or the scenario's lander has no oscillator.
        """
        lander, known = self.lander, self.agreement.oscillators
        if known is not None and lander not in known:
            raise self.line.error(
                f"one-way data of a lander without an oscillator, {lander}",
                f"PARTICIPANT_{self.stops[0]}",
                expected=f"[lander.{lander}.oscillator] in the scenario",
            )
        keyword = f"TRANSMIT_FREQ_{self.stops[0]}"
        rows = self.segment.rows(keyword)
        line = self.segment.line(rows[0]) if rows else self.line
        if lander not in self.downlinks:
            if known is None:
                raise line.error(f"no frequency is given that {lander} transmits", keyword)
            return Decimal(repr(known[lander]))
        sent = self.downlinks[lander]
        if not sent.is_constant:
            raise line.error(
                f"the frequency that {lander} transmits changes",
                keyword,
                expected="one nominal frequency",
            )
        exact = sent.frequencies[0]
        if known is not None and float(exact) != known[lander]:
            raise line.error(
                f"contradicts the nominal frequency of {lander}'s oscillator",
                keyword,
                found=float(exact),
                expected=f"{known[lander]!r} Hz, as in the scenario",
            )
        return Decimal(exact.numerator) / exact.denominator

    def frequencies(self, times: Time) -> Array:
        """The nominal frequency at some time tags, Hz."""
        return np.full(len(times), float(self.nominal))

    def received_rates(self, rows: list[int]) -> Array:
        """Mean range rates of some records RECEIVE_FREQ, m/s."""
        nominal = self.nominal
        rates = (LIGHT * (nominal - f) / nominal for f in self.received(rows))
        return np.fromiter((float(rate) for rate in rates), float, len(rows))
