"""Relativity in the spin of Mars as published, and the integral against its own rate."""

from __future__ import annotations

import numpy as np
import pytest

from wobble.constants import DAY, GM, JULIAN_YEAR, L_B, L_C, MAS, SPEED_OF_LIGHT
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError
from wobble.planet.harmonic_fit import fit_harmonics
from wobble.planet.relativistic_spin import RelativisticSpin, clock_rate, relativistic_spin

DEGREE = np.pi / 180.0
SPIN = 350.891985303 * DEGREE / DAY  # Konopliv et al. 2006, Icarus 182, 23
# Mean anomaly: Allison & McEwen 2000, Planet. Space Sci. 48, 215 (from memory).
ANOMALY = (0.52402073 * DEGREE / DAY, 19.3871 * DEGREE)
HALF_SPAN = 30.0 * JULIAN_YEAR


@pytest.fixture(scope="module")
def mars() -> RelativisticSpin:
    ephemeris = open_ephemeris()
    return relativistic_spin("mars", SPIN, ephemeris, -HALF_SPAN, HALF_SPAN, ANOMALY)


def test_amplitudes_of_mars_are_as_published(mars: RelativisticSpin) -> None:
    # 166.954, 7.783 and 0.544 mas at the year and its harmonics, all behind in the sine of the
    # mean anomaly; 7.3088 mas/d: Baland et al. 2023, Astron. Astrophys. 670, A29.
    sine, cosine = mars.series.sine[:, 0] / MAS, mars.series.cosine[:, 0] / MAS
    assert sine[:3] == pytest.approx([-166.954, -7.783, -0.544], abs=0.005)
    assert np.abs(cosine[:3]).max() < 0.05
    assert mars.rate * DAY / MAS == pytest.approx(7.3088, abs=0.0003)


def test_synodic_terms_with_jupiter_and_saturn_are_as_published(mars: RelativisticSpin) -> None:
    # 0.567 and 0.102 mas: Baland et al. 2023. Synodic periods from sidereal ones, 686.98,
    # 4332.59 and 10759.2 days (common practice, no source).
    years = np.array([686.98, 4332.59, 10759.2]) * DAY
    synodic = 2.0 * np.pi * (1.0 / years[0] - 1.0 / years[1:])
    epochs = Epochs.of(np.arange(-HALF_SPAN, HALF_SPAN, 4.0 * DAY))
    found = fit_harmonics(
        epochs,
        mars.table.value(epochs),
        [*(ANOMALY[0] * np.array([1.0, 2.0, 3.0])), *synodic],
        [*(ANOMALY[1] * np.array([1.0, 2.0, 3.0])), 0.0, 0.0],
    )
    amplitude = np.hypot(found.cosine, found.sine)[3:, 0] / MAS
    assert amplitude == pytest.approx([0.567, 0.102], abs=0.004)


def test_the_annual_term_by_hand(mars: RelativisticSpin) -> None:
    # 2 sqrt(GM a) e / c^2 times the spin rate, a = 1.52368 au, e = 0.0934: the Kepler orbit.
    by_hand = 2.0 * np.sqrt(GM["sun"] * 1.52368 * 1.495978707e11) * 0.0934 / SPEED_OF_LIGHT**2
    assert -mars.series.sine[0, 0] == pytest.approx(by_hand * SPIN, rel=2e-3)


def test_the_earths_clock_loses_what_the_standard_says() -> None:
    """Mean rate at the geocentre: L_C = 1.48082686741e-8 (IERS Conventions 2010, table 1.1)."""
    epochs = Epochs.of(np.arange(-12.0, 12.0, 0.01) * JULIAN_YEAR)
    mean = clock_rate("earth", open_ephemeris(), epochs).mean()
    assert L_B - mean == pytest.approx(L_C, abs=2e-13)


def test_the_table_is_the_integral_of_the_rate(mars: RelativisticSpin) -> None:
    epochs = Epochs.of(np.linspace(-9e8, 9e8, 60))
    _, rate = mars.table.value_and_rate(epochs)
    expected = SPIN * clock_rate("mars", open_ephemeris(), epochs) - mars.rate
    np.testing.assert_allclose(rate[:, 0], expected, atol=1e-8 * np.abs(expected).max())


def test_records_join(mars: RelativisticSpin) -> None:
    joints = mars.table.start + mars.table.length * np.arange(1, len(mars.table.coefficients))
    before, after = (mars.table.value(Epochs.of(joints, f)) for f in (-1e-3, 1e-3))
    assert np.abs(after - before).max() < 1e-5 * MAS


def test_it_shows_itself(mars: RelativisticSpin) -> None:
    assert "7.3087 mas/d" in str(mars)
    assert "-166.95" in str(mars)


def test_spans_that_do_not_do_are_refused() -> None:
    ephemeris = open_ephemeris()
    with pytest.raises(InputError, match="too short"):
        relativistic_spin("mars", SPIN, ephemeris, 0.0, JULIAN_YEAR, ANOMALY)
    with pytest.raises(EpochRangeError, match="mars"):
        relativistic_spin("mars", SPIN, ephemeris, 1e11, 1.1e11, ANOMALY)
