"""One-way passes from the scenario to the estimate of the lander's oscillator."""

from dataclasses import replace

import numpy as np
import pytest

import wobble
from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.estimation.tracking_model import PassBiases
from wobble.files.measurement_table import read_passes, write_passes
from wobble.noise.budget import Budget
from wobble.noise.contributions.white import WhiteRangeRate
from wobble.planet.gain_table import GainTable

OSCILLATOR = """
[lander.heron.oscillator]
frequency = "8.4 GHz"
bias = 1e-8
drift = "1e-16 1/s"
epoch = 2031-05-01T00:00:00
"""
NAMES = ("lander.heron.oscillator_bias", "lander.heron.oscillator_drift")
TRUTH = {NAMES[0]: 3e-9, NAMES[1]: 2e-16}
WHITE = Budget((WhiteRangeRate(sigma=1e-4),))


@pytest.fixture(scope="module")
def one_way(short_text, tmp_path_factory):
    text = short_text.replace("[schedule]", '[schedule]\nlink = "one_way"', 1) + OSCILLATOR
    path = tmp_path_factory.mktemp("one_way") / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    campaign = wobble.read_scenario(path)
    parameters = campaign.parameters
    for parameter in parameters.estimated:
        parameters = parameters.with_status(parameter.name, "fixed")
    for name, sigma in zip(NAMES, (1e-7, 1e-14), strict=True):
        parameters = parameters.changed(name, sigma=sigma).with_status(name, "estimated")
    return replace(campaign, parameters=parameters, truth=TRUTH, budget=WHITE)


@pytest.fixture(scope="module")
def tracking(one_way, short_passes):
    return one_way.simulate(short_passes)


def test_a_fit_of_one_way_data_recovers_bias_and_drift(one_way, tracking):
    assert set(tracking.kind) == {"one_way_range_rate"}
    assert set(tracking.frequency) == {8.4e9}
    solution = one_way.fit(tracking)
    for name, start in zip(NAMES, (1e-8, 1e-16), strict=True):
        k = list(solution.names).index(name)
        sigma = solution.sigma_formal[k]
        assert abs(solution.values[k] - (start + TRUTH[name])) < 4.0 * sigma
        assert sigma < 0.05 * TRUTH[name]


def test_the_bias_of_each_pass_is_that_of_the_oscillator_on_the_day(one_way, tracking):
    biased = replace(one_way, biases=PassBiases(one_way_range_rate=1e-3))
    biases = np.random.default_rng(2).normal(0.0, 1e-3, len(list(tracking.passes())))
    value = tracking.value.copy()
    for bias, (_, index) in zip(biases, tracking.passes(), strict=True):
        value[index] += bias
    wandering = replace(tracking, value=value)
    solution = biased.fit(wandering)
    assert solution.n_rejected < 0.01 * len(tracking)
    assert solution.rms["one_way_range_rate_mm_s"] < 0.11
    # The biases of the passes, not the samples, say how well a constant and a drift are known.
    seconds = (tracking.epoch.jd1 - tracking.epoch.jd1[0]) * 86400.0
    mean = [seconds[index].mean() for _, index in tracking.passes()]
    line = np.vander(np.array(mean) - mean[0], 2)
    spread = np.sqrt(np.diag(np.linalg.inv(line.T @ line)))[::-1] * 1e-3 / SPEED_OF_LIGHT
    for k, start in ((0, 1e-8), (1, 1e-16)):
        sigma = solution.sigma_formal[k]
        assert abs(solution.values[k] - (start + TRUTH[NAMES[k]])) < 4.0 * sigma
    assert solution.sigma_formal[1] == pytest.approx(spread[1], rel=0.1)
    name, index = next(tracking.passes())
    assert solution.pass_estimate(f"pass.{name}.one_way_range_rate_bias").sigma > 0.0


STEPS = {
    NAMES[0]: 1e-7,
    NAMES[1]: 1e-14,
    "lander.heron.x": 1e4,
    "station.alder.y": 1e3,
    "station.alder.clock_offset": 10.0,
    "ephemeris.mars.radial": 1e5,
    "ephemeris.mars.transverse": 1e5,
    "ionosphere.content": 5e19,
    "pole.obliquity": 1e-3,
    "spin.annual_cos": 1e-3,
}


@pytest.mark.parametrize("name", STEPS)
def test_derivatives_are_those_of_differences(name, one_way, tracking):
    network = one_way.plan_network
    tags = tracking[tracking.receiver == "alder"][::20]
    computed = network.compute(tags, [name]).partials[:, 0]
    step, value = STEPS[name], network.values[name]
    values = {
        k: network.with_values({name: value + k * step}).compute(tags).value for k in (-2, -1, 1, 2)
    }
    difference = (8 * (values[1] - values[-1]) - (values[2] - values[-2])) / (12 * step)
    error = np.sqrt(np.mean((computed - difference) ** 2) / np.mean(difference**2))
    assert error < 1e-6


def test_the_table_of_passes_keeps_one_way_data(tracking, tmp_path):
    write_passes(tmp_path / "one_way.ecsv", tracking)
    again = read_passes(tmp_path / "one_way.ecsv")
    np.testing.assert_array_equal(again.value, tracking.value)
    np.testing.assert_array_equal(again.kind, tracking.kind)


def test_data_against_another_frequency_are_refused(one_way, tracking):
    other = replace(tracking, frequency=np.full(len(tracking), 8.41e9))
    with pytest.raises(InputError, match="nominal frequency"):
        one_way.plan_network.compute(other[:3])


def test_overlapping_counts_are_refused_with_the_name_of_their_pass(one_way, tracking):
    double = np.where(np.arange(len(tracking)) == 5, 90.0, tracking.count_time)
    data = replace(tracking, count_time=double, meta={**tracking.meta, "source": "march.tdm"})
    with pytest.raises(InputError, match="overlap") as caught:
        one_way.fit(data)
    assert str(tracking.pass_id[5]) in str(caught.value)
    assert "march.tdm" in str(caught.value)


def test_the_sight_of_the_lander_respects_its_terrain(one_way, tracking):
    from wobble.earth.stations import HorizonMask

    network, tags = one_way.plan_network, tracking[:5]
    lander = network.landers["heron"]
    assert not any("lander heron" in text for text in network.compute(tags).warnings)
    walled = replace(lander, mask=HorizonMask.flat(np.radians(89.9)))
    seen = replace(network, landers={**network.landers, "heron": walled}).compute(tags)
    assert any("horizon of lander heron in 5 of 5" in text for text in seen.warnings)


def test_a_measured_pattern_makes_the_edge_of_the_beam_noisier(one_way, tracking):
    from wobble.estimation.tracking_model import pass_geometry
    from wobble.noise.contributions.thermal import LinkThermalPhase

    network, index = one_way.plan_network, np.arange(20)
    budget, lander = Budget((LinkThermalPhase(),)), network.landers["heron"]

    def sigma(fall):
        table = GainTable(np.array([0.0, np.pi]), np.array([15.0, 15.0 - fall]), -60.0)
        antennas = tuple(replace(a, pattern=table) for a in lander.antennas)
        changed = replace(lander, antennas=antennas)
        computed = replace(network, landers={"heron": changed}).compute(tracking[index])
        return budget.sigma(pass_geometry(tracking, computed, index)), computed.off_boresight

    flat, off = sigma(0.0)
    falling, _ = sigma(30.0)
    # Phase noise goes as the root of the power: half the decibels of the loss at that angle.
    decibels = 20.0 * np.log10(falling / flat)
    np.testing.assert_allclose(decibels, 30.0 * off / np.pi, rtol=1e-3)
