"""Series with drift, circles and tables as terms of the orientation angles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wobble.chebyshev import ChebyshevTable
from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.epochs import Epochs
from wobble.files.body_file import read_nutation_setup
from wobble.planet.angle_terms import (
    NODE,
    OBLIQUITY,
    POLAR_X,
    POLAR_Y,
    SPIN,
    AngleTerm,
    Harmonics,
    Nutation,
)
from wobble.planet.cubic_table import CubicTable
from wobble.planet.harmonic_fit import HarmonicSeries
from wobble.planet.liquid_core import LiquidCore, core_from_amplitudes
from wobble.planet.series_terms import Circle, DriftingHarmonics, FixedSeries, TabulatedAngles

FREQUENCY, PHASE = 2.0 * np.pi / (687.0 * DAY), 0.7
NAMES = ("c", "s", "c_rate", "s_rate")
VALUES = {
    "c": 400.0 * MAS,
    "s": -150.0 * MAS,
    "c_rate": 2.0 * MAS / JULIAN_YEAR,
    "s_rate": 1.0 * MAS / JULIAN_YEAR,
    "in": 3.0 * MAS,
    "out": -5.0 * MAS,
}
EPOCHS = Epochs.of(np.linspace(-7e8, 1.1e9, 40), 0.3)
DRIFTING = DriftingHarmonics(FREQUENCY, PHASE, NAMES, {SPIN: 1.0, NODE: -0.5})


def fixed_series() -> FixedSeries:
    random = np.random.default_rng(3)
    parts = [scale * MAS * random.standard_normal((2, 5)) for scale in (50.0, 50.0, 3e-9, 3e-9)]
    return FixedSeries(
        HarmonicSeries(
            epoch=1e8,
            frequency=FREQUENCY * np.array([1.0, 2.0]),
            phase=np.array([0.2, 1.9]),
            polynomial=np.zeros((1, 5)),
            cosine=parts[0],
            sine=parts[1],
            cosine_rate=parts[2],
            sine_rate=parts[3],
            rms=np.zeros(5),
        )
    )


def pole_path(epochs: Epochs) -> np.ndarray:
    t = epochs.since_j2000 / (200.0 * DAY)
    return 6.0 * MAS * np.stack([np.cos(t), np.sin(t)], axis=1)


TABLE = ChebyshevTable.fit(pole_path, -9e8, 1.3e9, 40.0 * DAY, 11)
TERMS: dict[str, AngleTerm] = {
    "drifting": DRIFTING,
    "circle": Circle(-FREQUENCY, PHASE, ("in", "out"), 0.44),
    "fixed": fixed_series(),
    "table": TabulatedAngles(TABLE, (POLAR_X, POLAR_Y)),
}


@pytest.mark.parametrize("name", TERMS)
def test_increments_are_differences_of_angles(name: str) -> None:
    term, interval = TERMS[name], np.linspace(60.0, 8e5, len(EPOCHS))
    change = term.angles(VALUES, EPOCHS.shift(interval)) - term.angles(VALUES, EPOCHS)
    np.testing.assert_allclose(term.increments(VALUES, EPOCHS, interval), change, atol=5e-19)
    assert np.abs(change).max() > 1e-9


@pytest.mark.parametrize("name", TERMS)
def test_increments_keep_their_digits_over_a_millisecond(name: str) -> None:
    """A thousandth of the increment over a second, to twelve digits: nothing is subtracted."""
    term, one = TERMS[name], np.ones(len(EPOCHS))
    second = term.increments(VALUES, EPOCHS.shift(-0.5), one)
    short = term.increments(VALUES, EPOCHS.shift(-0.5e-3), 1e-3 * one)
    np.testing.assert_allclose(1e3 * short, second, atol=1e-12 * np.abs(second).max())


@pytest.mark.parametrize("name", TERMS)
def test_derivatives_are_differences_by_the_parameters(name: str) -> None:
    term = TERMS[name]
    found = term.derivatives(VALUES, EPOCHS)
    assert set(found) == set(term.names)
    for parameter, derivative in found.items():
        step = 1e-3 / np.abs(derivative).max()
        later, earlier = (
            term.angles({**VALUES, parameter: VALUES[parameter] + s * step}, EPOCHS)
            for s in (1, -1)
        )
        difference = (later - earlier) / (2.0 * step)
        scale = np.abs(derivative).max()
        np.testing.assert_allclose(derivative, difference, atol=1e-11 * scale)


def test_a_series_without_drift_is_the_plain_harmonic() -> None:
    plain = Harmonics(FREQUENCY, PHASE, "c", "s", {SPIN: 1.0, NODE: -0.5})
    still = {**VALUES, "c_rate": 0.0, "s_rate": 0.0}
    np.testing.assert_allclose(
        DRIFTING.angles(still, EPOCHS), plain.angles(VALUES, EPOCHS), atol=1e-20
    )


def test_drift_is_counted_from_j2000() -> None:
    """By hand: ten years of 2 mas/yr are 20 mas of cosine."""
    epoch = Epochs.of(10.0 * JULIAN_YEAR)
    drift_only = dict.fromkeys(VALUES, 0.0) | {"c_rate": 2.0 * MAS / JULIAN_YEAR}
    argument = FREQUENCY * 10.0 * JULIAN_YEAR + PHASE
    found = DRIFTING.angles(drift_only, epoch)[0, SPIN]
    assert found == pytest.approx(20.0 * MAS * np.cos(argument), rel=1e-12)


def test_two_circles_are_a_term_in_longitude_and_obliquity() -> None:
    """The rigid planet's term of the classical form, taken apart into its circles."""
    longitude, obliquity, eps = 1097.0 * MAS, 515.7 * MAS, 0.4396
    classical = Nutation(FREQUENCY, PHASE, longitude, obliquity, eps)
    rigid = classical.angles({"core.factor": 0.0, "core.period": -240.0 * DAY}, EPOCHS)
    total = np.zeros_like(rigid)
    for sense in (1.0, -1.0):
        amplitude = (obliquity + sense * longitude * np.sin(eps)) / 2.0
        circle = Circle(sense * FREQUENCY, sense * PHASE, ("in", "out"), eps)
        total += circle.angles({"in": amplitude, "out": 0.0}, EPOCHS)
    np.testing.assert_allclose(total, rigid, atol=1e-18)


def test_prograde_circle_runs_with_the_rotation() -> None:
    """Judged by plain vectors: the pole winds positively about its mean."""
    circle, eps = Circle(FREQUENCY, 0.0, ("in", "out"), 0.4), 0.4
    moved = circle.angles({"in": 1e-6, "out": 0.0}, Epochs.of([0.0, 80.0 * DAY]))
    psi, obliquity = 1.2 + moved[:, NODE], eps + moved[:, OBLIQUITY]
    pole = np.stack(
        [np.sin(obliquity) * np.sin(psi), -np.sin(obliquity) * np.cos(psi), np.cos(obliquity)]
    ).T
    mean = np.array([np.sin(eps) * np.sin(1.2), -np.sin(eps) * np.cos(1.2), np.cos(eps)])
    winding = np.cross(pole[0] - mean, pole[1] - mean) @ mean
    assert winding == pytest.approx(1e-12 * np.sin(FREQUENCY * 80.0 * DAY), rel=1e-3)


def test_a_table_of_either_kind_gives_the_same_angles() -> None:
    knots = Epochs.of(np.arange(-9e8, 1.3e9, 10.0 * DAY))
    spline = CubicTable.through(knots, pole_path(knots))
    by_spline = TabulatedAngles(spline, (POLAR_X, POLAR_Y)).angles(VALUES, EPOCHS)
    np.testing.assert_allclose(by_spline, TERMS["table"].angles(VALUES, EPOCHS), atol=1e-4 * MAS)
    assert (by_spline[:, :3] == 0.0).all()


def test_amplitudes_fitted_one_by_one_are_interpreted_later() -> None:
    """Circles are fitted to the pole of a planet with a core; the core then follows from them."""
    setup = read_nutation_setup("mars")
    half = 20.0 * JULIAN_YEAR
    rigid = replace(setup, start=-half, stop=half, satellites=()).compute().series
    true = LiquidCore(0.061, -242.3 * DAY)
    epochs = Epochs.of(np.arange(0.0, 4.0 * JULIAN_YEAR, 4.0 * DAY))
    observed = true.amplify(rigid).nutation(epochs) - rigid.nutation(epochs)

    # Prograde and retrograde circles of all six terms, two amplitudes each.
    circles = [
        Circle(sense * f, sense * p, (f"{sense}{k} in", f"{sense}{k} out"), rigid.obliquity)
        for sense in (1.0, -1.0)
        for k, (f, p) in enumerate(zip(rigid.frequency, rigid.harmonics.phase, strict=True))
    ]
    names = [name for circle in circles for name in circle.names]
    nothing = dict.fromkeys(names, 0.0)
    by_name: dict[str, np.ndarray] = {}
    for circle in circles:
        by_name |= circle.derivatives(nothing, epochs)
    design = np.concatenate(
        [np.stack([by_name[n][:, angle] for n in names], axis=1) for angle in (NODE, OBLIQUITY)]
    )
    correction = np.linalg.lstsq(design, np.concatenate([observed[:, 0], observed[:, 1]]))[0]
    fitted = (correction[::2] + 1j * correction[1::2]).reshape(2, -1)

    prograde, retrograde = rigid.prograde + fitted[0], rigid.retrograde + fitted[1]
    amplitudes = np.concatenate([prograde.real, prograde.imag, retrograde.real, retrograde.imag])
    columns = np.arange(24)
    found = core_from_amplitudes(
        rigid, columns, amplitudes, np.eye(24) * MAS**2, LiquidCore(0.04, -250.0 * DAY)
    )
    # The drift of the amplitudes, which circles do not have, costs the last digits.
    assert found.core.factor == pytest.approx(0.061, abs=2e-4)
    assert found.core.period / DAY == pytest.approx(-242.3, abs=0.1)
