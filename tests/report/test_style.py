"""Colours, units and labels of all figures."""

from __future__ import annotations

import re
from importlib.resources import files

import matplotlib as mpl
import numpy as np
import pytest
from astropy.time import Time
from matplotlib import pyplot

from wobble.measurements.kinds import KINDS
from wobble.report import style
from wobble.report.plan_figures import ANTENNA_COLORS, DISTANCES
from wobble.shown import fitting_unit


def rgb(color: str) -> np.ndarray:
    return np.array([int(color[k : k + 2], 16) for k in (1, 3, 5)])


def luminance(color: str) -> float:
    """Relative luminance (W3C, Web Content Accessibility Guidelines 2.1)."""
    c = rgb(color) / 255.0
    linear = np.where(c <= 0.03928, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(one: str, other: str) -> float:
    """Contrast ratio (W3C, Web Content Accessibility Guidelines 2.1)."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def variables(scheme: str) -> dict[str, str]:
    """Colours of the report's light or dark page."""
    sheet = (files("wobble.report") / "report.css").read_text(encoding="utf-8")
    light, dark = re.findall(r":root \{(.*?)\}", sheet, re.DOTALL)[:2]
    return dict(re.findall(r"--(\w+): (#\w{6});", light if scheme == "light" else dark))


def test_the_palette_is_that_of_okabe_and_ito() -> None:
    # Okabe & Ito 2008, Color Universal Design, RGB values of the recommended set.
    published = {
        "BLUE": (0, 114, 178),
        "VERMILLION": (213, 94, 0),
        "GREEN": (0, 158, 115),
        "PURPLE": (204, 121, 167),
        "ORANGE": (230, 159, 0),
        "SKY": (86, 180, 233),
    }
    for name, value in published.items():
        assert tuple(rgb(getattr(style, name))) == value


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_and_first_series_stand_out_on_the_page(scheme: str) -> None:
    # W3C, Web Content Accessibility Guidelines 2.1: 4.5 for text, 3 for graphics.
    page = variables(scheme)
    for name in ("ink", "quiet", "accent", "alarm"):
        assert contrast(page[name], page["paper"]) >= 4.5, name
        assert contrast(page[name], page["card"]) >= 4.5, name
    for color in (page["blue"], style.VERMILLION, style.GREEN):
        assert contrast(color, page["paper"]) >= 3.0, color


def test_neighbouring_antennas_differ_in_grey() -> None:
    # CIE 1976 lightness, L* = 116 Y^(1/3) - 16; a step of 10 is plainly seen (common
    # practice, no source).
    lightness = [116.0 * luminance(color) ** (1.0 / 3.0) - 16.0 for color in ANTENNA_COLORS]
    assert np.abs(np.diff(lightness)).min() > 10.0


def test_markers_and_lines_of_series_are_all_different() -> None:
    assert len(set(style.MARKERS)) == len(style.PALETTE)
    assert len({str(line) for line in style.LINES}) == len(style.PALETTE)


def test_the_style_holds_inside_its_context_only() -> None:
    before = dict(mpl.rcParams)
    with style.style():
        assert mpl.rcParams["axes.edgecolor"] == style.INK
    assert dict(mpl.rcParams) == before


def test_offscreen_figures_are_unknown_to_pyplot() -> None:
    before = pyplot.get_fignums()
    with style.offscreen():
        style.axes_or_new(None)
    assert pyplot.get_fignums() == before
    axes = style.axes_or_new(None)
    assert len(pyplot.get_fignums()) == len(before) + 1
    pyplot.close(axes.figure)


def test_units_are_those_in_which_the_trade_writes_a_size() -> None:
    assert KINDS["range"].fitting_unit(0.94) == ("m", 1.0)
    assert KINDS["range"].fitting_unit(0.0175) == ("cm", 1e-2)
    assert KINDS["range"].fitting_unit(0.0005) == ("mm", 1e-3)
    assert KINDS["range_rate"].fitting_unit(5e-5) == ("mm/s", 1e-3)
    assert KINDS["range_rate"].fitting_unit(1e-7) == ("µm/s", 1e-6)
    # IAU 2012 Resolution B2.
    assert fitting_unit(DISTANCES, 2e11) == ("au", 149_597_870_700.0)
    assert fitting_unit(DISTANCES, 3.8e8) == ("thousand km", 1e6)


def test_days_are_counted_from_1970() -> None:
    # The Unix epoch is MJD 40587.
    time = Time(["2021-03-01T06:00:00", "2015-01-01T00:00:00"], scale="utc")
    assert style.days(time) == pytest.approx(time.mjd - 40587.0, abs=1e-8)
    assert style.days(time.isot) == pytest.approx(time.mjd - 40587.0, abs=1e-8)


def test_the_date_axis_names_the_year_where_there_is_one() -> None:
    axes = pyplot.figure().add_subplot()
    axes.plot(style.days(Time(["2021-03-01", "2021-03-09"])), [0.0, 1.0])
    style.date_axis(axes)
    assert axes.get_xlabel() == "date in 2021 (UTC)"
    axes.plot(style.days(Time(["2021-03-01", "2023-03-09"])), [0.0, 1.0])
    style.date_axis(axes)
    assert axes.get_xlabel() == "date (UTC)"
    axes.figure.canvas.draw()
    labels = [label.get_text() for label in axes.get_xticklabels()]
    assert "2022" in labels
    pyplot.close(axes.figure)


def test_bars_are_one_line_with_gaps() -> None:
    axes = pyplot.figure().add_subplot()
    style.bars(axes, np.array([1.0, 2.0]), np.array([-1.0, -2.0]), np.array([3.0, 4.0]))
    (line,) = axes.lines
    np.testing.assert_array_equal(line.get_xdata(), [1, 1, 1, 2, 2, 2])
    np.testing.assert_array_equal(line.get_ydata(), [-1, 3, np.nan, -2, 4, np.nan])
    pyplot.close(axes.figure)


def test_a_long_legend_takes_rows_rather_than_width() -> None:
    axes = pyplot.figure(figsize=(style.WIDTH, 3)).add_subplot()
    for name in ("expected", "gorse", "heath", "rejected (12, up to +4.11 mm/s)", "a further one"):
        axes.plot([0, 1], [0, 1], label=name)
    style.legend_above(axes)
    axes.figure.canvas.draw()
    legend = axes.get_legend().get_window_extent()
    assert legend.width < axes.figure.bbox.width
    assert legend.y0 >= axes.bbox.y1
    pyplot.close(axes.figure)


def test_interactive_drawing_that_begins_inside_stays_on() -> None:
    """A notebook's backend switches it on with the first figure, which may be one of ours."""
    before = mpl.is_interactive()
    with style.style():
        mpl.interactive(True)
    try:
        assert mpl.is_interactive()
        assert mpl.rcParams["axes.grid"] is False
    finally:
        mpl.interactive(before)
