"""One segment of a Tracking Data Message as a link: station, lander, station.

In: a segment, the agreement, and what the stations of the whole message transmitted.
Out: `Link` with the names of the participants, and the delays, uplink and predictions that
the conversion of a measurement asks for beyond what every path has (`wobble.tdm.signal_path`).

Source: CCSDS 503.0-B-2 (2020), section 3.3.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import ClassVar

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.link.uplink import Uplink
from wobble.tdm.signal_path import SignalPath

__all__ = ["Link", "Path"]

Array = NDArray[np.float64]
Path = Callable[[Time, str, str, str, str], Array]
"""Predicted round trip on the station's clock, s, of (times, transmitter, receiver, lander,
tag), where tag is "receive" or "transmit" and says to what the times belong."""


@dataclass(frozen=True)
class Link(SignalPath):
    """A segment with a path from a station by way of a lander to a station.

    Parameters
    ----------
    segment : Segment
        The data.
    agreement : Agreement
        What the file does not say.
    line : Line
        Where its first measurement stands.
    uplinks : mapping of str to Uplink
        What the stations transmitted, by station.
    predict : callable or None
        Prediction of the round trip.
    """

    uplinks: Mapping[str, Uplink]
    predict: Path | None
    rate_kind: ClassVar[str] = "range_rate"

    @property
    def transmitter(self) -> str:
        """Name of the transmitting station."""
        return self.agreement.station(self.segment, self.stops[0], self.line)

    @property
    def doppler_scale(self) -> int:
        """One-way range rate, m/s, for 1 km/s of Doppler, as the agreement has it."""
        halved = self.agreement.need("two_way_doppler", self.line, "the path is two-way") == "half"
        return 1000 if halved else 500

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
