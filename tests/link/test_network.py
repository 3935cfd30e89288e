"""The network: every parameter that it names acts, and its derivative is the right one."""

from dataclasses import replace

import astropy.units as u
import numpy as np
import pytest

from wobble.errors import InputError, UnknownNameError

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
    return short_campaign.plan_network


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
        np.testing.assert_allclose(
            difference[of_kind], computed[of_kind], rtol=0, atol=1e-6 * size + rounding / step
        )


HARDWARE = {
    "station.alder.clock_offset": 0.5,
    "station.alder.delay": 1e-3,
    "station.broom.clock_offset": 0.5,
    "station.broom.delay": 1e-3,
    "lander.heron.transponder_delay": 1e-3,
}
EARTH_RATE = 7.292e-5


@pytest.mark.parametrize("transmitter", ["alder", "broom"])
@pytest.mark.parametrize("name", HARDWARE)
def test_derivatives_by_hardware_are_those_of_differences(name, transmitter, network, tags):
    tags = replace(tags, transmitter=np.full(len(tags), transmitter))
    step = HARDWARE[name]
    computed = network.compute(tags, [name]).partials[:, 0]
    later, earlier = (
        network.with_values({name: network.values[name] + sign * step}).compute(tags).value
        for sign in (1, -1)
    )
    difference = (later - earlier) / (2.0 * step)
    if "broom" in name and transmitter == "alder":
        assert not difference.any()
        assert not computed.any()
        return
    ranges = tags.kind == "range"
    size, clock = np.abs(computed[ranges]).max(), name.endswith("clock_offset")
    assert size > 1e3
    error = np.abs(difference - computed)
    assert error[ranges].max() < 1e-6 * size + 6e-5 / step
    # What shifts all ranges alike hardly shows in a range rate: as the Earth turns, by this much.
    rate_size = max(np.abs(computed[~ranges]).max(), 0.0 if clock else EARTH_RATE * size)
    assert error[~ranges].max() < 1e-6 * rate_size + 3e-11 / step


def test_the_derivative_by_the_wet_zenith_delay_is_that_of_differences(short_campaign, tags):
    network, name = short_campaign.plan_network, "station.alder.zenith_wet_delay"
    computed = network.compute(tags, [name]).partials[:, 0]
    later, earlier = (
        network.with_values({name: step}).compute(tags).value for step in (10.0, -10.0)
    )
    for kind in ("range", "range_rate"):
        here = tags.kind == kind
        size = np.abs(computed[here]).max()
        assert size > 0
        error = np.abs((later - earlier) / 20.0 - computed)[here].max()
        # Ten metres more move the instant of the other leg, by 1e-5 of itself.
        assert error < 1e-6 * size + (6e-6 if kind == "range" else 1e-9)


def test_half_of_a_stations_delay_counts_on_either_way(network, tags):
    # Two-way the whole of it, three-way half of each, as c times the delay over two.
    two_way = network.compute(tags).value
    with_delay = network.with_values({"station.alder.delay": 2e-6}).compute(tags).value
    ranges = tags.kind == "range"
    np.testing.assert_allclose((with_delay - two_way)[ranges], 299.792458, rtol=1e-4)
    three = replace(tags, transmitter=np.full(len(tags), "broom"))
    changed = network.with_values({"station.alder.delay": 2e-6}).compute(three).value
    difference = (changed - network.compute(three).value)[ranges]
    np.testing.assert_allclose(difference, 299.792458 / 2, rtol=1e-4)


def test_axes_that_do_not_meet_shorten_the_range(network, tags):
    # -2 m cos(elevation) on each way, so as much in a one-way range.
    stations = dict(network.stations)
    stations["alder"] = stations["alder"].changed(axis_offset=2.0)
    moved, plain = replace(network, stations=stations).compute(tags), network.compute(tags)
    ranges = tags.kind == "range"
    expected = -np.cos(plain.elevation) - np.cos(plain.transmit_elevation)
    np.testing.assert_allclose((moved.value - plain.value)[ranges], expected[ranges], atol=2e-4)


def test_hidden_ends_are_named_with_their_measurements(short_campaign, tags):
    network = short_campaign.plan_network
    assert not [text for text in network.compute(tags).warnings if "station" in text]
    late = replace(tags, epoch=tags.epoch + 0.5 * u.day)
    warnings = network.compute(late).warnings
    assert any(
        text.startswith("range of heron from alder: ") and "horizon of station alder" in text
        for text in warnings
    )
    assert any("air of station alder" in text for text in warnings)


def test_media_that_no_sky_has_are_named(network, tags):
    warnings = network.with_values({"ionosphere.content": -1e16}).compute(tags).warnings
    assert any(text.startswith("ionosphere.content of -1e+16 1/m2") for text in warnings)


def test_coordinates_that_do_not_hold_over_the_span_are_refused(short_campaign):
    first, *others = short_campaign.stations
    jumping = replace(first, valid=(2020.0, 2031.4))
    with pytest.raises(InputError, match=r"station alder.*within 2020\.0000 to 2031\.4000"):
        _ = replace(short_campaign, stations=(jumping, *others)).plan_network


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
