"""Trade studies and precision against effort as drawn."""

import matplotlib as mpl
import numpy as np
import pytest
from astropy.table import QTable
from astropy.time import Time
from astropy.units import Quantity

from wobble.campaign.candidates import CandidatePasses
from wobble.campaign.effort_curve import EffortCurve
from wobble.campaign.precision import precision_history
from wobble.constants import MAS
from wobble.report.effort_figures import (
    precision_against_dates,
    precision_against_hours,
    precision_and_bound,
)
from wobble.report.study_figures import precision_lines, precision_map
from wobble.report.style import days, offscreen
from wobble.report.text import TIMES

mpl.use("Agg")


@pytest.fixture(autouse=True)
def _offscreen():
    with offscreen():
        yield


@pytest.fixture
def table():
    """Two latitudes by three spans, the last cell without a result."""
    sigma = [30.0, 20.0, 10.0, 60.0, 40.0, np.nan]
    return QTable(
        {
            "latitude": ["0 deg"] * 3 + ["50 deg"] * 3,
            "stop": ["2031", "2032", "2033"] * 2,
            "sigma pole.precession_rate": Quantity(sigma, "mas/yr"),
            "sigma core.factor": np.array(sigma) / 1000,
        }
    )


def test_a_map_has_the_first_axis_down_and_the_second_across(table):
    axes = precision_map(table, ("latitude", "stop"), "pole.precession_rate")
    drawn = axes.images[0].get_array()
    assert drawn.filled(-1).tolist() == [[30.0, 20.0, 10.0], [60.0, 40.0, -1]]
    assert [t.get_text() for t in axes.get_xticklabels()] == ["2031", "2032", "2033"]
    assert [t.get_text() for t in axes.get_yticklabels()] == ["0 deg", "50 deg"]
    assert [t.get_text() for t in axes.texts] == ["30", "20", "10", "60", "40", "none"]
    assert "mas/yr" in axes.get_title("left")


def written(table, sigma):
    """Numbers in the cells of a map, and beside its scale of colours."""
    table["sigma core.factor"] = sigma
    axes = precision_map(table, ("latitude", "stop"), "core.factor")
    axes.figure.canvas.draw()
    bar = axes.figure.axes[-1]
    low, high = bar.get_ylim()
    labels = zip(bar.get_yticks(), bar.get_yticklabels(), strict=True)
    shown = [label.get_text() for tick, label in labels if low <= tick <= high]
    return [text.get_text() for text in axes.texts], shown


def test_cells_have_the_digits_that_tell_them_apart(table):
    cells, scale = written(table, [31.2, 30.9, 26.3, 31.4, 31.14, 30.2])
    assert cells == ["31.2", "30.9", "26.3", "31.4", "31.1", "30.2"]
    assert scale == ["27", "28", "29", "30", "31"]
    cells, _ = written(table, [31.42, 31.4, 26.3, 31.4, 31.14, 30.2])
    assert cells[:4] == ["31.42", "31.40", "26.30", "31.40"]


def test_cells_that_do_not_differ_look_alike(table):
    cells, scale = written(table, [31.20001, 31.20002, 31.20003, 31.2, 31.2, 31.2])
    assert cells == ["31"] * 6
    # No shorter than a tenth, in plain numbers.
    numbers = [float(text) for text in scale]
    assert numbers[-1] - numbers[0] > 1.5


@pytest.mark.parametrize(
    ("ends", "expected"),
    [
        ((0.9, 1.12), ["0.90", "0.95", "1.00", "1.05", "1.10"]),
        ((7.0, 80.0), ["10", "20", "50"]),
        ((0.7, 1200.0), ["1", "10", "100", "1000"]),
        ((1e-8, 3e-8), [f"{n} {TIMES} 10⁻⁸" for n in ("1.0", "1.5", "2.0", "2.5", "3.0")]),
    ],
)
def test_a_scale_of_colours_has_plain_round_numbers(table, ends, expected):
    _, scale = written(table, np.linspace(*ends, 6))
    assert scale == expected


def test_a_map_of_one_value_or_none_can_be_drawn(table):
    for value in (3.0, np.nan):
        table["sigma core.factor"] = value
        assert len(precision_map(table, ("latitude", "stop"), "core.factor").texts) == 6


def test_lines_have_a_panel_for_each_quantity(table):
    first, second = precision_lines(table[:3], "stop", ["pole.precession_rate", "core.factor"])
    assert first.lines[0].get_ydata().tolist() == [30.0, 20.0, 10.0]
    assert second.lines[0].get_ydata().tolist() == [0.03, 0.02, 0.01]
    assert [t.get_text() for t in second.get_xticklabels()] == ["2031", "2032", "2033"]


def test_precision_is_drawn_against_hours_and_dates():
    passes = CandidatePasses(
        parameters=("spin.annual_cos",),
        blocks=tuple(np.full((1, 1), 1 / MAS) for _ in range(4)),
        a_priori=np.full((1, 1), 0.5 / MAS),
        station=np.array(["gorse"] * 4),
        start=np.arange(4) * 86400.0,
        hours=np.full(4, 1.5),
    )
    history = precision_history(passes)
    expected = (0.25 + np.arange(5)) ** -0.5  # independent passes of one milliarcsecond
    wanted = {"spin.annual_cos": 0.6 * MAS}
    hours = precision_against_hours(history, wanted)
    assert hours.lines[0].get_xdata() == pytest.approx(1.5 * np.arange(5))
    assert hours.lines[0].get_ydata() == pytest.approx(expected)
    assert hours.lines[1].get_ydata() == pytest.approx([0.6, 0.6])
    first = Time("2031-05-01")
    dates = precision_against_dates(history, wanted, first)
    ends = days(first)[0] + np.array([0.0, 0.0625, 1.0625, 2.0625, 3.0625])
    assert dates.lines[0].get_xdata() == pytest.approx(ends)
    assert dates.lines[0].get_ydata() == pytest.approx(expected)


def test_the_curve_of_a_choice_stands_over_its_bound():
    curve = EffortCurve(
        np.array([2, 0, 1]),
        np.array([1.0, 2.0, 3.0]),
        np.array([9.0, 6.0, 4.0]) * MAS,
        np.array([1, 3]),
        np.array([5.0, 3.9]) * MAS,
    )
    axes = precision_and_bound(curve, "mas", MAS, "spin.annual_cos")
    chosen, bound = axes.lines
    assert chosen.get_xdata().tolist() == [1, 2, 3]
    assert chosen.get_ydata() == pytest.approx([9.0, 6.0, 4.0])
    assert bound.get_xdata().tolist() == [1, 3]
    assert bound.get_ydata() == pytest.approx([5.0, 3.9])
