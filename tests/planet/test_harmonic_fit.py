"""The judge is the plain evaluation of the formula that a series stands for."""

from __future__ import annotations

import numpy as np
import pytest

from wobble.constants import DAY, JULIAN_YEAR
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.harmonic_fit import fit_harmonics

FREQUENCY = 2.0 * np.pi / np.array([687.0 * DAY, 343.5 * DAY])
PHASE = np.array([0.3, 0.7])


def drifting(epochs: Epochs, epoch: float) -> np.ndarray:
    t = epochs.since_j2000 - epoch
    years = t / JULIAN_YEAR
    argument = np.outer(t, FREQUENCY) + PHASE
    first = 5.0 - 0.3 * years + 0.01 * years**2 + (2.0 + 0.05 * years) * np.cos(argument[:, 0])
    second = 1.0 + years + (0.4 - 0.02 * years) * np.sin(argument[:, 1])
    return np.stack([first, second], axis=1)


@pytest.mark.parametrize("epoch", [0.0, -20.0 * JULIAN_YEAR])
def test_a_known_series_is_recovered_also_far_from_its_epoch(epoch: float) -> None:
    epochs = Epochs.of(np.arange(18.0, 26.0, 0.01) * JULIAN_YEAR)
    found = fit_harmonics(epochs, drifting(epochs, epoch), FREQUENCY, PHASE, epoch=epoch)
    np.testing.assert_allclose(found.polynomial[0], [5.0, 1.0], atol=1e-10)
    np.testing.assert_allclose(found.polynomial[1] * JULIAN_YEAR, [-0.3, 1.0], atol=1e-11)
    np.testing.assert_allclose(found.polynomial[2] * JULIAN_YEAR**2, [0.01, 0.0], atol=1e-12)
    np.testing.assert_allclose(found.cosine, [[2.0, 0.0], [0.0, 0.0]], atol=1e-10)
    np.testing.assert_allclose(found.sine, [[0.0, 0.0], [0.0, 0.4]], atol=1e-10)
    rates = found.cosine_rate * JULIAN_YEAR, found.sine_rate * JULIAN_YEAR
    np.testing.assert_allclose(rates[0], [[0.05, 0.0], [0.0, 0.0]], atol=1e-11)
    np.testing.assert_allclose(rates[1], [[0.0, 0.0], [0.0, -0.02]], atol=1e-11)
    later = Epochs.of([30.0 * JULIAN_YEAR])
    np.testing.assert_allclose(found.value(later), drifting(later, epoch), atol=1e-9)


def test_what_the_terms_do_not_hold_is_told_as_the_residual() -> None:
    epochs = Epochs.of(np.arange(-10.0, 10.0, 0.01) * JULIAN_YEAR)
    stranger = 3.0 * np.sin(2.0 * np.pi * epochs.since_j2000 / (50.0 * DAY))
    found = fit_harmonics(epochs, np.stack([stranger, 0.0 * stranger], 1), FREQUENCY, PHASE)
    assert found.rms[0] == pytest.approx(3.0 / np.sqrt(2.0), rel=0.02)
    assert found.rms[1] < 1e-12


@pytest.mark.parametrize("years", [0.5, 1.2, 1.9])
def test_a_span_too_short_to_separate_the_terms_is_refused(years: float) -> None:
    epochs = Epochs.of(np.linspace(0.0, years * JULIAN_YEAR, 300))
    with pytest.raises(InputError, match=rf"too short.*{years:.2f} years.*5\.64 years"):
        fit_harmonics(epochs, drifting(epochs, 0.0), FREQUENCY, PHASE)


def test_fewer_samples_than_terms_are_refused() -> None:
    epochs = Epochs.of(np.linspace(0.0, 60.0 * JULIAN_YEAR, 9))
    with pytest.raises(InputError, match="9 samples"):
        fit_harmonics(epochs, drifting(epochs, 0.0), FREQUENCY, PHASE)
