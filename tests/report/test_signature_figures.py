"""The figure of signatures draws what it is given."""

import astropy.units as u
import numpy as np
import pytest
from astropy.time import Time

from wobble.campaign.sensitivity import Signatures
from wobble.errors import InputError
from wobble.report.signature_figures import signature_figure
from wobble.report.style import offscreen

EPOCH = Time("2020-01-01", scale="utc") + np.linspace(0.0, 5.0, 120) * u.hour


def invented(p, factor=1.0):
    wave = factor * np.sin(np.linspace(0.0, 3.0, 120))[:, None] * np.arange(1, p + 1)
    names = tuple(f"spin.{k}" for k in range(p))
    return Signatures(names, ("mas",) * p, EPOCH, 0.016 * wave, 1e-6 * wave)


def test_lines_are_the_model_and_points_the_formulas():
    with offscreen():
        above, below = signature_figure(invented(2), invented(2, factor=1.01))
    lines = [line for line in above.get_lines() if len(line.get_xdata()) == 120]
    points = [line for line in above.get_lines() if len(line.get_xdata()) < 120]
    assert len(lines) == len(points) == 2
    unit = {"m": 1.0, "cm": 1e-2, "mm": 1e-3}[above.get_ylabel().split("(")[1].rstrip(")")]
    np.testing.assert_allclose(lines[1].get_ydata() * unit, invented(2).range[:, 1])
    assert lines[0].get_label() == "1 mas of spin.0"
    assert "range rate" in below.get_ylabel()
    assert "2020" in below.get_xlabel()


def seen_in_two_blocks():
    """Twelve days by each antenna, three months apart, antennas in turn every half day."""
    day = np.r_[0.0:12.0:0.5, 100.0:112.0:0.5]
    wave = np.cos(day / 40.0)[:, None] * [1.0, 2.0]
    antenna = np.where(np.arange(day.size) % 2, "west", "east")
    sign = np.where(antenna == "west", -1.0, 1.0)[:, None]
    epoch = Time("2020-01-01", scale="utc") + day * u.day
    return Signatures(("a.x", "a.y"), ("m", "m"), epoch, sign * wave, sign * wave), antenna


def test_a_line_ends_at_a_gap():
    full, _ = seen_in_two_blocks()
    with offscreen():
        line = signature_figure(full)[0].get_lines()[0]
    assert np.nanmax(np.diff(line.get_xdata())) == pytest.approx(0.5)


def test_a_line_ends_at_a_gap_and_joins_no_two_antennas():
    full, antenna = seen_in_two_blocks()
    with offscreen():
        axes = signature_figure(full, full, antenna)
    assert [panel.get_ylabel().split("\n")[1] for panel in axes] == [
        "antenna east",
        "antenna west",
    ] * 2
    for panel, sign in zip(axes, [1.0, -1.0, 1.0, -1.0], strict=True):
        lines = [line for line in panel.get_lines() if not line.get_label().startswith("_")]
        assert len(lines) == 2
        for line in lines:
            day, value = line.get_data()
            assert np.all(np.isnan(value) == np.isnan(day))
            assert np.isnan(value).sum() == 1
            assert np.nanmax(np.diff(day)) == pytest.approx(1.0)
            # Cosines are positive in the first block, negative in the second.
            np.testing.assert_array_equal(np.sign(value[[0, -1]]), [sign, -sign])
    east, west = axes[:2]
    assert east.get_ylim() == west.get_ylim()


def test_lines_differ_in_grey_by_marks_that_stand_on_every_piece():
    full, antenna = seen_in_two_blocks()
    with offscreen():
        panel = signature_figure(full, None, antenna)[0]
    marks = [line.get_marker() for line in panel.get_lines()]
    assert len(set(marks)) == 2
    assert not set(marks) & {"None", "", "."}
    for line in panel.get_lines():
        at = line.get_xdata()[line.get_markevery()]
        assert np.isfinite(at).all()
        assert np.ptp(at[:3]) < 12.0 < at[-1] - at[0]


def test_a_single_epoch_between_gaps_is_drawn():
    full, _ = seen_in_two_blocks()
    lone = [0, 1, 2, 24, 40, 41]
    few = Signatures(full.names, full.units, full.epoch[lone], full.range[lone], full.range[lone])
    with offscreen():
        line = signature_figure(few)[0].get_lines()[0]
    drawn = line.get_ydata()[line.get_markevery()]
    assert full.range[24, 0] in drawn


def test_more_parameters_than_colours_are_refused():
    with pytest.raises(InputError, match="parameters"):
        signature_figure(invented(7))
