"""Fits that find what was put into the data: clocks, wet delays, and three stations' ways."""

from dataclasses import replace

import numpy as np
import pytest

import wobble
from wobble.estimation.parameters import Parameter, ParameterSet
from wobble.estimation.tracking_model import PassBiases
from wobble.planet.parameter_units import unit_of

TRUTH = """
"station.alder.clock_offset" = "4 ms"
"station.broom.zenith_wet_delay" = "150 mm"
"""
A_PRIORI = """
"station.alder.clock_offset" = "50 ms"
"station.broom.zenith_wet_delay" = "500 mm"
"""
ESTIMATED = ("station.alder.clock_offset", "station.broom.zenith_wet_delay")


@pytest.fixture(scope="module")
def campaign(short_text, tmp_path_factory):
    names = ", ".join(f'"{name}"' for name in ESTIMATED)
    text = (
        short_text.replace('"core.*", "lander', f'{names}, "core.*", "lander')
        .replace("[estimate.a_priori]", f"[estimate.a_priori]{A_PRIORI}")
        .replace("[truth]", f"[truth]{TRUTH}")
    )
    assert text.count("clock_offset") == 3
    path = tmp_path_factory.mktemp("hardware") / "campaign.toml"
    path.write_text(text, encoding="utf-8")
    return wobble.read_scenario(path)


def test_a_fit_finds_the_clock_and_the_wet_delay_of_the_truth(campaign, short_passes):
    tracking = campaign.simulate(short_passes)
    solution = campaign.fit(tracking)
    for name in ESTIMATED:
        i = solution.names.index(name)
        error = solution.values[i] - tracking.meta["truth"][name]
        sigma = solution.sigma_realistic[i]
        assert abs(error) < 4.0 * sigma, name
        # The injected value is significant: a fit that left it at zero would not pass.
        assert sigma < abs(tracking.meta["truth"][name]) / 5.0, name
    assert solution[ESTIMATED[0]].unit == "ns"


def test_a_considered_wet_delay_widens_the_estimates(campaign, short_passes):
    parameters = campaign.parameters.with_status(ESTIMATED[1], "considered")
    considering = replace(campaign, parameters=parameters)
    solution = considering.fit(campaign.simulate(short_passes))
    effects = dict(zip(solution.names, solution.consider_effects[:, 0], strict=True))
    assert abs(effects["lander.heron.z"]) > 0


def three_way(short_campaign, short_passes):
    """Passes that alder receives; in every second one a neighbour transmits."""
    alder = short_campaign.stations[0]
    # Some 300 km away, on the same side of the Earth.
    east = alder.horizon[0] * 3e5
    place = alder.position + east
    place *= np.linalg.norm(alder.position) / np.linalg.norm(place)
    aspen = replace(alder, name="aspen", position=place)
    campaign = replace(short_campaign, stations=(*short_campaign.stations, aspen))
    tags = short_passes.tags(campaign.rule, campaign.frequency)
    tags = tags[tags.receiver == "alder"]
    odd = np.array([int(name[-1]) % 2 == 1 for name in tags.pass_id])
    assert 0 < odd.sum() < len(odd)
    return campaign, replace(tags, transmitter=np.where(odd, "aspen", "alder"))


def test_a_fit_of_three_way_data_finds_the_offset_between_the_clocks(short_campaign, short_passes):
    campaign, tags = three_way(short_campaign, short_passes)
    name, truth = "station.aspen.clock_offset", 2.5e-7
    lander = {"lander.heron.x": 30.0, "lander.heron.y": -20.0}
    known = campaign.plan_network.values
    step = {name: truth} | {n: known[n] + d for n, d in lander.items()}
    rng = np.random.default_rng(5)
    sigma = np.where(tags.kind == "range", 1.0, 3e-5)
    value = campaign.plan_network.with_values(step).compute(tags).value
    data = replace(
        tags,
        value=value + sigma * rng.standard_normal(len(tags)),
        sigma=sigma,
        meta={"simulated": True},
    )
    parameters = _parameters(campaign, name, "lander.heron.[xyz]")
    fitting = replace(campaign, parameters=parameters, biases=PassBiases(), budget=None)
    solution = fitting.fit(data)
    i = solution.names.index(name)
    # c/2 times the offset is 37 m in each three-way range: 1 m of noise over the root of their
    # number gives some nanoseconds.
    assert solution.sigma_formal[i] < 3e-9
    assert abs(solution.values[i] - truth) < 4.0 * solution.sigma_formal[i]
    j = solution.names.index("lander.heron.x")
    assert abs(solution.values[j] - step["lander.heron.x"]) < 4.0 * solution.sigma_formal[j]


def _parameters(campaign, *names):
    """All parameters of the campaign's network, of which only these are estimated."""
    values = campaign.plan_network.values
    fixed = [
        Parameter(n, unit_of(n).user, v, status="fixed", source="test") for n, v in values.items()
    ]
    parameters = ParameterSet(fixed)
    for name in names:
        parameters = parameters.with_status(name, "estimated")
    return parameters
