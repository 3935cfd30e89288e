"""What could not be scheduled: how many passes are missing, where the gaps are, and why.

In: view periods with what each condition costs on each day, the rule, and the passes that it
placed. Out: `Shortfall`, for a plan's text, its page and its files.

The cause of a gap is worked out, not guessed. Where no view period is long enough for a pass, it
is the condition without which most days of the gap would have one; where there are periods,
it is the constraint for which most passes were refused, or that a pass takes longer than any
period of the week.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from wobble.campaign.condition_hours import CAUSES, ConditionHours
from wobble.constants import DAY

__all__ = ["Gap", "Shortfall"]

Array = NDArray[np.float64]

WEEK_DAYS = 7.0
LONG = 3.0
"""A gap is long if it is so many times the usual interval between passes, and over a week."""
MOST_GAPS = 3


@dataclass(frozen=True)
class Gap:
    """A time without passes.

    Parameters
    ----------
    start, stop : float
        Days after the start of the plan.
    cause : str
    opened_days : int
        On how many of its days a pass would be possible without that cause alone.
    """

    start: float
    stop: float
    cause: str
    opened_days: int

    @property
    def days(self) -> float:
        """How long it is."""
        return self.stop - self.start


@dataclass(frozen=True)
class Shortfall:
    """What a rule asked for and what could be placed.

    Parameters
    ----------
    asked, placed : int
        Passes.
    missing : mapping of str to int
        Passes that are missing, by cause.
    gaps : tuple of Gap
        The longest, if they are long; the longest first.
    start : str
        ISO date from which the days of the gaps count.
    """

    asked: int
    placed: int
    missing: Mapping[str, int]
    gaps: tuple[Gap, ...]
    start: str

    @classmethod
    def of(
        cls,
        start: str,
        span: float,
        per_week: int,
        pass_length: float,
        begins: Sequence[float],
        by_week: Mapping[int, int],
        hours: ConditionHours | None,
        refused: Mapping[int, Counter[str]],
    ) -> Self:
        """From what a rule has placed.

        Parameters
        ----------
        start : str
            ISO date.
        span : float
            Of the plan, s.
        per_week : int
            Passes asked for.
        pass_length : float
            s.
        begins : sequence of float
            Of the passes, s after the start, in order.
        by_week : mapping of int to int
            How many passes were placed for each week.
        hours : ConditionHours or None
            What each condition costs on each day.
        refused : mapping of int to Counter
            For each week the constraints for which passes were refused.
        """
        days = span / DAY
        moments = np.array([0.0, *(begin / DAY for begin in begins), days])
        usual = max(LONG * WEEK_DAYS / per_week, WEEK_DAYS)
        long = [pair for pair in itertools.pairwise(moments.tolist()) if pair[1] - pair[0] > usual]
        long.sort(key=lambda pair: pair[0] - pair[1])
        gaps = tuple(
            Gap(a, b, *_cause(a, b, pass_length, hours, refused)) for a, b in long[:MOST_GAPS]
        )
        missing: Counter[str] = Counter()
        for week in range(int(np.ceil(days / WEEK_DAYS))):
            first, last = WEEK_DAYS * week, min(WEEK_DAYS * (week + 1), days)
            wanted = round(per_week * (last - first) / WEEK_DAYS)
            lacking = wanted - by_week.get(week, 0)
            if lacking > 0:
                missing[_cause(first, last, pass_length, hours, refused)[0]] += lacking
        placed = len(begins)
        return cls(placed + missing.total(), placed, dict(missing.most_common()), gaps, start)

    def date(self, days: float) -> str:
        """ISO date of so many days after the start."""
        return str(np.datetime64(self.start) + np.timedelta64(round(days * 86400), "s"))[:10]

    @property
    def sentences(self) -> tuple[str, ...]:
        """What is missing and why; empty if nothing is."""
        said = []
        if self.placed < self.asked:
            causes = ", ".join(f"{n} by {cause}" for cause, n in self.missing.items())
            said.append(f"{self.placed} of {self.asked} passes asked for are placed: {causes}")
        for gap in self.gaps:
            text = (
                f"no pass for {gap.days:.0f} days, {self.date(gap.start)} to "
                f"{self.date(gap.stop)}: {gap.cause}"
            )
            if gap.opened_days:
                text += f" (without it a pass would be possible on {gap.opened_days} of them)"
            said.append(text)
        return tuple(said)

    def as_json(self) -> dict[str, Any]:
        """As plain JSON types."""
        return {
            "asked": self.asked,
            "placed": self.placed,
            "missing": dict(self.missing),
            "gaps": [
                asdict(gap)
                | {"days": gap.days, "start": self.date(gap.start), "stop": self.date(gap.stop)}
                for gap in self.gaps
            ],
        }


def _cause(
    first: float,
    last: float,
    pass_length: float,
    hours: ConditionHours | None,
    refused: Mapping[int, Counter[str]],
) -> tuple[str, int]:
    """Why there is no pass between two days, and on how many days there were one without it."""
    if hours is not None:
        days = slice(int(np.ceil(first)), max(int(last), int(np.ceil(first)) + 1))
        needed = pass_length / 3600.0
        closed = hours.by_day[days] < needed
        opened = (closed[:, None] & (hours.without_by_day[days] >= needed)).sum(axis=0)
        if closed.mean() > 0.5:
            if not opened.any():
                return "several conditions together", 0
            return list(CAUSES)[int(np.argmax(opened))], int(opened.max())
    total: Counter[str] = Counter()
    for week in range(int(first // WEEK_DAYS), int(np.ceil(last / WEEK_DAYS))):
        total += refused.get(week, Counter())
    if total:
        return total.most_common(1)[0][0], 0
    return "too few view periods that are long enough", 0
