"""The rotation matrix and its rate by every coefficient, against differences."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.epochs import Epochs
from wobble.files.body_file import read_body
from wobble.planet.angle_terms import NODE, OBLIQUITY, SPIN, AngleTerm, Harmonics, Polynomial
from wobble.planet.cubic_table import CubicTable
from wobble.planet.rotation import RotationModel
from wobble.planet.rotation_partials import (
    angle_rates,
    matrix_partials,
    matrix_rate,
    matrix_rate_partials,
)
from wobble.planet.series_terms import Circle, DriftingHarmonics, TabulatedAngles

DEGREE = np.pi / 180.0
EPOCHS = Epochs.of(np.linspace(-6e8, 9e8, 7) + 0.25)
# Amplitudes that are zero in the files, and the core and wobble exaggerated, so that their
# derivatives stand out from the rounding of differences.
EXAGGERATED = {
    "polar_motion.chandler_cos": 2e-3,
    "polar_motion.chandler_sin": -1e-3,
    "polar_motion.x_annual_cos": 1e-3,
    "core.factor": 50.0,
}


def model_of_every_kind() -> RotationModel:
    """Series, circle and table, with polar motion: what the ready-made bodies do not have."""
    knots = Epochs.of(np.linspace(-8e8, 1.2e9, 300))
    swing = 1e-3 * np.sin(knots.since_j2000[:, None] / 4e7 + [0.0, 1.0])
    names = ("series.test_cos", "series.test_sin", "series.test_cos_rate", "series.test_sin_rate")
    terms: tuple[AngleTerm, ...] = (
        Polynomial(NODE, ("pole.node_longitude", "pole.precession_rate")),
        Polynomial(OBLIQUITY, ("pole.obliquity",)),
        Polynomial(SPIN, ("spin.angle", "spin.rate", "spin.acceleration")),
        Harmonics(1e-7, 0.4, "spin.annual_cos", "spin.annual_sin", {SPIN: 1.0}),
        DriftingHarmonics(2e-7, 1.0, names, {NODE: 1.0, SPIN: -0.9}),
        Circle(-3e-7, 0.3, ("nutation.test_in_phase", "nutation.test_out_of_phase"), 0.44),
        TabulatedAngles(CubicTable.through(knots, swing), (3, 4)),
    )
    values = {
        "pole.node_longitude": 1.4,
        "pole.precession_rate": -1.2e-12,
        "pole.obliquity": 0.44,
        "spin.angle": 2.0,
        "spin.rate": 350.9 * DEGREE / DAY,
        "spin.acceleration": 1e-22,
        "spin.annual_cos": 2e-3,
        "spin.annual_sin": -1e-3,
        "series.test_cos": 1e-3,
        "series.test_sin": 2e-3,
        "series.test_cos_rate": 1e-12,
        "series.test_sin_rate": -2e-12,
        "nutation.test_in_phase": 1e-3,
        "nutation.test_out_of_phase": 5e-4,
    }
    return RotationModel(0.06, 0.43, terms, values)


def moved(model: RotationModel, name: str, change: float) -> RotationModel:
    return model.with_values({name: model.values[name] + change})


@pytest.fixture(scope="module", params=["mars", "mars_computed", "mars_iau", "every kind"])
def model(request: pytest.FixtureRequest) -> RotationModel:
    if request.param == "every kind":
        return model_of_every_kind()
    orientation = read_body(request.param).orientation
    assert isinstance(orientation, RotationModel)
    known = {name: v for name, v in EXAGGERATED.items() if name in orientation.values}
    return orientation.with_values(known)


def five_point(values: Callable[[float], np.ndarray], step: float) -> np.ndarray:
    """Derivative at zero; the error is of fourth order in the step."""
    inner, outer = (values(k * step) - values(-k * step) for k in (1, 2))
    return (8.0 * inner - outer) / (12.0 * step)


def step_of(model: RotationModel, name: str, partial: np.ndarray) -> float:
    """A step that turns the body by 1e-4 rad, or moves a period by 1e-4 of itself."""
    if name.endswith("period"):
        return 1e-4 * abs(model.values[name])
    return 1e-4 / np.abs(partial).max()


def test_matrix_rate_is_that_of_the_matrix(model: RotationModel) -> None:
    # Over 400 s the error of the differences is 1e-9 of the rate.
    differenced = five_point(lambda step: model.matrix(EPOCHS.shift(step)), 200.0)
    spin = abs(model.values["spin.rate"])
    np.testing.assert_allclose(matrix_rate(model, EPOCHS), differenced, atol=2e-8 * spin)


def test_angle_rates_are_those_of_the_angles(model: RotationModel) -> None:
    # Over an hour; the slow angles are read to 1e-16 rad.
    step = np.full(len(EPOCHS), 3600.0)
    begin = EPOCHS.shift(-1800.0)
    change = sum(term.increments(model.values, begin, step) for term in model.terms)
    np.testing.assert_allclose(angle_rates(model, EPOCHS), change / 3600.0, rtol=1e-6, atol=1e-20)


def test_matrix_by_every_coefficient(model: RotationModel) -> None:
    partials = matrix_partials(model, EPOCHS)
    assert set(partials) == set(model.values)
    for name, partial in partials.items():
        assert np.abs(partial).max() > 0.0, name
        step = step_of(model, name, partial)
        differenced = five_point(lambda d, n=name: moved(model, n, d).matrix(EPOCHS), step)
        scale = np.abs(partial).max()
        np.testing.assert_allclose(partial, differenced, atol=1e-5 * scale, err_msg=name)


def test_matrix_rate_by_every_coefficient(model: RotationModel) -> None:
    partials, of_matrix = matrix_rate_partials(model, EPOCHS), matrix_partials(model, EPOCHS)
    assert set(partials) == set(model.values)
    for name, partial in partials.items():
        step = step_of(model, name, of_matrix[name])
        differenced = five_point(lambda d, n=name: matrix_rate(moved(model, n, d), EPOCHS), step)
        scale = np.abs(partial).max()
        np.testing.assert_allclose(partial, differenced, atol=1e-5 * scale, err_msg=name)


def test_rates_of_the_angles_derivatives(model: RotationModel) -> None:
    """The slow part that the spin hides in the matrix: d(da/dp)/dt term by term."""
    step = 3600.0
    for term in model.terms:
        rates = term.derivative_rates(model.values, EPOCHS)
        later, earlier = (term.derivatives(model.values, EPOCHS.shift(s)) for s in (step, -step))
        assert set(rates) == set(later)
        for name, rate in rates.items():
            differenced = (later[name] - earlier[name]) / (2.0 * step)
            # Differences of what is as large as 1e9 s are read to 1e-10.
            rounding = 4e-16 * np.abs(later[name]).max() / step
            np.testing.assert_allclose(rate, differenced, rtol=1e-5, atol=rounding, err_msg=name)


def test_vectors_projected_are_the_matrix_times_the_vector(model: RotationModel) -> None:
    vector, direction = np.array([1.0, -2.0, 0.5]) * 1e6, np.array([0.6, 0.0, 0.8])
    by_matrix = matrix_partials(model, EPOCHS)
    directions = np.broadcast_to(direction, (len(EPOCHS), 3))
    projected = model.projected_partials(model.values, vector, EPOCHS, directions)
    for name, partial in by_matrix.items():
        expected = np.einsum("a,nab,b->n", direction, partial, vector)
        np.testing.assert_allclose(
            projected[name], expected, atol=1e-9 * np.abs(expected).max(), err_msg=name
        )


def test_a_millimetre_per_second_of_a_lander_by_hand() -> None:
    """d(rate)/d(spin.rate) of a place on the equator is R (east) less R Omega t (inward).

    Elementary geometry; 1 mas/d is 0.19 um/s at once, and turns the place by 12 m in two years.
    """
    model = read_body("mars").orientation
    assert isinstance(model, RotationModel)
    epochs = Epochs.of(730.0 * DAY)
    place = np.array([3.396e6, 0.0, 0.0])
    change = matrix_rate_partials(model, epochs)["spin.rate"][0] @ place * (MAS / DAY)
    up, east = (model.inertial(v, epochs)[0] for v in np.eye(3)[:2])
    assert change @ east == pytest.approx(3.396e6 * MAS / DAY, rel=2e-3)
    turned = 3.396e6 * model.values["spin.rate"] * 730.0 * MAS
    assert change @ up == pytest.approx(-turned, rel=1e-6)
    assert matrix_partials(model, epochs)["spin.rate"][0] @ place @ east * MAS / DAY == (
        pytest.approx(730.0 * 3.396e6 * MAS, rel=1e-6)
    )


def test_precession_moves_the_pole_and_not_the_obliquity() -> None:
    """The pole by the node's longitude goes along the orbit plane, by sin(eps)."""
    model = read_body("mars").orientation
    assert isinstance(model, RotationModel)
    pole_change = matrix_partials(model, Epochs.of(JULIAN_YEAR))["pole.node_longitude"][0, :, 2]
    assert np.linalg.norm(pole_change) == pytest.approx(np.sin(25.189 * DEGREE), rel=1e-4)
    by_obliquity = matrix_partials(model, Epochs.of(JULIAN_YEAR))["pole.obliquity"][0, :, 2]
    assert np.linalg.norm(by_obliquity) == pytest.approx(1.0, rel=1e-12)
    assert pole_change @ by_obliquity == pytest.approx(0.0, abs=1e-12)
