"""What is in a file of tracking data, before anything is made of it.

In: a path, and the agreement as far as there is one. Out: `Inspection`: participants, series of
measurements with spans, gaps and repetitions, what the reader does with each keyword, and what
is missing for a fit.

A *series* is all data of one kind along one path. Its step is the median time between
neighbours; a *gap* is longer than ten steps, so that most gaps are those between passes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from astropy.time import Time
from numpy.typing import NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.link.bands import band_of
from wobble.measurements.tracking import Tracking
from wobble.text.time_tags import calendar_text

__all__ = ["Inspection", "Series", "bands", "series_of_tracking"]

Array = NDArray[np.float64]
GAP_STEPS = 10.0
LIGHT_FROM = 1e13  # Hz


@dataclass(frozen=True, eq=False)
class Series:
    """Data of one kind along one path.

    Parameters
    ----------
    kind : str
        Keyword of the file, or kind of measurement.
    path : tuple of str
        Names of the participants along the signal's path.
    times : Time, shape (n,)
        Time tags, UTC, in the order of the file.
    values : ndarray, shape (n,)
        Numbers as the file has them.
    band : str
        Band of the frequency transmitted, "" if it is not known.
    """

    kind: str
    path: tuple[str, ...]
    times: Time
    values: Array
    band: str = ""

    @property
    def _seconds(self) -> Array:
        """Seconds after the first time tag, in the order of the file."""
        return np.asarray((self.times - self.times[0]).to_value("s"), float)

    @property
    def step(self) -> float:
        """Median time between neighbours, s; NaN for one time alone."""
        steps = np.diff(np.unique(self._seconds))
        return float(np.median(steps)) if len(steps) else np.nan

    @property
    def in_order(self) -> bool:
        """Whether no time tag is earlier than the one before."""
        return bool((np.diff(self._seconds) >= 0.0).all())

    @property
    def repeated(self) -> tuple[int, int]:
        """Time tags that come again, with the same value and with another one."""
        order = np.lexsort((self.values, self._seconds))
        seconds, values = self._seconds[order], self.values[order]
        again = np.diff(seconds) == 0.0
        same = again & (np.diff(values) == 0.0)
        return int(same.sum()), int((again & ~same).sum())

    @property
    def gaps(self) -> list[tuple[Time, Time]]:
        """Begin and end of each gap."""
        order = np.argsort(self._seconds, kind="stable")
        ordered, seconds = self.times[order], self._seconds[order]
        before = np.flatnonzero(np.diff(seconds) > GAP_STEPS * self.step)
        return [(ordered[k], ordered[k + 1]) for k in before]

    @property
    def stretches(self) -> list[tuple[Time, Time]]:
        """Begin and end of what lies between the gaps."""
        gaps = self.gaps
        starts = [self.times.min(), *(stop for _, stop in gaps)]
        return list(zip(starts, [*(start for start, _ in gaps), self.times.max()], strict=True))

    def as_json(self) -> dict[str, Any]:
        """Everything that can be said of it without its numbers."""
        same, other = self.repeated
        first, last = self.times.min(), self.times.max()
        return {
            "kind": self.kind,
            "path": list(self.path),
            "count": len(self.values),
            "first_utc": _text(first),
            "last_utc": _text(last),
            "step_s": None if np.isnan(self.step) else round(self.step, 6),
            "gaps_utc": [[_text(a), _text(b)] for a, b in self.gaps],
            "in_order": self.in_order,
            "repeated_same_value": same,
            "repeated_other_value": other,
            "band": self.band or None,
        }


@dataclass(frozen=True, eq=False)
class Inspection:
    """What is in one file.

    Parameters
    ----------
    source : Path
    format : str
        Of the file, with its version.
    participants : tuple of str
    series : tuple of Series
    fates : dict of str to (int, str)
        For each keyword, record or column: how often it is there, and what the reader does
        with it.
    quality : dict of str to int
        How many segments or sessions have a quality flag.
    ramps : dict of str to int
        Number of frequencies that each station transmitted.
    warnings, missing : tuple of str
        What is suspicious; what is missing for a fit.
    """

    source: Path
    format: str
    participants: tuple[str, ...]
    series: tuple[Series, ...]
    fates: dict[str, tuple[int, str]]
    quality: dict[str, int] = field(default_factory=dict)
    ramps: dict[str, int] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The same as one JSON object."""
        return {
            "file": str(self.source),
            "format": self.format,
            "participants": list(self.participants),
            "series": [series.as_json() for series in self.series],
            "keywords": {
                name: {"count": n, "reader": fate} for name, (n, fate) in self.fates.items()
            },
            "quality": self.quality,
            "frequencies_transmitted": self.ramps,
            "warnings": list(self.warnings),
            "missing_for_a_fit": list(self.missing),
        }


def series_of_tracking(tracking: Tracking) -> tuple[Series, ...]:
    """The series of a table of measurements."""
    names = ("kind", "transmitter", "lander", "receiver")
    columns = [getattr(tracking, name).tolist() for name in names]
    groups: dict[tuple[str, ...], list[int]] = {}
    for row, (kind, up, lander, down) in enumerate(zip(*columns, strict=True)):
        path = (lander, down) if kind == "one_way_range_rate" else (up, lander, down)
        groups.setdefault((kind, *path), []).append(row)
    return tuple(
        Series(
            key[0], key[1:], tracking.epoch[rows], tracking.value[rows],
            bands(tracking.frequency[rows].tolist()),
        )
        for key, rows in groups.items()
    )  # fmt: skip


def bands(frequencies: Iterable[float]) -> str:
    """Names of the bands in which frequencies (Hz) lie; a laser has its wavelength."""
    names = set()
    for frequency in set(frequencies):
        if frequency > LIGHT_FROM:
            names.add(f"{1e9 * SPEED_OF_LIGHT / frequency:.0f} nm")
        else:
            try:
                names.add(band_of(frequency))
            except InputError:
                names.add(f"{frequency / 1e9:.3f} GHz, in no band")
    return ", ".join(sorted(names))


def _text(time: Time) -> str:
    return str(calendar_text(time)[0])
