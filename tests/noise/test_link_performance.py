"""The link equation against numbers that are common knowledge of the trade."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest

from wobble.constants import ASTRONOMICAL_UNIT
from wobble.noise.link_performance import (
    LinkPerformance,
    decibel_ratio,
    dish_gain,
    pattern_loss,
)
from wobble.planet.gain_table import GainTable

# Without an absolute tolerance: the values are far below the default one of 1e-12.
approx = partial(pytest.approx, rel=1e-6, abs=0.0)


def decibels(ratio):
    return 10 * math.log10(float(ratio))


def test_a_34_m_antenna_has_its_published_gain():
    # 810-005, module 104: 68.2 dBi at 8.42 GHz for 34 m beam-waveguide (from memory).
    assert decibels(dish_gain(34.0, 0.71, 8.42e9)) == approx(68.2, abs=0.4)


def test_link_budget_adds_up_by_hand():
    # Power 7.0 dBW, gains 15 and 68.0 dB, losses 2.0 and 0.04 dB, path over 1 au 274.4 dB,
    # noise 10 log10(k 30 K) = -213.8 dBW/Hz (free-space loss 20 log10(4 pi d / lambda)).
    found = LinkPerformance().carrier_to_noise_density(ASTRONOMICAL_UNIT, math.pi / 2, 0.0)
    assert decibels(found) == approx(7.0 + 15 + 68.0 - 2.04 - 274.4 + 213.8, abs=0.2)


def test_half_power_is_at_half_the_width_and_side_lobes_end_the_fall():
    loss = pattern_loss(np.radians([0, 15, 30, 170]), math.radians(30), 20.0)
    np.testing.assert_allclose(loss, [0, 3, 12, 20])


def test_more_atmosphere_is_hotter():
    # 1 - 10^(-0.004) of 275 K is 2.5 K at zenith: one airmass more adds about as much.
    link = LinkPerformance()
    assert link.system_temperature(math.pi / 2) == approx(30.0)
    assert link.system_temperature(math.radians(30)) == approx(32.5, abs=0.1)


def test_decibels_are_ratios_of_power():
    np.testing.assert_allclose(decibel_ratio([0, 3.0103, -10]), [1, 2, 0.1], rtol=1e-5)


def test_a_measured_pattern_takes_the_place_of_the_parabola():
    # A table of the parabola itself, 12 (theta / width)^2 dB down, gives the same.
    hardware = LinkPerformance()
    angle = np.radians(np.linspace(0.0, 30.0, 301))
    gain = hardware.lander_gain_dbi - 12.0 * (angle / hardware.beam_width) ** 2
    off = np.radians([0.0, 7.0, 21.0])
    conditions = (2e11, np.radians(40.0), off)
    measured = hardware.carrier_to_noise_density(*conditions, GainTable(angle, gain, 0.0).at(off))
    np.testing.assert_allclose(measured, hardware.carrier_to_noise_density(*conditions), rtol=1e-5)
