"""Signatures as a figure: what one unit of each parameter does over a pass or a season.

In: signatures of the full model and, beside them, those of the first-order formulas, and
through which antenna of the lander each epoch is seen. Out: matplotlib axes, range above and
range rate below, a panel for each antenna: one that looks east sees the Earth at other hour
angles than one that looks west, and a line from one to the other would mean nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import ArrayLike, NDArray

from wobble.campaign.sensitivity import Signatures
from wobble.errors import InputError
from wobble.measurements.kinds import kind_named
from wobble.report.style import (
    LINES,
    MARKERS,
    PALETTE,
    axes_column,
    date_axis,
    days,
    legend_above,
    styled,
)

__all__ = ["MOST", "signature_figure"]

Array = NDArray[np.float64]
Index = NDArray[np.intp]

MOST = len(PALETTE)
"""So many parameters a reader can tell apart."""
GAP = 5.0
"""A line is broken where nothing is seen for so many of the usual steps (common practice)."""
MARKS = 6
"""On each line, at least: where it is broken into short pieces, its dashes do not show."""
POINTS = 40
"""Of the formulas on each line."""


@styled
def signature_figure(
    full: Signatures,
    formulas: Signatures | None = None,
    antenna: ArrayLike | None = None,
    axes: Sequence[Axes] | None = None,
) -> list[Axes]:
    """Range and range rate per unit of each parameter against the date.

    Parameters
    ----------
    full : Signatures
        Drawn as lines, broken at gaps; at most six parameters.
    formulas : Signatures, optional
        Of the same parameters at the same epochs, drawn as points on some of the epochs.
    antenna : array_like of str, shape (n,), optional
        Through which antenna the lander is seen at each epoch.
    axes : sequence of Axes, optional
        For the range by each antenna in the order of their names, then for the range rate.

    Raises
    ------
    InputError
        If there are more parameters than a reader can tell apart.
    """
    if not 0 < len(full.names) <= MOST:
        raise InputError(
            "too many or too few signatures for one figure",
            found=len(full.names),
            expected=f"1 to {MOST} parameters",
        )
    time = days(full.epoch)
    through = np.full(len(time), "") if antenna is None else np.asarray(antenna, str)
    antennas = np.unique(through).tolist()
    panels = list(product(("range", "range_rate"), antennas))
    height = 2.4 if len(antennas) == 1 else 1.7
    chosen = list(axes) if axes is not None else axes_column(len(panels), [height] * len(panels))
    for k, (panel, (kind, name)) in enumerate(zip(chosen, panels, strict=True)):
        if name != antennas[0]:
            panel.sharey(chosen[k - 1])
        values = getattr(full, kind)
        unit, scale = kind_named(kind).fitting_unit(float(np.abs(values).max()))
        seen = np.flatnonzero(through == name)
        _draw(panel, time[seen], values[seen] / scale, _labels(full))
        if formulas is not None:
            some = seen[:: max(1, len(seen) // POINTS)]
            for color, points in zip(PALETTE, getattr(formulas, kind)[some].T, strict=False):
                panel.plot(time[some], points / scale, ".", color=color)
        by = f"\nantenna {name}" if len(antennas) > 1 else ""
        panel.set_ylabel(f"{kind.replace('_', ' ')} ({unit}){by}")
    legend_above(chosen[0])
    date_axis(chosen[-1])
    return chosen


def _labels(full: Signatures) -> list[str]:
    named = zip(full.names, full.units, strict=True)
    return [f"1 {per} of {name}" if per else f"1 of {name}" for name, per in named]


def _draw(panel: Axes, time: Array, values: Array, labels: Sequence[str]) -> None:
    """A line for each column, broken at gaps, with marks that differ in grey too."""
    begins = _begins(time)
    marks = _marks(np.diff([0, *begins, len(time)]), len(labels))
    for k, label in enumerate(labels):
        panel.plot(
            np.insert(time, begins, np.nan),
            np.insert(values[:, k], begins, np.nan),
            color=PALETTE[k],
            ls=LINES[k],
            marker=MARKERS[k],
            markevery=marks[k],
            markersize=6.0,
            markerfacecolor="none",
            label=label,
        )


def _begins(time: Array) -> Index:
    """Where, but for the first, a run of epochs begins after a gap."""
    step = np.diff(time)
    return np.flatnonzero(step > GAP * np.median(step)) + 1 if step.size else np.empty(0, int)


def _marks(lengths: Index, lines: int) -> list[list[int]]:
    """Marks of each line, counted with the breaks between runs of these lengths.

    Marks of different lines stand at different epochs where the runs are long enough.
    """
    each = int(np.ceil(MARKS / len(lengths)))
    places = (np.arange(each) + (np.arange(lines)[:, None] + 0.5) / lines) / each
    first = np.cumsum([0, *lengths[:-1] + 1])
    inside = first[:, None] + (places[:, None, :] * lengths[:, None]).astype(int)
    return [np.unique(one).tolist() for one in inside]
