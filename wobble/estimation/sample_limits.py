"""Samples that are suspicious whatever their residual: wind, rain, low elevation.

In: a table of measurements, the geometry of their links, the weather series of the stations.
Out: for each sample the reason why it must not count, in words; empty if there is none.

Wind bends and shakes an antenna, rain delays and scatters the signal, near the horizon the
mapping functions and the ground's reflections are at their worst. A sample is judged by
both of its stations, each at the instant when the signal passes it. Where the series is silent by
its rule, the weather is no reason.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.earth.series import WeatherSeries
from wobble.epochs import Epochs
from wobble.link.network import ComputedTracking
from wobble.measurements.tracking import Tracking

__all__ = ["SampleLimits"]

Array = NDArray[np.float64]
Reasons = NDArray[np.str_]


@dataclass(frozen=True)
class SampleLimits:
    """Limits of the weather and of the elevation; None or minus infinity for no limit.

    Parameters
    ----------
    maximum_wind : float or None
        Speed of the wind at a station, m/s.
    maximum_rain : float or None
        Rain rate, mm/h.
    minimum_elevation : float
        At either station, rad.
    """

    maximum_wind: float | None = None
    maximum_rain: float | None = None
    minimum_elevation: float = -np.inf

    def reasons(
        self, tracking: Tracking, computed: ComputedTracking, weather: WeatherSeries | None
    ) -> Reasons:
        """Why each sample must not count, shape (n,); empty where nothing speaks against it."""
        found = np.full(len(tracking), "", dtype=object)
        if self == SampleLimits():
            return found.astype(str)
        tagged = Epochs.from_time(tracking.epoch, "tt")
        # The tag is of one event; the other one is a light time away.
        sends = tracking.tag == "transmit"
        sent = tagged.shift(np.where(sends, 0.0, -computed.round_trip))
        received = tagged.shift(np.where(sends, computed.round_trip, 0.0))
        for stations, epochs, elevation in (
            (tracking.transmitter, sent, computed.transmit_elevation),
            (tracking.receiver, received, computed.elevation),
        ):
            for name in np.unique(stations).tolist():
                here = np.flatnonzero(stations == name)
                for what, values, bad, limit in self._judged(
                    name, epochs[here], np.degrees(elevation[here]), weather
                ):
                    for i in np.flatnonzero(bad):
                        found[here[i]] = f"{what[0]} of {values[i]:.3g} {what[1]} at {name} {limit}"
        return found.astype(str)

    def _judged(
        self, name: str, epochs: Epochs, elevation: Array, weather: WeatherSeries | None
    ) -> Iterator[tuple[tuple[str, str], Array, NDArray[np.bool_], str]]:
        """For each limit: what is limited and its unit, values, which are bad, the limit."""
        least = np.degrees(self.minimum_elevation)
        yield ("elevation", "deg"), elevation, elevation < least, f"(limit {least:.3g} deg)"
        for what, unit, quantity, limit in (
            ("rain", "mm/h", "rain_mm_h", self.maximum_rain),
            ("wind", "m/s", "wind_m_s", self.maximum_wind),
        ):
            if limit is not None and weather is not None:
                values = weather.at(name, quantity, epochs)
                yield (what, unit), values, values > limit, f"(limit {limit:.3g} {unit})"
