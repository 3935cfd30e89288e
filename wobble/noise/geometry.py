"""Geometry of a pass, as far as the noise of its samples depends on it.

In: for each sample its time tag, count time, kind, elevation, Sun-Earth-probe angle, round
trip and distance. Out: `PassGeometry`, checked once, and its `points`: the instants at
which the path enters the samples, with the geometry there.

A range is the path at its tag. A range rate is the difference of the path at the two ends
of its count, divided by the count time; its tag is the middle of the count at the receiver.
Times are held to a microsecond, so that the end of one count and the start of the next are
the same point; a path changes in a microsecond by far less than any noise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.errors import InputError

__all__ = ["PassGeometry", "PathPoints", "tropospheric_mapping"]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

KINDS = ("range", "range_rate")
LEAST_ELEVATION = np.deg2rad(1.0)
"""Half a count beyond the outer tags the elevation, carried on, may reach the horizon, rad."""
TICK = 1e-6
"""Resolution of time tags, s."""
OVERLAP_TOLERANCE = 1e-3
"""Counts may overlap by so much, s: tags in files are often rounded to a millisecond."""


@dataclass(frozen=True, eq=False)
class PassGeometry:
    """Samples of one pass of one station (or pair of stations) and where the link was.

    Parameters
    ----------
    time : array_like, shape (n,)
        Time tags at the receiver, seconds from any origin near the pass: of a range its
        reception, of a range rate the middle of its count.
    count_time : array_like, shape (n,) or scalar
        Count time of range rates, s; not looked at for ranges (NaN will do).
    kind : array_like of str, shape (n,) or scalar
        ``"range"`` (one-way equivalent, m) or ``"range_rate"`` (one-way equivalent, m/s).
    elevation : array_like, shape (n,) or scalar
        Elevation at the receiving station, rad.
    sun_angle : array_like, shape (n,) or scalar
        Sun-Earth-probe angle, rad.
    round_trip : array_like, shape (n,) or scalar
        Round-trip light time, s.
    distance : array_like, shape (n,) or scalar
        Distance of the lander, m.
    ways : {1, 2, 3}
        One-way from the lander's own oscillator, two-way, or three-way (another station
        transmits than receives).
    transmit_elevation : array_like, shape (n,) or scalar, optional
        Elevation at the transmitting station when it sent what is received at the tag, rad;
        left out, the elevation at reception stands for it.
    off_boresight : array_like, shape (n,) or scalar
        Angle of the Earth from the boresight of the lander's antenna, rad.
    antenna_gain_db : array_like, shape (n,) or scalar
        Measured gain of that antenna toward the Earth, dB; NaN where none is measured.

    Raises
    ------
    InputError
        If a column has the wrong length, is not finite or lies out of its range, a kind is
        unknown, a count time is not positive, two samples of a kind have one tag, or two
        counts overlap by more than a millisecond. The samples are named by their index.
    """

    time: Array
    count_time: Array
    kind: NDArray[np.str_]
    elevation: Array
    sun_angle: Array
    round_trip: Array
    distance: Array
    ways: int = 2
    transmit_elevation: Array | None = None
    off_boresight: Array = 0.0  # type: ignore[assignment]  # made a column below
    antenna_gain_db: Array = np.nan  # type: ignore[assignment]

    def __post_init__(self) -> None:
        set_field = object.__setattr__
        set_field(self, "time", np.atleast_1d(np.asarray(self.time, float)))
        set_field(self, "kind", self._column("kind", self.kind, str))
        for name in NUMBERS:
            if getattr(self, name) is not None:
                set_field(self, name, self._column(name, getattr(self, name), float))
        self._check()

    def _column(self, name: str, value: ArrayLike, kind: type) -> NDArray[Any]:
        column: NDArray[Any] = np.asarray(value, kind)
        if column.shape == self.time.shape:
            return column
        try:
            return np.broadcast_to(column, self.time.shape)
        except ValueError as error:
            raise InputError(
                "cannot be used as a column of the samples",
                field=name,
                found=np.shape(value),
                expected=f"numbers of shape {self.time.shape}",
            ) from error

    def _check(self) -> None:
        if self.time.ndim != 1 or not self.time.size:
            raise InputError("a pass needs samples", field="time", found=self.time.shape)
        if self.ways not in (1, 2, 3):
            raise InputError("unknown link", field="ways", found=self.ways, expected="1, 2 or 3")
        self._demand("kind", self.is_range | (self.kind == "range_rate"), " or ".join(KINDS))
        self._demand("time", np.isfinite(self.time), "a finite time")
        counts = self.is_range | ((self.count_time > TICK) & np.isfinite(self.count_time))
        self._demand("count_time", counts, "a positive count time of a range rate")
        for name in ("elevation", "transmit_elevation"):
            angle = getattr(self, name)
            if angle is not None:
                self._demand(name, (angle > 0) & (angle <= np.pi / 2), "above the horizon, rad")
        self._demand("sun_angle", (self.sun_angle > 0) & (self.sun_angle <= np.pi), "0 to pi")
        off = self.off_boresight
        self._demand("off_boresight", (off >= 0) & (off <= np.pi), "0 to pi")
        for name in ("round_trip", "distance"):
            value = getattr(self, name)
            self._demand(name, (value >= 0) & np.isfinite(value), "0 or more")
        self._refuse_repetition()

    def _demand(self, name: str, good: NDArray[np.bool_], expected: str) -> None:
        if not good.all():
            sample = int(np.argmin(good))
            raise InputError(
                f"sample {sample} cannot be used ({int((~good).sum())} such)",
                field=name,
                found=getattr(self, name)[sample].item(),
                expected=expected,
            )

    def _refuse_repetition(self) -> None:
        for kind, chosen in zip(KINDS, (self.is_range, ~self.is_range), strict=True):
            index = np.flatnonzero(chosen)
            if index.size < 2:
                continue
            index = index[np.argsort(self.time[index], kind="stable")]
            start, stop = self.ends[0][index] * TICK, self.ends[1][index] * TICK
            same = np.flatnonzero(np.diff(self.time[index]) < TICK)
            if same.size:
                raise InputError(
                    f"two {kind} samples have one time tag",
                    field="time",
                    found=f"samples {index[same[0]]} and {index[same[0] + 1]}",
                    expected="each sample once",
                )
            over = np.flatnonzero(stop[:-1] - start[1:] > OVERLAP_TOLERANCE)
            if over.size:
                raise InputError(
                    "count intervals overlap",
                    field="count_time",
                    found=f"samples {index[over[0]]} and {index[over[0] + 1]}",
                    expected="a count that starts when the one before has ended, or later",
                )

    @cached_property
    def is_range(self) -> NDArray[np.bool_]:
        """Which samples are ranges, shape (n,)."""
        return self.kind == "range"

    @cached_property
    def ends(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """First and last instant of each sample in ticks of a microsecond; a range has one."""
        half = np.where(self.is_range, 0.0, self.count_time) / 2.0
        first, last = np.round((self.time - half) / TICK), np.round((self.time + half) / TICK)
        return first.astype(np.int64), last.astype(np.int64)

    @cached_property
    def pattern(self) -> bytes:
        """Equal for passes whose samples lie alike: of the same ways, kinds and ends."""
        first, last = self.ends
        one_elevation = self.transmit_elevation is None
        head = np.array([self.ways, one_elevation, len(self)])
        origin = first.min()
        return np.concatenate([head, self.is_range, first - origin, last - origin]).tobytes()

    @cached_property
    def points(self) -> PathPoints:
        """The instants at which the path enters the samples."""
        return PathPoints([self])

    def __len__(self) -> int:
        return int(self.time.size)

    def __getitem__(self, index: Any) -> PassGeometry:
        """Samples by a boolean mask, an index array or a slice."""
        columns: dict[str, Any] = {}
        for name in ("time", "kind", *NUMBERS):
            column = getattr(self, name)
            columns[name] = None if column is None else column[index]
        return PassGeometry(ways=self.ways, **columns)


NUMBERS = tuple(f.name for f in fields(PassGeometry) if f.name not in ("time", "kind", "ways"))


class PathPoints:
    """Distinct instants of the path in the samples of q passes of one pattern, m in each.

    The value of sample i is ``weight_last[i] z(last[i]) + weight_first[i] z(first[i])``.
    Points of ranges and of range rates are kept apart even at one instant, for the two
    kinds may feel a process with different signs.

    Parameters
    ----------
    geometries : sequence of PassGeometry
        Passes of one `PassGeometry.pattern`.

    Attributes
    ----------
    tick : ndarray of int, shape (m,)
        Instants since the first, increasing, microseconds.
    is_range : ndarray of bool, shape (m,)
        Whether the point belongs to a range.
    first, last : ndarray of int, shape (n,)
        Points of each sample.
    weight_first, weight_last : ndarray, shape (n,)
        -1/T and 1/T for a range rate, 0 and 1 for a range.
    """

    def __init__(self, geometries: Sequence[PassGeometry]) -> None:
        self.geometries = geometries
        geometry = geometries[0]
        first, last = geometry.ends
        n = first.size
        role = geometry.is_range.astype(np.int64)
        # One number orders the points by instant and then by kind.
        unique, where = np.unique(
            np.concatenate([2 * first + role, 2 * last + role]), return_inverse=True
        )
        instants = unique >> 1
        self.tick: NDArray[np.int64] = instants - instants[0]
        self.is_range: NDArray[np.bool_] = (unique & 1).astype(bool)
        self.first: Indices = where[:n]
        self.last: Indices = where[n:]
        span = (last - first) * TICK
        inverse = 1.0 / np.where(geometry.is_range, 1.0, span)
        self.weight_last: Array = inverse
        self.weight_first: Array = np.where(geometry.is_range, 0.0, -inverse)

    def __len__(self) -> int:
        return int(self.tick.size)

    @property
    def ways(self) -> int:
        """1, 2 or 3, as in the geometry."""
        return self.geometries[0].ways

    @cached_property
    def sun_angle(self) -> Array:
        """Mean Sun-Earth-probe angle, rad, shape (q,): it changes by half a degree a day."""
        return self._columns("sun_angle").mean(axis=1)

    @cached_property
    def round_trip(self) -> Array:
        """Mean round-trip light time, s, shape (q,): it changes by less than a second an hour."""
        return self._columns("round_trip").mean(axis=1)

    def _columns(self, name: str) -> Array:
        """A column of the samples of each pass, shape (q, n)."""
        return np.stack([getattr(geometry, name) for geometry in self.geometries])

    @cached_property
    def _between(self) -> tuple[Indices, Indices, Array]:
        """Samples before and after each point, and how far between their tags it lies."""
        ticks = 0.5 * (self.tick[self.first] + self.tick[self.last])
        tags, samples = np.unique(ticks, return_index=True)
        if tags.size == 1:
            only = np.zeros(len(self), dtype=np.intp)
            return only, only, np.zeros(len(self))
        # The ends of the outer counts lie half a count beyond the outer tags.
        after = np.clip(np.searchsorted(tags, self.tick), 1, tags.size - 1)
        fraction = (self.tick - tags[after - 1]) / (tags[after] - tags[after - 1])
        return samples[after - 1], samples[after], fraction

    def along(self, name: str) -> Array:
        """A column of the samples at the points: linear in time, shape (q, m)."""
        values = self._columns(name)
        before, after, fraction = self._between
        return values[:, before] + fraction * (values[:, after] - values[:, before])

    @cached_property
    def elevation(self) -> Array:
        """Elevation at reception, rad, shape (q, m)."""
        return self._kept_above_horizon("elevation")

    @cached_property
    def transmit_elevation(self) -> Array:
        """Elevation at transmission, rad, shape (q, m)."""
        if self.geometries[0].transmit_elevation is None:
            return self.elevation
        return self._kept_above_horizon("transmit_elevation")

    @cached_property
    def airmass(self) -> Array:
        """Slant over zenith delay of the troposphere at reception, shape (q, m)."""
        return tropospheric_mapping(self.elevation)

    @cached_property
    def transmit_airmass(self) -> Array:
        """Slant over zenith delay of the troposphere at transmission, shape (q, m)."""
        same = self.transmit_elevation is self.elevation
        return self.airmass if same else tropospheric_mapping(self.transmit_elevation)

    def _kept_above_horizon(self, name: str) -> Array:
        return np.minimum(np.maximum(self.along(name), LEAST_ELEVATION), np.pi / 2)


def tropospheric_mapping(elevation: ArrayLike) -> Array:
    """Slant over zenith delay, ``1.001 / sqrt(0.002001 + sin^2 E)`` (Black & Eisner 1984).

    Within 2 % of the mapping functions of precise work from 10 degrees up: enough for noise.
    """
    return 1.001 / np.sqrt(0.002001 + np.sin(elevation) ** 2)
