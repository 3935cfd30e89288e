"""A noise budget as figures: what counts at which Sun angle, and at which averaging time.

In: a `Budget` and the conditions of a link. Out: matplotlib axes. The numbers are those of
`wobble.noise.budget_table`, by the code that weights a fit.
"""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedLocator, NullFormatter, NullLocator
from numpy.typing import NDArray

from wobble.noise.budget import Budget
from wobble.noise.budget_table import (
    LinkConditions,
    allan_against_averaging_time,
    contributions_against_sun_angle,
)
from wobble.report.style import INK, LINES, PALETTE, axes_or_new, plain_or_power, styled
from wobble.report.text import SIGMA

__all__ = ["allan_deviations", "contributions_by_sun_angle"]

Array = NDArray[np.float64]

TOTAL = "total"
SUN_ANGLES = np.radians(np.geomspace(2.0, 175.0, 40))
AVERAGING_TIMES = np.geomspace(1.0, 3e4, 30)
SHOWN = 1e-2
"""Contributions that nowhere reach this share of the total are left out, and named."""


@styled
def contributions_by_sun_angle(
    budget: Budget,
    conditions: LinkConditions | None = None,
    axes: Axes | None = None,
    *,
    sun_angles: Array = SUN_ANGLES,
) -> Axes:
    """Standard deviation of a range rate by contribution, against the Sun-Earth-probe angle.

    Parameters
    ----------
    budget : Budget
    conditions : LinkConditions, optional
        All but the Sun angle; its defaults if left out.
    axes : Axes, optional
    sun_angles : ndarray, shape (k,)
        rad.
    """
    conditions = conditions or LinkConditions()
    axes = axes_or_new(axes, height=4.0)
    parts = contributions_against_sun_angle(budget, conditions, sun_angles)
    _draw(axes, np.degrees(sun_angles), {name: 1e3 * part for name, part in parts.items()})
    axes.xaxis.set_major_locator(FixedLocator([2, 5, 10, 20, 50, 100, 180]))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter("{x:g}")
    axes.set_xlabel("Sun-Earth-probe angle (deg)")
    axes.set_ylabel(f"range rate, {conditions.count_time:g} s count, 1 {SIGMA} (mm/s)")
    return axes


@styled
def allan_deviations(
    budget: Budget,
    conditions: LinkConditions | None = None,
    axes: Axes | None = None,
    *,
    averaging_times: Array = AVERAGING_TIMES,
) -> Axes:
    """Allan deviation of the received frequency by contribution, against averaging time.

    Parameters
    ----------
    budget : Budget
    conditions : LinkConditions, optional
        Its defaults if left out.
    axes : Axes, optional
    averaging_times : ndarray, shape (k,)
        s.
    """
    conditions = conditions or LinkConditions()
    axes = axes_or_new(axes, height=4.0)
    _draw(axes, averaging_times, allan_against_averaging_time(budget, conditions, averaging_times))
    axes.set_xlabel("averaging time (s)")
    axes.set_ylabel("Allan deviation of the received frequency")
    return axes


def _draw(axes: Axes, place: Array, parts: dict[str, Array]) -> None:
    """Curves that matter somewhere, the total in ink; logarithmic both ways."""
    total = parts[TOTAL]
    shown = [n for n, part in parts.items() if n != TOTAL and (part >= SHOWN * total).any()]
    shown = [name for name in shown if parts[name].any()]
    shown.sort(key=lambda name: -float(np.max(parts[name] / total)))
    for k, name in enumerate(shown):
        color, line = PALETTE[k % len(PALETTE)], LINES[(k + k // len(PALETTE)) % len(LINES)]
        label = name.replace("_", " ")
        axes.plot(place, _drawn(parts[name]), color=color, linestyle=line, label=label)
    axes.plot(place, _drawn(total), color=INK, linewidth=2.2, label=TOTAL)
    axes.set_xscale("log")
    axes.set_yscale("log")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(plain_or_power)
        axis.set_minor_formatter(NullFormatter())
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=8.5)


def _drawn(part: Array) -> Array:
    """Zeros have no logarithm: they are gaps."""
    return np.where(part > 0.0, part, np.nan)
