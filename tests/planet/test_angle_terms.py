"""Terms of the orientation angles against 40 digits, differences and published resonances."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from numpy.typing import NDArray

from wobble.constants import MAS
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.angle_terms import (
    ANGLES,
    AngleTerm,
    Harmonics,
    Nutation,
    Polynomial,
    Wobble,
    reduced_product,
)

Array = NDArray[np.float64]

DAY = 86400.0
SEASON = 1.0615e-7  # rad/s: the mean motion of Mars
SPIN = 7.0882e-5  # rad/s: its rotation

VALUES = {
    "spin.angle": 2.3,
    "spin.rate": SPIN,
    "spin.acceleration": 1.9e-23,
    "amplitude.cos": 480 * MAS,
    "amplitude.sin": -160 * MAS,
    "core.factor": 0.07,
    "core.period": -240.0 * DAY,
    "wobble.cos": 5 * MAS,
    "wobble.sin": -3 * MAS,
    "wobble.period": 207.0 * DAY,
}
TERMS: dict[str, AngleTerm] = {
    "polynomial": Polynomial(2, ("spin.angle", "spin.rate", "spin.acceleration")),
    "harmonics": Harmonics(SEASON, 0.34, "amplitude.cos", "amplitude.sin", {2: 1.0, 0: -0.5}),
    "nutation": Nutation(2 * SEASON, 1.2, 1097 * MAS, 515.7 * MAS, 0.44),
    "wobble": Wobble("wobble.cos", "wobble.sin", "wobble.period"),
}


def epochs_of_a_century(number: int = 60) -> Epochs:
    random = np.random.default_rng(7)
    return Epochs.of(random.uniform(-1.6e9, 1.6e9, number), random.uniform(-0.5, 0.5, number))


# ---------------------------------------------------------------------------------------------
# The product of a rate and a two-part time


@pytest.mark.parametrize("rate", [SPIN, SEASON, -1.2e-12, 7.2921e-5, 1e-3])
def test_large_products_are_reduced_to_the_last_digit(rate: float) -> None:
    epochs = epochs_of_a_century(300)
    found = reduced_product(rate, epochs)
    assert np.abs(found).max() <= np.pi + 1e-3
    for n in range(len(epochs)):
        with mpmath.workdps(50):
            t = mpmath.mpf(epochs.seconds[n]) + mpmath.mpf(epochs.fraction[n])
            turns = (mpmath.mpf(rate) * t - mpmath.mpf(found[n])) / (2 * mpmath.pi)
            error = float((turns - mpmath.nint(turns)) * 2 * mpmath.pi)
        assert abs(error) < 1e-15


def test_a_plain_product_is_ten_thousand_times_worse() -> None:
    # Negative control: 1e5 rad in one float are good to 1e-11 rad, 0.05 mm on a planet.
    epochs = epochs_of_a_century(300)
    plain = np.exp(1j * SPIN * epochs.since_j2000)
    error = np.abs(plain - np.exp(1j * reduced_product(SPIN, epochs)))
    assert 1e-12 < error.max() < 1e-10


# ---------------------------------------------------------------------------------------------
# What every term does


@pytest.mark.parametrize("kind", TERMS)
def test_derivatives_are_central_differences(kind: str) -> None:
    term, epochs = TERMS[kind], epochs_of_a_century()
    derivatives = term.derivatives(VALUES, epochs)
    assert set(derivatives) == set(term.names)
    for name, derivative in derivatives.items():
        # Of fourth order; the spin angle is known but for whole turns, so its step is small.
        step = 1e-14 if name == "spin.rate" else 1e-4 * abs(VALUES[name])
        changes = []
        for width in (step, 2 * step):
            up, down = (
                term.angles(VALUES | {name: VALUES[name] + sign * width}, epochs)
                for sign in (1, -1)
            )
            turns = np.round((up - down) / (2 * np.pi))
            changes.append((up - down) - 2 * np.pi * turns)
        difference = (8 * changes[0] - changes[1]) / (12 * step)
        size = np.abs(derivative).max()
        np.testing.assert_allclose(difference / size, derivative / size, rtol=0, atol=1e-6)


@pytest.mark.parametrize("kind", TERMS)
@pytest.mark.parametrize("interval", [1.0, 60.0, 3600.0])
def test_increments_are_integrals_of_the_derivative(kind: str, interval: float) -> None:
    # The rate from increments over 0.01 s, integrated by Gauss-Legendre nodes: no subtraction.
    term, epochs = TERMS[kind], epochs_of_a_century()
    steps = np.full(len(epochs), interval)
    nodes, weights = np.polynomial.legendre.leggauss(5)
    tiny = np.full(len(epochs), 0.01)
    total = np.zeros((len(epochs), len(ANGLES)))
    for node, weight in zip(nodes, weights, strict=True):
        middle = epochs.shift(interval * (1 + node) / 2 - 0.005)
        total += interval * weight / 2 * term.increments(VALUES, middle, tiny) / 0.01
    found = term.increments(VALUES, epochs, steps)
    np.testing.assert_allclose(found, total, rtol=1e-12, atol=1e-13 * np.abs(found).max())


@pytest.mark.parametrize("kind", TERMS)
def test_increments_are_differences_of_angles_to_their_rounding(kind: str) -> None:
    term, epochs = TERMS[kind], epochs_of_a_century()
    steps = np.full(len(epochs), 600.0)
    change = term.angles(VALUES, epochs.shift(600.0)) - term.angles(VALUES, epochs)
    difference = (change + np.pi) % (2 * np.pi) - np.pi
    np.testing.assert_allclose(term.increments(VALUES, epochs, steps), difference, atol=3e-15)


# ---------------------------------------------------------------------------------------------
# The single kinds


def test_a_polynomial_is_a_taylor_series() -> None:
    epochs = Epochs.of([1000.0, 2.0e5], 0.25)
    t = np.array([1000.25, 200000.25])
    angles = TERMS["polynomial"].angles(VALUES, epochs)
    phase = np.exp(1j * (2.3 + SPIN * t + 0.5 * 1.9e-23 * t * t))
    np.testing.assert_allclose(np.exp(1j * angles[:, 2]), phase, atol=1e-14)
    assert not angles[:, [0, 1, 3, 4]].any()


def test_the_increment_of_an_accelerated_angle_is_exact() -> None:
    # 3 (t + T)^2 / 2 - 3 t^2 / 2 + 2 T with t = 100 s, T = 50 s.
    values = {"spin.angle": 1.0, "spin.rate": 2.0, "spin.acceleration": 3.0}
    step = TERMS["polynomial"].increments(values, Epochs.of(100.0), np.array([50.0]))
    np.testing.assert_array_equal(step, [[0, 0, 18850.0, 0, 0]])


def test_harmonics_act_on_each_angle_with_its_factor() -> None:
    epochs = epochs_of_a_century()
    angles = TERMS["harmonics"].angles(VALUES, epochs)
    argument = SEASON * epochs.since_j2000 + 0.34
    expected = 480 * MAS * np.cos(argument) - 160 * MAS * np.sin(argument)
    np.testing.assert_allclose(angles[:, 2], expected, atol=1e-15)
    np.testing.assert_allclose(angles[:, 0], -0.5 * expected, atol=1e-15)


def amplified(sense: int, period_days: float) -> float:
    """Factor by which a core with F = 0.07 and a period of -240 days moves one circle."""
    circle = Nutation(2 * np.pi / (period_days * DAY), 0.0, sense * MAS / np.sin(0.44), MAS, 0.44)
    at_zero = circle.angles(VALUES, Epochs.of(0.0))[0, ANGLES.index("obliquity")]
    return float(at_zero / MAS)


def test_the_core_amplifies_as_published() -> None:
    # T = 1 + F sigma / (sigma - sigma_core) (Sasao, Okubo & Saito 1980, IAU Symp. 78, 165).
    # Evaluated by hand for F = 0.07 and -240 days at the harmonics of the Martian year of
    # 686.97 days: the semi-annual prograde term by 1.0288, so that 498.7 mas gain 14.4 mas; the
    # ter-annual retrograde one by about 2.53.
    assert amplified(+1, 686.97 / 2) == pytest.approx(1.0288, abs=5e-5)
    assert 498.7 * (amplified(+1, 686.97 / 2) - 1) == pytest.approx(14.4, abs=0.05)
    assert amplified(-1, 686.97 / 3) == pytest.approx(2.53, abs=0.01)


def test_nutation_of_a_solid_planet_is_the_rigid_one_and_the_spin_follows() -> None:
    epochs = epochs_of_a_century()
    solid = TERMS["nutation"].angles(VALUES | {"core.factor": 0.0}, epochs)
    argument = 2 * SEASON * epochs.since_j2000 + 1.2
    longitude = 1097 * MAS * np.sin(argument)
    np.testing.assert_allclose(solid[:, 0], longitude, atol=1e-15)
    np.testing.assert_allclose(solid[:, 1], 515.7 * MAS * np.cos(argument), atol=1e-15)
    np.testing.assert_allclose(solid[:, 2], -np.cos(0.44) * longitude, atol=1e-15)


def test_a_constant_of_the_nutation_is_not_amplified() -> None:
    constant = Nutation(0.0, 0.0, 0.0, -1.4 * MAS, 0.44)
    angles = constant.angles(VALUES, Epochs.of([0.0, 1e9]))
    np.testing.assert_allclose(angles[:, 1], -1.4 * MAS, rtol=1e-15)
    derivatives = constant.derivatives(VALUES, Epochs.of(0.0))
    assert not any(d.any() for d in derivatives.values())


def test_amplification_changes_sign_through_the_resonance() -> None:
    # Just slower and just faster than the core's own period of 240 days, retrograde.
    assert amplified(-1, 241.0) < -10
    assert amplified(-1, 239.0) > 10


def test_a_resonance_exactly_on_a_forcing_is_refused() -> None:
    forced = Nutation(2 * np.pi / (240.0 * DAY), 0.0, MAS, MAS, 0.44)
    with pytest.raises(InputError, match=r"core.period: .* exactly on a forcing; found '-240.0000"):
        forced.angles(VALUES, Epochs.of(0.0))


def test_a_core_without_a_period_is_refused() -> None:
    with pytest.raises(InputError, match=r"core.period: the period .* is zero"):
        TERMS["nutation"].angles(VALUES | {"core.period": 0.0}, Epochs.of(0.0))


def test_the_free_wobble_goes_round_once_in_its_period() -> None:
    quarters = Epochs.of(np.arange(5.0) * 207.0 * DAY / 4)
    angles = TERMS["wobble"].angles(VALUES, quarters) / MAS
    np.testing.assert_allclose(angles[:, 3], [5, 3, -5, -3, 5], atol=1e-9)
    np.testing.assert_allclose(angles[:, 4], [3, -5, -3, 5, 3], atol=1e-9)
