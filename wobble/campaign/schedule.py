"""Passes chosen from view periods by a rule.

In: view periods, a rule (so many a week, so long, which first) and a ledger of what passes
demand of one another (`pass_ledger`). Out: `Passes`, a table of when which stations track
which lander through which antenna, and from it the time tags of a campaign (`Passes.tags`).

The rule takes each week by itself. Among the periods that are long enough it takes turns
between antennas, then between stations (`alternate`); among equals it prefers the pass with
the highest elevation, the one in the longest period, or the one whose hour angle has been
seen least (`prefer`); and it takes only what the ledger accepts. Within a long period passes
are put early, in the middle and late in turn, so that hour angles vary.

A schedule is a proposal: a station's safety limits, spectrum licences and the lander's own
flight rules decide.
"""

from __future__ import annotations

import html
from collections import Counter
from dataclasses import dataclass, replace

import numpy as np
from astropy.table import QTable
from astropy.time import Time, TimeDelta
from astropy.units import Quantity
from numpy.typing import ArrayLike, NDArray

from wobble.campaign.pass_ledger import BookedPass, PassLedger
from wobble.campaign.shortfall import Shortfall
from wobble.campaign.visibility import ViewPeriods
from wobble.constants import EARTH_ROTATION_RATE
from wobble.errors import InputError, UnknownNameError
from wobble.measurements.tracking import Tracking

__all__ = ["Passes", "ScheduleRule", "schedule_passes"]

Array = NDArray[np.float64]

WEEK = 7 * 86_400.0
PLACES = (0.5, 0.0, 1.0)
"""Where in its period a pass is put, in turn: middle, early, late."""
PREFERENCES = ("highest", "longest", "hour_angle")
ALTERNATIVES = ("antenna", "station", "transmitter", "lander")
HOUR_ANGLE_BIN = np.pi / 12.0
"""Hour angles are told apart by the hour, rad."""

LINKS = ("two_way", "one_way")


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
    prefer : {"highest", "longest", "hour_angle"}
        Which of several possible passes comes first.
    alternate : tuple of {"antenna", "station", "transmitter", "lander"}
        What takes turns, the first named before the others.
    handover : (float, float)
        Least and longest overlap, s, of the passes of two stations when one takes over the
        lander from the other; zeros if passes of a lander must not overlap at all.
    link : {"two_way", "one_way"}
        Whether the landers turn an uplink around or send with their own oscillators; then
        there are no ranges.
    """

    passes_per_week: int
    pass_length: float
    count_time: float = 60.0
    range_interval: float = 300.0
    rest: float = 86_400.0
    prefer: str = "highest"
    alternate: tuple[str, ...] = ("antenna", "station")
    handover: tuple[float, float] = (0.0, 0.0)
    link: str = "two_way"

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
        for name, known in (
            ("prefer", PREFERENCES),
            ("alternate", ALTERNATIVES),
            ("link", LINKS),
        ):
            given = getattr(self, name)
            for choice in (given,) if isinstance(given, str) else given:
                if choice not in known:
                    raise UnknownNameError("choice", choice, known, field=name)
        if not 0 <= self.handover[0] <= self.handover[1]:
            raise InputError(
                "a handover has a least and a longest overlap",
                field="handover",
                found=self.handover,
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
        Who receives, from whom, through which antenna.
    transmitter : ndarray of str, shape (m,), optional
        Who transmits; the receiving station if left out.
    shortfall : Shortfall, optional
        What a rule asked for and could not place.
    """

    pass_id: NDArray[np.str_]
    start: Time
    stop: Time
    station: NDArray[np.str_]
    lander: NDArray[np.str_]
    antenna: NDArray[np.str_]
    transmitter: NDArray[np.str_] = None  # type: ignore[assignment]  # made a column below
    shortfall: Shortfall | None = None

    def __post_init__(self) -> None:
        if self.transmitter is None:
            object.__setattr__(self, "transmitter", self.station)

    def __len__(self) -> int:
        return len(self.pass_id)

    def booked(self, since: Time) -> list[BookedPass]:
        """The passes in order of their begin, with times in s after an instant, for a ledger."""
        names = (self.pass_id, self.transmitter, self.station, self.lander)
        times = ((self.start - since).to_value("s"), (self.stop - since).to_value("s"))
        columns = [column.tolist() for column in (*names, *times)]
        return sorted(
            (BookedPass(*row) for row in zip(*columns, strict=True)), key=lambda p: p.begin
        )

    @property
    def hours(self) -> float:
        """Station hours in all."""
        return float((self.stop - self.start).to_value("h").sum())

    def table(self) -> QTable:
        """As a table with units."""
        return QTable(
            {
                "pass": self.pass_id,
                "transmitter": self.transmitter,
                "station": self.station,
                "lander": self.lander,
                "antenna": self.antenna,
                "start": self.start.isot,
                "stop": self.stop.isot,
                "duration": Quantity((self.stop - self.start).to_value("min"), "min").round(2),
            }
        )

    def tags(self, rule: ScheduleRule, frequency: ArrayLike) -> Tracking:
        """Time tags of all measurements of the passes; values are zero.

        Range rates fill the pass with contiguous counts, each tagged in its middle; ranges
        stand at the chosen interval, tagged at their reception.

        Parameters
        ----------
        rule : ScheduleRule
            Count time and interval of ranges.
        frequency : float or array_like, one for each pass
            Of the uplink, or the nominal one of one-way downlinks, Hz.
        """
        one_way = rule.link == "one_way"
        rate = "one_way_range_rate" if one_way else "range_rate"
        which: list[Array] = []
        offsets: list[Array] = []
        kinds: list[NDArray[np.str_]] = []
        durations = (self.stop - self.start).to_value("s")
        for k, duration in enumerate(durations):
            # A duration from two dates is right to some picoseconds: 45 counts are not 44.
            middles = np.arange(0.5, np.floor(duration / rule.count_time + 1e-9))
            counts: Array = np.multiply(middles, rule.count_time, dtype=np.float64)
            ranges: Array = np.zeros(0)
            if rule.range_interval and not one_way:
                ranges = np.arange(0.0, duration + 1e-6, rule.range_interval)
            offsets += [counts, ranges]
            which.append(np.full(len(counts) + len(ranges), k))
            kinds.append(np.array([rate] * len(counts) + ["range"] * len(ranges), dtype=str))
        index = np.concatenate(which).astype(int)
        kind = np.concatenate(kinds)
        n = len(index)
        return Tracking(
            pass_id=self.pass_id[index],
            transmitter=(self.station if one_way else self.transmitter)[index],
            receiver=self.station[index],
            lander=self.lander[index],
            kind=kind,
            epoch=self.start[index] + TimeDelta(np.concatenate(offsets), format="sec"),
            tag=np.full(n, "receive"),
            count_time=np.where(kind == "range", np.nan, rule.count_time),
            value=np.zeros(n),
            sigma=np.ones(n),
            frequency=np.broadcast_to(frequency, len(self))[index],
        )

    def __repr__(self) -> str:
        if not len(self):
            return "<Passes: none>"
        shares = ", ".join(f"{n} {k}" for k, n in sorted(Counter(self.station).items()))
        return (
            f"<Passes: {len(self)}, {self.hours:.1f} station hours ({shares}), "
            f"{self.start[0].isot[:10]} to {self.stop[-1].isot[:10]}>"
        )

    @property
    def missing(self) -> tuple[str, ...]:
        """What could not be placed and why, in sentences; empty if nothing is known to lack."""
        return self.shortfall.sentences if self.shortfall else ()

    def _repr_html_(self) -> str:
        said = "".join(f"<p>{html.escape(text)}</p>" for text in (repr(self), *self.missing))
        return said + self.table()._repr_html_()


def schedule_passes(periods: ViewPeriods, rule: ScheduleRule, ledger: PassLedger) -> Passes:
    """Choose passes by the rule, to whole seconds.

    Parameters
    ----------
    periods : ViewPeriods
    rule : ScheduleRule
    ledger : PassLedger
        The passes are booked in it.

    Raises
    ------
    InputError
        If there is no view period (the message says which condition removes the last), none
        is long enough for a pass, or every pass violates a constraint.
    """
    begin = np.asarray((periods.start - ledger.start).to_value("s"), float)
    first, last = np.ceil(begin), np.floor(begin + periods.duration - rule.pass_length)
    long_enough = np.flatnonzero(last >= first)
    if not long_enough.size:
        raise _too_short(periods, rule)
    chosen: list[tuple[float, int]] = []
    used: Counter[tuple[str, str]] = Counter()
    refused: dict[int, Counter[str]] = {}
    by_week: Counter[int] = Counter()
    for week in np.unique(first[long_enough] // WEEK):
        candidates = long_enough[first[long_enough] // WEEK == week].tolist()
        this_week = 0
        while candidates and this_week < rule.passes_per_week:
            place = PLACES[len(chosen) % len(PLACES)]
            begins = np.round(first + place * (last - first))
            order = _Preference(periods, rule, used, begins - first)
            best = min(candidates, key=order.key)
            candidates.remove(best)
            one = BookedPass(
                str(len(chosen)),
                str(periods.transmitter[best]),
                str(periods.station[best]),
                str(periods.lander[best]),
                begins[best],
                begins[best] + rule.pass_length,
            )
            conflicts = ledger.conflicts(one)
            if conflicts:
                refused.setdefault(int(week), Counter())[conflicts[0].constraint] += 1
                continue
            ledger.book(one)
            chosen.append((begins[best], best))
            used.update(order.traits(best))
            this_week += 1
            by_week[int(week)] += 1
    if not chosen:
        raise InputError(
            "every possible pass violates a constraint of the lander or the station",
            field="pass_length",
            found=f"{rule.pass_length / 60.0:.1f} min",
            expected=f"a pass that keeps the {', the '.join(sum(refused.values(), Counter()))}",
        )
    chosen.sort()
    shortfall = Shortfall.of(
        Time(ledger.start, precision=0).isot,
        ledger.span,
        rule.passes_per_week,
        rule.pass_length,
        [begin for begin, _ in chosen],
        by_week,
        periods.condition_hours,
        refused,
    )
    return replace(_table(periods, rule, ledger.start, chosen), shortfall=shortfall)


@dataclass(frozen=True)
class _Preference:
    """Which of several passes comes first; ``into`` is how far in its period each begins, s."""

    periods: ViewPeriods
    rule: ScheduleRule
    used: Counter[tuple[str, str]]
    into: Array

    def key(self, k: int) -> tuple[float, ...]:
        """The smallest is preferred."""
        periods, rule = self.periods, self.rule
        turns = [float(self.used[kind, str(getattr(periods, kind)[k])]) for kind in rule.alternate]
        highest = -float(periods.elevation[k, 1])
        if rule.prefer == "longest":
            return (*turns, -float(periods.duration[k]), highest)
        if rule.prefer == "hour_angle":
            return (*turns, float(self.used[self._hour_angle(k)]), highest)
        return (*turns, highest)

    def traits(self, k: int) -> list[tuple[str, str]]:
        """What a pass counts as, for the turns of later ones."""
        kinds = [(kind, str(getattr(self.periods, kind)[k])) for kind in ALTERNATIVES]
        return [*kinds, self._hour_angle(k)]

    def _hour_angle(self, k: int) -> tuple[str, str]:
        """The hour of the hour angle in the middle of the pass; the sky turns evenly."""
        middle = self.into[k] + self.rule.pass_length / 2.0
        angle = self.periods.geometry.hour_angle[k, 0] + EARTH_ROTATION_RATE * middle
        return "hour angle", f"{angle // HOUR_ANGLE_BIN:.0f}"


def _table(
    periods: ViewPeriods, rule: ScheduleRule, since: Time, chosen: list[tuple[float, int]]
) -> Passes:
    start = since + TimeDelta(np.array([begin for begin, _ in chosen]), format="sec")
    start = Time(Time(start, precision=0).isot, scale="utc")  # exact, as a file gives it back
    rows = np.array([k for _, k in chosen])
    width = max(3, len(str(len(chosen))))
    return Passes(
        pass_id=np.array([f"P{i + 1:0{width}d}" for i in range(len(chosen))]),
        start=start,
        stop=start + TimeDelta(rule.pass_length, format="sec"),
        station=periods.station[rows],
        lander=periods.lander[rows],
        antenna=periods.antenna[rows],
        transmitter=periods.transmitter[rows],
    )


def _too_short(periods: ViewPeriods, rule: ScheduleRule) -> InputError:
    if not len(periods):
        hours = periods.condition_hours
        return InputError(
            "no view period: the conditions leave no time at all",
            field="schedule",
            expected=hours.last_removed_by() if hours else "conditions that can hold together",
        )
    longest = periods.duration.max() / 60.0
    return InputError(
        "no view period is long enough for a pass",
        field="pass_length",
        found=f"{rule.pass_length / 60.0:.1f} min",
        expected=f"at most {longest:.1f} min, the longest of {len(periods)} view periods",
    )
