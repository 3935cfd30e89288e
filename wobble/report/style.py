"""How every figure looks: one style, its colours, its axes.

In: nothing. Out: a matplotlib style as a context manager (`style`), colours and markers
for series, axes to draw on, and axes labelled in dates or in units that fit the data.

Colours are those of Okabe & Ito (2008, Color Universal Design), which readers with any
common colour deficiency tell apart; in grey, series differ by marker or line as well.
Whatever is not a colour is drawn in `INK`, lighter parts as `INK` with transparency, so
that a figure reads on a light and on a dark page (see `wobble.report.svg`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from typing import Any, ParamSpec, TypeVar

import matplotlib as mpl
import numpy as np
from astropy.time import Time
from cycler import cycler
from matplotlib.axes import Axes
from matplotlib.axis import Axis
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num, num2date
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator, NullFormatter
from numpy.typing import NDArray

from wobble.report.text import TIMES, power_of_ten

__all__ = [
    "BLUE",
    "GREEN",
    "INK",
    "LINES",
    "MARKERS",
    "ORANGE",
    "PALETTE",
    "PURPLE",
    "SKY",
    "VERMILLION",
    "axes_column",
    "axes_or_new",
    "bars",
    "date_axis",
    "days",
    "legend_above",
    "offscreen",
    "plain_or_power",
    "short_log_axis",
    "style",
    "styled",
]

P = ParamSpec("P")
R = TypeVar("R")
Array = NDArray[np.float64]

BLUE, VERMILLION, GREEN = "#0072b2", "#d55e00", "#009e73"
PURPLE, ORANGE, SKY = "#cc79a7", "#e69f00", "#56b4e9"
INK = "#22262b"
PALETTE = (BLUE, VERMILLION, GREEN, PURPLE, ORANGE, SKY)
"""Colours of series, in the order of use."""
MARKERS = ("o", "s", "^", "D", "v", "P")
"""Markers of series, so that they differ in grey too."""
LINES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (8, 3)))
"""Line styles of series, so that they differ in grey too."""

WIDTH = 6.4
"""Width of a figure, inches: of a text column at the size of the labels."""

SETTINGS: Any = {
    "axes.edgecolor": INK,
    "axes.formatter.use_mathtext": False,
    "axes.grid": True,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.8,
    "axes.prop_cycle": cycler(color=PALETTE),
    "axes.spines.right": False,
    "axes.spines.top": False,
    "axes.titlecolor": INK,
    "axes.titlelocation": "left",
    "axes.titlesize": "medium",
    "font.size": 10.0,
    "grid.alpha": 0.15,
    "grid.color": INK,
    "grid.linewidth": 0.6,
    "hatch.linewidth": 0.5,
    "legend.frameon": False,
    "legend.handlelength": 1.6,
    "legend.labelcolor": INK,
    "lines.linewidth": 1.4,
    "lines.markersize": 4.0,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
}

HANDLE = 5
"""Letters whose place the handle of a legend's entry takes."""
LETTERS_IN_A_ROW = 70

_offscreen: ContextVar[bool] = ContextVar("offscreen", default=False)


@contextmanager
def style() -> Iterator[None]:
    """The package's look for everything that is drawn inside."""
    with mpl.rc_context(SETTINGS):
        yield
        # A notebook turns this on with its first figure; undone, it would show no other.
        interactive = mpl.is_interactive()
    mpl.interactive(interactive)


def styled(function: Callable[P, R]) -> Callable[P, R]:
    """A figure function that draws in the package's style."""

    @wraps(function)
    def drawn(*args: P.args, **options: P.kwargs) -> R:
        with style():
            return function(*args, **options)

    return drawn


@contextmanager
def offscreen() -> Iterator[None]:
    """Figures that are made inside belong to no window: no display is needed or touched."""
    token = _offscreen.set(True)
    try:
        yield
    finally:
        _offscreen.reset(token)


def axes_or_new(axes: Axes | None, height: float = 3.2, width: float = WIDTH) -> Axes:
    """The axes given, or those of a new figure of this size (inches)."""
    return axes if axes is not None else _new_figure(width, height).add_subplot()


def axes_column(count: int, heights: list[float]) -> list[Axes]:
    """New axes one below the other on a common abscissa, of these heights (inches)."""
    figure = _new_figure(WIDTH, sum(heights))
    grid = figure.subplots(count, 1, sharex=True, height_ratios=heights, squeeze=False)
    return list(grid[:, 0])


def _new_figure(width: float, height: float) -> Figure:
    if _offscreen.get():
        return Figure(figsize=(width, height), layout="compressed")
    # A figure of pyplot shows itself in a notebook; its backend is chosen on import, so that
    # import waits until a figure for the screen is wanted.
    from matplotlib import pyplot

    return pyplot.figure(figsize=(width, height), layout="compressed")


def legend_above(axes: Axes) -> None:
    """A legend above the axes, where it covers no data, in as few rows as fit the width."""
    handles, labels = axes.get_legend_handles_labels()
    if not labels:
        return
    rows = math.ceil(sum(len(label) + HANDLE for label in labels) / LETTERS_IN_A_ROW)
    axes.legend(
        handles,
        labels,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        ncols=math.ceil(len(labels) / rows),
        borderaxespad=0.2,
        columnspacing=1.2,
        handletextpad=0.5,
    )


def days(time: Time | NDArray[np.str_]) -> Array:
    """UTC epochs (or their texts) as matplotlib counts days, to the millisecond."""
    text = time.utc.isot if isinstance(time, Time) else time
    return np.atleast_1d(date2num(np.asarray(text).astype("datetime64[ms]")))


def date_axis(axes: Axes) -> None:
    """Label the abscissa as dates; where all lie in one year, the label says which."""
    locator = AutoDateLocator(minticks=4, maxticks=9)
    formatter = ConciseDateFormatter(
        locator,
        formats=["%Y", "%b", "%d %b", "%H:%M", "%H:%M", "%S.%f"],
        zero_formats=["", "%Y", "%d %b", "%d %b", "%H:%M", "%H:%M"],
        show_offset=False,
    )
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(formatter)
    first, last = (num2date(day).year for day in axes.dataLim.intervalx)
    axes.set_xlabel(f"date in {first} (UTC)" if first == last else "date (UTC)")


def bars(axes: Axes, place: NDArray, low: Array, high: Array, **look: Any) -> None:
    """Vertical bars as one broken line: a hundredth of the size of as many lines."""
    gap = np.full(len(low), np.nan)
    ends = np.column_stack([low, high, gap]).ravel()
    axes.plot(np.repeat(place, 3), ends, solid_capstyle="butt", **look)


def short_log_axis(axis: Axis) -> None:
    """Numbers at 1, 2 and 5 on a logarithmic axis whose span may be less than a decade."""
    axis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
    axis.set_major_formatter(plain_or_power)
    axis.set_minor_formatter(NullFormatter())


def plain_or_power(value: float, _: float) -> str:
    """Plain from 0.001 to 1000, otherwise a power of ten, as text that any font can show."""
    power = math.floor(math.log10(value) + 1e-9)
    if -4 < power < 4:
        return f"{value:g}"
    factor = value / 10.0**power
    times = "" if math.isclose(factor, 1.0) else f"{factor:.2g} {TIMES} "
    return f"{times}{power_of_ten(power)}"
