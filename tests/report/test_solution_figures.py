"""Correlations, errors and the pole's path as drawn."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.time import Time
from conftest import Rehearsal
from matplotlib.collections import QuadMesh

from wobble.constants import MAS
from wobble.epochs import Epochs
from wobble.errors import UnknownNameError
from wobble.files.body_file import read_body
from wobble.planet.angle_terms import Polynomial
from wobble.planet.rotation import RotationModel
from wobble.report.solution_figures import (
    correlation_matrix,
    errors_in_sigmas,
    parameter_errors,
    polar_path,
    pole_without_precession,
)
from wobble.report.style import offscreen


@pytest.fixture(autouse=True)
def _offscreen() -> object:
    with offscreen():
        yield


def mars() -> RotationModel:
    rotation = read_body("mars").orientation
    assert isinstance(rotation, RotationModel)
    return rotation


def test_the_matrix_holds_the_correlations_below_its_diagonal(rehearsal: Rehearsal) -> None:
    axes = correlation_matrix(rehearsal.solution)
    (mesh,) = [c for c in axes.collections if isinstance(c, QuadMesh)]
    drawn = np.ma.masked_invalid(mesh.get_array()).reshape(6, 6)
    covariance = rehearsal.solution.covariance_realistic
    sigma = np.sqrt(np.diag(covariance))
    expected = covariance / np.outer(sigma, sigma)
    below = np.tri(6, k=-1, dtype=bool)
    assert drawn[below].data == pytest.approx(expected[below])
    assert drawn.mask[~below].all()
    assert mesh.get_clim() == (-1.0, 1.0)
    names = [label.get_text().split()[0] for label in axes.get_yticklabels()]
    assert tuple(names) == rehearsal.solution.names


def test_written_correlations_keep_their_sign_and_never_reach_one(rehearsal: Rehearsal) -> None:
    axes = correlation_matrix(rehearsal.solution)
    correlation = rehearsal.solution.correlation
    written = [text for text in axes.texts if text.get_text()[0] in "+\N{MINUS SIGN}"]
    expected = np.argwhere(np.tril(np.abs(correlation), -1) >= 0.3)
    assert len(written) == len(expected) > 0
    for text in written:
        column, row = (int(x) for x in text.get_position())
        value = float(text.get_text().replace("\N{MINUS SIGN}", "-"))
        assert abs(value) <= 99
        assert value == pytest.approx(100 * correlation[row, column], abs=1.0)


def test_errors_are_in_realistic_sigmas(rehearsal: Rehearsal) -> None:
    solution = rehearsal.solution
    axes = parameter_errors(solution, rehearsal.truth)
    points = np.concatenate(
        [np.column_stack(line.get_data()) for line in axes.lines if line.get_marker() != "None"]
    )
    points = points[np.argsort(points[:, 1])]
    for (error, place), name in zip(points, solution.names, strict=True):
        estimate = solution[name]
        true = rehearsal.truth[name] / solution.parameters[name].scale
        assert error == pytest.approx((estimate.value - true) / estimate.sigma, rel=1e-6, abs=1e-6)
        assert axes.get_yticklabels()[int(place)].get_text() == name


def test_a_truth_that_lacks_a_parameter_is_refused(rehearsal: Rehearsal) -> None:
    truth = rehearsal.truth
    del truth["core.factor"]
    with pytest.raises(UnknownNameError, match=r"core\.factor"):
        errors_in_sigmas(rehearsal.solution, truth)


def test_without_precession_the_pole_moves_as_the_axes_of_the_body_do() -> None:
    # The angle between the third axes of the full matrix and of that of the polynomials alone.
    rotation = mars()
    slow_terms = tuple(term for term in rotation.terms if isinstance(term, Polynomial))
    names = {name for term in slow_terms for name in term.names}
    slow = RotationModel(
        rotation.plane_node,
        rotation.plane_inclination,
        slow_terms,
        {name: rotation.values[name] for name in names},
    )
    no_polar_motion = rotation.with_values(
        {
            name: 0.0
            for name in rotation.values
            if name.startswith("polar_motion") and not name.endswith("period")
        }
    )
    epochs = Epochs.of(np.arange(0.0, 700.0, 10.0) * 86400.0)
    poles = [model.matrix(epochs)[:, :, 2] for model in (no_polar_motion, slow)]
    angle = np.linalg.norm(np.cross(*poles), axis=1)
    offsets = pole_without_precession(rotation, epochs)
    assert np.hypot(*offsets.T) == pytest.approx(angle, rel=1e-4, abs=1e-3 * MAS)


def test_the_path_of_mars_has_the_size_of_its_nutation() -> None:
    # Reasenberg & King 1979 (J. Geophys. Res. 84, 6231): the largest term is semi-annual,
    # 515 mas in obliquity and 1095 mas in longitude (465 mas times the sine).
    axes = polar_path(mars(), Time("2011-05-01"), Time("2013-03-18"))
    path = np.column_stack(axes.lines[0].get_data())
    assert 480.0 < np.ptp(path[:, 1]) / 2.0 < 700.0
    assert axes.get_ylabel().endswith("(mas)")
    # 687 days, the year of Mars: the path closes, but for harmonics of other periods.
    assert np.linalg.norm(path[-1] - path[0]) < 0.02 * np.ptp(path)


def test_dots_mark_every_hundred_days() -> None:
    start, stop = Time("2011-05-01"), Time("2013-05-01")
    axes = polar_path(mars(), start, stop)
    marks = np.column_stack(axes.lines[1].get_data())
    assert len(marks) == 8
    epochs = Epochs.from_time(start).shift(300.0 * 86400.0)
    assert marks[3] == pytest.approx(pole_without_precession(mars(), epochs)[0] / MAS, rel=1e-6)
