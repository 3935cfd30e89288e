"""Passes chosen from view periods by a rule.

In: view periods and a rule (so many a week, so long, so far apart). Out: `Passes`, a table
of when which station tracks which lander through which antenna, and from it the time tags
of a campaign (`Passes.tags`).

The rule takes each week by itself. It goes through the periods that are long enough,
prefers the antenna and the station that had fewest passes so far, then the pass with the
highest elevation, and keeps passes at least `rest` apart on one lander. Within a long
period passes are put early, in the middle and late in turn, so that hour angles vary.

A schedule is a proposal: a station's safety limits, spectrum licences and the lander's own
flight rules decide.
"""

from __future__ import annotations

import html
from collections import Counter
from dataclasses import dataclass

import numpy as np
from astropy.table import QTable
from astropy.time import Time, TimeDelta
from astropy.units import Quantity
from numpy.typing import NDArray

from wobble.campaign.visibility import ViewPeriods
from wobble.errors import InputError
from wobble.tracking import Tracking

__all__ = ["Passes", "ScheduleRule", "schedule_passes"]

Array = NDArray[np.float64]

WEEK = 7 * 86_400.0
PLACES = (0.5, 0.0, 1.0)
"""Where in its period a pass is put, in turn: middle, early, late."""


@dataclass(frozen=True)
class ScheduleRule:
    """How passes are chosen and sampled.

    Parameters
    ----------
    passes_per_week : int
    pass_length : float
        s.
    count_time : float
        Of a range rate, s.
    range_interval : float
        Between ranges, s; zero for none.
    rest : float
        Least time between the begins of two passes of one lander, s.
    """

    passes_per_week: int
    pass_length: float
    count_time: float = 60.0
    range_interval: float = 300.0
    rest: float = 86_400.0

    def __post_init__(self) -> None:
        for name in ("passes_per_week", "pass_length", "count_time"):
            if not getattr(self, name) > 0:
                raise InputError("must be positive", field=name, found=getattr(self, name))
        if self.count_time > self.pass_length:
            raise InputError(
                "a count time is longer than the pass",
                field="count_time",
                found=f"{self.count_time} s",
                expected=f"at most {self.pass_length} s",
            )


@dataclass(frozen=True, eq=False)
class Passes:
    """Passes in order of their begin.

    Parameters
    ----------
    pass_id : ndarray of str, shape (m,)
    start, stop : Time, shape (m,)
        UTC of reception.
    station, lander, antenna : ndarray of str, shape (m,)
    """

    pass_id: NDArray[np.str_]
    start: Time
    stop: Time
    station: NDArray[np.str_]
    lander: NDArray[np.str_]
    antenna: NDArray[np.str_]

    def __len__(self) -> int:
        return len(self.pass_id)

    @property
    def hours(self) -> float:
        """Station hours in all."""
        return float((self.stop - self.start).to_value("h").sum())

    def table(self) -> QTable:
        """As a table with units."""
        return QTable(
            {
                "pass": self.pass_id,
                "station": self.station,
                "lander": self.lander,
                "antenna": self.antenna,
                "start": self.start.isot,
                "stop": self.stop.isot,
                "duration": Quantity((self.stop - self.start).to_value("min"), "min").round(2),
            }
        )

    def tags(self, rule: ScheduleRule, frequency: float) -> Tracking:
        """Time tags of all measurements of the passes; values are zero.

        Range rates fill the pass with contiguous counts, each tagged in its middle; ranges
        stand at the chosen interval, tagged at their reception.

        Parameters
        ----------
        rule : ScheduleRule
            Count time and interval of ranges.
        frequency : float
            Of the uplink, Hz.
        """
        which: list[Array] = []
        offsets: list[Array] = []
        kinds: list[NDArray[np.str_]] = []
        durations = (self.stop - self.start).to_value("s")
        for k, duration in enumerate(durations):
            middles = np.arange(0.5, duration // rule.count_time)
            counts: Array = np.multiply(middles, rule.count_time, dtype=np.float64)
            ranges: Array = np.zeros(0)
            if rule.range_interval:
                ranges = np.arange(0.0, duration + 1e-6, rule.range_interval)
            offsets += [counts, ranges]
            which.append(np.full(len(counts) + len(ranges), k))
            kinds.append(
                np.array(["range_rate"] * len(counts) + ["range"] * len(ranges), dtype=str)
            )
        index = np.concatenate(which).astype(int)
        kind = np.concatenate(kinds)
        n = len(index)
        return Tracking(
            pass_id=self.pass_id[index],
            transmitter=self.station[index],
            receiver=self.station[index],
            lander=self.lander[index],
            kind=kind,
            epoch=self.start[index] + TimeDelta(np.concatenate(offsets), format="sec"),
            tag=np.full(n, "receive"),
            count_time=np.where(kind == "range", np.nan, rule.count_time),
            value=np.zeros(n),
            sigma=np.ones(n),
            frequency=np.full(n, frequency),
        )

    def __repr__(self) -> str:
        if not len(self):
            return "<Passes: none>"
        shares = ", ".join(f"{n} {k}" for k, n in sorted(Counter(self.station).items()))
        return (
            f"<Passes: {len(self)}, {self.hours:.1f} station hours ({shares}), "
            f"{self.start[0].isot[:10]} to {self.stop[-1].isot[:10]}>"
        )

    def _repr_html_(self) -> str:
        return f"<p>{html.escape(repr(self))}</p>" + self.table()._repr_html_()


def schedule_passes(periods: ViewPeriods, rule: ScheduleRule) -> Passes:
    """Choose passes by the rule.

    Raises
    ------
    InputError
        If no view period is long enough for a pass.
    """
    long_enough = np.flatnonzero(periods.duration >= rule.pass_length)
    if not long_enough.size:
        longest = periods.duration.max(initial=0.0) / 60.0
        raise InputError(
            "no view period is long enough for a pass",
            field="pass_length",
            found=f"{rule.pass_length / 60.0:.1f} min",
            expected=f"at most {longest:.1f} min, the longest of {len(periods)} view periods",
        )
    begin = np.asarray((periods.start - periods.start[0]).to_value("s"), float)
    chosen: list[tuple[float, int]] = []
    used: Counter[str] = Counter()
    for week in np.unique(begin[long_enough] // WEEK):
        candidates = long_enough[begin[long_enough] // WEEK == week]
        this_week = 0
        while candidates.size and this_week < rule.passes_per_week:
            best = min(candidates, key=lambda k: _preference(periods, used, k))
            candidates = candidates[candidates != best]
            place = PLACES[len(chosen) % len(PLACES)]
            start = begin[best] + place * (periods.duration[best] - rule.pass_length)
            if any(
                abs(start - other) < rule.rest and periods.lander[best] == periods.lander[k]
                for other, k in chosen[-4 * rule.passes_per_week :]
            ):
                continue
            chosen.append((start, int(best)))
            used[f"antenna {periods.antenna[best]}"] += 1
            used[f"station {periods.station[best]}"] += 1
            this_week += 1
    chosen.sort()
    starts = periods.start[0] + TimeDelta(np.array([c[0] for c in chosen]), format="sec")
    starts = Time(Time(starts, precision=0).isot, scale="utc")  # whole seconds, as planners do
    rows = np.array([c[1] for c in chosen])
    width = max(3, len(str(len(chosen))))
    return Passes(
        pass_id=np.array([f"P{i + 1:0{width}d}" for i in range(len(chosen))]),
        start=starts,
        stop=starts + TimeDelta(rule.pass_length, format="sec"),
        station=periods.station[rows],
        lander=periods.lander[rows],
        antenna=periods.antenna[rows],
    )


def _preference(periods: ViewPeriods, used: Counter[str], k: int) -> tuple[int, int, float]:
    return (
        used[f"antenna {periods.antenna[k]}"],
        used[f"station {periods.station[k]}"],
        -float(periods.elevation[k, 1]),
    )
