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


def test_more_parameters_than_colours_are_refused():
    with pytest.raises(InputError, match="parameters"):
        signature_figure(invented(7))
