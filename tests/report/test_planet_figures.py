"""Figures of nutation and interior: what is drawn is what was computed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.epochs import Epochs
from wobble.errors import UnknownNameError
from wobble.files.body_file import read_nutation_setup
from wobble.planet.computed_nutation import ComputedNutation
from wobble.planet.interior_samples import InteriorSamples
from wobble.planet.liquid_core import LiquidCore
from wobble.report.planet_figures import (
    core_amplification,
    interior_regions,
    nutation_amplitudes,
    pole_path,
)
from wobble.report.style import offscreen

CORE = LiquidCore(0.061, -242.3 * DAY)


@pytest.fixture(autouse=True)
def _offscreen() -> object:
    with offscreen():
        yield


@pytest.fixture(scope="module")
def mars() -> ComputedNutation:
    setup = read_nutation_setup("mars")
    return replace(setup, start=-10.0 * JULIAN_YEAR, stop=21.0 * JULIAN_YEAR).compute()


def line(axes: Axes, label: str) -> np.ndarray:
    (found,) = [one for one in axes.get_lines() if str(one.get_label()).startswith(label)]
    return np.asarray(found.get_xydata())


def normal_samples(count: int = 3000) -> InteriorSamples:
    """Radius and density of a normal distribution whose regions are known ellipses."""
    random = np.random.default_rng(2)
    radius, noise = random.standard_normal((2, count))
    same = np.ones(count)
    return InteriorSamples(
        flattening=same,
        polar_moment=same,
        core_factor=same,
        core_period=DAY * (-242.0 + 2.7 * noise),
        core_moment=same,
        core_flattening=same,
        hydrostatic_flattening=same,
        core_radius=1.8e6 + 4e4 * radius,
        core_density=6500.0 + 100.0 * (-0.95 * radius + np.sqrt(1.0 - 0.95**2) * noise),
        mantle_density=same,
        gamma=same,
        beta=same,
    )


def test_amplification_is_that_of_the_transfer_function(mars: ComputedNutation) -> None:
    axes = core_amplification(mars.series, CORE)
    amplified = CORE.amplify(mars.series)
    for label, circle, sense in (
        ("2 l, prograde", 1, "prograde"),
        ("3 l, retrograde", 2, "retrograde"),
    ):
        periods, added = line(axes, label).T
        rigid, with_core = (abs(getattr(s, sense)[circle]) / MAS for s in (mars.series, amplified))
        assert np.interp(-242.3, periods, added) == pytest.approx(with_core - rigid, abs=0.02)
    assert "F = 0.061" in axes.get_ylabel()


def test_the_resonances_are_poles_that_no_line_crosses(mars: ComputedNutation) -> None:
    axes = core_amplification(mars.series, CORE)
    periods, added = line(axes, "3 l, retrograde").T
    broken = periods[np.isnan(added)]
    # The period of the third harmonic, 229.0 days: Konopliv et al. 2006, Icarus 182, 23.
    assert broken == pytest.approx([-229.0], abs=0.2)
    assert added[periods < -230.0].min() > 0.0
    assert added[periods > -228.0].max() < 0.0


def test_amplitudes_are_drawn_with_and_without_the_core(mars: ComputedNutation) -> None:
    axes = nutation_amplitudes(mars.series, CORE)
    rigid, core = line(axes, "prograde, rigid"), line(axes, "prograde, with")
    assert rigid[1, 1] == pytest.approx(501.9, abs=0.3)
    assert core[1, 1] == pytest.approx(501.9 + 12.7, abs=0.5)
    # Satellites have no prograde circle: nothing is drawn there.
    assert np.isnan(rigid[-1, 1])
    assert axes.get_yscale() == "log"
    assert len(nutation_amplitudes(mars.series).get_lines()) == 2


def test_pole_path_is_the_nutation_of_the_axis(mars: ComputedNutation) -> None:
    axes = pole_path(mars.axis, mars.series)
    path, marks = np.asarray(axes.get_lines()[0].get_xydata()), line(axes, "every year")
    assert len(marks) == 20
    assert path[0] == pytest.approx(marks[0], abs=1e-9)
    # On J2000.0, -403 mas in longitude and -593 in obliquity: Konopliv et al. 2006.
    assert marks[0] == pytest.approx([-403.0 * np.sin(0.4396), -593.0], abs=8.0)
    year = mars.series.nutation(Epochs.of(JULIAN_YEAR))[0] / MAS * [np.sin(0.4396), 1.0]
    assert marks[1] == pytest.approx(year, abs=1.0)
    # Twenty years: precession would have moved it by 65 arcsec.
    assert np.ptp(path, axis=0).max() < 1.6e3


def test_a_path_that_would_leave_the_axis_begins_earlier(mars: ComputedNutation) -> None:
    axes = pole_path(mars.axis, mars.series, start=15.0 * JULIAN_YEAR)
    assert len(line(axes, "every year")) == 20
    assert "2001-01" in str(line_labels(axes))


def line_labels(axes: Axes) -> list[str]:
    return [str(one.get_label()) for one in axes.get_lines()]


@pytest.mark.parametrize(("level", "content"), [(0, 0.9545), (1, 0.6827)])
def test_regions_hold_what_they_say(level: int, content: float) -> None:
    """Counted: the share of the samples inside each contour."""
    samples = normal_samples()
    axes = interior_regions(samples)
    (lines,) = [c for c in axes.collections if not c.get_facecolor().size]
    points = np.stack([samples.core_radius / 1e3, samples.core_density], axis=1)
    inside = lines.get_paths()[level].contains_points(points)
    assert inside.mean() == pytest.approx(content, abs=0.01)


def test_regions_are_the_ellipses_of_a_normal_distribution() -> None:
    """Half width of the outer one: sqrt(-2 ln(1 - 0.9545)) = 2.486 standard deviations."""
    axes = interior_regions(normal_samples())
    (lines,) = [c for c in axes.collections if not c.get_facecolor().size]
    vertices = lines.get_paths()[0].vertices
    half_widths = np.ptp(vertices, axis=0) / 2.0
    # Wider by the kernel, some 5 %.
    assert half_widths == pytest.approx([2.486 * 40.0, 2.486 * 100.0], rel=0.10)


def test_the_period_is_drawn_in_days() -> None:
    axes = interior_regions(normal_samples(), "core_period")
    low, high = axes.get_ylim()
    assert -255.0 < low < -246.0
    assert -238.0 < high < -229.0
    assert "days" in axes.get_ylabel()


def test_the_radius_is_not_drawn_against_anything() -> None:
    with pytest.raises(UnknownNameError, match="beauty"):
        interior_regions(normal_samples(50), "beauty")
