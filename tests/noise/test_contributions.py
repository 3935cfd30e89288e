"""Contributions against published levels, and their signs and factors on the legs."""

from __future__ import annotations

import math
from dataclasses import fields
from functools import partial

import numpy as np
import pytest
from astropy import units

from wobble.constants import ASTRONOMICAL_UNIT, SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.noise.budget import Budget
from wobble.noise.budget_table import LinkConditions, allan_deviation
from wobble.noise.contributions.clocks import FrequencyStandard, LanderOscillator, Transponder
from wobble.noise.contributions.general import GeneralNoise
from wobble.noise.contributions.ionosphere import Ionosphere, shell_obliquity
from wobble.noise.contributions.mechanics import AntennaMechanics, LanderPhaseCentre
from wobble.noise.contributions.ranging import RangeCalibration, RangeThermal
from wobble.noise.contributions.registry import CONTRIBUTIONS
from wobble.noise.contributions.solar_plasma import (
    SolarPlasma,
    plasma_allan_deviation,
    plasma_free_combination,
)
from wobble.noise.contributions.thermal import (
    LinkThermalPhase,
    ThermalPhase,
    TransponderThermal,
)
from wobble.noise.contributions.troposphere import DryTroposphere, WetTroposphere
from wobble.noise.contributions.white import NumericalNoise, WhiteRangeRate
from wobble.noise.geometry import PassGeometry, tropospheric_mapping

# Without an absolute tolerance: the values are far below the default one of 1e-12.
approx = partial(pytest.approx, rel=1e-6, abs=0.0)

GENERAL = [name for name, kind in CONTRIBUTIONS.items() if issubclass(kind, GeneralNoise)]
FAR = 2.5 * ASTRONOMICAL_UNIT


def a_pass(time, count_time=60.0, kind="range_rate", **changes):
    columns = {
        "elevation": math.radians(40),
        "sun_angle": math.pi / 2,
        "round_trip": 2 * FAR / SPEED_OF_LIGHT,
        "distance": FAR,
    }
    return PassGeometry(np.array(time, float), count_time, kind, **{**columns, **changes})


def sigma(contribution, **changes):
    return float(Budget((contribution,)).sigma(a_pass([0.0], **changes))[0])


@pytest.mark.parametrize("name", CONTRIBUTIONS)
def test_every_contribution_declares_its_parameters_with_si_units(name):
    kind = CONTRIBUTIONS[name]
    assert kind.__doc__
    for f in fields(kind):
        assert f.metadata["meaning"], f.name
        unit = units.Unit(f.metadata["unit"])
        assert unit.decompose().scale == 1.0, f.name
        assert isinstance(f.default, float) or f.metadata["is_list"], f.name


@pytest.mark.parametrize("name", [n for n in CONTRIBUTIONS if n not in GENERAL])
@pytest.mark.parametrize("ways", [1, 2, 3])
def test_every_contribution_gives_a_covariance_for_each_kind_of_link(name, ways):
    kinds = ["range_rate", "range", "range_rate", "range_rate", "range"]
    passed = a_pass([30, 60, 90, 150, 400], kind=kinds, ways=ways, transmit_elevation=0.4)
    matrix = Budget((CONTRIBUTIONS[name](),)).covariance(passed)
    values = np.linalg.eigvalsh(matrix / max(matrix.max(), 1e-300))
    np.testing.assert_array_equal(matrix, matrix.T)
    assert values.min() > -1e-12
    silent = {1: {"transponder", "transponder_thermal"}}.get(ways, {"lander_oscillator"})
    assert (matrix.max() > 0) == (name not in silent)


def test_thermal_noise_of_the_carrier_is_that_of_the_handbook():
    # 810-005, module 202: sigma_v = c / (2 sqrt(2) pi f T) sqrt(1 / rho_L) (from memory);
    # 6.7e-6 m/s at 8.4 GHz, 60 s and 20 dB.
    contribution = ThermalPhase(
        carrier_to_noise_density_db=30.0, loop_bandwidth=10.0, downlink_frequency=8.4e9
    )
    assert sigma(contribution) == approx(6.7e-6, rel=0.005)
    assert sigma(contribution, count_time=600.0) == approx(6.7e-7, rel=0.005)
    assert sigma(contribution, ways=1) == approx(2 * sigma(contribution))


def test_thermal_noise_of_two_carriers_is_that_of_their_combination():
    second = 32.0e9
    both = ThermalPhase(second_downlink_frequency=second, second_carrier_to_noise_density_db=25.0)
    weight, rest = plasma_free_combination(8.42e9, second)
    alone = sigma(ThermalPhase())
    other = sigma(ThermalPhase(downlink_frequency=second, carrier_to_noise_density_db=25.0))
    assert sigma(both) == approx(math.hypot(weight * alone, rest * other))


def test_a_pass_at_the_edge_of_the_beam_is_noisier():
    contribution = LinkThermalPhase(beam_width=math.radians(30))
    middle, edge = sigma(contribution), sigma(contribution, off_boresight=math.radians(15))
    assert edge / middle == approx(10 ** (3 / 20), rel=1e-9)
    assert sigma(contribution, distance=2 * FAR) == approx(2 * middle)
    assert sigma(contribution, elevation=math.radians(10)) > 1.1 * middle


def test_link_and_given_density_agree_where_the_link_has_that_density():
    link = LinkThermalPhase()
    density = float(link.carrier_to_noise_density(FAR, math.radians(40), 0.0))
    given = ThermalPhase(carrier_to_noise_density_db=10 * math.log10(density))
    assert sigma(link) == approx(sigma(given), rel=1e-9)


@pytest.mark.parametrize(
    ("angle_deg", "published"),
    [
        # Iess et al. 2014, Acta Astronaut. 94, 699 (from memory): the law up to 90 degrees.
        (10, 1.76e-14 * 32.03 + 6.25e-14 * 0.9003),
        (30, 1.76e-14 * 3.945 + 6.25e-14 * 0.9593),
        (90, 8.01e-14),
    ],
)
def test_plasma_has_the_published_allan_deviation_at_1000_s(angle_deg, published):
    angle = math.radians(angle_deg)
    assert float(plasma_allan_deviation(angle)) == approx(published, rel=1e-3)
    # The legs are independent only if they are far apart; within the solar system their
    # correlation shifts the deviation, which the law, fitted to all distances, has averaged.
    for distance, tolerance in ((100 * ASTRONOMICAL_UNIT, 0.01), (FAR, 0.2)):
        conditions = LinkConditions(sun_angle=angle, distance=distance)
        found = allan_deviation(Budget((SolarPlasma(),)), conditions, 1000.0)[0]
        assert found == approx(published, rel=tolerance)


def test_plasma_far_from_the_sun_is_that_of_the_other_published_table():
    # Armstrong 2006, Living Rev. Relativ. 9, 1, table 2: about 3e-14 for X band at 1000 s and
    # more than 150 degrees from the Sun (from memory).
    found = plasma_allan_deviation(np.radians([150, 160, 175]))
    assert np.all((found > 2.5e-14) & (found < 4.5e-14))


def test_plasma_falls_off_as_the_sixth_root_of_the_averaging_time():
    # Woo & Armstrong 1979, J. Geophys. Res. 84, 7288 (from memory); outer scale and second
    # leg out of the way.
    conditions = LinkConditions(distance=50 * ASTRONOMICAL_UNIT)
    budget = Budget((SolarPlasma(low_cutoff=1e-8),))
    found = allan_deviation(budget, conditions, [10.0, 100.0, 1000.0])
    np.testing.assert_allclose(found[:-1] / found[1:], 10 ** (1 / 6), rtol=1e-3)


def test_plasma_has_the_spectral_index_that_was_measured():
    # Molera Calves et al. 2014, Astron. Astrophys. 564, A4: phase spectra at X band, 0 to 45
    # degrees from the Sun, fall as the frequency to the power -2.42 +- 0.25.
    (term,) = SolarPlasma().terms(a_pass([0.0], sun_angle=math.radians(20)).points)
    low, high = term.process.spectrum(np.array([0.01, 1.0]))
    assert math.log10(high / low) / 2.0 == approx(-2.42, abs=0.25)


def test_plasma_scales_with_the_square_of_the_wavelength():
    # (880/240)^2 = 13.44 from S to X band (CCSDS 401.0-B ratios).
    x = SolarPlasma(uplink_frequency=7.2e9, downlink_frequency=8.4e9)
    s = SolarPlasma(uplink_frequency=7.2e9 * 240 / 880, downlink_frequency=8.4e9 * 240 / 880)
    assert sigma(s) / sigma(x) == approx(13.44, rel=1e-3)


def test_plasma_correlates_the_legs_at_the_round_trip():
    budget = Budget((SolarPlasma(),))
    lag = 2 * FAR / SPEED_OF_LIGHT

    def between(shift):
        c = budget.covariance(a_pass([30.0, 30.0 + shift]))
        return c[0, 1] / c[0, 0]

    near = between(lag)
    assert near > 1.5 * max(between(lag - 300), between(lag + 300))
    # Independent of the correlation that the process keeps anyway: product of the weights.
    up = (8.42 / 7.17) ** 2
    assert near == approx(up / (1 + up**2), abs=0.12)


def test_plasma_near_the_sun_is_met_where_the_ray_passes_it():
    # At 10 degrees the screen is cos(10 deg) au away: the lag shrinks by twice that light time.
    (term,) = SolarPlasma().terms(a_pass([0.0], sun_angle=math.radians(10)).points)
    expected = 2 * (FAR - ASTRONOMICAL_UNIT * math.cos(math.radians(10))) / SPEED_OF_LIGHT
    assert term.legs[1].lag == approx(expected)


@pytest.mark.parametrize("contribution", [SolarPlasma(), Ionosphere()])
def test_charged_media_delay_the_range_and_advance_the_phase(contribution):
    kinds = ["range", "range_rate"]
    c = Budget((contribution,)).covariance(a_pass([0.0, -30.0], kind=kinds))
    assert c[0, 1] < 0
    neutral = Budget((WetTroposphere(),)).covariance(a_pass([0.0, -30.0], kind=kinds))
    assert neutral[0, 1] > 0


def test_a_second_downlink_removes_the_plasma_of_the_downlink_only():
    up = (8.42 / 7.17) ** 2
    left = sigma(SolarPlasma(second_downlink_frequency=32e9))
    assert left / sigma(SolarPlasma()) == approx(up / math.hypot(1, up), rel=0.03)
    assert sigma(SolarPlasma(second_downlink_frequency=32e9), ways=1) == 0.0
    weights = plasma_free_combination(8.42e9, 32e9)
    assert sum(weights) == approx(1.0)
    assert weights[0] / 8.42e9**2 + weights[1] / 32e9**2 == approx(0.0, abs=1e-30)


def test_a_second_downlink_removes_the_ionosphere_of_the_downlink_only():
    # Legs through one content with gains 1/f^2, both at one time: (up + down) and up alone.
    up = (8.42 / 7.17) ** 2
    both = sigma(Ionosphere(), kind="range", round_trip=0.0)
    left = sigma(Ionosphere(second_downlink_frequency=32e9), kind="range", round_trip=0.0)
    assert left / both == approx(up / (1.0 + up), rel=1e-6)
    assert sigma(Ionosphere(second_downlink_frequency=32e9), kind="range", ways=1) == 0.0


def test_ionospheric_range_error_is_the_standard_constant():
    # 5.71 mm per 1e16 el/m^2 at 8.4 GHz, one way, at zenith (40.31 TEC / f^2, from memory).
    contribution = Ionosphere(vertical_content=1e16, downlink_frequency=8.4e9)
    found = sigma(contribution, kind="range", ways=1, elevation=math.pi / 2)
    assert found == approx(5.71e-3, rel=1e-3)
    assert shell_obliquity(math.radians(10), 450e3) == approx(2.5, rel=0.1)


def test_troposphere_is_mapped_to_the_elevation_of_each_leg():
    contribution = DryTroposphere(pressure_error=100.0)
    high = sigma(contribution, kind="range", elevation=math.pi / 2)
    # Saastamoinen 1972: 2.3 mm of zenith delay per hPa.
    assert high == approx(2.28e-3, rel=0.01)
    low = sigma(contribution, kind="range", elevation=math.radians(20))
    assert low / high == approx(tropospheric_mapping(math.radians(20)), rel=1e-2)
    up = sigma(
        contribution, kind="range", elevation=math.pi / 2, transmit_elevation=math.radians(20)
    )
    assert up == approx((high + low) / 2, rel=1e-3)


def test_a_constant_zenith_error_enters_the_range_rate_through_the_turning_mapping():
    contribution = WetTroposphere(allan_deviation=0.0, zenith_error=0.03)
    elevation = np.radians([20.0, 20.2, 20.4])
    passed = a_pass([0, 60, 120], elevation=elevation, round_trip=0.0)
    found = Budget((contribution,)).sigma(passed)[1]
    ends = tropospheric_mapping(np.radians([20.1, 20.3]))
    assert found == approx(0.03 * abs(ends[1] - ends[0]) / 60, rel=1e-6)


def test_wet_troposphere_is_as_published_and_calibration_leaves_a_part():
    # Armstrong 2006, table 2: 3e-15 to 3e-14 at 1000 s (from memory).
    conditions = LinkConditions(elevation=math.radians(60), distance=FAR)
    found = allan_deviation(Budget((WetTroposphere(),)), conditions, 1000.0)[0]
    assert 3e-15 < found < 3e-14
    calibrated = allan_deviation(Budget((WetTroposphere(residual=0.25),)), conditions, 1000.0)[0]
    assert calibrated == approx(0.25 * found)


def test_noise_of_the_clock_slower_than_the_round_trip_cancels():
    # Armstrong 2006, sect. 4: z(t) - z(t - T2).
    budget = Budget((FrequencyStandard(),))
    near = sigma(FrequencyStandard(), round_trip=1e-3, distance=150e3)
    assert near < 0.01 * sigma(FrequencyStandard())
    two = allan_deviation(budget, LinkConditions(distance=FAR), 1000.0)[0]
    # Two independent readings of the maser on either side of the round trip.
    own = math.hypot(2e-14 / math.sqrt(1000), 6e-16)
    assert two == approx(math.sqrt(2) * own, rel=0.15)
    three = allan_deviation(budget, LinkConditions(distance=150e3, ways=3), 1000.0)[0]
    assert three == approx(math.sqrt(2) * own, rel=0.05)


def test_antenna_motion_is_seen_by_both_legs():
    # Armstrong 2006, table 2: 2e-15 at 1000 s (from memory).
    budget = Budget((AntennaMechanics(),))
    assert allan_deviation(budget, LinkConditions(distance=FAR), 1000.0)[0] == approx(
        2e-15, rel=0.1
    )
    # With no round trip both legs move alike, and the one-way path moves by all of it.
    near = sigma(AntennaMechanics(), round_trip=0.0)
    assert near == approx(math.sqrt(2) * sigma(AntennaMechanics()), rel=0.05)


def test_transponder_has_its_required_level():
    # Kosov et al. 2019: 0.02 mm/s at 60 s.
    assert sigma(Transponder()) == approx(2e-5)
    assert sigma(Transponder(), count_time=240.0) == approx(1e-5)
    assert sigma(TransponderThermal(), count_time=600.0) == approx(sigma(TransponderThermal()) / 10)


def test_one_way_hears_the_oscillator_of_the_lander():
    found = allan_deviation(Budget((LanderOscillator(),)), LinkConditions(ways=1), 1.0)[0]
    assert found == approx(math.hypot(1e-12, 1e-13), rel=1e-3)


def test_lander_moves_with_the_day():
    passed = a_pass([0.0, 88775.244 / 2, 88775.244], kind="range")
    c = Budget((LanderPhaseCentre(amplitude=2e-3),)).covariance(passed)
    np.testing.assert_allclose(c[0], [2e-6, -2e-6, 2e-6], rtol=1e-6)


def test_range_noise_is_that_of_the_ranging_formula():
    # c / (f sqrt(32 pi^2 T P/N0)) (common practice, 810-005 module 214 from memory).
    contribution = RangeThermal(
        ranging_power_to_noise_density_db=10.0, clock_frequency=1e6, integration_time=100.0
    )
    expected = SPEED_OF_LIGHT / (1e6 * math.sqrt(32 * math.pi**2 * 100.0 * 10.0))
    assert sigma(contribution, kind="range") == approx(expected)
    assert sigma(contribution) == 0.0


def test_range_calibration_is_common_to_a_pass():
    c = Budget((RangeCalibration(range_error=0.5),)).covariance(a_pass([0, 9], kind="range"))
    np.testing.assert_allclose(c, 0.25)


def test_white_levels_scale_with_the_count():
    assert sigma(WhiteRangeRate(sigma=5e-5), count_time=240.0) == approx(2.5e-5)
    assert sigma(NumericalNoise(range_rate=1e-7), count_time=6.0) == approx(1e-6)


def test_scale_multiplies_the_standard_deviation():
    assert sigma(SolarPlasma(scale=3.0)) == approx(3 * sigma(SolarPlasma()))
    assert sigma(WhiteRangeRate(scale=3.0)) == approx(3 * sigma(WhiteRangeRate()))


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda: SolarPlasma(downlink_frequency=-1.0), "solar_plasma.*-1.0.*1e.06"),
        (lambda: WetTroposphere(zenith_error=math.nan), "zenith_error.*wet_troposphere"),
        (lambda: WetTroposphere(zenith_error="3 cm"), "zenith_error.*'3 cm'"),
        (lambda: Transponder(scale=-1.0), "scale"),
        (lambda: plasma_free_combination(8e9, 8e9), "one frequency"),
    ],
)
def test_impossible_parameters_are_refused(make, match):
    with pytest.raises(InputError, match=match):
        make()
