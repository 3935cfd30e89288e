"""What the signal passes through, as a scenario states it.

In: bodies that bend the ray, a model of the air, contents of electrons, series that stations
have measured. Out: `Media`, from which a network makes the delays of each link.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from wobble.earth.series import MediaSeries, WeatherSeries
from wobble.errors import InputError

__all__ = ["LARGEST_CONTENT", "LARGEST_CORONA", "Media"]

TROPOSPHERES = ("radio", "optical", "none")

LARGEST_CONTENT = 5e18
"""Electrons over a station in the greatest storms, m^-2 (common practice, no source)."""

LARGEST_CORONA = 30.0
"""Density of the corona of an active Sun over the standard one (common practice, no source)."""


@dataclass(frozen=True)
class Media:
    """What the signal passes through, and what bends it.

    Parameters
    ----------
    gravity : tuple of str
        Bodies whose gravitational delay is modelled.
    troposphere : {"radio", "optical", "none"}
    ionosphere_content : float
        Vertical electron content over the stations, m^-2; zero for none.
    corona_scale : float
        Factor on the electron density of the standard corona; zero for none.
    turnaround : float
        Ratio of the lander's transmitted to its received frequency.
    weather : WeatherSeries, optional
        Of the stations; what is given with the measurements goes before it.
    measured : MediaSeries, optional
        Zenith delays and electron contents, which go before those of a model.
    """

    gravity: tuple[str, ...] = ("sun", "earth")
    troposphere: str = "radio"
    ionosphere_content: float = 0.0
    corona_scale: float = 0.0
    turnaround: float = 880.0 / 749.0
    weather: WeatherSeries | None = None
    measured: MediaSeries | None = None

    def __post_init__(self) -> None:
        if self.troposphere not in TROPOSPHERES:
            raise InputError(
                "unknown troposphere",
                field="troposphere",
                found=self.troposphere,
                expected=" or ".join(TROPOSPHERES),
            )

    def with_series(
        self, weather: WeatherSeries | None = None, measured: MediaSeries | None = None
    ) -> Media:
        """The same media with further series, joined to those that are there."""
        weathers = [series for series in (self.weather, weather) if series is not None]
        media = [series for series in (self.measured, measured) if series is not None]
        return replace(
            self,
            weather=WeatherSeries.joined(weathers) if weathers else None,
            measured=MediaSeries.joined(media) if media else None,
        )

    @property
    def has_ionosphere(self) -> bool:
        """Whether there are electrons over the stations."""
        contents = ("vertical_content", "slant_content")
        known = self.measured is not None and any(map(self.measured.has, contents))
        return bool(self.ionosphere_content) or known

    @property
    def warnings(self) -> tuple[str, ...]:
        """Contents that no sky has: an estimate may have gone there."""
        return tuple(
            f"{name} of {value:.4g}{unit} is out of its physical range (0 to {largest:g}{unit})"
            for name, value, unit, largest in (
                ("ionosphere.content", self.ionosphere_content, " 1/m2", LARGEST_CONTENT),
                ("corona.scale", self.corona_scale, "", LARGEST_CORONA),
            )
            if not 0.0 <= value <= largest
        )
