"""The samples of a pass: what is refused, and where the path enters them."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest

from wobble.errors import InputError
from wobble.noise.geometry import PassGeometry, tropospheric_mapping

# Without an absolute tolerance: the values are far below the default one of 1e-12.
approx = partial(pytest.approx, rel=1e-6, abs=0.0)

GOOD = {
    "time": [30.0, 90.0, 150.0],
    "count_time": 60.0,
    "kind": "range_rate",
    "elevation": 0.5,
    "sun_angle": 1.0,
    "round_trip": 1500.0,
    "distance": 2.2e11,
}


def test_scalars_become_columns_and_rows_are_picked():
    geometry = PassGeometry(**{**GOOD, "kind": ["range", "range_rate", "range"]}, ways=3)
    assert geometry.elevation.shape == (3,)
    np.testing.assert_array_equal(geometry.off_boresight, 0.0)
    part = geometry[np.array([True, False, True])]
    np.testing.assert_array_equal(part.time, [30.0, 150.0])
    assert part.kind.tolist() == ["range", "range"]
    assert part.ways == 3


def test_contiguous_counts_share_their_ends():
    points = PassGeometry(**GOOD).points
    np.testing.assert_array_equal(points.tick, np.array([0, 60, 120, 180]) * 10**6)
    np.testing.assert_array_equal(points.first, [0, 1, 2])
    np.testing.assert_array_equal(points.last, [1, 2, 3])
    np.testing.assert_allclose(points.weight_last, 1 / 60)


def test_a_range_at_the_end_of_a_count_is_a_point_of_its_own():
    geometry = PassGeometry(**{**GOOD, "time": [30.0, 60.0], "kind": ["range_rate", "range"]})
    points = geometry.points
    assert points.tick.tolist() == [0, 60_000_000, 60_000_000]
    assert points.is_range.tolist() == [False, False, True]
    assert (points.weight_first[1], points.weight_last[1]) == (0.0, 1.0)


def test_elevation_is_carried_on_to_the_ends_of_the_outer_counts():
    points = PassGeometry(**{**GOOD, "elevation": [0.5, 0.6, 0.8]}).points
    np.testing.assert_allclose(points.elevation, [[0.45, 0.55, 0.7, 0.9]])
    assert points.transmit_elevation is points.elevation


def test_transmit_elevation_has_its_own_airmass():
    points = PassGeometry(**GOOD, transmit_elevation=0.3).points
    np.testing.assert_allclose(points.transmit_airmass, tropospheric_mapping(0.3))
    np.testing.assert_allclose(points.airmass, tropospheric_mapping(0.5))


@pytest.mark.parametrize(("elevation_deg", "published"), [(10, 5.657127), (20, 2.911195)])
def test_mapping_is_near_that_of_precise_work(elevation_deg, published):
    # Niell 1996, J. Geophys. Res. 101, 3227: wet mapping at latitude 45.
    assert tropospheric_mapping(math.radians(elevation_deg)) == approx(published, rel=0.02)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"time": [30.0, 90.0, 90.0]}, "one time tag.*samples 1 and 2"),
        ({"time": [150.0, 30.0, 150.0]}, "one time tag.*samples 0 and 2"),
        ({"time": [30.0, 90.0, 140.0]}, "overlap.*samples 1 and 2"),
        ({"count_time": [60.0, 61.0, 60.0]}, "overlap.*samples 0 and 1"),
        ({"count_time": 0.0}, "count_time: sample 0.*positive"),
        ({"count_time": [60.0, -60.0, 60.0]}, "count_time: sample 1"),
        ({"count_time": math.nan}, "count_time: sample 0"),
        ({"time": [30.0, math.nan, 150.0]}, "time: sample 1"),
        ({"time": []}, "a pass needs samples"),
        ({"kind": ["range", "doppler", "range"]}, "kind: sample 1.*'doppler'.*range or"),
        ({"elevation": -0.1}, "elevation: sample 0"),
        ({"elevation": [0.5, 0.5]}, r"elevation.*\(2,\).*\(3,\)"),
        ({"transmit_elevation": 2.0}, "transmit_elevation"),
        ({"sun_angle": 0.0}, "sun_angle"),
        ({"round_trip": -1.0}, "round_trip"),
        ({"distance": math.inf}, "distance"),
        ({"off_boresight": -0.1}, "off_boresight"),
        ({"ways": 4}, "ways.*1, 2 or 3"),
    ],
)
def test_impossible_passes_are_refused_and_the_samples_named(change, match):
    with pytest.raises(InputError, match=match):
        PassGeometry(**{**GOOD, **change})


def test_ranges_may_lie_within_counts_and_tags_may_be_rounded():
    PassGeometry(
        **{
            **GOOD,
            "time": [30.0, 30.0, 89.9995],
            "kind": ["range_rate", "range"] * 1 + ["range_rate"],
        }
    )
