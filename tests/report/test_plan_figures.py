"""View periods and coverage as drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from astropy.time import Time
from conftest import Rehearsal
from matplotlib.axes import Axes
from matplotlib.patches import PathPatch

from wobble.campaign.link_geometry import Geometry
from wobble.campaign.visibility import ViewPeriods
from wobble.errors import InputError
from wobble.report.geometry import Coverage
from wobble.report.plan_figures import BAND, coverage, view_period_timeline
from wobble.report.style import days, offscreen


@pytest.fixture(autouse=True)
def _offscreen() -> object:
    with offscreen():
        yield


def boxes(patch: PathPatch) -> np.ndarray:
    """Corners of the rectangles of a path, shape (n, 4, 2)."""
    return patch.get_path().vertices.reshape(-1, 5, 2)[:, :4]


def patch(axes: Axes, label: str) -> PathPatch:
    (found,) = [p for p in axes.patches if str(p.get_label()).startswith(label)]
    assert isinstance(found, PathPatch)
    return found


def one_period(start: str, stop: str) -> ViewPeriods:
    names = [np.array([name]) for name in ("gorse", "gorse", "finch", "", "span", "span")]
    geometry = Geometry.joined([]).in_threes()
    return ViewPeriods(Time([start]), Time([stop]), *names, geometry)


def test_a_period_over_midnight_is_cut_there() -> None:
    axes = view_period_timeline(one_period("2021-03-01T22:30:00", "2021-03-02T01:15:00"))
    drawn = boxes(patch(axes, "in view"))
    day = days(Time("2021-03-01"))[0]
    assert drawn[:, :, 0].min(axis=1) == pytest.approx([day, day + 1.0])
    assert drawn[:, :, 1].min(axis=1) == pytest.approx([22.5, 0.0], abs=1e-6)
    assert drawn[:, :, 1].max(axis=1) == pytest.approx([24.0, 1.25], abs=1e-6)


def test_a_period_of_days_fills_them() -> None:
    axes = view_period_timeline(one_period("2021-03-01T12:00:00", "2021-03-04T06:00:00"))
    hours = np.ptp(boxes(patch(axes, "in view"))[:, :, 1], axis=1)
    assert hours == pytest.approx([12.0, 24.0, 24.0, 6.0])


def test_the_drawn_hours_are_the_hours_in_view(rehearsal: Rehearsal) -> None:
    periods = rehearsal.periods
    axes = view_period_timeline(periods, rehearsal.passes)
    for antenna in ("east", "west"):
        hours = np.ptp(boxes(patch(axes, f"antenna {antenna}"))[:, :, 1], axis=1).sum()
        expected = periods.duration[periods.antenna == antenna].sum() / 3600.0
        assert hours == pytest.approx(expected, rel=1e-4)
    hours = np.ptp(boxes(patch(axes, "passes (11)"))[:, :, 1], axis=1).sum()
    assert hours == pytest.approx(rehearsal.passes.hours, rel=1e-4)


def test_each_station_has_its_band(rehearsal: Rehearsal) -> None:
    axes = view_period_timeline(rehearsal.periods, rehearsal.passes)
    assert [text.get_text() for text in axes.texts] == ["gorse", "heath"]
    drawn = boxes(patch(axes, "passes"))
    band = np.floor(drawn[:, 0, 1] / BAND).astype(int)
    hours = np.bincount(band, weights=np.ptp(drawn[:, :, 1], axis=1))
    passes = rehearsal.passes
    expected = [passes.hours * (passes.station == s).mean() for s in ("gorse", "heath")]
    assert hours == pytest.approx(expected, rel=1e-3)
    assert axes.get_ylabel() == "hour of the day (UTC)"


def test_several_landers_are_named_in_their_bands(rehearsal: Rehearsal) -> None:
    periods = rehearsal.periods
    landers = periods.lander.copy()
    landers[0] = "wren"
    axes = view_period_timeline(replace(periods, lander=landers))
    names = [text.get_text() for text in axes.texts]
    assert len(names) == 3
    assert f"{periods.station[0]} → wren" in names


def test_no_view_period_cannot_be_drawn(rehearsal: Rehearsal) -> None:
    empty = one_period("2021-03-01", "2021-03-02")
    empty = replace(empty, station=np.array([], str))
    with pytest.raises(InputError, match="no view period"):
        view_period_timeline(empty)


def test_coverage_shows_angle_distance_and_every_pass(rehearsal: Rehearsal) -> None:
    track = Coverage.of(rehearsal.campaign, rehearsal.passes)
    angle, away, count = coverage(track)
    assert angle.lines[0].get_ydata() == pytest.approx(np.degrees(track.sun_angle))
    assert away.lines[0].get_ydata() == pytest.approx(track.distance / 149_597_870_700.0)
    assert away.get_ylabel() == "distance\n(au)"
    heath = track.pass_station == "heath"
    (points,) = [line for line in angle.lines if line.get_label() == "heath"]
    assert points.get_xdata() == pytest.approx(days(track.pass_date)[heath])
    assert points.get_ydata() == pytest.approx(np.degrees(track.pass_sun_angle)[heath])
    # Bars stand on one another: the tops of the highest are the passes of all stations.
    tops: dict[float, float] = {}
    for bar in count.patches:
        tops[bar.get_x()] = max(tops.get(bar.get_x(), 0.0), bar.get_y() + bar.get_height())
    assert sum(tops.values()) == len(rehearsal.passes)


def test_coverage_needs_three_axes(rehearsal: Rehearsal) -> None:
    track = Coverage.of(rehearsal.campaign, rehearsal.passes)
    axes = coverage(track)
    with pytest.raises(InputError, match="three axes"):
        coverage(track, axes[:2])
