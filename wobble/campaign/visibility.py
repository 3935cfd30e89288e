"""View periods: when station and lander see each other.

In: a network, a span of time and the limits of a plan. Out: `ViewPeriods`, one row for each
interval in which every condition holds (`conditions`), with the geometry at its start, middle
and end and with whose limit opens and closes it.

Margins are sampled every ten minutes and wherever a mask or a calendar has a corner; their
zeros, and short periods between samples, are found to a tenth of a second (`crossings`).
Light times are those of the geometric path; what gravity and air delay is a microsecond.
Refraction is not applied: elevations and masks are geometric (`link_geometry` states its size).
"""

from __future__ import annotations

import html
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
from astropy.table import QTable
from astropy.time import Time, TimeDelta
from astropy.units import Quantity
from numpy.typing import NDArray
from tqdm import tqdm

from wobble.campaign.condition_hours import ConditionHours
from wobble.campaign.conditions import Sight, ViewLimits, sights_of
from wobble.campaign.crossings import intervals_of
from wobble.campaign.link_geometry import Geometry
from wobble.constants import ASTRONOMICAL_UNIT
from wobble.errors import InputError
from wobble.link.network import Network

__all__ = ["ViewPeriods", "find_view_periods"]

Array = NDArray[np.float64]

STEP = 600.0
MAXIMUM_BLOCK = 20_000
ANGLES = {
    "elevation": "receive_elevation",
    "azimuth": "receive_azimuth",
    "transmit_elevation": "transmit_elevation",
    "lander_elevation": "lander_elevation",
    "lander_azimuth": "lander_azimuth",
    "sun_earth_probe": "sun_angle",
    "sun_probe_earth": "sun_probe_angle",
}
"""Columns of the table, and the fields of `Geometry` that they show."""
MOMENTS = ("start", "middle", "stop")


@dataclass(frozen=True, eq=False)
class ViewPeriods:
    """Intervals in which all conditions hold, in order of their begin.

    Parameters
    ----------
    start, stop : Time, shape (m,)
        UTC at the receiving station.
    transmitter, station, lander, antenna : ndarray of str, shape (m,)
        Who transmits, who receives, to and from whom, through which antenna (empty if the
        lander has none). In two-way tracking transmitter and station are the same.
    opened_by, closed_by : ndarray of str, shape (m,)
        Whose limit begins or ends to hold, or "span" at the ends of the span.
    geometry : Geometry, arrays of shape (m, 3)
        At start, middle and end.
    notes : tuple of str
        Limits of the computation, for example a continued Earth-orientation table.
    condition_hours : ConditionHours, optional
        What each condition costs.
    """

    start: Time
    stop: Time
    transmitter: NDArray[np.str_]
    station: NDArray[np.str_]
    lander: NDArray[np.str_]
    antenna: NDArray[np.str_]
    opened_by: NDArray[np.str_]
    closed_by: NDArray[np.str_]
    geometry: Geometry
    notes: tuple[str, ...] = field(default=())
    condition_hours: ConditionHours | None = None

    @property
    def duration(self) -> Array:
        """s, shape (m,)."""
        return np.asarray((self.stop - self.start).to_value("s"), float)

    @property
    def elevation(self) -> Array:
        """At the receiving station at start, middle and end, rad, shape (m, 3)."""
        return self.geometry.receive_elevation

    @property
    def sun_angle(self) -> Array:
        """Sun-Earth-probe angle in the middle, rad, shape (m,)."""
        return self.geometry.sun_angle[:, 1]

    @property
    def distance(self) -> Array:
        """In the middle, m, shape (m,)."""
        return self.geometry.distance[:, 1]

    def __len__(self) -> int:
        return len(self.station)

    def table(self) -> QTable:
        """As a table with units: who, when, whose limits, and the geometry three times."""
        table = QTable(
            {
                "transmitter": self.transmitter,
                "station": self.station,
                "lander": self.lander,
                "antenna": self.antenna,
                "start": self.start.isot,
                "stop": self.stop.isot,
                "duration": Quantity(self.duration / 60.0, "min").round(2),
                "opened_by": self.opened_by,
                "closed_by": self.closed_by,
            }
        )
        for k, moment in enumerate(MOMENTS):
            for column, name in ANGLES.items():
                angle = np.degrees(getattr(self.geometry, name)[:, k])
                table[f"{column}_{moment}"] = Quantity(angle, "deg").round(3)
            distance = self.geometry.distance[:, k] / ASTRONOMICAL_UNIT
            hour = np.degrees(self.geometry.hour_angle[:, k]) / 15.0
            table[f"hour_angle_{moment}"] = Quantity(hour, "h").round(3)
            table[f"distance_{moment}"] = Quantity(distance, "au").round(7)
            table[f"local_time_{moment}"] = Quantity(self.geometry.local_time[:, k], "h").round(3)
        return table

    def __repr__(self) -> str:
        if not len(self):
            return "<View periods: none>"
        hours = self.duration.sum() / 3600.0
        return (
            f"<View periods: {len(self)}, {hours:.1f} h in all, "
            f"{self.start[0].isot[:10]} to {self.stop[-1].isot[:10]}>"
        )

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(repr(self))}</p>" + self.table()._repr_html_()


def find_view_periods(
    network: Network,
    start: Time,
    stop: Time,
    *,
    limits: ViewLimits | None = None,
    progress: bool = False,
) -> ViewPeriods:
    """All view periods of all stations, landers and antennas of a network.

    Parameters
    ----------
    network : Network
        Its stations carry their masks, transmit limits and calendars, its landers theirs.
    start, stop : Time
        Span, UTC.
    limits : ViewLimits, optional
        Angles at the Sun, and the pairs of stations for three-way tracking.
    progress : bool
        Whether to show a progress bar.

    Raises
    ------
    InputError
        If the span is empty, or a station of a three-way pair is unknown.
    """
    if not stop > start:
        raise InputError("the span ends before it begins", found=f"{start.isot} to {stop.isot}")
    span = float((stop - start).to_value("s"))
    groups = sights_of(network, limits or ViewLimits(), start, span)
    found: list[tuple[Sight, Array]] = []
    sampled: list[tuple[Array, Array]] = []
    for group in tqdm(groups, desc="view periods", disable=not progress, leave=False):
        for sight, times, margins in _sampled(group, span):
            found.append((sight, _intervals(sight, times, margins)))
            sampled.append((times, margins))
    note = network.earth.orientation.note
    return _gathered(found, start, (note,) if note else (), ConditionHours.of(sampled))


def _sampled(group: list[Sight], span: float) -> Iterator[tuple[Sight, Array, Array]]:
    """Sights that differ in the antenna only, each with sampled times and margins."""
    sight = group[0]
    grid = np.append(np.arange(0.0, span, STEP), span)
    geometry = _geometry(sight, grid)
    corners = sight.kinks(grid, geometry)
    times, order = np.unique(np.concatenate([grid, corners]), return_index=True)
    geometry = Geometry.joined([geometry, _geometry(sight, corners)])[order]
    for one in group:
        yield one, times, one.margins(times, geometry)


def _geometry(sight: Sight, times: Array) -> Geometry:
    """Geometry at any number of times, in blocks."""
    blocks = [times[i : i + MAXIMUM_BLOCK] for i in range(0, len(times), MAXIMUM_BLOCK)]
    return Geometry.joined([sight.geometry(block) for block in blocks])


def _intervals(sight: Sight, times: Array, margins: Array) -> Array:
    """Begin and end of each period, s on the clock, shape (m, 2)."""

    def smallest(seconds: Array) -> Array:
        return sight.margins(seconds, sight.geometry(seconds)).min(axis=1)

    return intervals_of(smallest, times, margins.min(axis=1))


def _gathered(
    found: list[tuple[Sight, Array]], start: Time, notes: tuple[str, ...], hours: ConditionHours
) -> ViewPeriods:
    """The periods of all sights in one table."""
    names: list[tuple[str, ...]] = []
    geometries: list[Geometry] = []
    for sight, intervals in found:
        if not len(intervals):
            continue
        moments = np.column_stack([intervals[:, 0], intervals.mean(axis=1), intervals[:, 1]])
        geometry = sight.geometry(moments.ravel())
        margins = sight.margins(moments.ravel(), geometry).reshape(*moments.shape, -1)
        who = (
            sight.transmitter.station.name,
            sight.receiver.station.name,
            sight.lander.lander.name,
            sight.antenna.name if sight.antenna else "",
        )
        # At its ends the condition that decides is the one whose margin is zero.
        opened = np.array(sight.names)[margins[:, 0].argmin(axis=1)]
        closed = np.array(sight.names)[margins[:, 2].argmin(axis=1)]
        opened = np.where(intervals[:, 0] <= 0.0, "span", opened)
        closed = np.where(intervals[:, 1] >= sight.clock.span, "span", closed)
        names += [(*who, o, c) for o, c in zip(opened.tolist(), closed.tolist(), strict=True)]
        geometries.append(geometry)
    times = np.concatenate([intervals for _, intervals in found])
    order = np.argsort(times[:, 0], kind="stable")
    sender, station, lander, antenna, opened_by, closed_by = (
        np.array(names, dtype=str).reshape(-1, 6)[order].T
    )
    return ViewPeriods(
        start=start + TimeDelta(times[order, 0], format="sec"),
        stop=start + TimeDelta(times[order, 1], format="sec"),
        transmitter=sender,
        station=station,
        lander=lander,
        antenna=antenna,
        opened_by=opened_by,
        closed_by=closed_by,
        geometry=Geometry.joined(geometries).in_threes()[order],
        notes=notes,
        condition_hours=hours,
    )
