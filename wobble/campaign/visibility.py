"""View periods: when station and lander see each other.

In: a network and a span of time. Out: `ViewPeriods`, one row for each interval in which
every condition holds, with which condition opens and closes it.

The conditions, each an angle that must not be negative (`margins`), are taken at the right
light times: the transmitting station sees the planet at t1, the lander the Earth at t2,
the receiving station the planet at t3.

* transmission: elevation at t1 above the mask and the station's transmit limit;
* reception: elevation at t3 above the mask;
* lander: elevation of the Earth at t2 above its horizon;
* antenna: the Earth within the half-width of the antenna's beam;
* Sun: Sun-Earth-probe angle above a limit.

Margins are sampled every ten minutes and their zeros found by Chandrupatla's method to a
tenth of a second. Light times are those of the geometric path; what gravity and air delay is a
millisecond. Refraction, which lifts a target by half a degree at the horizon and a tenth at
10 degrees, is not applied: masks are understood as geometric.
"""

from __future__ import annotations

import html
from dataclasses import dataclass, field

import numpy as np
from astropy.table import QTable
from astropy.time import Time, TimeDelta
from astropy.units import Quantity
from numpy.typing import NDArray
from scipy.optimize import elementwise
from tqdm import tqdm

from wobble.constants import ASTRONOMICAL_UNIT, SPEED_OF_LIGHT
from wobble.earth.stations import azimuth_elevation
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.link.ends import LanderEnd, StationEnd
from wobble.link.network import Network
from wobble.link.plasma import sun_earth_probe_angle
from wobble.planet.lander import Antenna

__all__ = ["CONDITIONS", "Geometry", "ViewPeriods", "find_view_periods"]

Array = NDArray[np.float64]

CONDITIONS = ("transmission", "reception", "lander horizon", "antenna beam", "Sun angle")
STEP = 600.0
TOLERANCE = 0.05
MAXIMUM_BLOCK = 20_000


@dataclass(frozen=True, eq=False)
class Geometry:
    """Where a link is at n instants of reception.

    All angles rad, shape (n,); `light_time` is one-way, s; `distance` m.
    """

    transmit_azimuth: Array
    transmit_elevation: Array
    receive_azimuth: Array
    receive_elevation: Array
    lander_azimuth: Array
    lander_elevation: Array
    lander_local: Array
    sun_angle: Array
    light_time: Array
    distance: Array

    @classmethod
    def of(
        cls, station: StationEnd, lander: LanderEnd, receptions: Epochs, transmitter: StationEnd
    ) -> Geometry:
        """Geometry at TDB epochs of reception."""
        ephemeris = lander.ephemeris
        received = station.at(receptions)
        light_time = np.zeros(len(receptions))
        for _ in range(4):  # contracts by v/c = 1e-4 each time
            turned = receptions.shift(-light_time)
            path = lander.center(turned) - received.position
            light_time = np.linalg.norm(path, axis=1) / SPEED_OF_LIGHT
        event = lander.at(turned)
        sent = transmitter.at(receptions.shift(-2.0 * light_time))
        down = station.look(received, event.position - received.position)
        up = transmitter.look(sent, event.position - sent.position)
        local = lander.look(event, received.position - event.position)
        sun = ephemeris.position("sun", receptions)
        return cls(
            *azimuth_elevation(up),
            *azimuth_elevation(down),
            *azimuth_elevation(local),
            local,
            sun_earth_probe_angle(received.center, event.center, sun),
            light_time,
            light_time * SPEED_OF_LIGHT,
        )


@dataclass(frozen=True)
class _Sight:
    """One combination whose view periods are sought."""

    station: StationEnd
    lander: LanderEnd
    antenna: Antenna | None
    sun_limit: float

    def geometry(self, receptions: Epochs) -> Geometry:
        return Geometry.of(self.station, self.lander, receptions, self.station)

    def margins(self, geometry: Geometry) -> Array:
        """The conditions' margins, rad, shape (n, 5)."""
        station = self.station.station
        up_limit = np.maximum(
            station.mask.at(geometry.transmit_azimuth), station.transmit_elevation
        )
        beam = (
            np.full(len(geometry.sun_angle), np.pi)
            if self.antenna is None
            else self.antenna.half_width - self.antenna.off_boresight(geometry.lander_local)
        )
        return np.column_stack(
            [
                geometry.transmit_elevation - up_limit,
                geometry.receive_elevation - station.mask.at(geometry.receive_azimuth),
                geometry.lander_elevation - self.lander.lander.minimum_elevation,
                beam,
                geometry.sun_angle - self.sun_limit,
            ]
        )


@dataclass(frozen=True, eq=False)
class ViewPeriods:
    """Intervals in which all conditions hold, in order of their begin.

    Parameters
    ----------
    start, stop : Time, shape (m,)
        UTC at the receiving station.
    station, lander, antenna : ndarray of str, shape (m,)
        Who sees whom through which antenna (empty if the lander has none).
    opened_by, closed_by : ndarray of str, shape (m,)
        The condition that begins or ends to hold, or "span" at the ends of the span.
    elevation : ndarray, shape (m, 3)
        At the receiving station at start, middle and end, rad.
    sun_angle, distance : ndarray, shape (m,)
        In the middle: Sun-Earth-probe angle, rad, and distance, m.
    notes : tuple of str
        Limits of the computation, for example a continued Earth-orientation table.
    """

    start: Time
    stop: Time
    station: NDArray[np.str_]
    lander: NDArray[np.str_]
    antenna: NDArray[np.str_]
    opened_by: NDArray[np.str_]
    closed_by: NDArray[np.str_]
    elevation: Array
    sun_angle: Array
    distance: Array
    notes: tuple[str, ...] = field(default=())

    @property
    def duration(self) -> Array:
        """s, shape (m,)."""
        return np.asarray((self.stop - self.start).to_value("s"), float)

    def __len__(self) -> int:
        return len(self.station)

    def table(self) -> QTable:
        """As a table with units."""
        degrees = np.degrees(self.elevation)
        return QTable(
            {
                "station": self.station,
                "lander": self.lander,
                "antenna": self.antenna,
                "start": self.start.isot,
                "stop": self.stop.isot,
                "duration": Quantity(self.duration / 60.0, "min").round(2),
                "elevation_start": Quantity(degrees[:, 0], "deg").round(2),
                "elevation_middle": Quantity(degrees[:, 1], "deg").round(2),
                "elevation_stop": Quantity(degrees[:, 2], "deg").round(2),
                "sun_earth_probe": Quantity(np.degrees(self.sun_angle), "deg").round(2),
                "distance": Quantity(self.distance / ASTRONOMICAL_UNIT, "au").round(5),
                "opened_by": self.opened_by,
                "closed_by": self.closed_by,
            }
        )

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
    sun_limit: float = 0.0,
    progress: bool = False,
) -> ViewPeriods:
    """All view periods of all stations, landers and antennas of a network.

    Parameters
    ----------
    network : Network
    start, stop : Time
        Span, UTC.
    sun_limit : float
        Least Sun-Earth-probe angle, rad.
    progress : bool
        Whether to show a progress bar.

    Raises
    ------
    InputError
        If the span is empty.
    """
    if not stop > start:
        raise InputError("the span ends before it begins", found=f"{start.isot} to {stop.isot}")
    rows: list[tuple[float, float, str, str, str, str, str]] = []
    numbers_of: list[Array] = []
    origin = Epochs.from_time(start, "tt")
    span = float((stop - start).to_value("s"))
    grid = np.append(np.arange(0.0, span, STEP), span)
    pairs = [(s, name) for s in network.stations.values() for name in network.landers]
    for station, name in tqdm(pairs, desc="view periods", disable=not progress, leave=False):
        lander = network.lander(name)
        reference = station.tdb(origin)
        antennas = lander.lander.antennas or (None,)
        sights = [_Sight(station, lander, antenna, sun_limit) for antenna in antennas]
        sampled = _sampled_margins(sights, reference, grid)
        for sight, margins in zip(sights, sampled, strict=True):
            periods = _periods(sight, reference, grid, margins)
            if not periods:
                continue
            antenna = sight.antenna.name if sight.antenna else ""
            rows += [(a, b, station.station.name, name, antenna, o, c) for a, b, o, c in periods]
            times = np.array([(p[0], (p[0] + p[1]) / 2, p[1]) for p in periods])
            at = sight.geometry(_later(reference, times.ravel()))
            elevation = at.receive_elevation.reshape(-1, 3)
            numbers_of.append(np.column_stack([elevation, at.sun_angle[1::3], at.distance[1::3]]))
    order = np.argsort([row[0] for row in rows], kind="stable")
    numbers = np.concatenate(numbers_of)[order] if numbers_of else np.zeros((0, 5))
    columns = list(zip(*(rows[i] for i in order), strict=True)) or [()] * 7
    station_names, lander_names, antenna_names, opened, closed = (
        np.array(column, dtype=str) for column in columns[2:]
    )
    note = network.earth.orientation.note
    return ViewPeriods(
        start=start + TimeDelta(np.array(columns[0], float), format="sec"),
        stop=start + TimeDelta(np.array(columns[1], float), format="sec"),
        station=station_names,
        lander=lander_names,
        antenna=antenna_names,
        opened_by=opened,
        closed_by=closed,
        elevation=numbers[:, :3],
        sun_angle=numbers[:, 3],
        distance=numbers[:, 4],
        notes=(note,) if note else (),
    )


def _later(reference: Epochs, seconds: Array) -> Epochs:
    whole = np.round(seconds)
    return Epochs.of(reference.seconds[0] + whole, reference.fraction[0] + (seconds - whole), "tdb")


def _sampled_margins(sights: list[_Sight], reference: Epochs, grid: Array) -> list[Array]:
    """Margins of sights that differ in the antenna only, on a grid, shape (n, 5) each."""
    parts: list[list[Array]] = [[] for _ in sights]
    for i in range(0, len(grid), MAXIMUM_BLOCK):
        geometry = sights[0].geometry(_later(reference, grid[i : i + MAXIMUM_BLOCK]))
        for part, sight in zip(parts, sights, strict=True):
            part.append(sight.margins(geometry))
    return [np.concatenate(part) for part in parts]


def _periods(
    sight: _Sight, reference: Epochs, grid: Array, margins: Array
) -> list[tuple[float, float, str, str]]:
    """Begin and end (seconds from the reference) and what opened and closed each period."""
    good = margins.min(axis=1) >= 0
    change = np.flatnonzero(good[1:] != good[:-1])
    zeros = _zeros(sight, reference, grid[change], grid[change + 1])
    # At a change the condition that decides is the one that fails on the bad side.
    failing = np.where(good[change], change + 1, change)
    names = [CONDITIONS[int(np.argmin(margins[k]))] for k in failing]
    edges = list(zip(zeros, names, strict=True))
    if good[0]:
        edges.insert(0, (grid[0], "span"))
    if good[-1]:
        edges.append((grid[-1], "span"))
    return [
        (float(a[0]), float(b[0]), a[1], b[1])
        for a, b in zip(edges[0::2], edges[1::2], strict=True)
    ]


def _zeros(sight: _Sight, reference: Epochs, low: Array, high: Array) -> Array:
    """Where the smallest margin changes sign between ``low`` and ``high``, s."""
    if not low.size:
        return low

    def smallest(seconds: Array) -> Array:
        return sight.margins(sight.geometry(_later(reference, seconds))).min(axis=1)

    result = elementwise.find_root(smallest, (low, high), tolerances={"xatol": TOLERANCE})
    return np.asarray(result.x, float)
