"""Where and when a campaign is checked by hand, and what the pencil knows of the orbit.

In: a campaign, and its measurements if it has no dates of its own. Out: a `Scene`: the network,
one station and one lander, days of the span with the Sun's angle and the distance, links through
chosen media. The pencil's orbit is a circle, its radius from the period by Kepler's third law.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

import numpy as np
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.campaign.campaign import Campaign
from wobble.constants import DAY, SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.link.network import Media, Network
from wobble.link.observables import Link, Range
from wobble.link.plasma import sun_earth_probe_angle
from wobble.measurements.tracking import Tracking
from wobble.planet.rotation import RotationModel

__all__ = ["AU", "EMPTY", "Orbit", "Scene", "degrees", "over"]

Array = NDArray[np.float64]

EARTH_YEAR = 365.256
"""Sidereal, days (from memory)."""
AU = 1.496e11
"""m, as one remembers it."""
EMPTY = Media(gravity=(), troposphere="none")
MOST_DAYS = 400


@dataclass(frozen=True)
class Orbit:
    """What one remembers of an orbit about the Sun: period (d) and eccentricity."""

    period: float
    eccentricity: float

    @property
    def radius(self) -> float:
        """Half the long axis, au: Kepler's third law against the Earth's year."""
        return (self.period / EARTH_YEAR) ** (2.0 / 3.0)


ORBITS = {
    "mercury": Orbit(87.97, 0.206),
    "venus": Orbit(224.7, 0.007),
    "mars": Orbit(686.98, 0.0934),
}
"""Sidereal periods and eccentricities of planets that carry landers (from memory)."""


@dataclass(frozen=True, eq=False)
class Scene:
    """A campaign's geometry, day by day, with its first station and its first lander.

    Parameters
    ----------
    campaign : Campaign
    network : Network
        Over the days.
    days : Time, shape (n,)
        UTC, evenly over the span.
    frequency : float
        Of the uplink, Hz.
    """

    campaign: Campaign
    network: Network
    days: Time
    frequency: float

    @classmethod
    def of(cls, campaign: Campaign, tracking: Tracking | None) -> Self:
        """Over the campaign's own span, or that of its measurements."""
        if campaign.span is not None:
            network, (first, last) = campaign.plan_network, campaign.span
            frequency = campaign.frequency
        else:
            assert tracking is not None
            network = campaign.network(tracking)
            first, last = tracking.epoch.min(), tracking.epoch.max()
            frequency = float(np.median(tracking.frequency))
        seconds = float((last - first).to_value("s"))
        count = int(np.clip(seconds / DAY, 8, MOST_DAYS))
        return cls(campaign, network, over(first, seconds, count), frequency)

    # --------------------------------------------------------------- who and where

    @property
    def station(self) -> str:
        """Name of the station."""
        return next(iter(self.network.stations))

    @property
    def lander(self) -> str:
        """Name of the lander."""
        return next(iter(self.network.landers))

    @property
    def orbit(self) -> Orbit | None:
        """Of the body about the Sun, as one remembers it; None if one does not."""
        return ORBITS.get(self.network.body.name)

    @property
    def rotation(self) -> RotationModel | None:
        """The body's rotation, if it is a model with angles."""
        orientation = self.network.body.orientation
        return orientation if isinstance(orientation, RotationModel) else None

    @property
    def length(self) -> float:
        """Of the span, s."""
        return float((self.days[-1] - self.days[0]).to_value("s"))

    @property
    def middle(self) -> Time:
        """Middle of the span."""
        return self.days[0] + TimeDelta(self.length / 2.0, format="sec")

    @cached_property
    def geometry(self) -> tuple[Array, Array]:
        """Sun-Earth-probe angle (rad) and distance (m) day by day, from the ephemeris."""
        epochs = Epochs.from_time(self.days)
        ephemeris, body = self.network.ephemeris, self.network.body.name
        earth, sun = ephemeris.position("earth", epochs), ephemeris.position("sun", epochs)
        away = np.linalg.norm(ephemeris.position(body, epochs) - earth, axis=1)
        target = ephemeris.position(body, epochs.shift(-away / SPEED_OF_LIGHT))
        return sun_earth_probe_angle(earth, target, sun), np.linalg.norm(target - earth, axis=1)

    def day_of_angle(self, angle: float) -> int:
        """The day on which the Sun-Earth-probe angle is nearest to a given one, behind the Sun."""
        sun_angle, distance = self.geometry
        far = distance > AU * np.cos(sun_angle)
        return int(np.argmin(np.where(far, np.abs(sun_angle - angle), np.inf)))

    # --------------------------------------------------------------------- the model

    def link(self, network: Network, tags: Time) -> Link:
        """The two-way link of station and lander in a network."""
        frequency = np.full(len(tags), self.frequency)
        return network.link(self.station, self.lander, self.station, frequency)

    def through(self, media: Media) -> Network:
        """The network with other media."""
        return replace(self.network, media=media)

    @cached_property
    def empty(self) -> Network:
        """Nothing in the link but geometry."""
        return self.through(EMPTY)

    def ranges(self, media: Media, tags: Time) -> tuple[Array, Range]:
        """What media add to the range, m one-way, shape (n,), and the range with them."""
        computed = self.link(self.through(media), tags).range(tags)
        return computed.value - self.link(self.empty, tags).range(tags).value, computed

    def daily_amplitude(self, values: dict[str, float], tags: Time, count: float = 60.0) -> float:
        """Half of the swing of the range rate when some parameters are changed, m/s."""
        rates = [
            self.link(network, tags).range_rate(tags, count).value
            for network in (self.empty, self.empty.with_values(values))
        ]
        return float(np.ptp(rates[0] - rates[1])) / 2.0


def over(start: Time, seconds: float, count: int = 97) -> Time:
    """Evenly spaced times from a start."""
    return start + TimeDelta(np.linspace(0.0, seconds, count), format="sec")


def degrees(angles: Sequence[float] | Array | float) -> str:
    """An angle for a formula, in degrees."""
    return f"{float(np.degrees(angles)):.3g} deg"
