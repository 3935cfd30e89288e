"""Trade studies as figures: a map over two axes, lines over one.

In: the table of a study. Out: matplotlib axes.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from astropy.table import QTable
from matplotlib.axes import Axes
from matplotlib.colorbar import Colorbar
from matplotlib.colors import LogNorm, Normalize
from matplotlib.ticker import LogLocator, MaxNLocator
from numpy.typing import NDArray

from wobble.campaign.derived import quantity_unit
from wobble.report.style import (
    INK,
    PALETTE,
    axes_column,
    axes_or_new,
    short_log_axis,
    styled,
)
from wobble.report.text import MOST_DECIMALS, SIGMA, fixed, sized, unit_text

__all__ = ["precision_lines", "precision_map"]

Array = NDArray[np.float64]
MOST_NUMBERS = 60
"""Cells in which the value is written; more would be too small to read."""
DIGITS = (2, 3, 4)
"""Of a number; no precision is predicted to more."""
LEAST_SPAN = 1.1
"""Ratio of the ends of a scale of colours: what differs by less looks alike."""
LOGARITHMIC = 10.0
"""Ratio of the ends from which a scale of colours is logarithmic."""


@styled
def precision_map(
    table: QTable, names: Sequence[str], quantity: str, axes: Axes | None = None
) -> Axes:
    """Precision of one quantity over a grid of two axes.

    Colours are on a linear scale, or on a logarithmic one where precisions differ by more than
    a factor of ten.

    Parameters
    ----------
    table : QTable
        As `wobble.campaign.study.study_table` gives it.
    names : sequence of two str
        The axes: rows, then columns.
    quantity : str
    axes : Axes, optional
    """
    down, across = (_values(table, name) for name in names)
    grid = np.full((len(down), len(across)), np.nan)
    for row in table:
        cell = down.index(row[names[0]]), across.index(row[names[1]])
        grid[cell] = float(getattr(row[f"sigma {quantity}"], "value", row[f"sigma {quantity}"]))
    axes = axes_or_new(axes, height=0.36 * len(down) + 1.8)
    drawn = np.ma.masked_invalid(grid)
    norm = _scale(drawn)
    image = axes.imshow(drawn, norm=norm, cmap="cividis", aspect="auto", interpolation="none")
    if grid.size <= MOST_NUMBERS:
        _write_numbers(axes, drawn, norm)
    axes.set_xticks(range(len(across)), across, rotation=30, ha="right")
    axes.set_yticks(range(len(down)), down)
    axes.set_ylabel(names[0])
    axes.set_xlabel(names[1])
    axes.set_title(_label(quantity))
    axes.grid(False)
    _number(axes.figure.colorbar(image, ax=axes), norm)
    return axes


@styled
def precision_lines(
    table: QTable, name: str, quantities: Sequence[str], axes: Sequence[Axes] | None = None
) -> list[Axes]:
    """Precision of each quantity against one axis, a panel each.

    Parameters
    ----------
    table : QTable
    name : str
        The axis.
    quantities : sequence of str
    axes : sequence of Axes, optional
        As many as there are quantities.
    """
    count = len(quantities)
    column = list(axes) if axes is not None else axes_column(count, [1.9] * count)
    place = np.arange(len(table))
    for k, (panel, quantity) in enumerate(zip(column, quantities, strict=True)):
        sigma = np.asarray(table[f"sigma {quantity}"], float)
        panel.plot(place, sigma, marker="o", color=PALETTE[k % len(PALETTE)])
        panel.set_ylabel(_label(quantity, "\n"), fontsize=9)
        panel.set_ylim(bottom=0.0)
    column[-1].set_xticks(place, list(table[name]), rotation=30, ha="right")
    column[-1].set_xlabel(name)
    return column


def _values(table: QTable, name: str) -> list[str]:
    """Values of an axis in the order of the study."""
    return list(dict.fromkeys(table[name].tolist()))


def _label(quantity: str, gap: str = " ") -> str:
    unit = quantity_unit(quantity).user
    return f"{SIGMA} {quantity}" + (f"{gap}({unit_text(unit)})" if unit else "")


def _scale(drawn: np.ma.MaskedArray) -> Normalize:
    """From the best to the worst precision, and no shorter than differences that matter."""
    if not drawn.count():
        return Normalize(0.0, 1.0)
    low, high = float(drawn.min()), float(drawn.max())
    if 0.0 < low <= high / LOGARITHMIC:
        return LogNorm(low, high)
    missing = max(LEAST_SPAN * low - high, 0.0) / (1.0 + LEAST_SPAN)
    return Normalize(low - missing, high + missing)


def _number(bar: Colorbar, norm: Normalize) -> None:
    """Plain numbers beside a scale of colours, or powers of ten where it spans many."""
    assert norm.vmin is not None
    assert norm.vmax is not None
    if isinstance(norm, LogNorm):
        short_log_axis(bar.ax.yaxis)
        if norm.vmax / norm.vmin > LOGARITHMIC**2:
            bar.ax.yaxis.set_major_locator(LogLocator())
        return
    locator = MaxNLocator(6, steps=[1, 2, 5, 10])
    ticks = np.asarray(locator.tick_values(norm.vmin, norm.vmax))
    rounding = 1e-9 * (norm.vmax - norm.vmin)
    inside = ticks[(ticks > norm.vmin - rounding) & (ticks < norm.vmax + rounding)].tolist()
    decimals = math.ceil(-math.log10(ticks[1] - ticks[0]) - 1e-9)
    bar.set_ticks(inside, labels=[_to_decimals(tick, decimals) for tick in inside])


def _write_numbers(axes: Axes, drawn: np.ma.MaskedArray, norm: Normalize) -> None:
    values = drawn.filled(np.nan)
    for ((i, j), value), text in zip(
        np.ndenumerate(values), _told_apart(values.ravel().tolist()), strict=True
    ):
        # Dark cells are those of small values; a cell without a value has the page's colour.
        color = INK if np.isnan(value) else "white" if norm(value) < 0.5 else "black"
        axes.text(j, i, text, ha="center", va="center", color=color, fontsize=8)


def _told_apart(values: Sequence[float]) -> list[str]:
    """Numbers in as few digits, at least two, as show those differ that do at the most digits."""
    written = [[sized(value, digits) for value in values] for digits in DIGITS]
    different = len(set(written[-1]))
    return next(texts for texts in written if len(set(texts)) == different)


def _to_decimals(value: float, decimals: int) -> str:
    """A number to so many decimals, with a power of ten where they are many."""
    if decimals <= MOST_DECIMALS or value <= 0.0:
        return fixed(value, max(decimals, 0))
    return sized(value, decimals + math.floor(math.log10(value) + 1e-9) + 1)
