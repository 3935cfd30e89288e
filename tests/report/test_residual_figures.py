"""Residuals as drawn against the residuals themselves."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest
from conftest import SPOILT_BY, Rehearsal
from matplotlib.axes import Axes
from matplotlib.patches import StepPatch

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.samples import Samples
from wobble.estimation.solution import Solution
from wobble.report.geometry import SampleGeometry, network_of, sample_order
from wobble.report.residual_figures import (
    QUANTITIES,
    residual_histogram,
    residuals_against,
    residuals_by_pass,
)
from wobble.report.style import days, offscreen


@pytest.fixture(autouse=True)
def _offscreen() -> object:
    with offscreen():
        yield


@pytest.fixture(scope="module")
def geometry(rehearsal: Rehearsal) -> SampleGeometry:
    everything = SampleGeometry.of(
        network_of(rehearsal.campaign, rehearsal.tracking), rehearsal.tracking
    )
    return everything[sample_order(rehearsal.solution.samples, rehearsal.tracking)]


def line(axes: Axes, label: str) -> np.ndarray:
    """Points of the line whose label begins so, shape (n, 2)."""
    (found,) = [one for one in axes.lines if str(one.get_label()).startswith(label)]
    return np.column_stack(found.get_data())


def many_samples(solution: Solution, passes: int, each: int) -> Solution:
    """The same solution with range-rate samples of standard deviation 0.05 mm/s."""
    n = passes * each
    start = np.datetime64("2021-03-01T00:00:00.000")
    minutes = np.arange(each) * np.timedelta64(60_000, "ms")
    epoch = start + np.arange(passes)[:, None] * np.timedelta64(2, "D") + minutes
    sigma = np.full(n, 5e-5)
    columns = {
        field.name: np.repeat(getattr(solution.samples, field.name)[:1], n)
        for field in fields(solution.samples)
        if field.name != "labels"
    }
    columns |= {
        "pass_name": np.repeat([f"P{k:03d}" for k in range(passes)], each),
        "kind": np.full(n, "range_rate"),
        "epoch": np.datetime_as_string(epoch.ravel()),
        "residual": np.random.default_rng(3).normal(size=n) * sigma,
        "sigma": sigma,
        "predicted": sigma,
        "accepted": np.ones(n, bool),
    }
    return replace(solution, samples=Samples(**columns))


def test_few_residuals_are_drawn_one_by_one(rehearsal: Rehearsal, geometry: SampleGeometry) -> None:
    samples = rehearsal.solution.samples
    axes = residuals_by_pass(rehearsal.solution, "range_rate", geometry=geometry)
    for station in ("gorse", "heath"):
        chosen = (samples.kind == "range_rate") & samples.accepted & (geometry.station == station)
        expected = np.column_stack([days(samples.epoch), samples.residual * 1e3])[chosen]
        assert line(axes, station) == pytest.approx(expected)
    assert axes.get_ylabel() == "range rate residual (mm/s)"
    assert axes.get_xlabel() == "date in 2021 (UTC)"


def test_a_far_outlier_stands_at_the_edge_and_tells_its_size(rehearsal: Rehearsal) -> None:
    axes = residuals_by_pass(rehearsal.solution, "range")
    low, high = axes.get_ylim()
    (point,) = line(axes, "rejected")
    (label,) = [str(one.get_label()) for one in axes.lines if "reject" in str(one.get_label())]
    samples = rehearsal.solution.samples
    (bad,) = np.flatnonzero(~samples.accepted)
    assert point == pytest.approx([days(samples.epoch[[bad]])[0], high])
    assert label.startswith("rejected (1, up to +")
    assert float(label.split("+")[1].split(" ")[0]) == pytest.approx(SPOILT_BY, abs=5.0)
    # The other residuals keep the ordinate to themselves.
    usual = np.abs(samples.residual[samples.accepted & (samples.kind == "range")]).max()
    assert usual < high < 5.0 * usual
    assert low == -high


def test_an_outlier_tells_its_size_in_a_unit_of_its_own(rehearsal: Rehearsal) -> None:
    solution = many_samples(rehearsal.solution, passes=5, each=10)
    residual, accepted = solution.samples.residual.copy(), solution.samples.accepted.copy()
    residual[7], accepted[7] = -2.5, False
    samples = replace(solution.samples, residual=residual, accepted=accepted)
    axes = residuals_by_pass(replace(solution, samples=samples), "range_rate")
    assert axes.get_ylabel() == "range rate residual (mm/s)"
    labels = [str(one.get_label()) for one in axes.lines]
    assert "rejected (1, up to \N{MINUS SIGN}2.50 m/s)" in labels


def test_of_many_residuals_the_spread_of_each_pass_is_drawn(rehearsal: Rehearsal) -> None:
    solution = many_samples(rehearsal.solution, passes=30, each=400)
    axes = residuals_by_pass(solution, "range_rate")
    by_pass = solution.samples.residual.reshape(30, 400) * 1e3
    mean = line(axes, "accepted")
    assert mean[:, 1] == pytest.approx(by_pass.mean(axis=1))
    assert mean[:, 0] == pytest.approx(days(solution.samples.epoch).reshape(30, 400).mean(axis=1))
    ends = [np.asarray(one.get_ydata()).reshape(-1, 3)[:, :2] for one in axes.lines[1:3]]
    assert ends[0] == pytest.approx(np.column_stack([by_pass.min(axis=1), by_pass.max(axis=1)]))
    # 68 % of a normal distribution lie within one standard deviation.
    assert np.abs(ends[1]).mean() == pytest.approx(0.05, rel=0.03)


def test_the_expected_band_is_the_predicted_standard_deviation(rehearsal: Rehearsal) -> None:
    solution = many_samples(rehearsal.solution, passes=5, each=10)
    axes = residuals_by_pass(solution, "range_rate")
    (band,) = [c for c in axes.collections if str(c.get_label()).startswith("expected")]
    assert np.abs(band.get_paths()[0].vertices[:, 1]) == pytest.approx(0.05)


@pytest.mark.parametrize("quantity", QUANTITIES)
def test_residuals_are_drawn_against_each_quantity(
    rehearsal: Rehearsal, geometry: SampleGeometry, quantity: str
) -> None:
    samples = rehearsal.solution.samples
    axes = residuals_against(rehearsal.solution, quantity, geometry, "range_rate")
    place = {
        "time": days(samples.epoch),
        "elevation": np.degrees(geometry.elevation),
        "hour angle": np.degrees(geometry.hour_angle) / 15.0,
        "Sun angle": np.degrees(geometry.sun_angle),
    }[quantity]
    chosen = (samples.kind == "range_rate") & samples.accepted & (geometry.station == "gorse")
    assert line(axes, "gorse")[:, 0] == pytest.approx(place[chosen])
    assert line(axes, "gorse")[:, 1] == pytest.approx(1e3 * samples.residual[chosen])
    unit = {"time": "UTC", "elevation": "deg", "hour angle": "h,", "Sun angle": "deg"}[quantity]
    assert f"({unit}" in axes.get_xlabel()


def test_many_residuals_are_averaged_in_parts_of_the_quantity(rehearsal: Rehearsal) -> None:
    solution = many_samples(rehearsal.solution, passes=40, each=100)
    n = len(solution.samples)
    elevation = np.radians(np.linspace(10.0, 80.0, n))
    zeros = np.zeros(n)
    geometry = SampleGeometry(np.full(n, "gorse"), elevation, zeros, zeros, zeros)
    slope = replace(solution.samples, residual=1e-6 * np.degrees(elevation))
    axes = residuals_against(replace(solution, samples=slope), "elevation", geometry, "range_rate")
    mean = line(axes, "gorse")
    assert mean[:, 1] == pytest.approx(1e-3 * mean[:, 0], rel=1e-3)
    assert (np.diff(mean[:, 0]) > 0).all()


def test_the_histogram_is_a_density_beside_the_normal_one(rehearsal: Rehearsal) -> None:
    solution = many_samples(rehearsal.solution, passes=100, each=100)
    axes = residual_histogram(solution)
    (steps,) = [patch for patch in axes.patches if isinstance(patch, StepPatch)]
    density, edges, _ = steps.get_data()
    assert density @ np.diff(edges) == pytest.approx(1.0)
    normal = line(axes, "normal")
    # Abramowitz & Stegun 1964, table 26.1: Z(0), Z(1), Z(2).
    heights = np.interp([0.0, 1.0, 2.0], *normal.T)
    assert heights == pytest.approx([0.3989422804, 0.2419707245, 0.0539909665], rel=1e-8)
    # 10,000 samples drawn from it: a bin of 1000 scatters by 32, 0.013 in density.
    middle = (edges[1:] + edges[:-1]) / 2.0
    assert density == pytest.approx(np.interp(middle, *normal.T), abs=0.05)
    assert "10000" in str(steps.get_label())


def test_unknown_kinds_and_quantities_are_refused(
    rehearsal: Rehearsal, geometry: SampleGeometry
) -> None:
    with pytest.raises(InputError, match="no samples of this kind"):
        residuals_by_pass(rehearsal.solution, "rnage")
    with pytest.raises(UnknownNameError, match="perhaps 'elevation'"):
        residuals_against(rehearsal.solution, "elevatoin", geometry)
