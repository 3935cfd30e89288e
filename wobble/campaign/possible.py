"""All passes that could be taken, and which of them exclude one another.

In: view periods, the length of a pass, a step between begins. Out: `Passes` that fill every
view period, and the groups of them of which at most one can be taken.

Two passes of one lander begin at least the lander's rest apart, a lander serves one pass at a
time, and so does a station. Every view period is filled from its begin, at the step, as long
as a whole pass fits; with a step as long as a pass, none overlaps the next one.
"""

from __future__ import annotations

import numpy as np
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.campaign.candidates import overlapping
from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.errors import InputError

__all__ = ["exclusive_passes", "only", "possible_passes"]

Array = NDArray[np.float64]


def possible_passes(periods: ViewPeriods, length: float, step: float) -> Passes:
    """Every pass of one length that the view periods allow.

    Parameters
    ----------
    periods : ViewPeriods
    length : float
        Of a pass, s.
    step : float
        Between the begins of passes in one period, s.

    Raises
    ------
    InputError
        If the step is not positive, or no view period is long enough.
    """
    if not step > 0:
        raise InputError("the step between passes must be positive", field="step", found=step)
    # Whole seconds, as planners do: up to a second of each end of a period is lost.
    begin = Time(periods.start + TimeDelta(1.0, format="sec"), precision=0)
    begin = Time(begin.isot, scale="utc")
    spare = np.asarray((periods.stop - begin).to_value("s"), float) - length
    number = np.where(spare >= 0.0, spare // step + 1.0, 0.0).astype(int)
    if not number.any():
        longest = periods.duration.max(initial=0.0) / 60.0
        raise InputError(
            "no view period is long enough for a pass",
            field="pass_length",
            found=f"{length / 60.0:.1f} min",
            expected=f"at most {longest:.1f} min, the longest of {len(periods)} view periods",
        )
    row = np.repeat(np.arange(len(periods)), number)
    within = np.arange(len(row)) - np.repeat(np.cumsum(number) - number, number)
    start = begin[row] + TimeDelta(step * within, format="sec")
    order = np.argsort((start - start[0]).to_value("s"), kind="stable")
    row, start = row[order], start[order]
    return Passes(
        _numbered(len(row)),
        start,
        start + TimeDelta(length, format="sec"),
        periods.station[row],
        periods.lander[row],
        periods.antenna[row],
    )


def exclusive_passes(passes: Passes, rest: float) -> tuple[tuple[int, ...], ...]:
    """Groups of passes of which at most one can be taken.

    Parameters
    ----------
    passes : Passes
    rest : float
        Least time between the begins of two passes of one lander, s.
    """
    start = np.asarray((passes.start - passes.start[0]).to_value("s"), float)
    stop = np.asarray((passes.stop - passes.start[0]).to_value("s"), float)
    groups: dict[tuple[int, ...], None] = {}
    for names, free in (
        (passes.lander, np.maximum(stop, start + rest)),
        (passes.station, stop),
    ):
        for name in np.unique(names):
            own = np.flatnonzero(names == name)
            for group in overlapping(start[own], free[own]):
                groups[tuple(sorted(own[list(group)].tolist()))] = None
    return tuple(groups)


def only(passes: Passes, numbers: NDArray[np.int_]) -> Passes:
    """Some of the passes, numbered anew in order of their begin."""
    order = np.sort(numbers)
    return Passes(
        _numbered(len(order)),
        passes.start[order],
        passes.stop[order],
        passes.station[order],
        passes.lander[order],
        passes.antenna[order],
    )


def _numbered(count: int) -> NDArray[np.str_]:
    width = max(3, len(str(count)))
    return np.array([f"P{i + 1:0{width}d}" for i in range(count)])
