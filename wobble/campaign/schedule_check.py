"""A schedule, by hand or by rule, held against every constraint of a plan.

In: passes, a network with its stations' calendars and landers' limits, an empty ledger. Out:
`Violation`s, each with its pass, its constraint and by how much it is missed.

Each pass is looked at every minute and at both ends: all conditions of a view period must
hold. Then the passes are booked in the ledger in order of their begin.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from wobble.campaign.conditions import CONDITIONS, Sight, ViewLimits, sight_between
from wobble.campaign.pass_ledger import BookedPass, PassLedger, Violation
from wobble.campaign.schedule import Passes
from wobble.errors import InputError, UnknownNameError
from wobble.link.network import Network

__all__ = ["check_passes"]

Array = NDArray[np.float64]

STEP = 60.0
ROUNDING = 0.5
"""Passes are given to whole seconds: their ends are looked at so much inside, s."""
IN_HOURS = ("local time", "transmitter's calendar", "receiver's calendar")
"""Conditions whose margin is a time, not an angle."""


def check_passes(
    passes: Passes, network: Network, limits: ViewLimits, ledger: PassLedger
) -> tuple[Violation, ...]:
    """Everything that a schedule violates, pass by pass in order of their begin.

    Parameters
    ----------
    passes : Passes
    network : Network
        Over the span of the plan.
    limits : ViewLimits
    ledger : PassLedger
        Empty; the passes are booked in it.

    Raises
    ------
    InputError
        If two passes have one name, or a station, lander or antenna is unknown.
    """
    for name, count in Counter(passes.pass_id.tolist()).items():
        if count > 1:
            raise InputError("a pass stands there twice", field="pass", found=name)
    columns = (passes.transmitter, passes.station, passes.lander, passes.antenna)
    _require_known(network, passes.pass_id, *columns)
    booked = passes.booked(ledger.start)
    names = zip(*(column.tolist() for column in columns), strict=True)
    link = dict(zip(passes.pass_id.tolist(), names, strict=True))
    found: dict[str, list[Violation]] = {one.pass_id: [] for one in booked}
    for key in dict.fromkeys(link.values()):
        sight = sight_between(network, limits, ledger.start, ledger.span, *key)
        for violation in _of_view(sight, [one for one in booked if link[one.pass_id] == key]):
            found[violation.pass_id].append(violation)
    for one in booked:
        if one.begin >= 0.0 and one.end <= ledger.span:
            found[one.pass_id] += ledger.conflicts(one)
            ledger.book(one)
    return tuple(violation for several in found.values() for violation in several)


def _require_known(
    network: Network,
    pass_id: NDArray[np.str_],
    transmitter: NDArray[np.str_],
    station: NDArray[np.str_],
    lander: NDArray[np.str_],
    antenna: NDArray[np.str_],
) -> None:
    for k, name in enumerate(pass_id.tolist()):
        where = f"pass {name}"
        for given in (str(transmitter[k]), str(station[k])):
            if given not in network.stations:
                raise UnknownNameError("station", given, network.stations, field=where)
        if str(lander[k]) not in network.landers:
            raise UnknownNameError("lander", str(lander[k]), network.landers, field=where)
        names = [a.name for a in network.landers[str(lander[k])].antennas] or [""]
        if str(antenna[k]) not in names:
            raise UnknownNameError("antenna", str(antenna[k]), names, field=where)


def _of_view(sight: Sight, passes: list[BookedPass]) -> Iterator[Violation]:
    """Conditions that fail during passes: for how long, and by how much at the worst."""
    span = sight.clock.span
    seen: list[tuple[BookedPass, Array]] = []
    for one in passes:
        outside = max(-one.begin, 0.0) + max(one.end - span, 0.0)
        if outside > ROUNDING:
            yield Violation(one.pass_id, "span of the campaign", outside / 60.0, "min")
        begin, end = max(one.begin, 0.0) + ROUNDING, min(one.end, span) - ROUNDING
        if begin < end:
            count = max(2, int(np.ceil((end - begin) / STEP)) + 1)
            seen.append((one, np.linspace(begin, end, count)))
    if not seen:
        return
    times = np.concatenate([times for _, times in seen])
    margins = sight.margins(times, sight.geometry(times))
    parts = np.split(margins, np.cumsum([len(times) for _, times in seen])[:-1])
    for (one, moments), part in zip(seen, parts, strict=True):
        yield from _failing(sight, one, moments, part)


def _failing(sight: Sight, one: BookedPass, times: Array, margins: Array) -> Iterator[Violation]:
    share = np.gradient(times)
    share[[0, -1]] /= 2.0
    for k in np.flatnonzero((margins < 0).any(axis=0)):
        minutes = float(share @ (margins[:, k] < 0)) / 60.0
        worst = -float(margins[:, k].min())
        detail = ""
        if CONDITIONS[k] == "antenna beam" and sight.antenna and sight.antenna.pattern:
            detail = f"at the worst {worst:.2f} dB too little"
        elif CONDITIONS[k] not in IN_HOURS:
            detail = f"at the worst {np.degrees(worst):.2f} deg"
        yield Violation(one.pass_id, sight.names[k], minutes, "min", detail)
