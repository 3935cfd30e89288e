"""Frequencies and range units against closed forms and numerical quadrature."""

from fractions import Fraction

import astropy.units as u
import numpy as np
import pytest
import scene
from differences import central_difference, changed_link, rms
from scipy.integrate import quad

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError, UnknownNameError
from wobble.link.bands import band_of, range_units_per_cycle, turnaround_ratio
from wobble.link.frequency import (
    Ramps,
    doppler_partials,
    doppler_shift,
    range_units,
    received_frequency,
)

XX = Fraction(880, 749)
BASE = 7.18e9


@pytest.fixture(scope="module")
def rates():
    return scene.two_way().range_rate(scene.visible_tags(10, seed=31), 60.0)


def whole_span(frequency=BASE):
    start, stop = (Epochs.of([s], scale="tt") for s in (6.2e8, 7.2e8))
    return Ramps.constant(frequency, start, stop)


def ramps_around(epoch, *, length=400.0, jump=0.0, n=40):
    """Ramps of several rates around an epoch; continuous but for a jump at each joint."""
    rates = np.where(np.arange(n) % 3 == 0, 0.6, -1.3)
    steps = rates * length + jump
    frequencies = BASE + np.concatenate([[0.0], np.cumsum(steps)[:-1]])
    starts = epoch.seconds[0] + length * (np.arange(n) - n // 2)
    stop = Epochs.of([starts[-1] + length], scale="tt")
    return Ramps(Epochs.of(starts, 0.25, "tt"), stop, frequencies, rates)


# ------------------------------------------------------------------- bands


def test_turnaround_ratios_are_those_of_the_standard():
    # CCSDS 401.0-B.
    assert turnaround_ratio("X", "X") == Fraction(880, 749)
    assert turnaround_ratio("S", "S") == Fraction(240, 221)
    assert turnaround_ratio("S", "X") == Fraction(880, 221)
    assert turnaround_ratio("X", "Ka") == Fraction(3344, 749)
    assert turnaround_ratio("Ka", "Ka") == Fraction(3360, 3599)
    # 3599 : 749 : 221 are the uplinks' multiples of one frequency, 880 and 240 the downlinks'.
    for up, multiple in (("S", 221), ("X", 749), ("Ka", 3599)):
        assert turnaround_ratio(up, "X") * multiple == 880


def test_a_band_without_a_ratio_is_refused():
    with pytest.raises(InputError, match="S to Ka"):
        turnaround_ratio("S", "Ka")
    with pytest.raises(UnknownNameError, match="band"):
        turnaround_ratio("X", "Q")
    with pytest.raises(InputError, match="range unit"):
        range_units_per_cycle("Ka")


def test_frequencies_lie_in_their_bands():
    assert [band_of(f) for f in (2.11e9, 7.18e9, 8.43e9, 34.3e9)] == ["S", "X", "X", "Ka"]
    with pytest.raises(InputError, match=r"5\.000000 GHz"):
        band_of(5e9)


# ------------------------------------------------------------------- ramps


def test_cycles_are_the_integral_of_the_frequency():
    origin = Epochs.of([6.5e8], scale="tt")
    ramps = ramps_around(origin, jump=37.0)
    begin = origin.shift([-1234.567])
    for interval in (10.0, 350.0, 2500.0, 5000.0):
        frequency, seconds, beyond = ramps.cycles(begin, interval)

        def deviation(t, base=frequency[0]):
            return float(ramps.at(begin.shift([t]))[0] - base)

        joints = ramps.starts.minus(begin)
        inside = joints[(joints > 0) & (joints < interval)]
        exact, _ = quad(deviation, 0.0, interval, points=inside, epsabs=1e-4, limit=200)
        assert seconds[0] == interval
        assert beyond[0] == pytest.approx(exact, abs=1e-2)


def test_ramps_that_do_not_cover_the_transmission_are_refused(rates):
    late = Epochs.of([6.7e8], scale="tt")
    with pytest.raises(EpochRangeError, match="ramps do not cover") as caught:
        received_frequency(rates, Ramps.constant(BASE, late, late.shift([1e5])), XX)
    assert caught.value.outside.sum() > 0


def test_ramps_out_of_order_are_refused():
    starts = Epochs.of([6.5e8, 6.4e8], scale="tt")
    stop = Epochs.of([6.6e8], scale="tt")
    with pytest.raises(InputError, match="follow one another"):
        Ramps(starts, stop, np.full(2, BASE), np.zeros(2))
    with pytest.raises(InputError, match="follow one another"):
        Ramps.constant(BASE, stop, Epochs.of([6.5e8], scale="tt"))
    with pytest.raises(InputError, match="positive"):
        whole_span(-1.0)


# ------------------------------------------------------------------- Doppler


def test_a_constant_uplink_comes_back_shifted_by_twice_the_range_rate(rates):
    # f_R = M f_T (1 - 2 v/c).
    shift = doppler_shift(rates, whole_span(), XX)
    expected = -float(XX) * BASE * 2.0 * rates.value / SPEED_OF_LIGHT
    np.testing.assert_allclose(shift, expected, rtol=1e-15)
    received = received_frequency(rates, whole_span(), XX)
    np.testing.assert_allclose(received - float(XX) * BASE, shift, atol=3e-6)


def begin_of_transmission(rate):
    """TT."""
    return rate.link.transmitter.earth.tt(rate.begin.sent.epochs)


def one_rate(k):
    return scene.two_way().range_rate(scene.visible_tags(10, seed=31)[k : k + 1], 60.0)


@pytest.mark.parametrize("k", [0, 4, 9])
def test_a_ramped_uplink_is_integrated_over_the_interval_of_transmission(k):
    one = one_rate(k)
    sent = begin_of_transmission(one)
    ramps = ramps_around(sent, length=17.0, n=600)
    interval = 60.0 * (1.0 - 2.0 * one.value[0] / SPEED_OF_LIGHT)

    def deviation(t):
        return float(ramps.at(sent.shift([t]))[0] - BASE)

    integral, _ = quad(deviation, 0.0, interval, limit=500)
    expected = float(XX) * (BASE * interval + integral) / 60.0
    assert received_frequency(one, ramps, XX)[0] == pytest.approx(expected, abs=1e-3)


def test_a_ramp_that_follows_the_doppler_keeps_the_received_frequency(rates):
    # What ramps are for: an uplink that grows as 1 + 2 v/c arrives constant.
    one = one_rate(4)
    sent = begin_of_transmission(one)
    stretch = 1.0 - 2.0 * one.value[0] / SPEED_OF_LIGHT
    tuned = Ramps.constant(BASE / stretch, sent.shift([-1e4]), sent.shift([1e4]))
    assert received_frequency(one, tuned, XX)[0] == pytest.approx(float(XX) * BASE, abs=1e-5)


def test_a_shift_may_be_measured_to_another_reference(rates):
    to_own = doppler_shift(rates, whole_span(), XX)
    to_other = doppler_shift(rates, whole_span(), XX, reference=whole_span(BASE - 1000.0))
    np.testing.assert_allclose(to_other - to_own, float(XX) * 1000.0, rtol=1e-9)


PARAMETERS = {
    "lander.ridge.x": 1e4,
    "pole.obliquity": 1e-3,
    "station.plateau.y": 1e3,
    "station.plateau.zenith_wet_delay": 1e3,
    "ionosphere.content": 1e21,
    # An offset of the clock moves the time tags, and the received frequency by a hertz a second.
    "station.plateau.clock_offset": 10.0,
}


@pytest.mark.parametrize("to", ["uplink", "another"])
@pytest.mark.parametrize("name", PARAMETERS)
def test_derivatives_of_a_ramped_shift_are_those_of_differences(name, to):
    tags, station = scene.visible_tags(10, seed=31)[4:5], scene.station()
    tags = tags + 120.0 * np.arange(5) * u.s
    start, stop = (Epochs.from_time(tags[k] + h * u.hour, "tt") for k, h in ((0, -3), (-1, 3)))
    uplink = Ramps(start.shift([0.0]), stop, np.array([BASE]), np.array([0.6]))
    other = Ramps(start.shift([0.0]), stop, np.array([BASE + 1e3]), np.array([-1.3]))
    reference = {"uplink": None, "another": other}[to]

    def rate(step):
        link = changed_link(name, step, len(tags), scene.lander(), station, station)
        return link.range_rate(tags, 60.0)

    computed = doppler_partials(rate(0.0), uplink, XX, [name], reference)
    assert set(computed) == {name}
    expected = central_difference(
        lambda step: doppler_shift(rate(step), uplink, XX, reference), PARAMETERS[name]
    )
    assert rms(computed[name] - expected) < 1e-6 * rms(expected)


# ------------------------------------------------------------------- range units


def test_range_units_of_a_constant_uplink():
    tags = scene.visible_tags(10, seed=31)
    computed = scene.two_way().range(tags)
    units = range_units(computed, whole_span(), "X")
    interval = 2.0 * computed.value / SPEED_OF_LIGHT
    np.testing.assert_allclose(units, interval * BASE * 221 / 1498, rtol=1e-15)
    # A unit is 0.944 ns of round trip in X band, 14 cm of one-way range.
    one = computed.value / units
    np.testing.assert_allclose(one, 0.1415, atol=2e-4)
    code = range_units(computed, whole_span(), "X", modulus=2.0**20)
    assert np.all((code >= 0.0) & (code < 2.0**20))
    turns = (units - code) / 2.0**20
    np.testing.assert_allclose(turns, np.round(turns), atol=1e-9)


def test_the_same_uplink_cut_into_ramps_gives_the_same_units():
    tags = scene.visible_tags(10, seed=31)[:1]
    computed = scene.two_way().range(tags)
    sent = scene.station().earth.tt(computed.trip.sent.epochs)
    n = 300
    starts = Epochs.of(sent.seconds[0] + 50.0 * np.arange(-10, n - 10), 0.0, "tt")
    cut = Ramps(starts, starts[-1:].shift([50.0]), np.full(n, BASE), np.zeros(n))
    np.testing.assert_allclose(
        range_units(computed, cut, "X"), range_units(computed, whole_span(), "X"), rtol=1e-15
    )


def test_a_modulus_that_is_not_positive_is_refused():
    computed = scene.two_way().range(scene.visible_tags(10, seed=31)[:1])
    with pytest.raises(InputError, match="modulus"):
        range_units(computed, whole_span(), "X", modulus=0.0)
