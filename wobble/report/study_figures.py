"""Trade studies as figures: a map over two axes, lines over one.

In: the table of a study. Out: matplotlib axes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from astropy.table import QTable
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from numpy.typing import NDArray

from wobble.campaign.derived import quantity_unit
from wobble.report.style import PALETTE, axes_column, axes_or_new, styled
from wobble.report.text import SIGMA, sized, unit_text

__all__ = ["precision_lines", "precision_map"]

Array = NDArray[np.float64]
MOST_NUMBERS = 60
"""Cells in which the value is written; more would be too small to read."""


@styled
def precision_map(
    table: QTable, names: Sequence[str], quantity: str, axes: Axes | None = None
) -> Axes:
    """Precision of one quantity over a grid of two axes, on a logarithmic scale.

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
    # A single value, or none, has no range of its own.
    norm = LogNorm() if drawn.count() and drawn.min() < drawn.max() else None
    image = axes.imshow(drawn, norm=norm, cmap="cividis", aspect="auto", interpolation="none")
    if grid.size <= MOST_NUMBERS:
        _write_numbers(axes, drawn)
    axes.set_xticks(range(len(across)), across, rotation=30, ha="right")
    axes.set_yticks(range(len(down)), down)
    axes.set_ylabel(names[0])
    axes.set_xlabel(names[1])
    axes.grid(False)
    axes.figure.colorbar(image, ax=axes, label=_label(quantity))
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


def _write_numbers(axes: Axes, drawn: np.ma.MaskedArray) -> None:
    middle = np.sqrt(drawn.min() * drawn.max()) if drawn.count() else 0.0
    for (i, j), value in np.ndenumerate(drawn.filled(np.nan)):
        text = sized(value) if np.isfinite(value) else "none"
        # Dark cells are those of small values.
        color = "white" if value < middle else "black"
        axes.text(j, i, text, ha="center", va="center", color=color, fontsize=8)
