"""The figure of coverage shows the stretches of the data."""

from pathlib import Path

import numpy as np
import pytest
from astropy.time import Time

from wobble.errors import InputError
from wobble.files.file_inspection import inspect_file
from wobble.report.coverage_figures import data_coverage
from wobble.report.style import days, offscreen

DATA = Path(__file__).parents[1] / "data"


def test_each_stretch_is_a_bar_in_the_row_of_its_path():
    table = inspect_file(DATA / "lunar_ranging" / "normal_points_2015_04.csv")
    with offscreen():
        axes = data_coverage([table])
    rows = [label.get_text() for label in axes.get_yticklabels()]
    assert rows == [
        "GRSM > luna17 > GRSM",
        "GRSM > apollo15 > GRSM",
        "APOL > luna17 > APOL",
    ]
    (line,) = axes.lines
    assert line.get_label() == "range"
    x, y = line.get_xdata(), line.get_ydata()
    assert len(x) == 3 * sum(len(one.stretches) for one in table.series)
    assert np.nanmin(x) == pytest.approx(days(Time("2015-04-07T23:34:00.419"))[0], abs=1e-8)
    assert set(np.round(y[np.isfinite(y)]).tolist()) == {0.0, 1.0, 2.0}


def test_kinds_have_lanes_of_their_own():
    with offscreen():
        axes = data_coverage([inspect_file(DATA / "tdm" / "two_way_range_ramped.kvn")])
    assert len(axes.lines) == 4
    assert len({line.get_ydata()[0] for line in axes.lines}) == 4
    assert all(abs(line.get_ydata()[0]) < 0.5 for line in axes.lines)


def test_without_data_there_is_nothing_to_draw():
    with pytest.raises(InputError, match="no data to draw"):
        data_coverage([])
