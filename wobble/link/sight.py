"""Whether the ends of a link see each other.

In: a link and a path that it has solved. Out: a sentence for each condition that does not
hold for some measurements. A range can be computed through the Earth; that it cannot be
measured is for the reader of the result to know.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wobble.earth.troposphere import MINIMUM_ELEVATION
from wobble.link.delays import Delay, OpticalTroposphere, RadioTroposphere, elevation_at_station
from wobble.link.ends import LanderEnd
from wobble.link.light_time import Leg, RoundTrip

if TYPE_CHECKING:
    from wobble.link.observables import Link
    from wobble.link.one_way import OneWayLink

__all__ = ["downlink_warnings", "sight_warnings"]

Array = NDArray[np.float64]

BELOW = "the other end is below the horizon of"


def sight_warnings(link: Link, trip: RoundTrip) -> tuple[str, ...]:
    """A sentence for each end that is below a horizon at some measurements.

    And one for each station whose air is taken where it has no model.
    """
    stations = {
        f"station {link.transmitter.station.name} at transmission": elevation_at_station(
            link.transmitter, trip.up
        ),
        f"station {link.receiver.station.name} at reception": elevation_at_station(
            link.receiver, trip.down
        ),
    }
    return _warnings(link.lander, trip.down, link.delays, stations)


def downlink_warnings(link: OneWayLink, leg: Leg) -> tuple[str, ...]:
    """The same for a downlink without an uplink."""
    elevation = elevation_at_station(link.receiver, leg)
    name = f"station {link.receiver.station.name} at reception"
    return _warnings(link.lander, leg, link.delays, {name: elevation})


def _warnings(
    lander: LanderEnd, down: Leg, delays: Sequence[Delay], stations: Mapping[str, Array]
) -> tuple[str, ...]:
    local = lander.look(down.transmission, down.vector)
    above = lander.lander.height_over_horizon(local)
    texts = [_where_lower(f"{BELOW} {place}", angle, angle) for place, angle in stations.items()]
    elevation = np.arcsin(local[:, 2] / np.linalg.norm(local, axis=1))
    texts.append(_where_lower(f"{BELOW} lander {lander.lander.name}", elevation, above))
    if any(isinstance(d, RadioTroposphere | OpticalTroposphere) for d in delays):
        texts += [
            _where_lower(
                f"the air of {place} is that of {np.degrees(MINIMUM_ELEVATION):.0f} deg, below "
                "which it has no model,",
                angle,
                angle - MINIMUM_ELEVATION,
            )
            for place, angle in stations.items()
        ]
    return tuple(text for text in texts if text)


def _where_lower(what: str, elevation: Array, above: Array) -> str:
    """What is wrong with the measurements that are not above a limit; empty if all are."""
    low = above < 0.0
    if not low.any():
        return ""
    return (
        f"{what} in {np.count_nonzero(low)} of {low.size} measurements (the first is "
        f"{np.argmax(low)}, counted from 0; lowest elevation "
        f"{np.degrees(elevation[low].min()):.2f} deg)"
    )
