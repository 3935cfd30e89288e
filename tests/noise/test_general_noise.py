"""Noise that a scenario gives by a spectrum, Allan deviations or a structure function."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.noise.budget import Budget, PassGeometry, standard_budget
from wobble.noise.budget_table import LinkConditions, allan_deviation
from wobble.noise.contributions.general import (
    AllanDeviations,
    PowerLawSpectrum,
    StructureFunction,
    TabulatedSpectrum,
)
from wobble.scenario.noise_sections import budget_as_toml, read_budget
from wobble.text.toml_section import read_toml

# Without an absolute tolerance: the values are far below the default one of 1e-12.
approx = partial(pytest.approx, rel=1e-6, abs=0.0)

CLOCK = {
    "averaging_times": (1.0, 10.0, 100.0, 1000.0),
    "deviations": (1e-13, 3.2e-14, 1.05e-14, 4e-15),
}
EXAMPLES = [
    PowerLawSpectrum(level=2e-26, exponent=0.0, low_cutoff=1e-6),
    PowerLawSpectrum(level=3e-28, exponent=2.0, high_cutoff=5.0, range_weight=0.0),
    TabulatedSpectrum(frequency=(0.0, 1e-4, 0.1), density=(1e-6, 1e-6, 0.0), range_weight=-1.0),
    AllanDeviations(**CLOCK, uplink_weight=-1.0),
    StructureFunction(value=1e-6, reference_lag=1000.0, low_cutoff=1e-5, uplink_weight=0.7),
]


def a_pass(time, count_time=60.0, kind="range_rate", ways=2, round_trip=1500.0):
    return PassGeometry(np.array(time, float), count_time, kind, 0.7, 1.0, round_trip, 2e11, ways)


def read(text, folder):
    path = folder / "noise.toml"
    path.write_text(text, encoding="utf-8")
    return read_budget(read_toml(path))


@pytest.mark.parametrize("ways", [1, 2, 3])
@pytest.mark.parametrize(
    ("exponent", "cutoff", "variance"),
    [
        # NIST SP 1065, table 3 (sect. 3.6): Allan variance by the levels of S_y.
        (0.0, 0.0, lambda tau: 1.0 / (2.0 * tau)),
        (-1.0, 1e-8, lambda tau: 2.0 * math.log(2.0)),
        (-2.0, 1e-8, lambda tau: 2.0 * math.pi**2 * tau / 3.0),
    ],
)
def test_a_power_law_has_the_published_allan_variance_in_the_received_frequency(
    exponent, cutoff, variance, ways
):
    noise = PowerLawSpectrum(level=4e-26, exponent=exponent, low_cutoff=cutoff)
    times = np.array([60.0, 1000.0])
    found = allan_deviation(Budget((noise,)), LinkConditions(ways=ways), times)
    np.testing.assert_allclose(found**2, [4e-26 * variance(t) for t in times], rtol=2e-3)


def test_white_phase_noise_has_three_quarters_of_its_band():
    # NIST SP 1065, table 3: 3 f_h h_2 / (4 pi^2 tau^2), here with a loop's noise bandwidth.
    noise = PowerLawSpectrum(level=4e-28, exponent=2.0, high_cutoff=5.0)
    found = allan_deviation(Budget((noise,)), LinkConditions(), 60.0)[0]
    assert found**2 == approx(3.0 * 5.0 * 4e-28 / (4.0 * math.pi**2 * 60.0**2))


def test_a_table_of_allan_deviations_is_met_in_the_received_frequency():
    budget = Budget((AllanDeviations(**CLOCK),))
    found = allan_deviation(budget, LinkConditions(), CLOCK["averaging_times"])
    np.testing.assert_allclose(found, CLOCK["deviations"], rtol=0.2)


@pytest.mark.parametrize(("cutoff", "tolerance"), [(0.0, 1e-6), (1e-9, 5e-3)])
def test_a_count_has_the_structure_function_over_its_time(cutoff, tolerance):
    # v = [z(t + T) - z(t)] / (2 T), so that the variance is D(T) / (2 T)^2; of an outer scale
    # some (low_cutoff T)^(1/3) remains.
    noise = StructureFunction(value=1e-6, reference_lag=1000.0, low_cutoff=cutoff)
    found = Budget((noise,)).sigma(a_pass([0.0]))[0]
    assert found == approx(math.sqrt(1e-6 * 0.06 ** (5 / 3)) / 120.0, rel=tolerance)


def test_a_tabulated_spectrum_has_the_variance_of_its_integral():
    # Trapezium of the density: 1e-6 (1e-4 + 0.0999 / 2), a quarter of it two-way.
    noise = TabulatedSpectrum(frequency=(0.0, 1e-4, 0.1), density=(1e-6, 1e-6, 0.0))
    found = Budget((noise,)).sigma(a_pass([0.0], kind="range"))[0]
    assert found**2 == approx(1e-6 * (1e-4 + 0.0999 / 2.0) / 4.0)


def test_legs_at_the_station_cancel_add_or_are_independent():
    def sigma(**given):
        link = {name: given.pop(name) for name in ("ways", "round_trip") if name in given}
        noise = PowerLawSpectrum(level=2e-26, exponent=0.0, **given)
        return Budget((noise,)).sigma(a_pass([0.0], **link))[0]

    alone = sigma()
    # White frequency noise of 2e-26 is 1e-13 at 1 s (SP 1065), and v = c y / 2.
    assert alone == approx(SPEED_OF_LIGHT * 1e-13 / math.sqrt(60.0) / 2.0)
    assert sigma(ways=1) == approx(2.0 * alone)
    assert sigma(uplink_weight=1.0, round_trip=0.0) == approx(2.0 * alone)
    assert sigma(uplink_weight=-1.0, round_trip=0.0) == 0.0
    assert sigma(uplink_weight=-1.0) == approx(math.sqrt(2.0) * alone)
    assert sigma(uplink_weight=-1.0, ways=3, round_trip=0.0) == approx(math.sqrt(2.0) * alone)


def test_a_weight_of_minus_one_turns_the_correlation_of_range_and_range_rate():
    def between(weight):
        noise = StructureFunction(
            value=1e-6, reference_lag=1000.0, low_cutoff=1e-5, range_weight=weight
        )
        passed = a_pass([0.0, -30.0], kind=["range", "range_rate"])
        return Budget((noise,)).covariance(passed)

    neutral, charged = between(1.0), between(-1.0)
    assert neutral[0, 1] > 0
    assert charged[0, 1] == approx(-neutral[0, 1])
    assert between(0.0)[0, 0] == 0.0


@pytest.mark.parametrize("noise", EXAMPLES, ids=lambda noise: noise.name)
@pytest.mark.parametrize("ways", [1, 2, 3])
def test_every_form_gives_a_covariance(noise, ways):
    kinds = ["range_rate", "range", "range_rate", "range_rate", "range"]
    matrix = Budget((noise,)).covariance(a_pass([30, 60, 90, 150, 400], kind=kinds, ways=ways))
    assert np.linalg.eigvalsh(matrix / matrix.max()).min() > -1e-12


def test_a_budget_written_for_a_scenario_is_read_back(tmp_path):
    given = Budget((*EXAMPLES, *standard_budget().contributions))
    assert read(budget_as_toml(given), tmp_path).names == given.names
    again = read(budget_as_toml(given, ["remark"] * len(given.names)), tmp_path)
    np.testing.assert_allclose(
        again.covariance(a_pass([30, 90, 400])), given.covariance(a_pass([30, 90, 400])), rtol=1e-5
    )


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ('"power_law"\nexponent = 0', r"line 1: level: has to be given for.*power_law"),
        ('"power_law"\nlevel = "-1 1/Hz"\nexponent = 0', r"line 3: level.*found -1\.0.*from 0"),
        ('"power_law"\nlevel = "1 1/Hz"\nexponent = -1', "low_cutoff.*diverges at low frequency"),
        ('"power_law"\nlevel = "1 1/Hz"\nexponent = 2', "high_cutoff.*diverges at high frequency"),
        ('"power_law"\nlevel = "1 1/Hz"\nexponent = 1.5', "line 4: exponent.*no closed form"),
        (
            '"tabulated_spectrum"\nfrequency = ["1 Hz", "2 Hz"]\ndensity = ["1 m2/Hz", "-1 m2/Hz"]',
            r"line 4: density.*entries \[1\].*no negative density",
        ),
        ('"tabulated_spectrum"\nfrequency = ["1 Hz"]', "density: has to be given"),
        ('"allan_deviations"\naveraging_times = ["1 s"]\ndeviations = [true]', "not a number"),
        ('"allan_deviations"\naveraging_times = ["1 s"]\ndeviations = [-1]', "all positive"),
        (
            '"allan_deviations"\naveraging_times = ["1 s", "9 s"]\ndeviations = [1e-13, 1e-11]',
            "line 4: deviations: no sum of standard processes",
        ),
        (
            '"structure_function"\nvalue = "1 m2"\nreference_lag = "1 s"\nexponent = 2.5',
            "line 5: exponent.*2.5.*between 0 and 2",
        ),
        ('"structure_function"\nvalue = "1 s"', "line 3: .*does not convert to m2"),
    ],
)
def test_impossible_noise_in_a_scenario_is_refused_with_its_line(text, match, tmp_path):
    with pytest.raises(InputError, match=match):
        read(f"[[noise]]\ncontribution = {text}\n", tmp_path)


def test_two_downlinks_in_a_scenario_take_the_plasma_from_the_downlink(tmp_path):
    second = 'second_downlink_frequency = "32 GHz"'
    texts = [f'[[noise]]\ncontribution = "solar_plasma"\n{more}\n' for more in ("", second)]
    one, two = (read(text, tmp_path).sigma(a_pass([0.0]))[0] for text in texts)
    # Independent legs with the squares of the wavelengths: up over both.
    up = (8.42 / 7.17) ** 2
    assert two / one == approx(up / math.hypot(1.0, up), rel=0.05)


def test_ranges_say_which_cut_off_the_power_law_needs():
    noise = PowerLawSpectrum(level=2e-26, exponent=0.0)
    with pytest.raises(InputError, match="low_cutoff"):
        Budget((noise,)).covariance(a_pass([0.0], kind="range"))
