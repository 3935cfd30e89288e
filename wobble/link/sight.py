"""Whether the ends of a link see each other.

In: a link and a path that it has solved. Out: a sentence for each condition that does not
hold for some measurements. A range can be computed through the Earth; that it cannot be
measured is for the reader of the result to know.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wobble.link.delays import elevation_at_station
from wobble.link.light_time import RoundTrip

if TYPE_CHECKING:
    from wobble.link.observables import Link

__all__ = ["elevation_at_lander", "sight_warnings"]

Array = NDArray[np.float64]


def elevation_at_lander(link: Link, trip: RoundTrip) -> Array:
    """Elevation of the receiving station over the lander's horizon, rad, shape (n,)."""
    local = link.lander.look(trip.returned, trip.down.vector)
    return np.arcsin(local[:, 2] / np.linalg.norm(local, axis=1))


def sight_warnings(link: Link, trip: RoundTrip) -> tuple[str, ...]:
    """A sentence for each end that is below a horizon at some measurements."""
    lander = link.lander.lander
    elevations = (
        (
            f"station {link.transmitter.station.name} at transmission",
            elevation_at_station(link.transmitter, trip.up),
            0.0,
        ),
        (
            f"station {link.receiver.station.name} at reception",
            elevation_at_station(link.receiver, trip.down),
            0.0,
        ),
        (f"lander {lander.name}", elevation_at_lander(link, trip), lander.minimum_elevation),
    )
    return tuple(
        f"the other end is below the horizon of {place} in {np.count_nonzero(low)} of "
        f"{low.size} measurements (the first is {np.argmax(low)}, counted from 0; lowest "
        f"elevation {np.degrees(elevation.min()):.2f} deg)"
        for place, elevation, least in elevations
        if (low := elevation < least).any()
    )
