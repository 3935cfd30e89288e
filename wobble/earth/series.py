"""What stations measured of the air over them, as series in time.

In: samples of weather or of delays, each with its station and its time (UTC), from a table or
a tracking file; NaN where a row does not give a quantity. Out: the value of a quantity at
a station and at any epochs, shape (n,), NaN where nothing is known of it.

Rule: linear between the two samples around an instant, if these are not more than
``longest_gap`` apart. Before the first sample, after the last one and within a longer gap the
series says nothing; what then happens is ``outside``:

* ``"refuse"``: an error, which names station, quantity, instant and span;
* ``"hold"``: the nearest sample holds;
* ``"standard"``: NaN, for which the user of the series takes the standard atmosphere or a model.

A quantity of which a station has no sample at all is NaN under every rule.

Sign: delays and contents are positive and lengthen the path of the modulation; the electrons
advance the phase by as much as they delay the modulation (`wobble.earth.ionosphere`).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, ClassVar, Self

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.constants import J2000_JD
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError
from wobble.measurements.tracking import WEATHER_LIMITS

__all__ = ["LONGEST_GAP", "OUTSIDE", "MediaSeries", "StationSeries", "WeatherSeries"]

Array = NDArray[np.float64]
Names = NDArray[np.str_]

LONGEST_GAP = 3 * 3600.0
"""Longest time between two samples over which is interpolated unless something else is said, s."""
OUTSIDE = ("refuse", "hold", "standard")
"""What may happen where a series says nothing."""


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class StationSeries:
    """Samples of some quantities at some stations, one row each, in any order.

    Parameters
    ----------
    station : array_like of str, shape (n,)
        Where.
    epoch : Time, shape (n,)
        When, UTC.
    longest_gap : float
        Longest time between two samples over which is interpolated, s.
    outside : {"refuse", "hold", "standard"}
        What happens where the series says nothing.
    source : str
        Where it comes from, for messages.

    Raises
    ------
    InputError
        If columns differ in length, an epoch is missing, a value is out of its physical range,
        two samples of one instant contradict each other, or a setting makes no sense.
    """

    station: Names
    epoch: Time
    longest_gap: float = LONGEST_GAP
    outside: str = "refuse"
    source: str = "series"

    LIMITS: ClassVar[dict[str, tuple[float, float]]] = {}

    def __post_init__(self) -> None:
        if self.outside not in OUTSIDE:
            raise self._error("unknown rule", "outside", self.outside, " or ".join(OUTSIDE))
        if not self.longest_gap > 0:
            raise self._error("not positive", "longest_gap", self.longest_gap, "seconds")
        if not isinstance(self.epoch, Time) or self.epoch.scale != "utc" or self.epoch.isscalar:
            found = getattr(self.epoch, "scale", type(self.epoch).__name__)
            raise self._error("not an array of UTC times", "epoch", found, "Time, scale utc")
        if not len(self.epoch):
            raise self._error("there is no sample", None, 0, "at least one row")
        self._set("station", np.asarray(self.station, str))
        for name in self.quantities():
            given = getattr(self, name)
            empty = np.full(len(self.epoch), np.nan)
            self._set(name, empty if given is None else np.asarray(given, float))
        for name in ("station", *self.quantities()):
            if getattr(self, name).shape != self.epoch.shape:
                shape = getattr(self, name).shape
                raise self._error("another number of rows", name, shape, self.epoch.shape)
        if not (self.station != "").all():
            row = int(np.argmax(self.station == ""))
            raise self._error(f"row {row} names no station", "station", "", "a name")
        if np.any(self.epoch.mask) or not np.isfinite(self.epoch.jd1 + self.epoch.jd2).all():
            raise self._error("an epoch is missing", "epoch", None, "UTC times")
        for name, limits in self.LIMITS.items():
            self._require_within(name, *limits)

    def _set(self, name: str, value: object) -> None:
        object.__setattr__(self, name, value)

    def _error(
        self, problem: str, field: str | None, found: object, expected: object
    ) -> InputError:
        return InputError(problem, source=self.source, field=field, found=found, expected=expected)

    def _require_within(self, name: str, low: float, high: float) -> None:
        values = getattr(self, name)
        bad = ~np.isnan(values) & ~((low <= values) & (values <= high))
        if bad.any():
            row = int(np.argmax(bad))
            raise self._error(
                f"row {row} is out of range ({np.count_nonzero(bad)} such)",
                name,
                float(values[row]),
                f"{low:g} to {high:g}",
            )

    @classmethod
    def quantities(cls) -> tuple[str, ...]:
        """Names of what a sample can hold."""
        return tuple(cls.LIMITS)

    @property
    def stations(self) -> tuple[str, ...]:
        """Names of the stations that have samples."""
        return tuple(np.unique(self.station).tolist())

    def has(self, quantity: str) -> bool:
        """Whether any station has a sample of a quantity."""
        return bool(np.isfinite(getattr(self, quantity)).any())

    def at(self, station: str, quantity: str, epochs: Epochs) -> Array:
        """A quantity at epochs, in the unit of its name, shape (n,); NaN if unknown.

        Parameters
        ----------
        station : str
        quantity : str
            One of `quantities`.
        epochs : Epochs
            TT or TDB: 2 ms of the weather are nothing.

        Raises
        ------
        EpochRangeError
            If the series says nothing at some of them and is to refuse that.
        """
        known = self._samples.get((station, quantity))
        if known is None:
            return np.full(len(epochs), np.nan)
        times, values = known
        wanted = epochs.since_j2000
        silent = self._is_silent(times, wanted)
        if not silent.any():
            return np.interp(wanted, times, values)
        if self.outside == "refuse":
            raise self._silence(station, quantity, times, wanted, silent)
        if self.outside == "standard":
            return np.where(silent, np.nan, np.interp(wanted, times, values))
        return np.where(silent, _nearest(times, values, wanted), np.interp(wanted, times, values))

    def _is_silent(self, times: Array, wanted: Array) -> NDArray[np.bool_]:
        """Where there is no pair of samples around an instant that are near to each other."""
        before = np.searchsorted(times, wanted, side="right") - 1
        after = np.searchsorted(times, wanted, side="left")
        outside = (before < 0) | (after >= times.size)
        low, high = np.clip(before, 0, None), np.clip(after, None, times.size - 1)
        return outside | (times[high] - times[low] > self.longest_gap)

    def _silence(
        self, station: str, quantity: str, times: Array, wanted: Array, silent: NDArray[np.bool_]
    ) -> EpochRangeError:
        first = float(wanted[silent][0])
        return EpochRangeError(
            f"the series of {quantity} at {station} says nothing at these epochs",
            silent,
            source=self.source,
            field=quantity,
            found=_isot(first),
            expected=f"{_isot(times[0])} to {_isot(times[-1])} without a gap of more than "
            f"{self.longest_gap:g} s; or the rule outside = 'hold' or 'standard'",
        )

    @cached_property
    def _samples(self) -> dict[tuple[str, str], tuple[Array, Array]]:
        """Times (TT, s since J2000.0, increasing) and values by station and quantity."""
        seconds = Epochs.from_time(self.epoch, "tt").since_j2000
        found = {}
        for quantity in self.quantities():
            values = getattr(self, quantity)
            for station in self.stations:
                rows = np.flatnonzero((self.station == station) & np.isfinite(values))
                if rows.size:
                    found[station, quantity] = self._in_order(
                        station, quantity, seconds[rows], values[rows]
                    )
        return found

    def _in_order(
        self, station: str, quantity: str, times: Array, values: Array
    ) -> tuple[Array, Array]:
        order = np.argsort(times, kind="stable")
        times, values = times[order], values[order]
        again = np.flatnonzero(np.diff(times) == 0.0)
        wrong = again[values[again] != values[again + 1]]
        if wrong.size:
            raise self._error(
                f"two samples at {station} contradict each other at {_isot(times[wrong[0]])}",
                quantity,
                values[wrong[0] : wrong[0] + 2].tolist(),
                "one value at an instant",
            )
        keep = np.ones(times.size, bool)
        keep[again + 1] = False
        return times[keep], values[keep]

    @classmethod
    def joined(cls, parts: Iterable[Self]) -> Self:
        """One series of several, with the settings of the first.

        Raises
        ------
        InputError
            If there is none.
        """
        series = list(parts)
        if not series:
            raise InputError("no series to put together")
        epoch = Time(
            np.concatenate([part.epoch.jd1 for part in series]),
            np.concatenate([part.epoch.jd2 for part in series]),
            format="jd",
            scale="utc",
        )
        columns: dict[str, Any] = {
            name: np.concatenate([getattr(part, name) for part in series])
            for name in ("station", *cls.quantities())
        }
        source = ", ".join(dict.fromkeys(part.source for part in series))
        return replace(series[0], epoch=epoch, source=source, **columns)

    def renamed(self, names: dict[str, str]) -> Self:
        """The same samples under other names of the stations."""
        return replace(self, station=np.array([names.get(s, s) for s in self.station.tolist()]))

    def __len__(self) -> int:
        return len(self.epoch)

    def __repr__(self) -> str:
        given = [name for name in self.quantities() if self.has(name)]
        return (
            f"<{type(self).__name__} of {', '.join(self.stations)}: {len(self)} samples of "
            f"{', '.join(given) or 'nothing'}>"
        )


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WeatherSeries(StationSeries):
    """Weather at the ground.

    Parameters
    ----------
    pressure_hpa, temperature_k, humidity_percent : array_like, shape (n,), optional
    wind_m_s : array_like, shape (n,), optional
        Speed of the wind, m/s.
    rain_mm_h : array_like, shape (n,), optional
        Rain rate, mm/h.
    """

    pressure_hpa: Array = None  # type: ignore[assignment]  # filled with NaN if left out
    temperature_k: Array = None  # type: ignore[assignment]
    humidity_percent: Array = None  # type: ignore[assignment]
    wind_m_s: Array = None  # type: ignore[assignment]
    rain_mm_h: Array = None  # type: ignore[assignment]

    # Wind and rain beyond any record are in other units.
    LIMITS: ClassVar[dict[str, tuple[float, float]]] = {
        **WEATHER_LIMITS,
        "wind_m_s": (0.0, 120.0),
        "rain_mm_h": (0.0, 500.0),
    }


@dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class MediaSeries(StationSeries):
    """Delays and electrons over a station, as calibrations give them.

    Parameters
    ----------
    zenith_dry_m, zenith_wet_m : array_like, shape (n,), optional
        Dry (hydrostatic) and wet delay at the zenith, m.
    vertical_content : array_like, shape (n,), optional
        Vertical electron content of the ionosphere, m^-2.
    slant_content : array_like, shape (n,), optional
        Electrons along the line of sight from the station to the lander, m^-2; where it is
        known, the vertical one is not looked at.
    """

    zenith_dry_m: Array = None  # type: ignore[assignment]  # filled with NaN if left out
    zenith_wet_m: Array = None  # type: ignore[assignment]
    vertical_content: Array = None  # type: ignore[assignment]
    slant_content: Array = None  # type: ignore[assignment]

    # 2.5 m is a dry zenith delay at the Dead Sea, 1.1 m one at 500 hPa; a wet one may come out
    # below zero by its error; 5e18 m^-2 is beyond the greatest storms. Numbers in TECU would be
    # taken for no electrons at all: zero or at least 1e13 (0.001 TECU) is asked for below.
    LIMITS: ClassVar[dict[str, tuple[float, float]]] = {
        "zenith_dry_m": (0.5, 3.0),
        "zenith_wet_m": (-0.05, 1.0),
        "vertical_content": (0.0, 5e18),
        "slant_content": (0.0, 5e19),
    }

    def __post_init__(self) -> None:
        super().__post_init__()
        for name in ("vertical_content", "slant_content"):
            values = getattr(self, name)
            if ((values > 0.0) & (values < 1e13)).any():
                found = float(values[(values > 0.0) & (values < 1e13)][0])
                raise self._error("too few electrons: another unit?", name, found, "1/m^2")


def _nearest(times: Array, values: Array, wanted: Array) -> Array:
    after = np.clip(np.searchsorted(times, wanted), 0, times.size - 1)
    before = np.clip(after - 1, 0, None)
    nearer = np.where(wanted - times[before] < times[after] - wanted, before, after)
    return np.asarray(values[nearer])


def _isot(seconds: float) -> str:
    time = Time(J2000_JD, float(seconds) / 86400.0, format="jd", scale="tt").utc
    return f"{Time(time, precision=0).isot} UTC"
