"""One-way frequencies against the down leg's own change and against the sizes of relativity."""

from dataclasses import replace

import astropy.units as u
import numpy as np
import pytest
import scene
from differences import ENLARGED, STEPS, central_difference, changed_link, full_link, rms

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.link.delays import GravitationalDelay, Ionosphere
from wobble.link.observables import OneWayLink
from wobble.planet.oscillator import Oscillator

NOMINAL = 8.4e9


@pytest.fixture(scope="module")
def tags():
    return scene.visible_tags(20, seed=41)


def link_of(bias=0.0, drift=0.0, delays=(), lander=None):
    oscillator = Oscillator(NOMINAL, 6.5e8, bias, drift)
    return OneWayLink(lander or scene.lander(), scene.station(), oscillator, delays)


def down_rates(tags, count, delays=()):
    """Change of the down leg over the count, from two solved ranges, m/s."""
    half = count / 2.0 * u.s
    lengths = []
    for sign in (-1, 1):
        trip = scene.two_way(delays).range(tags + sign * half).trip
        lengths.append(trip.down.distance + SPEED_OF_LIGHT * trip.delays[-1])
    return (lengths[1] - lengths[0]) / count


def test_the_range_rate_is_that_of_the_down_leg_and_the_clocks(tags):
    gravity = [GravitationalDelay(scene.lander().ephemeris, ["sun"])]
    measured = link_of(delays=gravity).range_rate(tags, 600.0).value
    clocks = measured - down_rates(tags, 600.0, gravity)
    # Station: d(TDB - TT)/dt below 5e-10, 0.15 m/s. Lander: L_B - U/c^2 - v^2/2c^2 = 1.55e-8
    # - 0.65e-8 - 0.32e-8 - 0.014e-8 at the mean distance, 1.7 m/s, and by the eccentricity of
    # 0.093 and vis viva a tenth of 2 x 0.65e-8 more or less, 0.4 m/s.
    assert np.all((clocks < -1.7 + 0.6) & (clocks > -1.7 - 0.6))
    assert np.ptp(clocks) > 0.4


def test_short_counts_are_free_of_numerical_noise(tags):
    # The mean over 60 s from six counts of 10 s; two subtracted ranges keep 3e-6 m/s of it.
    link = link_of()
    whole = link.range_rate(tags, 60.0).value
    offsets = (np.arange(6) - 2.5) * 10.0 * u.s
    parts = [link.range_rate(tags + offset, 10.0).value for offset in offsets]
    assert np.abs(np.mean(parts, axis=0) - whole).max() < 2e-10


def test_bias_and_drift_are_those_of_the_oscillator(tags):
    plain = link_of().range_rate(tags, 60.0)
    biased = link_of(bias=1e-9).range_rate(tags, 60.0)
    np.testing.assert_allclose(biased.frequency - plain.frequency, 1e-9 * NOMINAL, rtol=2e-4)
    drifting = link_of(drift=1e-16).range_rate(tags, 60.0)
    age = plain.begin.sent.epochs.since_j2000 + 30.0 - 6.5e8
    np.testing.assert_allclose(
        drifting.frequency - plain.frequency, 1e-16 * NOMINAL * age, rtol=2e-4
    )


def test_the_lander_of_a_lower_place_runs_slower(tags):
    # GM/c^2 dr/r^2 for 100 km: 4.1e-12; the turning changes the speed by v dv/c^2, 2e-12 at most.
    lander = scene.lander()
    low, high = (
        replace(lander, lander=lander.lander.moved(lander.lander.position * factor))
        for factor in (1.0, 1.0 + 100e3 / 3.39e6)
    )
    one, other = (link_of(lander=end) for end in (low, high))
    rates = [
        link.lander._clock_rate(link.lander.at(Epochs.of(6.5e8 + 3600.0 * np.arange(24))))
        for link in (one, other)
    ]
    assert np.mean(rates[1] - rates[0]) == pytest.approx(4.1e-12, abs=0.4e-12)


OWN = {"lander.ridge.oscillator_bias": 1e-6, "lander.ridge.oscillator_drift": 1e-14}
# An offset of the clock moves the time tags: as in the tests of the two-way clocks.
CLOCK = {"station.plateau.clock_offset": 10.0}
ON_THE_WAY_DOWN = {name: h for name, h in STEPS.items() if name != "station.plateau.delay"}


def full_downlink(n, name, step):
    """Every delay in the link, an oscillator that drifts, one parameter changed."""
    base = replace(scene.lander(), body=scene.mars().with_rotation(ENLARGED.get(name, {})))
    station = scene.station()
    if name in CLOCK or name in OWN:
        two_way = full_link(n, station, station, lander=base)
    else:
        two_way = changed_link(name, step, n, base, station, station)
    receiver = two_way.receiver.changed(clock_offset=step if name in CLOCK else 0.0)
    own = {"bias": 1e-8, "drift": 1e-15}
    bias, drift = (value + step * name.endswith(k) for k, value in own.items())
    oscillator = Oscillator(NOMINAL, 6.5e8, bias, drift)
    return OneWayLink(two_way.lander, receiver, oscillator, two_way.delays)


def range_size(name, tags):
    """rms of the derivative of the downlink's length, m; zero by what has none."""
    link = full_downlink(len(tags), name, 0.0)
    path = link.range_rate(tags, 60.0).begin
    return rms(link.partials(path, {name}, of_phase=True).get(name, np.zeros(1)))


@pytest.mark.parametrize("count", [1.0, 60.0, 1000.0])
@pytest.mark.parametrize("name", ON_THE_WAY_DOWN | OWN | CLOCK)
def test_partial_derivatives_agree_with_central_differences(tags, name, count):
    h = (ON_THE_WAY_DOWN | OWN | CLOCK)[name]

    def rate(step):
        return full_downlink(len(tags), name, step).range_rate(tags, count)

    analytic, numerical = (
        rate(0.0).partials([name])[name],
        central_difference(lambda step: rate(step).value, h),
    )
    # The rule by which two-way range rates are judged; an offset of the planet, whose
    # derivative is no daily one, by itself.
    turning = 0.0 if name.startswith("ephemeris") else 7.3e-5 * range_size(name, tags)
    assert rms(analytic - numerical) < 1e-6 * max(rms(numerical), turning)


def test_electrons_raise_the_frequency_while_they_thicken(tags):
    n, station = len(tags), scene.station()
    frequency = np.full(n, NOMINAL)
    medium = Ionosphere(station, station, 1e18, frequency, frequency)
    with_medium = link_of(delays=[medium]).range_rate(tags, 60.0).frequency
    effect = with_medium - link_of().range_rate(tags, 60.0).frequency
    trip = scene.two_way()
    growth = [medium.group(trip.range(tags + sign * 30.0 * u.s).trip.down) for sign in (-1, 1)]
    expected = NOMINAL * (growth[1] - growth[0]) / 60.0
    np.testing.assert_allclose(effect, expected, atol=3e-6)
    assert np.abs(expected).max() > 1e-4


@pytest.mark.parametrize("count", [0.0, -60.0, np.nan, 7200.0])
def test_a_count_time_that_is_not_positive_or_too_long_is_refused(tags, count):
    with pytest.raises(InputError, match="count_time"):
        link_of().range_rate(tags, count)
