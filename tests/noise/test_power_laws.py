"""Noise processes against published closed forms, numerical integrals and 40 digits."""

from __future__ import annotations

import math
from functools import partial

import mpmath
import numpy as np
import pytest
from scipy import integrate

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.noise.power_laws import (
    FlickerPhase,
    PowerLaw,
    VonKarman,
    WhitePhase,
    matern_deficit,
    path_level,
    power_law_process,
)

# Without an absolute tolerance: the values are far below the default one of 1e-12.
approx = partial(pytest.approx, rel=1e-6, abs=0.0)

TAU = np.array([10.0, 60.0, 1000.0])
H = 3e-26

# NIST SP 1065 (Riley 2008), sect. 6, table of the Allan variance of power-law noises; the same
# in IEEE Std 1139. Columns: alpha, cut-offs, Allan variance for S_y = h f^alpha.
LOW, HIGH = 1e-8, 10.0
PUBLISHED = {
    "white phase": (2, None, HIGH, lambda t: 3 * HIGH * H / (4 * np.pi**2 * t**2)),
    "flicker phase": (
        1,
        LOW,
        HIGH,
        lambda t: (1.038 + 3 * np.log(2 * np.pi * HIGH * t)) * H / (4 * np.pi**2 * t**2),
    ),
    "white frequency": (0, None, None, lambda t: H / (2 * t)),
    "flicker frequency": (-1, LOW, None, lambda t: 2 * math.log(2) * H + 0 * t),
    "random walk frequency": (-2, LOW, None, lambda t: 2 * np.pi**2 / 3 * H * t),
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_allan_variance_is_that_of_nist_sp_1065(name):
    alpha, low, high, variance = PUBLISHED[name]
    process = power_law_process(path_level(H), alpha - 2, low, high)
    np.testing.assert_allclose(process.allan_deviation(TAU) ** 2, variance(TAU), rtol=4e-3)


def test_kolmogorov_allan_deviation_falls_with_the_sixth_root():
    # Woo & Armstrong 1979, J. Geophys. Res. 84, 7288: sigma_y ~ tau^(-1/6) (from memory).
    sigma = PowerLaw(1.0, -8 / 3).allan_deviation(TAU)
    np.testing.assert_allclose(np.diff(np.log(sigma)) / np.diff(np.log(TAU)), -1 / 6, rtol=1e-12)


def test_frequency_spectrum_is_the_path_spectrum_differentiated():
    process = PowerLaw(path_level(H), -2.0)
    np.testing.assert_allclose(process.frequency_spectrum([1e-4, 1e-2, 1.0]), H, rtol=1e-14)


@pytest.mark.parametrize("exponent", [-1.7, -2.0, -8 / 3, -2.9])
def test_structure_function_is_the_integral_over_the_spectrum(exponent):
    # D = 2 int S (1 - cos 2 pi f lag) df in mpmath, with u = v^8 where the integrand is singular
    # and the constant part at infinity by hand.
    lag = 7.0
    with mpmath.workdps(20):
        near = mpmath.quad(
            lambda v: 16 * v ** (8 * exponent + 7) * mpmath.sin(v**8 / 2) ** 2, [0, 1]
        )
        middle = mpmath.quad(lambda u: u**exponent * (1 - mpmath.cos(u)), [1, 4, 10, 20])
        wave = mpmath.quadosc(lambda u: u**exponent * mpmath.cos(u), [20, mpmath.inf], omega=1)
        integral = near + middle + mpmath.mpf(20) ** (exponent + 1) / -(exponent + 1) - wave
    expected = 2 * (2 * np.pi * lag) ** (-exponent - 1) * float(integral)
    found = PowerLaw(1.0, exponent).structure_function(lag)
    np.testing.assert_allclose(found, expected, rtol=1e-9)


@pytest.mark.parametrize(
    "process",
    [
        VonKarman(2.0, -8 / 3, 0.01),
        VonKarman(2.0, -2.0, 0.03),
        VonKarman(2.0, -3.0, 0.02),
        VonKarman(2.0, -4.0, 0.02),
        WhitePhase(3.0, 0.05),
        FlickerPhase(1.5, 0.01, 0.4),
    ],
)
@pytest.mark.parametrize("lag", [0.5, 10.0, 40.0])
def test_autocovariance_is_the_cosine_transform_of_the_spectrum(process, lag):
    if isinstance(process, FlickerPhase):
        band = (process.low_cutoff, process.high_cutoff)
        value, _ = integrate.quad(
            process.spectrum, *band, weight="cos", wvar=2 * np.pi * lag, epsabs=1e-12
        )
    else:
        value, _ = integrate.quad(
            process.spectrum,
            0,
            np.inf,
            weight="cos",
            wvar=2 * np.pi * lag,
            limlst=500,
            epsabs=1e-8 * float(process.autocovariance(0.0)),
        )
    np.testing.assert_allclose(process.autocovariance(lag), value, rtol=1e-6, atol=1e-8)


@pytest.mark.parametrize("nu", [0.5, 5 / 6, 1.0, 1.3, 1.5, 2.0])
def test_matern_function_agrees_with_forty_digits(nu):
    u = np.array([1e-7, 1e-4, 0.05, 0.7, 1.99, 2.01, 30.0])
    with mpmath.workdps(40):
        order = mpmath.mpf(nu)
        norm = 2 ** (1 - order) / mpmath.gamma(order)
        exact = np.array(
            [float(1 - norm * mpmath.mpf(x) ** order * mpmath.besselk(order, x)) for x in u]
        )
    if nu == 2.0:  # has no series, and is known to rounding of the correlation only
        np.testing.assert_allclose(matern_deficit(nu, u), exact, rtol=0, atol=1e-15)
        return
    one_by_one = np.concatenate([matern_deficit(nu, u[[k]]) for k in range(u.size)])
    np.testing.assert_allclose(matern_deficit(nu, u), exact, rtol=1e-13)
    np.testing.assert_allclose(one_by_one, exact, rtol=1e-13)
    assert matern_deficit(nu, np.array([0.0]))[0] == approx(0.0, abs=1e-16)


def test_von_karman_without_an_outer_scale_is_the_power_law():
    # The Allan deviation does not see the part of D that grows with the square of the lag.
    near, bare = VonKarman(1.0, -8 / 3, 1e-7), PowerLaw(1.0, -8 / 3)
    np.testing.assert_allclose(near.allan_deviation(TAU), bare.allan_deviation(TAU), rtol=1e-5)


def test_first_order_gauss_markov_is_the_exponent_minus_two():
    # exp(-t / correlation time) (common practice, no source).
    process = VonKarman.from_rms(0.3, 500.0, -2.0)
    lag = np.array([0.0, 100.0, 1500.0])
    np.testing.assert_allclose(process.autocovariance(lag), 0.09 * np.exp(-lag / 500), rtol=1e-12)


def test_structure_function_given_is_structure_function_had():
    process = PowerLaw.from_structure_function(4e-6, 100.0, 1.2)
    assert process.exponent == approx(-2.2)
    # Mean index of the tropospheric phase structure function, Armstrong 1996: 1.2.
    found = process.structure_function([100.0, 1000.0])
    np.testing.assert_allclose(found, [4e-6, 4e-6 * 10**1.2], rtol=1e-12)


def test_allan_deviation_given_is_allan_deviation_had():
    process = WhitePhase(1.0, 5.0).with_allan_deviation(3e-14, 60.0)
    assert float(process.allan_deviation(60.0)) == approx(3e-14, rel=1e-12)
    # White phase: 3 times the phase variance over tau squared.
    phase = math.sqrt(process.level * process.bandwidth) / SPEED_OF_LIGHT
    assert math.sqrt(3) * phase / 60 == approx(3e-14, rel=1e-12)


@pytest.mark.parametrize(
    ("exponent", "cutoffs", "named"),
    [
        (0.0, {}, "high_cutoff"),
        (-1.0, {"low_cutoff": 1e-6}, "high_cutoff"),
        (-1.0, {"high_cutoff": 1.0}, "low_cutoff"),
        (-3.0, {}, "low_cutoff"),
        (-4.0, {}, "low_cutoff"),
    ],
)
def test_a_divergent_exponent_says_which_cutoff_it_needs(exponent, cutoffs, named):
    with pytest.raises(InputError, match=f"{named}: the structure function diverges"):
        power_law_process(1.0, exponent, **cutoffs)


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: PowerLaw(1.0, -3.0), "low frequency.*VonKarman"),
        (lambda: PowerLaw(1.0, -1.0), "high frequency.*WhitePhase"),
        (lambda: PowerLaw(-1.0, -2.0), "level"),
        (lambda: PowerLaw(math.nan, -2.0), "level"),
        (lambda: VonKarman(1.0, -0.5, 1e-4), "high frequency"),
        (lambda: VonKarman(1.0, -6.0, 1e-4), "exponent"),
        (lambda: VonKarman(1.0, -2.0, 0.0), "low_cutoff"),
        (lambda: WhitePhase(1.0, 0.0), "bandwidth"),
        (lambda: FlickerPhase(1.0, 2.0, 1.0), "low_cutoff < high_cutoff"),
        (lambda: WhitePhase(-1.0, 1.0), "level"),
        (lambda: power_law_process(1.0, 0.5, high_cutoff=1.0), "SpectrumTable"),
        (lambda: power_law_process(1.0, 0.0, 1e-3, 1.0), "no low cut-off"),
        (lambda: power_law_process(1.0, -2.0, None, 1.0), "converges at high"),
        (lambda: PowerLaw(1.0, -2.0).with_allan_deviation(1e-14, 0.0), "averaging_time"),
        (lambda: PowerLaw(1.0, -2.0).autocovariance(0.0), "diverges at low frequency"),
    ],
)
def test_impossible_processes_are_refused(make, match):
    with pytest.raises(InputError, match=match):
        make()
