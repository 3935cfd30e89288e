"""Doppler of a Tracking Data Message as mean range rates in m/s.

In: a `Link` and a record DOPPLER_INTEGRATED, DOPPLER_INSTANTANEOUS (km/s) or RECEIVE_FREQ
(Hz). Out: the one-way range rate, averaged over the count, m/s; on a path of two legs, half the
rate of the round trip.

A received frequency becomes a range rate by the cycles that were sent meanwhile
(`wobble.link.uplink`). With a constant uplink f_T and the turnaround ratio M it is
c/2 (1 - f_R / (M f_T)); with ramps the prediction of the round trip tells where on the ramp
the cycles were sent. Frequencies of a downlink are `Downlink.received_rates`.
Source: CCSDS 503.0-B-2 (2020), sections 3.3.2 and 3.5.2.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.tdm.downlink import Downlink
from wobble.tdm.round_trip import Link

__all__ = ["integrated_doppler", "received_frequency"]

Array = NDArray[np.float64]


def integrated_doppler(link: Link | Downlink, rows: list[int]) -> Array:
    """Range rates of some records DOPPLER_INTEGRATED or DOPPLER_INSTANTANEOUS, m/s.

    Raises
    ------
    InputError
        If the agreement does not say whether two-way values are halved.
    """
    factor = link.doppler_scale
    rates = link.corrected(rows, "CORRECTION_DOPPLER")
    return np.fromiter((float(rate * factor) for rate in rates), float, len(rates))


def received_frequency(link: Link, rows: list[int], middles: Time) -> Array:
    """Mean range rates of some records RECEIVE_FREQ of a round trip, m/s.

    Parameters
    ----------
    link : Link
        The segment.
    rows : list of int, length n
        The records.
    middles : Time, shape (n,)
        Middle of each count at the receiver.

    Raises
    ------
    InputError
        If the turnaround ratio or the uplink is not known, or an uplink in ramps comes
        without a prediction of the round trip.
    """
    turnaround = _turnaround(link)
    count = float(link.agreement.demand(link.segment, "INTEGRATION_INTERVAL", link.line))
    received = link.received(rows)
    starts = _sent(link, middles, count)
    change = link.uplink().round_trip_change(starts, count, turnaround, received)
    return 0.5 * SPEED_OF_LIGHT * change / count


def _sent(link: Link, middles: Time, count: float) -> Array:
    """When the first cycle of each count was sent, s after the origin of the uplink.

    Of a constant uplink it is no matter when; it may be stated from the first count on only.
    """
    uplink = link.uplink()
    starts = uplink.seconds(middles) - 0.5 * count
    if not uplink.is_constant:
        first = middles - TimeDelta(0.5 * count, format="sec")
        return starts - link.predicted(first, "the uplink is in ramps")
    within = starts + count >= uplink.starts[0]
    return np.where(within, np.maximum(starts, uplink.starts[0]), starts)


def _turnaround(link: Link) -> Fraction:
    line = link.line
    numerator = int(link.agreement.demand(link.segment, "TURNAROUND_NUMERATOR", line))
    denominator = int(link.agreement.demand(link.segment, "TURNAROUND_DENOMINATOR", line))
    if numerator <= 0 or denominator <= 0:
        raise line.error(
            "not a turnaround ratio", "TURNAROUND_NUMERATOR", f"{numerator}/{denominator}"
        )
    return Fraction(numerator, denominator)
