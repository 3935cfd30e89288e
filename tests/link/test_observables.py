"""Range and range rate against an independent formulation, and derivatives against differences."""

from dataclasses import replace

import astropy.units as u
import erfa
import moyer_range
import numpy as np
import pytest
import scene
from astropy.time import Time
from differences import (
    DOWN,
    ENLARGED,
    STEPS,
    UP,
    central_difference,
    changed_link,
    full_link,
    rms,
)

from wobble.constants import SPEED_OF_LIGHT
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.link import blocks
from wobble.link.count import Boundaries
from wobble.link.delays import (
    GravitationalDelay,
    Ionosphere,
    RadioTroposphere,
    SolarCorona,
    Weather,
)
from wobble.link.observables import Link
from wobble.link.plasma import SPHERICAL_CORONA

J2000 = 2451545.0


def epochs_of(t, scale):
    return Epochs.of((t[0] - J2000) * 86400.0, t[1] * 86400.0, scale)


def test_range_agrees_with_an_independent_implementation_to_a_millimetre():
    # Moyer 2000; ten stations, ten epochs, the Sun's delay, the tides and the daily Earth
    # orientation given, everything else written anew (moyer_range.py).
    mars = scene.mars()
    values = mars.orientation.values
    independent_mars = moyer_range.Mars(
        {n: v for n, v in values.items() if "polar" in n or n == "spin.acceleration"}
    )
    lander = scene.lander()

    def fixed(t):
        tide = mars.tidal_displacement(
            lander.lander.position, lander.ephemeris, epochs_of(t, "tdb")
        )
        return lander.lander.position + tide[0]

    generator = np.random.default_rng(5)
    differences = []
    for day in generator.integers(1, scene.DAYS - 1, 10):
        earth = scene.near_earth(day, day + 1)
        longitude, latitude = generator.uniform(-180, 180), generator.uniform(-70, 70)
        station = scene.station_at("somewhere", longitude, latitude, earth=earth)

        def itrf(t, station=station):
            epochs = epochs_of(t, "tt")
            return (station.station.itrf(epochs) + station.tides.value(epochs))[0]

        def orientation(t, orientation=earth.orientation):
            epochs = epochs_of(t, "tt")
            x, y, _ = orientation.celestial_pole.value(epochs)[0]
            theory = erfa.xys06a(*t)
            return (*orientation.spin_and_pole.value(epochs)[0], x - theory[0], y - theory[1])

        tag = scene.later(np.array([day + generator.uniform(0.2, 0.8)]))
        link = Link(station, lander, station, [GravitationalDelay(lander.ephemeris, ["sun"])])
        theirs = moyer_range.two_way_range(tag[0], itrf, orientation, independent_mars, fixed)
        differences.append(link.range(tag).value[0] - theirs)
    assert np.abs(differences).max() < 1e-3


# ------------------------------------------------------------------- partials

THREE_WAY = {f"station.{place}.{axis}": 500.0 for place in ("plateau", "shore") for axis in "xyz"}


@pytest.fixture(scope="module")
def tags():
    return scene.visible_tags(20, seed=3)


def errors_of_partials(name, h, base, transmitter, receiver, tags):
    """Of range and range rate, relative, with every delay in the link."""

    def link(step):
        return changed_link(name, step, len(tags), base, transmitter, receiver)

    range_now, rate_now = link(0.0).range(tags), link(0.0).range_rate(tags, 60.0)
    range_part, rate_part = (now.partials([name])[name] for now in (range_now, rate_now))
    range_error = range_part - central_difference(lambda x: link(x).range(tags).value, h)
    rate_error = rate_part - central_difference(lambda x: link(x).range_rate(tags, 60.0).value, h)
    # What shifts all ranges alike hardly shows in a range rate: errors there are measured by
    # the change that a turning planet makes, 7.3e-5/s of the derivative of the range.
    rate_scale = max(rms(rate_part), 7.3e-5 * rms(range_part))
    return rms(range_error) / rms(range_part), rms(rate_error) / rate_scale


@pytest.mark.parametrize("name", STEPS)
def test_partial_derivatives_agree_with_central_differences(tags, name):
    station = scene.station()
    base = replace(scene.lander(), body=scene.mars().with_rotation(ENLARGED.get(name, {})))
    errors = errors_of_partials(name, STEPS[name], base, station, station, tags)
    assert max(errors) < 1e-6


@pytest.mark.parametrize("name", THREE_WAY)
def test_three_way_partial_derivatives_agree_with_central_differences(tags, name):
    ends = scene.lander(), scene.station(), scene.shore()
    errors = errors_of_partials(name, THREE_WAY[name], *ends, tags)
    assert max(errors) < 1e-6


# ------------------------------------------------------------------- events and tags


def test_a_range_tagged_at_transmission_is_the_one_tagged_at_reception(tags):
    link = scene.two_way([GravitationalDelay(scene.lander().ephemeris, ["sun"])])
    received = link.range(tags)
    sent_tt = link.transmitter.reading(received.trip.sent)
    sent = link.range(sent_tt.to_time().utc, at_reception=False)
    # A time tag resolves 1e-11 s.
    assert np.abs(received.trip.received.epochs.minus(sent.trip.received.epochs)).max() < 3e-11
    assert np.abs(received.value - sent.value).max() < 3e-4


def test_the_range_is_read_on_the_clock_of_the_station(tags):
    # TDB - TT with the place's terms from SOFA's routine dtdb (Fairhead & Bretagnon 1990; the
    # place's terms, Moyer 1981, are good to some nanoseconds there).
    link = scene.two_way()
    computed = link.range(tags)
    longitude, _, _ = link.receiver.station.geodetic
    x, y, z = link.receiver.station.position / 1e3

    def tdb_minus_tt(event):
        day, part = event.epochs.julian_date
        ut = (part + 0.5) % 1.0
        return erfa.dtdb(day, part, ut, longitude, np.hypot(x, y), z)

    trip = computed.trip
    change = tdb_minus_tt(trip.received) - tdb_minus_tt(trip.sent)
    in_tdb = SPEED_OF_LIGHT * trip.light_time / 2.0
    assert np.abs(in_tdb - computed.value).max() > 20.0
    assert np.abs(in_tdb - computed.value - SPEED_OF_LIGHT * change / 2.0).max() < 0.5


def test_a_clock_that_is_ahead_lengthens_a_three_way_range_by_half():
    tags = scene.visible_tags(3, seed=8)
    ends = scene.station(), scene.lander(), scene.shore()
    plain = Link(*ends).range(tags)
    ahead = Link(*ends, clock_offsets={"shore": 1e-6}).range(tags)
    moved = -1e-6 * Link(*ends).instantaneous_range_rate(tags).value
    expected = 0.5e-6 * SPEED_OF_LIGHT + moved
    np.testing.assert_allclose(ahead.value - plain.value, expected, atol=3e-4)


# ------------------------------------------------------------------- range rate


@pytest.mark.parametrize("count", [1.0, 60.0, 600.0])
def test_the_range_rate_is_the_change_of_the_range_over_the_count(tags, count):
    link = full_link(len(tags), scene.station(), scene.station(), lander=scene.lander())
    link = replace(link, delays=link.delays[:4])  # the dispersive ones have another sign
    before, after = (link.range(tags + s * count / 2 * u.s).value for s in (-1, 1))
    # Ranges are rounded to some 0.05 mm.
    difference = (after - before) / count
    assert rms(link.range_rate(tags, count).value - difference) < 1.5e-4 / count


def test_the_instantaneous_range_rate_is_the_limit_of_short_counts(tags):
    link = scene.two_way()
    instant = link.instantaneous_range_rate(tags).value
    # The mean over a count differs by a 24th of the square of the count times the third
    # derivative of the range, the largest part of which is the Earth's turning: 2.5e-6 m/s^3.
    for count, limit in ((1.0, 1.2e-7), (10.0, 1.2e-5)):
        assert np.abs(link.range_rate(tags, count).value - instant).max() < limit


def test_electrons_lengthen_a_range_and_shorten_the_path_of_the_phase(tags):
    n = len(tags)
    bare, station = scene.two_way(), scene.station()
    up, down = np.full(n, UP), np.full(n, DOWN)
    for medium in (
        Ionosphere(station, station, 1e18, up, down),
        SolarCorona(scene.lander().ephemeris, SPHERICAL_CORONA, 1.0, up, down),
    ):
        link = replace(bare, delays=[medium])
        assert np.all(link.range(tags).value > bare.range(tags).value)
        hour = 1800.0 * u.s
        growth = [link.range(t).value - bare.range(t).value for t in (tags - hour, tags + hour)]
        by_range = (growth[1] - growth[0]) / 3600.0
        by_phase = link.range_rate(tags, 3600.0).value - bare.range_rate(tags, 3600.0).value
        assert rms(by_phase + by_range) < 1e-7
        assert rms(by_phase) > 1e-6


def test_a_count_may_be_given_for_each_measurement(tags):
    link = scene.two_way()
    counts = np.linspace(1.0, 600.0, len(tags))
    together = link.range_rate(tags, counts).value
    for k in (0, len(tags) - 1):
        alone = link.range_rate(tags[k : k + 1], counts[k]).value
        assert abs(together[k] - alone[0]) < 1e-11


@pytest.mark.parametrize("count", [0.0, -60.0, np.nan, 7200.0])
def test_a_count_time_that_is_not_positive_or_too_long_is_refused(tags, count):
    with pytest.raises(InputError, match="count_time"):
        scene.two_way().range_rate(tags, count)


# ------------------------------------------------------------------- contiguous counts


def contiguous(tag, n):
    """Middles of n counts of 60 s, one after the other."""
    return tag + 60.0 * np.arange(n) * u.s


def test_contiguous_counts_share_the_paths_between_them_and_change_nothing(tags):
    passes = [contiguous(tag, 6) for tag in tags[:3]]
    together = Time(
        np.concatenate([p.jd1 for p in passes]),
        np.concatenate([p.jd2 for p in passes]),
        format="jd",
        scale="utc",
    )
    names = ["pole.precession_rate", "lander.ridge.x", "station.plateau.z", "corona.scale"]

    def rates(t):
        link = full_link(len(t), scene.station(), scene.station(), lander=scene.lander())
        return link.range_rate(t, 60.0)

    shared, alone = rates(together), [rates(together[k : k + 1]) for k in range(18)]
    assert len(shared.boundaries.epochs) == 3 * 7
    assert np.abs(shared.value - np.concatenate([one.value for one in alone])).max() < 1e-11
    by_name = shared.partials(names)
    for name in names:
        expected = np.concatenate([one.partials([name])[name] for one in alone])
        # A time tag resolves 1e-11 s: the paths begin so much earlier or later.
        np.testing.assert_allclose(by_name[name], expected, rtol=1e-9, atol=0)


def test_counts_with_other_conditions_have_paths_of_their_own(tags):
    station, lander = scene.station(), scene.lander()
    pressure = np.array([900.0, 900.0, 905.0, 905.0, np.nan, np.nan])
    weather = Weather(pressure, np.full(6, 290.0), np.full(6, np.nan))
    link = Link(station, lander, station, [RadioTroposphere(station, station, weather)])
    rate = link.range_rate(contiguous(tags[0], 6), 60.0)
    np.testing.assert_array_equal(rate.boundaries.begin, [0, 1, 3, 4, 6, 7])
    np.testing.assert_array_equal(rate.boundaries.count, [0, 1, 1, 2, 3, 3, 4, 5, 5])


@pytest.mark.parametrize("gap", [0.5e-9, 2e-9, 1.0, -1.0])
def test_counts_meet_when_a_nanosecond_is_not_between_them(gap):
    middle = Epochs.of([6e8, 6e8 + 60.0, 6e8 + 150.0], [0.25, 0.25 + gap, 0.25 + gap])
    length = np.array([60.0, 60.0, 120.0])
    at = Boundaries.of(middle, length, np.zeros(1, bool))
    meet = abs(gap) < 1e-9
    assert len(at.epochs) == (4 if meet else 5)
    np.testing.assert_allclose(at.epochs[at.begin].minus(middle), -length / 2, atol=1e-13)
    np.testing.assert_allclose(at.epochs[at.end].minus(middle), length / 2, atol=1e-9)


# ------------------------------------------------------------------- blocks and sight


def test_blocks_change_nothing(tags, monkeypatch):
    link = full_link(len(tags), scene.station(), scene.station(), lander=scene.lander())
    names = ["pole.obliquity", "lander.ridge.x", "station.plateau.zenith_wet_delay", "corona.scale"]
    whole = link.range(tags), link.range_rate(tags, 60.0)
    monkeypatch.setattr(blocks, "BLOCK", 7)
    cut = link.range(tags), link.range_rate(tags, 60.0)
    for one, other in zip(whole, cut, strict=True):
        np.testing.assert_array_equal(one.value, other.value)
        partials = one.partials(names), other.partials(names)
        for name in names:
            np.testing.assert_array_equal(partials[0][name], partials[1][name])


def test_no_tags_give_no_observables():
    none = scene.visible_tags(3, seed=8)[:0]
    assert scene.two_way().range(none).value.shape == (0,)
    assert scene.two_way().range_rate(none, 60.0).value.shape == (0,)


def test_a_hidden_end_is_named_in_the_warnings(tags):
    link = scene.two_way()
    seen = link.range(tags)
    assert not any("station" in text for text in seen.warnings)
    half_a_day_on = link.range(tags + 0.5 * u.day)
    assert any("station plateau at reception" in text for text in half_a_day_on.warnings)
    everywhere = link.range(scene.later(np.linspace(100.0, 101.0, 24)))
    assert any("lander ridge" in text for text in everywhere.warnings)
    assert link.range_rate(tags + 0.5 * u.day, 60.0).warnings


def test_air_below_three_degrees_is_named_in_the_warnings(tags):
    link = scene.two_way([RadioTroposphere(*[scene.station()] * 2, Weather.unknown(len(tags)))])
    assert not link.range(tags).warnings or "air" not in " ".join(link.range(tags).warnings)
    low = link.range(tags + 0.5 * u.day).warnings
    assert any("air of station plateau at reception is that of 3 deg" in text for text in low)
