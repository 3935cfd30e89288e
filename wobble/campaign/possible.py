"""All passes that could be taken, and which of them exclude one another.

In: view periods, the length of a pass, a step between begins. Out: `Passes` that fill every
view period, the groups of them of which at most one can be taken, and what passes in one sol
may take together.

A lander serves one pass at a time and a station too, with the rests and setups that the
schedule's ledger keeps (`wobble.campaign.pass_ledger`); handovers and companions are left to
schedules by hand. Every view period is filled from its begin, at the step, as long as a whole
pass fits; with a step as long as a pass, none overlaps the next one.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.campaign.candidates import SharedLimit, overlapping
from wobble.campaign.pass_ledger import TOLERANCE, PassLedger
from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.errors import InputError

__all__ = ["exclusive_passes", "only", "possible_passes", "shared_limits"]

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
        periods.transmitter[row],
    )


def exclusive_passes(passes: Passes, ledger: PassLedger) -> tuple[tuple[int, ...], ...]:
    """Groups of passes of which at most one can be taken.

    Parameters
    ----------
    passes : Passes
    ledger : PassLedger
        With the rests of the schedule and of the landers, and the setups of the stations.
    """
    start = np.asarray((passes.start - passes.start[0]).to_value("s"), float)
    stop = np.asarray((passes.stop - passes.start[0]).to_value("s"), float)
    groups: dict[tuple[int, ...], None] = {}
    for lander, limits in ledger.limits.items():
        free = np.maximum(stop + limits.rest, start + ledger.rest)
        groups |= _overlaps(np.flatnonzero(passes.lander == lander), start, free)
    for station, setup in ledger.setups.items():
        groups |= _overlaps(np.flatnonzero(passes.station == station), start, stop + setup)
    return tuple(groups)


def _overlaps(own: NDArray[np.int_], start: Array, free: Array) -> dict[tuple[int, ...], None]:
    if not own.size:
        return {}
    found = overlapping(start[own], free[own] - TOLERANCE)
    return {tuple(sorted(own[list(group)].tolist())): None for group in found}


def shared_limits(passes: Passes, ledger: PassLedger) -> tuple[SharedLimit, ...]:
    """The sols of landers with a limit: seconds that passes take, and how many there are.

    Parameters
    ----------
    passes : Passes
    ledger : PassLedger
        With the landers' limits and their sols.
    """
    begin = np.asarray((passes.start - ledger.start).to_value("s"), float)
    end = np.asarray((passes.stop - ledger.start).to_value("s"), float)
    found = []
    for lander, limits in ledger.limits.items():
        seconds = limits.time_per_sol
        if limits.power:
            seconds = min(seconds, limits.energy_per_sol / limits.power)
        if not np.isfinite(seconds):
            continue
        taken: dict[int, list[tuple[int, float]]] = defaultdict(list)
        for i in np.flatnonzero(passes.lander == lander).tolist():
            for sol, share in ledger.sols[lander].shares(begin[i], end[i]):
                taken[sol].append((i, share))
        for shares in taken.values():
            numbers, amounts = zip(*shares, strict=True)
            found.append(SharedLimit(np.array(numbers), np.array(amounts), seconds))
    return tuple(found)


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
        passes.transmitter[order],
    )


def _numbered(count: int) -> NDArray[np.str_]:
    width = max(3, len(str(count)))
    return np.array([f"P{i + 1:0{width}d}" for i in range(count)])
