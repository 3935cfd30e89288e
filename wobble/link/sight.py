"""Whether the ends of a link see each other.

In: the ends of a link and a path between them that is solved. Out: a sentence for each condition
that does not hold for some measurements. A range can be computed through the Earth; that it
cannot be measured is for the reader of the result to know.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from wobble.earth.troposphere import MINIMUM_ELEVATION
from wobble.link.delays import Delay, OpticalTroposphere, RadioTroposphere, elevation_at_station
from wobble.link.ends import LanderEnd, StationEnd
from wobble.link.path import Leg, Path

__all__ = ["sight_warnings"]

Array = NDArray[np.float64]

BELOW = "the other end is below the horizon of"


def sight_warnings(
    ends: Sequence[StationEnd | LanderEnd], path: Path, delays: Sequence[Delay]
) -> tuple[str, ...]:
    """A sentence for each end that is below a horizon at some measurements.

    And one for each station whose air is taken where it has no model.
    """
    stations = {
        f"station {end.station.name} at {'transmission' if k == 0 else 'reception'}": (
            elevation_at_station(end, path.legs[max(k - 1, 0)])
        )
        for k, end in enumerate(ends)
        if isinstance(end, StationEnd)
    }
    texts = [_where_lower(f"{BELOW} {place}", angle, angle) for place, angle in stations.items()]
    texts += [
        _over_lander(end, path.legs[k]) for k, end in enumerate(ends) if isinstance(end, LanderEnd)
    ]
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


def _over_lander(end: LanderEnd, down: Leg) -> str:
    local = end.look(down.transmission, down.vector)
    elevation = np.arcsin(local[:, 2] / np.linalg.norm(local, axis=1))
    above = end.lander.height_over_horizon(local)
    return _where_lower(f"{BELOW} lander {end.lander.name}", elevation, above)


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
