"""Precision against effort as figures: passes, station hours, dates, and the bound.

In: the history of precision over a schedule, or the curve of a selection with its bound.
Out: matplotlib axes.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from astropy.time import Time, TimeDelta
from matplotlib.axes import Axes
from numpy.typing import NDArray

from wobble.campaign.derived import quantity_unit
from wobble.campaign.effort_curve import EffortCurve
from wobble.campaign.precision import PrecisionHistory
from wobble.estimation.parameters import unit_scale
from wobble.report.style import (
    BLUE,
    INK,
    LINES,
    PALETTE,
    axes_or_new,
    date_axis,
    days,
    legend_above,
    short_log_axis,
    styled,
)
from wobble.report.text import SIGMA, unit_text

__all__ = [
    "precision_against_dates",
    "precision_against_hours",
    "precision_against_passes",
    "precision_and_bound",
]

Array = NDArray[np.float64]


@styled
def precision_against_passes(
    history: PrecisionHistory, wanted: Mapping[str, float | None], axes: Axes | None = None
) -> Axes:
    """Standard deviation of quantities against the number of passes.

    Parameters
    ----------
    history : PrecisionHistory
    wanted : mapping of str to float or None
        The quantities to draw, in their own unit if there is one, relative to what is known
        beforehand if there are several; with the standard deviation that is wanted, SI.
    axes : Axes, optional
    """
    axes = _draw(history, wanted, np.arange(len(history.order) + 1.0), axes)
    axes.set_xlabel("number of passes")
    return axes


@styled
def precision_against_hours(
    history: PrecisionHistory, wanted: Mapping[str, float | None], axes: Axes | None = None
) -> Axes:
    """The same against station hours; parameters as for `precision_against_passes`."""
    axes = _draw(history, wanted, history.hours, axes)
    axes.set_xlabel("station hours")
    return axes


@styled
def precision_against_dates(
    history: PrecisionHistory,
    wanted: Mapping[str, float | None],
    first: Time,
    axes: Axes | None = None,
) -> Axes:
    """The same against the date; ``first`` is the begin of the first pass."""
    date = days(first + TimeDelta(history.date, format="sec"))
    axes = _draw(history, wanted, date, axes)
    date_axis(axes)
    return axes


def _draw(
    history: PrecisionHistory,
    wanted: Mapping[str, float | None],
    effort: Array,
    axes: Axes | None,
) -> Axes:
    axes = axes_or_new(axes)
    names = list(wanted)
    for k, name in enumerate(names):
        sigma = history.of(name)
        scale = unit_scale(quantity_unit(name).user) if len(names) == 1 else sigma[0]
        color = PALETTE[k % len(PALETTE)]
        axes.plot(effort, sigma / scale, color=color, ls=LINES[k % len(LINES)], label=name)
        goal = wanted[name]
        if goal is not None:
            axes.axhline(goal / scale, color=color, linewidth=0.8, alpha=0.6)
    axes.set_yscale("log")
    short_log_axis(axes.yaxis)
    unit = quantity_unit(names[0]).user
    own = f" ({unit_text(unit)})" if unit else ""
    axes.set_ylabel(f"{SIGMA}{own if len(names) == 1 else ' / before the passes'}")
    legend_above(axes)
    return axes


@styled
def precision_and_bound(
    curve: EffortCurve, unit: str, scale: float, label: str, axes: Axes | None = None
) -> Axes:
    """Standard deviation after each of the passes chosen, and what no choice is below.

    Parameters
    ----------
    curve : EffortCurve
    unit : str
        Of the target; empty for none.
    scale : float
        The target's own units in that unit.
    label : str
        What the target is.
    axes : Axes, optional
    """
    axes = axes_or_new(axes)
    count = np.arange(1, len(curve.order) + 1)
    axes.plot(count, curve.sigma / scale, color=BLUE, label="the passes chosen, best first")
    axes.plot(
        curve.bounded,
        curve.least_sigma / scale,
        color=INK,
        ls="--",
        marker="_",
        label="no choice is below",
    )
    axes.set_yscale("log")
    short_log_axis(axes.yaxis)
    axes.set_xlabel("number of passes")
    own = f" ({unit_text(unit)})" if unit else ""
    axes.set_ylabel(f"{SIGMA} of {label}{own}" if len(label) < 30 else f"{SIGMA}{own}")
    legend_above(axes)
    return axes
