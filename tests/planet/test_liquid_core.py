"""The resonance: examples worked by hand, differences, and a time-domain judge."""

from __future__ import annotations

import numpy as np
import pytest

from wobble.constants import DAY, MAS
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.harmonic_fit import HarmonicSeries
from wobble.planet.liquid_core import (
    LiquidCore,
    core_from_amplitudes,
    frequency_from_period,
    period_from_frequency,
)
from wobble.planet.nutation_series import Circles, NutationSeries

YEAR_OF_MARS = 686.98 * DAY
EPOCHS = Epochs.of(np.linspace(-3e8, 3e8, 25))


def rigid_mars(drift: float = 0.0) -> NutationSeries:
    """Prograde and retrograde circles of about the size of those of Mars; drift in 1/s."""
    multiples = np.arange(1, 5)
    none = np.zeros((4, 2))
    frame = HarmonicSeries(
        epoch=0.0,
        frequency=2.0 * np.pi * multiples / YEAR_OF_MARS,
        phase=0.34 * multiples,
        polynomial=np.array([[1.43, 0.4396], [-1.17e-12, 1e-17], [0.0, 0.0]]),
        cosine=none,
        sine=none,
        cosine_rate=none,
        sine_rate=none,
        rms=np.zeros(2),
    )
    prograde = np.array([102.1, 498.7, 108.2, 18.4]) * MAS * np.exp(2.5j)
    retrograde = np.array([136.3, 17.9, 4.7, 0.84]) * MAS * np.exp(-2.1j)
    circles = Circles(prograde, retrograde, drift * prograde, 1j * drift * retrograde)
    return NutationSeries.from_circles("mars", ["l", "2 l", "3 l", "4 l"], frame, circles)


def test_worked_examples_of_the_resonance() -> None:
    # T = 1 + F sigma/(sigma - sigma_0) (Sasao, Okubo & Saito 1980, IAU Symp. 78, 165) by hand
    # with F = 0.07 and -240 days: semi-annual prograde 498.7 mas gains 14.4; ter-annual
    # retrograde (228.99 d): 1 + 0.07 / (1 - 228.99/240) = 2.526.
    core = LiquidCore(0.07, -240.0 * DAY)
    amplified = core.amplify(rigid_mars())
    assert np.abs(amplified.prograde[1]) / MAS - 498.7 == pytest.approx(14.4, abs=0.05)
    assert core.transfer(-2.0 * np.pi / (228.99 * DAY)) == pytest.approx(
        1.0 + 0.07 / (1.0 - 228.99 / 240.0), rel=1e-12
    )
    assert np.abs(amplified.retrograde[2]) / MAS == pytest.approx(4.7 * 2.53, rel=0.01)


def test_precession_does_not_feel_the_core() -> None:
    core, rigid = LiquidCore(0.07, -240.0 * DAY), rigid_mars()
    amplified = core.amplify(rigid)
    assert core.transfer(0.0) == 1.0
    assert amplified.precession_rate == rigid.precession_rate
    assert amplified.obliquity == rigid.obliquity


def test_sign_changes_across_the_resonance() -> None:
    core = LiquidCore(0.07, -240.0 * DAY)
    frequency = -2.0 * np.pi / (np.array([239.99, 240.01]) * DAY)
    fast, slow = core.transfer(frequency)
    assert fast > 1000.0
    assert slow < -1000.0


def test_transfer_derivatives_are_those_by_differences() -> None:
    frequency = 2.0 * np.pi / (np.array([687.0, -687.0, 343.5, -229.0, -171.7]) * DAY)
    core = LiquidCore(0.07, -240.0 * DAY)
    h = 1e-4
    by_factor = (
        LiquidCore(0.07 + h, core.period).transfer(frequency)
        - LiquidCore(0.07 - h, core.period).transfer(frequency)
    ) / (2 * h)
    np.testing.assert_allclose(core.transfer_by_factor(frequency), by_factor, rtol=1e-9)
    h = 10.0
    by_period = (
        LiquidCore(0.07, core.period + h).transfer(frequency)
        - LiquidCore(0.07, core.period - h).transfer(frequency)
    ) / (2 * h)
    np.testing.assert_allclose(core.transfer_by_period(frequency), by_period, rtol=1e-6)
    h = 1e-6 * core.frequency
    by_frequency = (
        LiquidCore.with_frequency(0.07, core.frequency + h).transfer(frequency)
        - LiquidCore.with_frequency(0.07, core.frequency - h).transfer(frequency)
    ) / (2 * h)
    np.testing.assert_allclose(core.transfer_by_frequency(frequency), by_frequency, rtol=1e-6)


def test_series_derivatives_are_those_by_differences_with_drifting_amplitudes() -> None:
    core, rigid = LiquidCore(0.07, -242.0 * DAY), rigid_mars(drift=1e-10)

    def moved(factor: float, period: float) -> np.ndarray:
        return LiquidCore(factor, period).amplify(rigid).nutation(EPOCHS)

    h = 1e-4
    expected = (moved(0.07 + h, core.period) - moved(0.07 - h, core.period)) / (2 * h)
    found = core.amplify_by_factor(rigid).nutation(EPOCHS)
    np.testing.assert_allclose(found, expected, atol=1e-9 * np.abs(expected).max())
    h = 20.0
    expected = (moved(0.07, core.period + h) - moved(0.07, core.period - h)) / (2 * h)
    found = core.amplify_by_period(rigid).nutation(EPOCHS)
    np.testing.assert_allclose(found, expected, atol=1e-6 * np.abs(expected).max())


def test_drifting_circle_obeys_the_resonance_as_an_equation_of_motion() -> None:
    """The judge in the time domain: z = z_rigid + F w, w the resonant part.

    ``w = sigma/(sigma - sigma_0) z`` in the frequency domain is ``(d/dt - i sigma_0) w = dz/dt``
    in time. For an amplitude that drifts linearly the filtered series must satisfy it exactly.
    """
    core, rigid = LiquidCore(0.07, -242.0 * DAY), rigid_mars(drift=1e-9)
    sine = np.sin(rigid.obliquity)

    def complex_motion(series: NutationSeries, shift: float) -> np.ndarray:
        psi, eps = series.nutation(EPOCHS.shift(shift)).T
        return eps + 1j * sine * psi

    def rate(function: object, h: float = 3000.0) -> np.ndarray:
        return (function(h) - function(-h)) / (2.0 * h)  # type: ignore[operator]

    amplified = core.amplify(rigid)

    def resonant(shift: float) -> np.ndarray:
        return (complex_motion(amplified, shift) - complex_motion(rigid, shift)) / core.factor

    left = rate(resonant) - 1j * core.frequency * resonant(0.0)
    right = rate(lambda shift: complex_motion(rigid, shift))
    np.testing.assert_allclose(left, right, atol=1e-6 * np.abs(right).max())


@pytest.mark.parametrize("factor", [1.0 / 3.0, 1.0 / 4.0, 1.0])
def test_resonance_on_a_forcing_is_refused(factor: float) -> None:
    core = LiquidCore(0.07, -YEAR_OF_MARS * factor)
    with pytest.raises(InputError, match=r"core\.period.*lie on the resonance"):
        core.amplify(rigid_mars())


@pytest.mark.parametrize(
    ("factor", "period", "match"),
    [
        (0.07, 240.0 * DAY, r"core\.period.*retrograde"),
        (0.07, 0.0, r"core\.period.*negative period"),
        (np.nan, -240.0 * DAY, r"core\.factor"),
        (0.07, np.inf, r"core\.period"),
    ],
)
def test_cores_that_cannot_be_are_refused(factor: float, period: float, match: str) -> None:
    with pytest.raises(InputError, match=match):
        LiquidCore(factor, period)


def test_period_and_frequency_keep_their_sign() -> None:
    assert frequency_from_period(-240.0 * DAY) == pytest.approx(-3.0301e-7, rel=1e-4)
    assert period_from_frequency(frequency_from_period(-1234.5)) == pytest.approx(-1234.5)


def test_core_is_found_again_from_amplitudes_with_its_uncertainty() -> None:
    """Amplitudes fitted one by one, interpreted later: the estimate scatters as it says."""
    rigid, true = rigid_mars(), LiquidCore(0.061, -242.3 * DAY)
    amplified = true.amplify(rigid)
    columns = np.array([0, 1, 2, 4, 5, 6, 8, 9, 10, 12, 13, 14])
    parts = [p for c in (amplified.prograde, amplified.retrograde) for p in (c.real, c.imag)]
    exact = np.concatenate(parts)[columns]
    covariance = np.eye(columns.size) * (0.5 * MAS) ** 2
    start = LiquidCore(0.04, -250.0 * DAY)
    found = core_from_amplitudes(rigid, columns, exact, covariance, start)
    assert found.core.factor == pytest.approx(0.061, abs=1e-8)
    assert found.core.period / DAY == pytest.approx(-242.3, abs=1e-5)
    assert "degrees of freedom" in str(found)

    rng = np.random.default_rng(5)
    scores = []
    for _ in range(60):
        noisy = exact + 0.5 * MAS * rng.standard_normal(columns.size)
        fit = core_from_amplitudes(rigid, columns, noisy, covariance, start)
        miss = np.array([fit.core.factor - 0.061, fit.core.period - true.period])
        scores.append(miss @ np.linalg.solve(fit.covariance, miss))
    # The mean of 60 chi-squares of two degrees of freedom is 2 +- 0.26.
    assert np.mean(scores) == pytest.approx(2.0, abs=0.8)


def test_amplitudes_that_do_not_determine_a_core_are_refused() -> None:
    rigid, start = rigid_mars(), LiquidCore(0.06, -242.0 * DAY)
    with pytest.raises(InputError, match="two amplitudes"):
        core_from_amplitudes(rigid, [0], [1e-6], [[1e-18]], start)
    with pytest.raises(InputError, match="positive definite"):
        core_from_amplitudes(rigid, [0, 1], [1e-6, 1e-6], np.zeros((2, 2)), start)
