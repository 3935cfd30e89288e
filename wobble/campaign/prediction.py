"""Round trips as a campaign's model predicts them, for data that are ambiguous without.

In: a campaign, with its a priori values. Out: a function from time tags and the names of the
ends to round trips on the station's clock, s, delays of the signal's path included.

It decides the multiple of a range's modulus, and where on a ramp the cycles of a received
frequency were sent. A lander that is 1 km off its a priori place is 7e-6 s off in the round
trip, which is good enough for both.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.campaign.campaign import SIMULATED, Campaign
from wobble.constants import SPEED_OF_LIGHT
from wobble.measurements.tracking import Tracking

__all__ = ["round_trip_prediction"]

Array = NDArray[np.float64]


def round_trip_prediction(
    campaign: Campaign, *, simulated: bool = False
) -> Callable[[Time, str, str, str, str], Array]:
    """A function that predicts round trips.

    Parameters
    ----------
    campaign : Campaign
    simulated : bool
        Whether the times may lie after the table of the Earth's orientation.

    Returns
    -------
    callable
        Of (times, transmitter, receiver, lander, tag); it gives s, shape (n,).
    """

    def predict(times: Time, transmitter: str, receiver: str, lander: str, tag: str) -> Array:
        n = len(times)
        tags = Tracking(
            pass_id=np.full(n, "prediction"),
            transmitter=np.full(n, transmitter),
            receiver=np.full(n, receiver),
            lander=np.full(n, lander),
            kind=np.full(n, "range"),
            epoch=times,
            tag=np.full(n, tag),
            count_time=np.full(n, np.nan),
            value=np.zeros(n),
            sigma=np.ones(n),
            frequency=np.full(n, campaign.frequency),
            meta={SIMULATED: simulated},
        )
        ranges = campaign.network(tags).compute(tags).value
        return np.asarray(2.0 * ranges / SPEED_OF_LIGHT)

    return predict
