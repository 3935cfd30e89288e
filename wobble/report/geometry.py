"""Where the link was when each sample was taken, for figures.

In: a network and measurements, or a span of dates. Out: elevation, hour angle,
Sun-Earth-probe angle and distance, of each measurement (`SampleGeometry`) or day by day
(`Coverage`). All of it is geometric: no refraction, light time in its simplest form.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

import numpy as np
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.campaign.campaign import Campaign
from wobble.campaign.link_geometry import Geometry
from wobble.campaign.schedule import Passes
from wobble.constants import DAY, SPEED_OF_LIGHT
from wobble.ephemeris import Ephemeris, open_ephemeris
from wobble.epochs import Epochs
from wobble.estimation.sample_order import sample_order
from wobble.link.network import Network
from wobble.link.plasma import sun_earth_probe_angle
from wobble.measurements.tracking import Tracking
from wobble.noise.budget_table import LinkConditions

__all__ = [
    "Coverage",
    "SampleGeometry",
    "coverage_of",
    "link_conditions",
    "network_of",
    "sample_order",
]

Array = NDArray[np.float64]

SHORTEST_STEP = DAY / 24.0


@dataclass(frozen=True, eq=False)
class SampleGeometry:
    """Geometry of n measurements at the receiving station.

    Parameters
    ----------
    station : ndarray of str, shape (n,)
        Who receives.
    elevation, hour_angle : ndarray, shape (n,)
        Of the lander, rad; the hour angle is negative before the culmination.
    sun_angle : ndarray, shape (n,)
        Sun-Earth-probe angle, rad.
    distance : ndarray, shape (n,)
        m.
    """

    station: NDArray[np.str_]
    elevation: Array
    hour_angle: Array
    sun_angle: Array
    distance: Array

    @classmethod
    def of(cls, network: Network, tracking: Tracking) -> Self:
        """Geometry at the time tags of a table of measurements, in its order.

        A tag of transmission is taken as one of reception: within the round trip to the Moon
        an angle changes by 0.01 degree.
        """
        columns = np.full((4, len(tracking)), np.nan)
        links = np.stack([tracking.transmitter, tracking.lander, tracking.receiver])
        names, which = np.unique(links, axis=1, return_inverse=True)
        for k, (transmitter, lander, receiver) in enumerate(names.T):
            rows = np.flatnonzero(which.ravel() == k)
            station = network.station(str(receiver))
            geometry = Geometry.of(
                station,
                network.lander(str(lander)),
                station.tdb(Epochs.from_time(tracking.epoch[rows], "tt")),
                network.station(str(transmitter)),
            )
            columns[:, rows] = (
                geometry.receive_elevation,
                geometry.hour_angle,
                geometry.sun_angle,
                geometry.distance,
            )
        return cls(tracking.receiver, *columns)

    def __getitem__(self, index: NDArray[np.intp]) -> SampleGeometry:
        """Chosen measurements."""
        return SampleGeometry(
            self.station[index],
            self.elevation[index],
            self.hour_angle[index],
            self.sun_angle[index],
            self.distance[index],
        )

    def __len__(self) -> int:
        return len(self.station)


def network_of(campaign: Campaign, tracking: Tracking) -> Network:
    """The campaign's network over the span of its measurements."""
    first, last = tracking.epoch.min(), tracking.epoch.max()
    if campaign.span and campaign.span[0] <= first and last <= campaign.span[1]:
        return campaign.plan_network
    return campaign.network(tracking)


@dataclass(frozen=True, eq=False)
class Coverage:
    """What a campaign covers: how far and how near to the Sun the body was, and each pass.

    Parameters
    ----------
    date : Time, shape (d,)
        Day by day, or oftener for a short span, UTC.
    sun_angle, distance : ndarray, shape (d,)
        Sun-Earth-probe angle (rad) and distance (m) of the body's centre from the Earth's.
    pass_date : Time, shape (m,)
        Begin of each pass.
    pass_station : ndarray of str, shape (m,)
        Who receives.
    pass_sun_angle, pass_distance : ndarray, shape (m,)
        As above, at each pass.
    """

    date: Time
    sun_angle: Array
    distance: Array
    pass_date: Time
    pass_station: NDArray[np.str_]
    pass_sun_angle: Array
    pass_distance: Array

    @classmethod
    def of(cls, campaign: Campaign, passes: Passes | Tracking) -> Self:
        """Coverage of a schedule or of measurements; the dates are those of the passes."""
        if isinstance(passes, Tracking):
            rows = [rows[np.argmin(passes.epoch[rows].jd)] for _, rows in passes.passes()]
            begin, station = passes.epoch[rows], passes.receiver[rows]
        else:
            begin, station = passes.start, passes.station
        ephemeris = open_ephemeris(campaign.ephemeris)
        span = float((begin.max() - begin.min()).to_value("s"))
        step = min(DAY, max(span / 200.0, SHORTEST_STEP))
        date = begin.min() + TimeDelta(np.arange(0.0, span + step, step), format="sec")
        return cls(
            date,
            *_seen_from_earth(ephemeris, campaign.body.name, date),
            begin,
            station,
            *_seen_from_earth(ephemeris, campaign.body.name, begin),
        )


def coverage_of(
    campaign: Campaign, passes: Passes | None, tracking: Tracking | None
) -> Coverage | None:
    """Coverage of the measurements, or else of the schedule; None if there is neither."""
    source = tracking if tracking is not None else passes
    return Coverage.of(campaign, source) if source is not None and len(source) else None


def link_conditions(campaign: Campaign, track: Coverage | None) -> LinkConditions:
    """Conditions for one line of a noise budget: those of the median pass."""
    conditions = LinkConditions()
    if campaign.rule is not None:
        conditions = replace(conditions, count_time=campaign.rule.count_time)
    if track is not None:
        distance, angle = np.median(track.pass_distance), np.median(track.pass_sun_angle)
        conditions = replace(conditions, distance=float(distance), sun_angle=float(angle))
    return conditions


def _seen_from_earth(ephemeris: Ephemeris, body: str, time: Time) -> tuple[Array, Array]:
    """Sun-Earth-probe angle (rad) and distance (m) of a body's centre."""
    epochs = Epochs.from_time(time)
    earth, sun = ephemeris.position("earth", epochs), ephemeris.position("sun", epochs)
    # The light time of the Earth's distance to the body is enough for the second position.
    away = np.linalg.norm(ephemeris.position(body, epochs) - earth, axis=1)
    target = ephemeris.position(body, epochs.shift(-away / SPEED_OF_LIGHT))
    distance = np.linalg.norm(target - earth, axis=1)
    return sun_earth_probe_angle(earth, target, sun), distance
