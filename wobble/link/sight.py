"""Whether the ends of a link see each other.

In: a link and a path that it has solved. Out: a sentence for each condition that does not
hold for some measurements. A range can be computed through the Earth; that it cannot be
measured is for the reader of the result to know.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wobble.earth.troposphere import MINIMUM_ELEVATION
from wobble.link.delays import OpticalTroposphere, RadioTroposphere, elevation_at_station
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
    """A sentence for each end that is below a horizon at some measurements.

    And one for each station whose air is taken where it has no model.
    """
    lander = link.lander.lander
    stations = (
        (
            f"station {link.transmitter.station.name} at transmission",
            elevation_at_station(link.transmitter, trip.up),
        ),
        (
            f"station {link.receiver.station.name} at reception",
            elevation_at_station(link.receiver, trip.down),
        ),
    )
    horizons = [
        *((place, elevation, 0.0) for place, elevation in stations),
        (f"lander {lander.name}", elevation_at_lander(link, trip), lander.minimum_elevation),
    ]
    texts = [
        _where_lower(f"the other end is below the horizon of {place}", elevation, least)
        for place, elevation, least in horizons
    ]
    if any(isinstance(d, RadioTroposphere | OpticalTroposphere) for d in link.delays):
        texts += [
            _where_lower(
                f"the air of {place} is that of {np.degrees(MINIMUM_ELEVATION):.0f} deg, below "
                "which it has no model,",
                elevation,
                MINIMUM_ELEVATION,
            )
            for place, elevation in stations
        ]
    return tuple(text for text in texts if text)


def _where_lower(what: str, elevation: Array, least: float) -> str:
    """What is wrong with the measurements below an elevation; empty if there are none."""
    low = elevation < least
    if not low.any():
        return ""
    return (
        f"{what} in {np.count_nonzero(low)} of {low.size} measurements (the first is "
        f"{np.argmax(low)}, counted from 0; lowest elevation {np.degrees(elevation.min()):.2f} deg)"
    )
