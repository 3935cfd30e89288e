"""Residuals as figures: pass by pass, against what might explain them, against the normal.

In: a `Solution`, and for some the geometry of its samples. Out: matplotlib axes.

Up to `SAMPLES_SHOWN` samples are drawn one by one with their standard deviations. Of more
than the eye can tell apart the spread is drawn, of each pass or of each of `BINS` equal
parts of the abscissa: a thin line from the least to the largest residual, a thick one over the
middle 68 %, a marker at the mean. Rejected samples are always drawn one by one; where they
lie far beyond the others they stand at the edge, and the legend says how far.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import MultipleLocator
from numpy.typing import NDArray
from scipy.stats import norm

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.samples import Samples
from wobble.estimation.solution import Solution
from wobble.measurements.kinds import kind_named
from wobble.report.geometry import SampleGeometry
from wobble.report.style import (
    INK,
    LINES,
    MARKERS,
    PALETTE,
    axes_or_new,
    bars,
    date_axis,
    days,
    legend_above,
    styled,
)
from wobble.report.text import SIGMA, sized

__all__ = [
    "QUANTITIES",
    "residual_histogram",
    "residuals_against",
    "residuals_by_pass",
]

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Mask = NDArray[np.bool_]

SAMPLES_SHOWN = 600
BINS = 16
MIDDLE = (16.0, 84.0)
LONG_GAP = 10.0
"""A gap of so many usual distances between passes is left open in the expected band."""
QUANTITIES = {
    "time": "date (UTC)",
    "elevation": "elevation at the receiving station (deg)",
    "hour angle": "hour angle at the receiving station (h, west positive)",
    "Sun angle": "Sun-Earth-probe angle (deg)",
}
"""What residuals can be shown against, with its label."""


@styled
def residuals_by_pass(
    solution: Solution,
    kind: str,
    axes: Axes | None = None,
    *,
    geometry: SampleGeometry | None = None,
) -> Axes:
    """Residuals of one kind, pass by pass against the date.

    The band is the standard deviation that each residual should have (its median in a pass).

    Parameters
    ----------
    solution : Solution
    kind : str
        ``"range"`` or ``"range_rate"``.
    axes : Axes, optional
    geometry : SampleGeometry, optional
        In the order of the solution's samples: stations then differ in colour and marker.
    """
    axes = axes_or_new(axes)
    view = _View.of(solution.samples, kind)
    groups = _passes(view.pass_name)
    _draw_expected(axes, view, groups)
    centres = np.array([float(view.day[rows].mean()) for rows in groups])
    whose = geometry.station[view.index] if geometry else None
    _draw(axes, view, view.day, groups, centres, whose, dodge=0.0)
    date_axis(axes)
    return axes


@styled
def residuals_against(
    solution: Solution,
    quantity: str,
    geometry: SampleGeometry,
    kind: str = "range",
    axes: Axes | None = None,
) -> Axes:
    """Residuals of one kind against time, elevation, hour angle or Sun angle.

    Parameters
    ----------
    solution : Solution
    quantity : str
        One of `QUANTITIES`.
    geometry : SampleGeometry
        In the order of the solution's samples (see `wobble.report.geometry.sample_order`).
    kind : str
        ``"range"`` or ``"range_rate"``.
    axes : Axes, optional
    """
    if quantity not in QUANTITIES:
        raise UnknownNameError("quantity", quantity, QUANTITIES)
    axes = axes_or_new(axes, height=2.8)
    view = _View.of(solution.samples, kind)
    here = geometry[view.index]
    place = {
        "time": view.day,
        "elevation": np.degrees(here.elevation),
        "hour angle": np.degrees(here.hour_angle) / 15.0,
        "Sun angle": np.degrees(here.sun_angle),
    }[quantity]
    edges = np.linspace(place.min(), place.max(), BINS + 1)
    part = np.clip(np.searchsorted(edges, place, side="right") - 1, 0, BINS - 1)
    groups = [np.flatnonzero(part == k) for k in range(BINS)]
    centres = (edges[1:] + edges[:-1]) / 2.0
    _draw(axes, view, place, groups, centres, here.station, dodge=float(edges[1] - edges[0]))
    axes.set_xlabel(QUANTITIES[quantity])
    if quantity == "time":
        date_axis(axes)
    return axes


@styled
def residual_histogram(solution: Solution, axes: Axes | None = None) -> Axes:
    """Accepted residuals in their predicted standard deviations, beside the normal density."""
    axes = axes_or_new(axes, height=2.8)
    samples = solution.samples
    judged = samples.accepted & (samples.predicted > 0)
    width = 0.25 if judged.sum() > SAMPLES_SHOWN else 0.5
    edges = np.arange(-5.0, 5.0 + width / 2, width)
    for k, kind in enumerate(np.unique(samples.kind[judged]).tolist()):
        chosen = judged & (samples.kind == kind)
        ratio = samples.residual[chosen] / samples.predicted[chosen]
        density, _ = np.histogram(np.clip(ratio, -5.0, 5.0), edges, density=True)
        axes.stairs(
            density,
            edges,
            color=PALETTE[k],
            linestyle=LINES[k],
            linewidth=1.6,
            label=f"{kind_named(kind).label} ({chosen.sum()})",
        )
    grid = np.linspace(-5.0, 5.0, 201)
    axes.plot(grid, norm.pdf(grid), color=INK, linewidth=1.0, label="normal distribution")
    axes.set_xlim(-5.0, 5.0)
    axes.xaxis.set_major_locator(MultipleLocator(1.0))
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("residual over its predicted standard deviation")
    axes.set_ylabel("density")
    legend_above(axes)
    return axes


@dataclass(frozen=True, eq=False)
class _View:
    """The samples of one kind in the unit of the figure."""

    index: Indices
    kind: str
    unit: str
    scale: float
    residual: Array
    predicted: Array
    accepted: Mask
    day: Array
    pass_name: NDArray[np.str_]

    @classmethod
    def of(cls, samples: Samples, kind: str) -> Self:
        index = np.flatnonzero(samples.kind == kind)
        if not index.size:
            raise InputError(
                "no samples of this kind",
                field="kind",
                found=kind,
                expected=" or ".join(np.unique(samples.kind).tolist()),
            )
        accepted = samples.accepted[index]
        residual = samples.residual[index]
        # A sample that determines a parameter alone has no predicted residual.
        predicted = np.where(samples.predicted > 0, samples.predicted, samples.sigma)[index]
        size = np.sqrt((residual[accepted] ** 2).mean()) if accepted.any() else predicted.mean()
        unit, scale = kind_named(kind).fitting_unit(float(size))
        return cls(
            index,
            kind,
            unit,
            scale,
            residual / scale,
            predicted / scale,
            accepted,
            days(samples.epoch[index]),
            samples.pass_name[index],
        )


def _passes(names: NDArray[np.str_]) -> list[Indices]:
    """Indices of the samples of each pass, in order of their first one."""
    _, first, inverse = np.unique(names, return_index=True, return_inverse=True)
    return [np.flatnonzero(inverse == k) for k in np.argsort(first)]


def _draw_expected(axes: Axes, view: _View, groups: list[Indices]) -> None:
    middle = np.array([view.day[rows].mean() for rows in groups])
    order = np.argsort(middle)
    middle = middle[order]
    band = np.array([np.median(view.predicted[groups[k]]) for k in order])
    if len(middle) < 3:
        return
    step = np.diff(middle)
    gaps = np.flatnonzero(step > LONG_GAP * np.median(step)) + 1
    middle, band = np.insert(middle, gaps, np.nan), np.insert(band, gaps, np.nan)
    axes.fill_between(
        middle, -band, band, color=INK, alpha=0.14, linewidth=0, label=f"expected, 1 {SIGMA}"
    )


def _draw(
    axes: Axes,
    view: _View,
    place: Array,
    groups: list[Indices],
    centres: Array,
    station: NDArray[np.str_] | None,
    dodge: float,
) -> None:
    """Accepted samples or their spread by station, then the rejected ones and the ordinate."""
    axes.axhline(0.0, color=INK, linewidth=0.8)
    few = len(view.residual) <= SAMPLES_SHOWN
    whose = np.full(len(view.residual), "accepted") if station is None else station
    names = np.unique(whose).tolist()
    for k, name in enumerate(names):
        chosen = view.accepted & (whose == name)
        look: dict[str, Any] = {
            "color": PALETTE[k % len(PALETTE)],
            # The seventh has the first one's colour and another marker.
            "marker": MARKERS[(k + k // len(MARKERS)) % len(MARKERS)],
            "linestyle": "none",
            "label": name,
        }
        if few:
            _draw_samples(axes, place[chosen], view.residual[chosen], view.predicted[chosen], look)
            continue
        members = [rows[chosen[rows]] for rows in groups]
        filled = [i for i, rows in enumerate(members) if rows.size]
        beside = dodge * 0.7 * ((k + 0.5) / len(names) - 0.5)
        values = [view.residual[members[i]] for i in filled]
        _draw_spread(axes, centres[filled] + beside, values, look)
    _finish_ordinate(axes, view, place)
    legend_above(axes)


def _draw_samples(
    axes: Axes, place: Array, value: Array, sigma: Array, look: dict[str, Any]
) -> None:
    bars(axes, place, value - sigma, value + sigma, color=look["color"], linewidth=0.7)
    axes.plot(place, value, **look)


def _draw_spread(axes: Axes, place: Array, values: list[Array], look: dict[str, Any]) -> None:
    if not values:
        return
    low, high = np.array([np.percentile(v, MIDDLE) for v in values]).T
    least, most = np.array([(v.min(), v.max()) for v in values]).T
    color = look["color"]
    bars(axes, place, least, most, color=color, linewidth=0.6, alpha=0.5)
    bars(axes, place, low, high, color=color, linewidth=1.4, alpha=0.8)
    axes.plot(place, [v.mean() for v in values], markersize=3.0, **look)


def _finish_ordinate(axes: Axes, view: _View, place: Array) -> None:
    """The limits of the accepted samples; what was rejected beyond them at the edge."""
    reach = (np.abs(view.residual) + view.predicted)[view.accepted]
    limit = 1.1 * max(float(reach.max(initial=0.0)), 3.0 * float(np.median(view.predicted)))
    axes.set_ylim(-limit, limit)
    axes.set_ylabel(f"{kind_named(view.kind).label} residual ({view.unit})")
    out = ~view.accepted
    inside = out & (np.abs(view.residual) <= limit)
    look: dict[str, Any] = {"color": INK, "linestyle": "none", "clip_on": False, "zorder": 3}
    if inside.any():
        axes.plot(
            place[inside],
            view.residual[inside],
            marker="x",
            markersize=6,
            markeredgewidth=1.6,
            label=f"rejected ({inside.sum()})",
            **look,
        )
    for sign, marker in ((1.0, "^"), (-1.0, "v")):
        beyond = out & (sign * view.residual > limit)
        if beyond.any():
            size = view.scale * float(np.abs(view.residual[beyond]).max())
            unit, scale = kind_named(view.kind).fitting_unit(size)
            farthest = f"{sized(sign * size / scale, 3, signed=True)} {unit}"
            axes.plot(
                place[beyond],
                np.full(beyond.sum(), sign * limit),
                marker=marker,
                markersize=7,
                label=f"rejected ({beyond.sum()}, up to {farthest})",
                **look,
            )
