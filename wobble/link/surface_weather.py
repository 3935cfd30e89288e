"""The weather that goes with each measurement.

In: what was measured with the samples, a station's series, the station. Out: pressure,
temperature and humidity for each of n measurements: the measured value, or that of the
series at the instant when the signal passes, or that of the standard atmosphere at the
station's height, in this order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.earth.series import WeatherSeries
from wobble.earth.stations import Station
from wobble.earth.weather import standard_pressure, standard_temperature
from wobble.epochs import Epochs

__all__ = ["Weather", "or_else"]

Array = NDArray[np.float64]

# Relative humidity assumed where nothing was measured (common practice, no source).
ASSUMED_HUMIDITY = 50.0


@dataclass(frozen=True, eq=False)
class Weather:
    """Weather at the ground for each of n measurements; NaN where nothing was measured."""

    pressure_hpa: Array
    temperature_k: Array
    humidity_percent: Array

    @classmethod
    def unknown(cls, n: int) -> Weather:
        """Nothing measured."""
        return cls(*(np.full(n, np.nan) for _ in range(3)))

    def completed(self, station: Station) -> tuple[Array, Array, Array]:
        """Measured values, or those of the standard atmosphere at the station's height."""
        height = station.geodetic[2]
        return (
            or_else(self.pressure_hpa, standard_pressure(height)),
            or_else(self.temperature_k, standard_temperature(height)),
            or_else(self.humidity_percent, ASSUMED_HUMIDITY),
        )

    def filled(self, series: WeatherSeries | None, station: str, epochs: Epochs) -> Weather:
        """What was not measured with the samples, taken from a series of the station."""
        if series is None:
            return self

        def fill(measured: Array, quantity: str) -> Array:
            # A series that would refuse is not asked for what is known.
            missing = np.flatnonzero(np.isnan(measured))
            filled = measured.copy()
            if missing.size:
                filled[missing] = series.at(station, quantity, epochs[missing])
            return filled

        return Weather(
            fill(self.pressure_hpa, "pressure_hpa"),
            fill(self.temperature_k, "temperature_k"),
            fill(self.humidity_percent, "humidity_percent"),
        )


def or_else(measured: Array, assumed: ArrayLike) -> Array:
    """What was measured, or what is assumed where it is NaN."""
    return np.where(np.isfinite(measured), measured, np.asarray(assumed, float))
