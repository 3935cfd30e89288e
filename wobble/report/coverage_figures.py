"""Coverage of tracking data: which stations have data when.

In: inspections of files. Out: matplotlib axes.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from matplotlib.axes import Axes

from wobble.errors import InputError
from wobble.files.inspection import Inspection, Series
from wobble.report.style import MARKERS, PALETTE, axes_or_new, date_axis, styled

__all__ = ["data_coverage"]

# matplotlib counts days from 1970; a leap second has no place in its calendar.
MJD_OF_1970 = 40587.0
# Names of paths take much of the width, and keywords are long.
LEGEND_COLUMNS = 2
LANE = 0.7
"""Share of a station's row that its kinds of data fill together."""


@styled
def data_coverage(inspections: Iterable[Inspection], axes: Axes | None = None) -> Axes:
    """Stations against time: each stretch of data without a gap is a bar, with a mark on it.

    There is a row for each path (receiving station last) and in it a lane for each kind of data.

    Parameters
    ----------
    inspections : iterable of Inspection
    axes : Axes, optional

    Raises
    ------
    InputError
        If there is no series with measurements.
    """
    series = [one for inspection in inspections for one in inspection.series]
    if not series:
        raise InputError("no data to draw", expected="at least one series")
    rows = sorted({_row(one) for one in series}, reverse=True)
    kinds = list(dict.fromkeys(one.kind for one in series))
    axes = axes_or_new(axes, height=1.4 + 0.22 * len(rows) * len(kinds))
    for number, kind in enumerate(kinds):
        chosen = [one for one in series if one.kind == kind]
        shift = LANE * ((number + 0.5) / len(kinds) - 0.5)
        _draw(axes, chosen, [rows.index(_row(one)) - shift for one in chosen], number, kind)
    axes.set_yticks(range(len(rows)), rows)
    axes.set_ylim(-0.6, len(rows) - 0.4)
    date_axis(axes)
    axes.legend(
        loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=LEGEND_COLUMNS, borderaxespad=0.2
    )
    return axes


def _row(series: Series) -> str:
    return " > ".join(series.path)


def _draw(axes: Axes, series: list[Series], places: list[float], number: int, kind: str) -> None:
    """All stretches of one kind as one broken line."""
    x: list[float] = []
    y: list[float] = []
    for one, place in zip(series, places, strict=True):
        for start, stop in one.stretches:
            x += [start.utc.mjd - MJD_OF_1970, stop.utc.mjd - MJD_OF_1970, np.nan]
            y += [place, place, np.nan]
    axes.plot(
        x,
        y,
        color=PALETTE[number % len(PALETTE)],
        marker=MARKERS[number % len(MARKERS)],
        markersize=2.5,
        linewidth=3.0,
        solid_capstyle="butt",
        label=kind,
    )
