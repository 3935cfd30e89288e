"""When a station is to be had: hours of the week, dates, hours that others have taken.

In: a scenario's ``[calendar.NAME]``. Out: `StationCalendar`, and its open intervals within a
span, in seconds (`StationCalendar.open_intervals`, `margin`).

All times are UTC at the station. A station is open in its weekly hours and in the dates
added to them; without either it is always open. Hours taken are closed whatever else holds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.constants import DAY
from wobble.errors import InputError

__all__ = ["StationCalendar", "margin"]

Array = NDArray[np.float64]

WEEK = 7 * DAY
MJD_OF_A_MONDAY = 60_310.0  # 2024-01-01
FAR = 100.0 * 365.25 * DAY
"""Stands for "never" in a margin, s."""


@dataclass(frozen=True)
class StationCalendar:
    """Hours of a station; the default is always open.

    Parameters
    ----------
    weekly : tuple of (float, float)
        Begin and end, s after Monday 00:00 UTC; an end before its begin lies in the next week.
    available : tuple of (Time, Time)
        Dates added to the weekly hours.
    taken : tuple of (Time, Time)
        Hours that others have.
    setup : float
        Between the end of one pass of the station and the begin of the next, s.
    """

    weekly: tuple[tuple[float, float], ...] = ()
    available: tuple[tuple[Time, Time], ...] = ()
    taken: tuple[tuple[Time, Time], ...] = ()
    setup: float = 0.0

    def __post_init__(self) -> None:
        for name in ("available", "taken"):
            for start, stop in getattr(self, name):
                if not stop > start:
                    raise InputError(
                        "an interval ends before it begins",
                        field=name,
                        found=f"{start.isot}/{stop.isot}",
                    )
        if not self.setup >= 0:
            raise InputError("must not be negative", field="setup", found=self.setup)

    def open_intervals(self, start: Time, span: float) -> Array:
        """Begin and end of what is open, s after ``start``, in order and apart, shape (k, 2).

        Parameters
        ----------
        start : Time
        span : float
            s; intervals reach a week beyond either end of the span.
        """
        window = (-WEEK, span + WEEK)
        opened = [*self._weeks(start, span), *_seconds(self.available, start)]
        if not self.weekly and not self.available:
            opened = [(-FAR, span + FAR)]
        else:
            opened = [(a, b) for a, b in opened if b > window[0] and a < window[1]]
        return _without(_merged(opened), _merged(_seconds(self.taken, start)))

    def _weeks(self, start: Time, span: float) -> list[tuple[float, float]]:
        first = np.floor((start.utc.mjd - MJD_OF_A_MONDAY) / 7.0 - 1.0) * 7.0 + MJD_OF_A_MONDAY
        mondays = first + 7.0 * np.arange(span // WEEK + 4)
        weeks = []
        for begin, end in self.weekly:
            # From the day's own midnight: a leap second moves none.
            day, into = divmod(begin, DAY)
            opened = (Time(mondays + day, format="mjd", scale="utc") - start).to_value("s") + into
            weeks += [(float(t), float(t + ((end - begin) % WEEK or WEEK))) for t in opened]
        return weeks


def margin(intervals: Array, seconds: Array) -> Array:
    """How far inside the nearest open interval instants are (negative: outside), s, (n,)."""
    if not len(intervals):
        return np.full(np.shape(seconds), -FAR)
    k = np.searchsorted(intervals[:, 0], seconds, side="right")
    before = intervals[np.maximum(k - 1, 0)]
    after = intervals[np.minimum(k, len(intervals) - 1)]
    own = np.minimum(seconds - before[:, 0], before[:, 1] - seconds)
    following = np.where(k < len(intervals), seconds - after[:, 0], -FAR)
    return np.maximum(own, following)


def _seconds(dates: tuple[tuple[Time, Time], ...], start: Time) -> list[tuple[float, float]]:
    return [(float((a - start).to_value("s")), float((b - start).to_value("s"))) for a, b in dates]


def _merged(intervals: list[tuple[float, float]]) -> Array:
    """The same, joined where they touch, in order, shape (k, 2)."""
    joined: list[list[float]] = []
    for begin, end in sorted(intervals):
        if joined and begin <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], end)
        else:
            joined.append([begin, end])
    return np.array(joined, float).reshape(-1, 2)


def _without(opened: Array, taken: Array) -> Array:
    """What remains of the open intervals when others are taken out of them."""
    left: list[tuple[float, float]] = []
    for begin, end in opened:
        for first, last in taken[(taken[:, 1] > begin) & (taken[:, 0] < end)]:
            if first > begin:
                left.append((begin, first))
            begin = last
        if begin < end:
            left.append((begin, end))
    return np.array(left, float).reshape(-1, 2)
