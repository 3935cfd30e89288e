"""What passes demand of one another: a ledger that books them and names what does not fit.

In: the limits of stations and landers, and passes one by one. Out: `Violation`s: which
pass, which constraint, by how much. A rule that makes a schedule and the check of a schedule
made by hand keep the same ledger.

* A station receives one pass at a time, and needs its setup between two.
* A lander answers one transmitter at a time. Two passes of a lander overlap only as companions
  (a three-way pass beside another with the same transmitter) or as a handover, whose overlap
  lies between a least and a longest time.
* Between other passes of a lander lie its own rest (from end to begin) and the schedule's
  (from begin to begin).
* Tracking time and energy in each sol are limited; companions cost nothing more.

All times are those of reception.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple, Self

from astropy.time import Time

from wobble.campaign.sols import SolCount
from wobble.constants import DAY
from wobble.link.network import Network
from wobble.planet.lander_limits import LanderLimits

__all__ = ["TOLERANCE", "BookedPass", "PassLedger", "Violation"]

TOLERANCE = 0.5
"""By so much a limit may be missed, s: passes are given to whole seconds."""


@dataclass(frozen=True)
class Violation:
    """A constraint that a pass does not keep.

    Parameters
    ----------
    pass_id : str
    constraint : str
        Whose limit of what.
    excess : float
        By how much, in ``unit``.
    unit : str
    detail : str
        What else there is to say, for example which other pass is concerned.
    """

    pass_id: str
    constraint: str
    excess: float
    unit: str
    detail: str = ""

    def __str__(self) -> str:
        amount = f"by {self.excess:.3g} {self.unit}"
        return f"{self.pass_id}: {self.constraint}: {amount}" + (
            f" ({self.detail})" if self.detail else ""
        )


class BookedPass(NamedTuple):
    """A pass as the ledger knows it: begin and end in s after the ledger's start."""

    pass_id: str
    transmitter: str
    station: str
    lander: str
    begin: float
    end: float


@dataclass(eq=False)
class PassLedger:
    """Passes booked so far, and the limits between them. Build it with `of`.

    Parameters
    ----------
    start : Time
        Second 0.
    span : float
        Of the plan, s.
    rest : float
        Between the begins of two passes of one lander, s.
    handover : (float, float)
        Least and longest overlap of two stations' passes at a handover, s; zeros for none.
    setups : mapping of str to float
        Of each station, s.
    limits : mapping of str to LanderLimits
    sols : mapping of str to SolCount
        Of each lander.
    """

    start: Time
    span: float
    rest: float
    handover: tuple[float, float]
    setups: Mapping[str, float]
    limits: Mapping[str, LanderLimits]
    sols: Mapping[str, SolCount] = field(repr=False)
    _days: dict[int, list[BookedPass]] = field(default_factory=lambda: defaultdict(list))
    _used: dict[tuple[str, int], float] = field(default_factory=lambda: defaultdict(float))

    @classmethod
    def of(
        cls,
        network: Network,
        start: Time,
        stop: Time,
        *,
        rest: float = 0.0,
        handover: tuple[float, float] = (0.0, 0.0),
    ) -> Self:
        """An empty ledger of a network for a span."""
        span = float((stop - start).to_value("s"))
        return cls(
            start,
            span,
            rest,
            handover,
            {name: end.station.calendar.setup for name, end in network.stations.items()},
            {name: lander.limits for name, lander in network.landers.items()},
            {name: SolCount.over(network.lander(name), start, span) for name in network.landers},
        )

    def book(self, one: BookedPass) -> None:
        """Enter a pass, whether it fits or not."""
        for sol, seconds in self._tracking(one):
            self._used[one.lander, sol] += seconds
        for day in range(int(one.begin // DAY), int(one.end // DAY) + 1):
            self._days[day].append(one)

    def conflicts(self, one: BookedPass) -> list[Violation]:
        """What a further pass would violate."""
        found = [v for other in self._near(one) for v in self._between(one, other)]
        return found + list(self._of_sols(one))

    # ----------------------------------------------------------------- details

    def _near(self, one: BookedPass) -> list[BookedPass]:
        """Booked passes near enough for any limit between two, in order of their begin."""
        reach = max(
            [self.rest, *self.setups.values(), *(limits.rest for limits in self.limits.values())]
        )
        first, last = (one.begin - reach) // DAY - 1, (one.end + reach) // DAY + 1
        near = {p for day in range(int(first), int(last) + 1) for p in self._days.get(day, ())}
        return sorted(near, key=lambda p: (p.begin, p.pass_id))

    def _between(self, one: BookedPass, other: BookedPass) -> Iterator[Violation]:
        overlap = min(one.end, other.end) - max(one.begin, other.begin)
        if one.station == other.station:
            setup = self.setups.get(one.station, 0.0)
            if overlap > TOLERANCE:
                yield _minutes(one, f"overlap at {one.station}", overlap, other)
            elif overlap + setup > TOLERANCE:
                yield _minutes(one, f"setup of {one.station}", overlap + setup, other)
        if one.lander != other.lander or (overlap > 0 and one.transmitter == other.transmitter):
            return
        least, longest = self.handover
        if overlap >= 0 and longest > 0 and one.station != other.station:
            if overlap < least - TOLERANCE:
                yield _minutes(one, "handover too short", least - overlap, other)
            if overlap > longest + TOLERANCE:
                yield _minutes(one, "handover too long", overlap - longest, other)
            return
        if overlap > TOLERANCE:
            yield _minutes(one, f"overlap at {one.lander}", overlap, other)
            return
        short = self.limits[one.lander].rest + overlap
        if short > TOLERANCE:
            yield _minutes(one, f"rest of {one.lander}", short, other)
        short = self.rest - abs(one.begin - other.begin)
        if short > TOLERANCE:
            yield _minutes(one, "rest of the schedule", short, other)

    def _of_sols(self, one: BookedPass) -> Iterator[Violation]:
        limits = self.limits[one.lander]
        for sol, seconds in self._tracking(one):
            total = self._used.get((one.lander, sol), 0.0) + seconds
            detail = f"sol {sol} of the plan: {total / 60.0:.4g} min"
            over = total - limits.time_per_sol
            if over > TOLERANCE:
                name = f"time per sol of {one.lander}"
                yield Violation(one.pass_id, name, over / 60.0, "min", detail)
            over = limits.power * (total - TOLERANCE) - limits.energy_per_sol
            if over > 0:
                name = f"energy per sol of {one.lander}"
                yield Violation(one.pass_id, name, over / 3600.0, "W h", detail)

    def _tracking(self, one: BookedPass) -> Iterator[tuple[int, float]]:
        """Seconds in each sol for which the lander is tracked by nobody else, by the ledger."""
        begin = one.begin
        for other in self._near(one):
            if other.lander == one.lander and other.begin < one.end and other.end > begin:
                if other.begin > begin:
                    yield from self.sols[one.lander].shares(begin, other.begin)
                begin = max(begin, other.end)
        if begin < one.end:
            yield from self.sols[one.lander].shares(begin, one.end)


def _minutes(one: BookedPass, constraint: str, seconds: float, other: BookedPass) -> Violation:
    return Violation(one.pass_id, constraint, seconds / 60.0, "min", f"with {other.pass_id}")
