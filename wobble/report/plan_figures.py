"""A plan as figures: when whom can be tracked, and what the passes cover.

In: view periods, passes, the coverage of a campaign. Out: matplotlib axes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from astropy.time import Time
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch
from matplotlib.path import Path
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods
from wobble.constants import ASTRONOMICAL_UNIT
from wobble.errors import InputError
from wobble.report.geometry import Coverage
from wobble.report.style import (
    BLUE,
    GREEN,
    INK,
    MARKERS,
    ORANGE,
    PALETTE,
    SKY,
    axes_column,
    axes_or_new,
    date_axis,
    days,
    legend_above,
    styled,
)
from wobble.shown import fitting_unit

__all__ = ["coverage", "view_period_timeline"]

DISTANCES = (("au", ASTRONOMICAL_UNIT, 1e10), ("thousand km", 1e6, 0.0))
"""Units of the distance of a planet: name, SI value, and size (SI) from which it is used."""
Array = NDArray[np.float64]

BAND = 28.0
"""Hours from one band of a timeline to the next: a day and a gap."""
ANTENNA_COLORS = (BLUE, ORANGE, GREEN, SKY)
"""Neighbours differ in lightness too."""
HATCHES = ("", "///", "\\\\\\", "---")
"""Of stacked bars, so that stations differ in grey too."""
WEEKS = 4


@styled
def view_period_timeline(
    periods: ViewPeriods, passes: Passes | None = None, axes: Axes | None = None
) -> Axes:
    """When station and lander see each other: hour of the day against the date.

    Each station, or pair of stations in three-way tracking (and lander, if there are several),
    has a band of 24 hours. A view period is drawn on its date from its first to its last hour,
    in the colour of the lander's antenna; passes lie over it.

    Parameters
    ----------
    periods : ViewPeriods
    passes : Passes, optional
    axes : Axes, optional
    """
    if not len(periods):
        raise InputError("no view period to draw", expected="at least one")
    several = len(np.unique(periods.lander)) > 1
    links = _links(periods)
    bands = sorted(set(links))
    axes = axes_or_new(axes, height=1.2 * len(bands) + 0.9)
    for k, antenna in enumerate(np.unique(periods.antenna).tolist()):
        chosen = periods.antenna == antenna
        shift = _midnight(bands, [link for link, one in zip(links, chosen, strict=True) if one])
        boxes = _boxes(periods.start[chosen], periods.stop[chosen], shift)
        label = f"antenna {antenna}" if antenna else "in view"
        _add_boxes(axes, boxes, ANTENNA_COLORS[k % len(ANTENNA_COLORS)], label)
    if passes is not None:
        shift = _midnight(bands, _links(passes))
        boxes = _boxes(passes.start, passes.stop, shift)
        _add_boxes(axes, boxes, INK, f"passes ({len(passes)})")
    _label_bands(axes, [f"{s} → {lander}" if several else s for s, lander in bands])
    axes.set_xlim(days(periods.start.min())[0], days(periods.stop.max())[0])
    date_axis(axes)
    legend_above(axes)
    return axes


@styled
def coverage(track: Coverage, axes: Sequence[Axes] | None = None) -> list[Axes]:
    """Sun-Earth-probe angle, distance, and passes of each station, against the date.

    Parameters
    ----------
    track : Coverage
    axes : three Axes, optional
        One below the other.

    Returns
    -------
    axes : list of three Axes
    """
    column = list(axes) if axes is not None else axes_column(3, [1.9, 1.5, 1.6])
    if len(column) != 3:
        raise InputError("three axes are needed", field="axes", found=len(column), expected=3)
    angle, away, count = column
    unit, scale = fitting_unit(DISTANCES, float(track.distance.max()))
    for panel, line, points, name in (
        (angle, np.degrees(track.sun_angle), np.degrees(track.pass_sun_angle), "Sun angle\n(deg)"),
        (away, track.distance / scale, track.pass_distance / scale, f"distance\n({unit})"),
    ):
        panel.plot(days(track.date), line, color=INK, linewidth=0.9)
        for k, station in enumerate(np.unique(track.pass_station).tolist()):
            chosen = track.pass_station == station
            panel.plot(
                days(track.pass_date)[chosen],
                points[chosen],
                linestyle="none",
                marker=MARKERS[k % len(MARKERS)],
                markersize=3.0,
                color=PALETTE[k % len(PALETTE)],
                label=station,
            )
        panel.set_ylabel(name)
        panel.set_ylim(0.0, 1.08 * float(line.max()))
    _stack_counts(count, track)
    legend_above(angle)
    date_axis(count)
    angle.figure.align_ylabels(column)
    return column


def _stack_counts(axes: Axes, track: Coverage) -> None:
    """Passes of each station in equal parts of the span, one on top of the other."""
    day = days(track.pass_date)
    weeks = WEEKS if np.ptp(day) > 180.0 else 1
    edges = np.arange(day.min(), day.max() + 7.0 * weeks, 7.0 * weeks)
    below = np.zeros(len(edges) - 1)
    for k, station in enumerate(np.unique(track.pass_station).tolist()):
        number, _ = np.histogram(day[track.pass_station == station], edges)
        axes.bar(
            edges[:-1],
            number,
            width=0.9 * np.diff(edges),
            align="edge",
            bottom=below,
            facecolor=PALETTE[k % len(PALETTE)],
            edgecolor=INK,
            linewidth=0.3,
            hatch=HATCHES[k % len(HATCHES)],
        )
        below = below + number
    axes.set_ylabel(f"passes in\n{weeks} weeks" if weeks > 1 else "passes\nin a week")
    axes.yaxis.set_major_locator(MaxNLocator(4, integer=True))


def _links(rows: ViewPeriods | Passes) -> list[tuple[str, str]]:
    """Station and lander of each row; in three-way tracking both stations, sender first."""
    columns = (rows.transmitter.tolist(), rows.station.tolist(), rows.lander.tolist())
    return [
        (station if sender == station else f"{sender}, {station}", lander)
        for sender, station, lander in zip(*columns, strict=True)
    ]


def _midnight(bands: list[tuple[str, str]], links: list[tuple[str, str]]) -> Array:
    """Ordinate of hour 0 in the band of each row, shape (m,)."""
    place = {band: BAND * k for k, band in enumerate(bands)}
    return np.array([place[link] for link in links])


def _boxes(start: Time, stop: Time, shift: Array) -> Array:
    """Corners of rectangles from first to last hour on each date, cut at midnight, (b, 4, 2)."""
    first, last = days(start), days(stop)
    date = np.floor(first)
    longest = int(np.ceil((last - date).max(initial=0.0)))
    boxes = [np.zeros((0, 4, 2))]
    for later in range(longest):
        low = np.clip(first - date - later, 0.0, 1.0) * 24.0
        high = np.clip(last - date - later, 0.0, 1.0) * 24.0
        seen = high > low
        x, y0, y1 = (date + later)[seen], (shift + low)[seen], (shift + high)[seen]
        corners = [(x, y0), (x + 1.0, y0), (x + 1.0, y1), (x, y1)]
        boxes.append(np.stack([np.column_stack(corner) for corner in corners], axis=1))
    return np.concatenate(boxes)


def _add_boxes(axes: Axes, boxes: Array, color: str, label: str) -> None:
    """All rectangles of one colour as one path; its thin outline closes the gaps between days."""
    closed = np.concatenate([boxes, boxes[:, :1]], axis=1)
    codes = np.tile([Path.MOVETO, *[Path.LINETO] * 3, Path.CLOSEPOLY], len(boxes))
    path = Path(closed.reshape(-1, 2), codes)
    axes.add_patch(PathPatch(path, facecolor=color, edgecolor=color, linewidth=0.8, label=label))


def _label_bands(axes: Axes, names: list[str]) -> None:
    hours = (0, 6, 12, 18, 24)
    axes.set_yticks(
        [BAND * k + hour for k in range(len(names)) for hour in hours],
        [str(hour) for _ in names for hour in hours],
        fontsize=8,
    )
    for k, name in enumerate(names):
        axes.text(
            1.01,
            BAND * k + 12.0,
            name,
            transform=axes.get_yaxis_transform(),
            rotation=-90,
            ha="left",
            va="center",
        )
    axes.set_ylim(BAND * len(names) - (BAND - 24.0) + 1.0, -1.0)
    axes.set_ylabel("hour of the day (UTC)")
