"""Optical delays against the test cases of the IERS Conventions 2010, chapter 9, and against
the refractive index of air (Ciddor 1996, Appl. Opt. 35, 1566)."""

import numpy as np
import pytest

from wobble.earth.optical_refraction import (
    optical_delay,
    optical_mapping,
    zenith_hydrostatic_delay,
    zenith_nonhydrostatic_delay,
)
from wobble.earth.weather import water_vapour_pressure
from wobble.errors import InputError

LATITUDE = np.radians(30.67166667)
GREEN = 0.532e-6


def test_zenith_delays_match_the_iers_test_case():
    # Routine FCULZD_HPA. Its header prints a height of 2010.344 m; its outputs belong to
    # 2003.344 m, which reproduces both parts at once.
    height = 2003.344
    hydrostatic = zenith_hydrostatic_delay(798.4188, LATITUDE, height, GREEN)
    wet = zenith_nonhydrostatic_delay(14.322, LATITUDE, height, GREEN)
    assert hydrostatic == pytest.approx(1.932992176591644462, abs=1e-11)
    assert wet == pytest.approx(0.002233748255158703871, abs=5e-10)
    assert hydrostatic + wet == pytest.approx(1.935225924846803114, abs=5e-10)


def test_mapping_function_matches_the_iers_test_case():
    # Routine FCUL_A.
    mapping = optical_mapping(np.radians(15.0), LATITUDE, 2075.0, 300.15)
    assert mapping == pytest.approx(3.800243667312344087, abs=1e-13)


def group_refractivity(phase_refractivity, wavelength_um):
    """N - lambda dN/dlambda by central difference."""
    step = 1e-4
    slope = phase_refractivity(wavelength_um + step) - phase_refractivity(wavelength_um - step)
    return phase_refractivity(wavelength_um) - wavelength_um * slope / (2.0 * step)


def dry_air(wavelength_um):
    # Ciddor 1996, eq. 1: dry air at 15 degrees Celsius, 1013.25 hPa, 450 ppm; from memory.
    s = wavelength_um**-2.0
    return (5_792_105.0 / (238.0185 - s) + 167_917.0 / (57.362 - s)) * 1e-8


def vapour(wavelength_um):
    # Ciddor 1996, eq. 3: water vapour at 20 degrees Celsius and 1333 Pa; from memory.
    s = wavelength_um**-2.0
    return 1.022e-8 * (295.235 + 2.6422 * s - 0.032380 * s**2 + 0.004028 * s**3)


@pytest.mark.parametrize("wavelength_um", [0.355, 0.4235, 0.532, 0.6943, 0.8, 1.064])
def test_dispersion_is_that_of_the_group_refractivity_of_air(wavelength_um):
    wavelength = wavelength_um * 1e-6
    colours = zenith_hydrostatic_delay(900.0, 0.5, 0.0, np.array([wavelength, GREEN]))
    expected = group_refractivity(dry_air, wavelength_um) / group_refractivity(dry_air, 0.532)
    assert colours[0] / colours[1] == pytest.approx(expected, rel=2e-7)
    # Vapour replaces dry air of the same pressure: adding the dry part back isolates vapour.
    wet = zenith_nonhydrostatic_delay(10.0, 0.5, 0.0, np.array([wavelength, GREEN]))
    dry_replaced = (
        3.759e-4
        / 0.002416579
        * zenith_hydrostatic_delay(1000.0, 0.5, 0.0, np.array([wavelength, GREEN]))
        * 10.0
        / 1000.0
    )
    alone = wet + dry_replaced
    expected = group_refractivity(vapour, wavelength_um) / group_refractivity(vapour, 0.532)
    assert alone[0] / alone[1] == pytest.approx(expected, rel=2e-6)


def test_hydrostatic_zenith_delay_is_the_weight_of_air_times_its_refractivity():
    # (n - 1) P T of Ciddor's air and the gas law give K R / (M g_m) P, with gravity at the
    # centre of the air column 9.784 m/s^2 times the gravity factor (Davis et al. 1985).
    per_pascal = group_refractivity(dry_air, 0.532) * 288.15 / 101_325.0
    expected = per_pascal * 8.314462618 / (28.9635e-3 * 9.784) * 90_000.0
    delay = zenith_hydrostatic_delay(900.0, np.radians(45.0), 0.0, GREEN)
    assert delay == pytest.approx(expected, rel=5e-4)


def test_delay_is_zenith_delay_times_mapping():
    elevation = np.radians(np.array([15.0, 40.0, 90.0]))
    delay = optical_delay(elevation, LATITUDE, 2075.0, 800.0, 288.15, 40.0, GREEN)
    e = water_vapour_pressure(40.0, 288.15, 800.0)
    zenith = zenith_hydrostatic_delay(800.0, LATITUDE, 2075.0, GREEN) + zenith_nonhydrostatic_delay(
        e, LATITUDE, 2075.0, GREEN
    )
    mapping = optical_mapping(elevation, LATITUDE, 2075.0, 288.15)
    np.testing.assert_allclose(delay, zenith * mapping, rtol=1e-15)
    assert mapping[2] == pytest.approx(1.0, abs=1e-14)


@pytest.mark.parametrize("wavelength", [354.7e-9, 1064.2e-9, 1.0645e-6])
def test_laser_lines_in_use_are_accepted(wavelength):
    assert 2.0 < zenith_hydrostatic_delay(900.0, LATITUDE, 0.0, wavelength) < 2.4


@pytest.mark.parametrize("wavelength", [0.532, 532.0, 300e-9, 1.55e-6])
def test_wavelengths_outside_the_model_are_refused(wavelength):
    with pytest.raises(InputError) as caught:
        optical_delay(0.5, LATITUDE, 0.0, 900.0, 290.0, 50.0, wavelength)
    assert caught.value.field == "wavelength_m"


def test_low_elevations_and_celsius_are_refused():
    with pytest.raises(InputError, match="elevation"):
        optical_delay(np.radians(2.0), LATITUDE, 0.0, 900.0, 290.0, 50.0, GREEN)
    with pytest.raises(InputError, match="temperature_k"):
        optical_mapping(0.5, LATITUDE, 0.0, 20.0)
