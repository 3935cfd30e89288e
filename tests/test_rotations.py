"""Elementary rotations against SciPy, and their increments against 40 digits."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from wobble.rotations import Turn, turn, turn_derivative

Array = NDArray[np.float64]

AXES = ["x", "y", "z"]
RANDOM = np.random.default_rng(4)
ANGLES = RANDOM.uniform(-10.0, 10.0, 50)
VECTORS = RANDOM.normal(size=(50, 3))


@pytest.mark.parametrize("axis", AXES)
def test_a_turn_is_that_of_scipy(axis: str) -> None:
    expected = Rotation.from_euler(axis, ANGLES[:, None]).apply(VECTORS)
    np.testing.assert_allclose(turn(axis, ANGLES, VECTORS), expected, atol=1e-14)


def test_a_turn_is_active_and_right_handed() -> None:
    quarter = np.array([np.pi / 2])
    for axis, start, end in (("x", 1, 2), ("y", 2, 0), ("z", 0, 1)):
        np.testing.assert_allclose(
            turn(axis, quarter, np.eye(3)[start]), [np.eye(3)[end]], atol=1e-15
        )


@pytest.mark.parametrize("axis", AXES)
def test_the_derivative_is_the_cross_product_with_the_axis(axis: str) -> None:
    # d(R v)/d(angle) = axis x (R v), whatever the vector.
    along = np.eye(3)[AXES.index(axis)]
    expected = np.cross(along, turn(axis, ANGLES, VECTORS))
    np.testing.assert_allclose(turn_derivative(axis, ANGLES, VECTORS), expected, atol=1e-15)


def exactly_turned(axis: str, angle: mpmath.mpf, vector: list[mpmath.mpf]) -> list[mpmath.mpf]:
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    turned = list(vector)
    turned[i] = mpmath.cos(angle) * vector[i] - mpmath.sin(angle) * vector[j]
    turned[j] = mpmath.sin(angle) * vector[i] + mpmath.cos(angle) * vector[j]
    return turned


@pytest.mark.parametrize("axis", AXES)
@pytest.mark.parametrize("size", [1.0, 1e-4, 1e-8, 1e-12])
def test_increments_equal_those_in_forty_digits(axis: str, size: float) -> None:
    angle_steps = size * RANDOM.normal(size=50)
    vector_steps = size * RANDOM.normal(size=(50, 3))
    found = Turn(axis, ANGLES).increment(angle_steps, VECTORS, vector_steps)
    with mpmath.workdps(40):
        for n in range(50):
            angle, vector = mpmath.mpf(ANGLES[n]), [mpmath.mpf(v) for v in VECTORS[n]]
            later = [v + mpmath.mpf(d) for v, d in zip(vector, vector_steps[n], strict=True)]
            end = exactly_turned(axis, angle + mpmath.mpf(angle_steps[n]), later)
            start = exactly_turned(axis, angle, vector)
            error = [float(f - (e - s)) for f, e, s in zip(found[n], end, start, strict=True)]
            # The angle itself, up to ten radians, is rounded by 1e-15.
            assert np.abs(error).max() < 1e-14 * size


def test_one_vector_serves_many_angles() -> None:
    many = turn("z", ANGLES, np.broadcast_to(VECTORS[0], (50, 3)))
    np.testing.assert_array_equal(turn("z", ANGLES, VECTORS[0]), many)
