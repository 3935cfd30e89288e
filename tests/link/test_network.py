"""The network: every parameter that it names acts, and its derivative is the right one."""

from dataclasses import replace

import numpy as np
import pytest

from wobble.errors import UnknownNameError

STEPS = {
    "station.alder.x": 10.0,
    "station.alder.y": 10.0,
    "station.alder.z": 10.0,
    "ephemeris.mars.radial": 1e3,
    "ephemeris.mars.transverse": 1e3,
    "ephemeris.mars.normal": 1e3,
    "ionosphere.content": 5e16,
    "lander.heron.z": 100.0,
    "pole.obliquity": 1e-6,
}


@pytest.fixture(scope="module")
def network(short_campaign):
    # Without the neutral air, whose change with a displacement the derivatives leave out.
    whole = short_campaign.plan_network
    return replace(whole, media=replace(whole.media, troposphere="none"))


@pytest.fixture(scope="module")
def tags(short_campaign, short_passes):
    tags = short_passes.tags(short_campaign.rule, short_campaign.frequency)
    return tags[(tags.receiver == "alder")][::7]


@pytest.mark.parametrize("name", STEPS)
def test_derivatives_are_those_of_differences(name, network, tags):
    step, value = STEPS[name], network.values[name]
    computed = network.compute(tags, [name]).partials[:, 0]
    later, earlier = (
        network.with_values({name: value + sign * step}).compute(tags).value for sign in (1, -1)
    )
    difference = (later - earlier) / (2.0 * step)
    for kind, rounding in (("range", 6e-5), ("range_rate", 3e-11)):
        of_kind = tags.kind == kind
        assert np.abs(difference[of_kind]).max() > 0
        size = np.abs(computed[of_kind]).max()
        # What the derivatives leave out is at most 1e-5 of them (see `range_partials`).
        np.testing.assert_allclose(
            difference[of_kind], computed[of_kind], rtol=0, atol=2e-5 * size + rounding / step
        )


def test_all_named_values_can_be_set_and_read_back(network):
    values = network.values
    other = {name: value * (1 + 1e-9) + 1e-12 for name, value in values.items()}
    assert network.with_values(other).values == pytest.approx(other, rel=1e-15)


def test_an_unknown_parameter_is_refused(network):
    with pytest.raises(UnknownNameError, match=r"perhaps 'ephemeris\.mars\.radial'"):
        network.with_values({"ephemeris.mars.radia": 1.0})


def test_parts_of_a_table_are_computed_as_the_whole(network, tags):
    whole = network.compute(tags).value
    parts = [network.compute(tags[i : i + 5]).value for i in range(0, len(tags), 5)]
    np.testing.assert_allclose(np.concatenate(parts), whole, rtol=1e-15)
