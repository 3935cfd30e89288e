"""Differences of two solutions and spectra of residuals as drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from conftest import Rehearsal

from wobble.estimation.comparison import compare
from wobble.estimation.model_comparison import residual_spectrum
from wobble.report.comparison_figures import differences, residual_spectra
from wobble.report.style import offscreen


@pytest.fixture(autouse=True)
def _offscreen() -> object:
    with offscreen():
        yield


def test_differences_are_drawn_in_sigmas_of_the_first(rehearsal: Rehearsal) -> None:
    first = rehearsal.solution
    shift = np.arange(len(first.names)) - 2.0
    wider = replace(
        first,
        values=first.values + shift * first.sigma_realistic,
        covariance_realistic=4.0 * first.covariance_realistic,
    )
    axes = differences(compare(first, wider))
    (markers,) = [line for line in axes.lines if line.get_marker() == "D"]
    np.testing.assert_allclose(markers.get_xdata(), shift, atol=1e-6)
    _, second = axes.containers
    ends = np.array([path.vertices[:, 0] for path in second.lines[2][0].get_paths()])
    np.testing.assert_allclose(ends[:, 1] - ends[:, 0], 4.0, rtol=1e-9)
    assert [label.get_text() for label in axes.get_yticklabels()] == list(first.names)


def test_spectra_without_and_with_the_terms_share_a_unit(rehearsal: Rehearsal) -> None:
    after = rehearsal.solution
    samples = after.samples
    before = replace(after, samples=replace(samples, residual=2.0 * samples.residual))
    periods = np.geomspace(2.0, 18.0, 50)
    axes = residual_spectra(before, after, "range_rate", periods)
    dashed, solid = axes.lines
    expected = residual_spectrum(after, "range_rate", periods)
    scale = expected.max() / solid.get_ydata().max()
    np.testing.assert_allclose(solid.get_ydata() * scale, expected, rtol=1e-9)
    np.testing.assert_allclose(dashed.get_ydata(), 2.0 * np.asarray(solid.get_ydata()), rtol=1e-6)
    assert axes.get_xscale() == "log"
    assert "range rate (" in axes.get_ylabel()
