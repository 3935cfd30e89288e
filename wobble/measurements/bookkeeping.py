"""Measurements that are counted twice, and passes that are taken for one.

In: a table of measurements, put together from several sources. Out: which rows repeat an earlier
one; the same table with a name of its own for each pass.

The same measurement twice halves a variance that nobody has earned. Passes of one name share
their biases, so that a name which two stations or two weeks have in common ties together what has
nothing in common.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wobble.constants import DAY
from wobble.errors import InputError
from wobble.measurements.tracking import Tracking

__all__ = ["passes_told_apart", "repetitions", "require_sound"]

LONGEST_GAP = DAY / 2.0
"""Between two samples of a pass, s: nothing stays above a horizon for longer unseen."""
MOST_NAMED = 3


def repetitions(tracking: Tracking) -> list[tuple[int, int]]:
    """Rows that repeat an earlier one, as (row, earlier row).

    Two rows are the same measurement if all but value, sigma, pass and weather agree, times to a
    microsecond, count times to a millisecond and frequencies to a kilohertz; whether the values
    agree as well is the caller's to see.
    """
    epoch = tracking.epoch
    day = np.floor(epoch.jd1)
    seconds = ((epoch.jd1 - day) + epoch.jd2) * DAY
    whole = np.floor(seconds / DAY)
    # Equal NaN, the count times of ranges, are one value here: they must not hide a repetition.
    numbers = [
        day + whole,
        np.round((seconds - whole * DAY) * 1e6),
        np.nan_to_num(np.round(tracking.count_time * 1e3), nan=-1.0),
        np.round(tracking.frequency / 1e3),
    ]
    names = ("kind", "transmitter", "receiver", "lander", "tag")
    keys = [*numbers, *(_codes(getattr(tracking, name)) for name in names)]
    order = np.lexsort(keys)  # equal rows side by side, the earlier one first
    new = np.ones(len(tracking), bool)
    new[1:] = np.any([np.diff(key[order]) != 0 for key in keys], axis=0)
    first = order[np.maximum.accumulate(np.where(new, np.arange(len(tracking)), 0))]
    return sorted(zip(order[~new].tolist(), first[~new].tolist(), strict=True))


def _codes(names: NDArray[np.str_]) -> NDArray[np.intp]:
    return np.unique(names, return_inverse=True)[1]


def passes_told_apart(tracking: Tracking) -> tuple[Tracking, list[str]]:
    """The table with a name of its own for each pass, and a word on each name that was shared.

    A pass has one lander, one transmitter, one receiver, and no gap of `LONGEST_GAP`.
    """
    names = tracking.pass_id.astype(object)
    shared = []
    for name, rows in tracking.passes():
        part = _parts(tracking, rows)
        if part.max() == 0:
            continue
        shared.append(name)
        for k in range(part.max() + 1):
            members = rows[part == k]
            day = tracking.epoch[members].min().isot[:10]
            ends = f"{tracking.receiver[members[0]]}-{tracking.lander[members[0]]}"
            names[members] = f"{name} {ends} {day}"
    if not shared:
        return tracking, []
    some = ", ".join(shared[:MOST_NAMED]) + (", ..." if len(shared) > MOST_NAMED else "")
    said = (
        f"{len(shared)} names of passes ({some}) stand for several, of other stations, landers or "
        f"days: they have been told apart, as {names[tracking.pass_id == shared[0]][0]!r}"
    )
    return replace(tracking, pass_id=names.astype(str)), [said]


def _parts(tracking: Tracking, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """To which pass each row belongs of those that have one name, from 0."""
    ends = _codes(
        np.array(
            [
                "\0".join(names)
                for names in zip(
                    tracking.transmitter[rows],
                    tracking.receiver[rows],
                    tracking.lander[rows],
                    strict=True,
                )
            ]
        )
    )
    epoch = tracking.epoch[rows]
    seconds = ((epoch.jd1 - epoch.jd1[0]) + (epoch.jd2 - epoch.jd2[0])) * DAY
    order = np.lexsort((seconds, ends))
    new = (np.diff(ends[order]) != 0) | (np.diff(seconds[order]) > LONGEST_GAP)
    part = np.empty(len(rows), np.intp)
    part[order] = np.concatenate([[0], np.cumsum(new)])
    return part


def require_sound(tracking: Tracking) -> None:
    """See that no measurement counts twice, and that a pass is one.

    Raises
    ------
    InputError
        With the first that is not.
    """
    doubles = repetitions(tracking)
    if doubles:
        row, earlier = doubles[0]
        raise InputError(
            f"{len(doubles)} measurements stand twice in the table",
            source=tracking.meta.get("source"),
            field="tracking",
            found=f"row {row} (pass {tracking.pass_id[row]}) repeats row {earlier} "
            f"(pass {tracking.pass_id[earlier]})",
            expected="each once",
        )
    for name, rows in tracking.passes():
        if _parts(tracking, rows).any():
            raise InputError(
                "one name for several passes, of other stations, landers or days",
                source=tracking.meta.get("source"),
                field="pass",
                found=name,
                expected="a name for each pass, as passes_told_apart gives it",
            )
