"""Events of station and lander: against differences, the standard library of astronomy, and
the sizes that the formulas give."""

from dataclasses import replace

import erfa
import numpy as np
import pytest
import scene

from wobble.constants import SPEED_OF_LIGHT
from wobble.earth.displacement import OceanLoading, ocean_loading
from wobble.epochs import Epochs
from wobble.link.ends import StationEnd, barycentric_correction


@pytest.fixture(scope="module")
def epochs():
    tags = scene.later(np.sort(np.random.default_rng(1).uniform(1.0, scene.DAYS - 1.0, 50)))
    return Epochs.from_time(tags, "tdb")


ENDS = (scene.station(), scene.lander())


def norm(vectors):
    return np.linalg.norm(vectors, axis=-1)


@pytest.mark.parametrize("end", ENDS, ids=("station", "lander"))
@pytest.mark.parametrize("interval", [0.01, 1.0, 60.0, 3600.0])
def test_a_step_is_the_difference_of_two_positions(epochs, end, interval):
    seconds = np.full(len(epochs), interval)
    begin, later = end.at(epochs), end.at(epochs.shift(seconds))
    step = end.step(begin, later, seconds)
    # Positions are rounded to 0.03 mm, and the ephemeris has jumps of some 0.02 mm at the ends
    # of its records.
    assert norm((later.position - begin.position) - step).max() < 2e-4


VELOCITIES = ((scene.station(), 0.06), (scene.lander(), 2e-5))


@pytest.mark.parametrize(("end", "limit"), VELOCITIES, ids=("station", "lander"))
def test_the_velocity_is_the_rate_of_the_position(epochs, end, limit):
    # The station turns about the pole of the middle of the span.
    half = np.full(len(epochs), 0.5)
    before = epochs.shift(-half)
    begin, later = end.at(before), end.at(epochs.shift(half))
    rate = end.step(begin, later, 2.0 * half)
    assert norm(end.at(epochs).velocity - rate).max() < limit


STRAIGHT = ((scene.station(), 1e-3, 6e-5), (scene.lander(), 0.025, 6e-6))


@pytest.mark.parametrize(("end", "seconds", "limit"), STRAIGHT, ids=("station", "lander"))
def test_a_path_may_be_taken_as_straight_for_a_moment(epochs, end, seconds, limit):
    interval = np.full(len(epochs), seconds)
    begin = end.at(epochs)
    exact = end.step(begin, end.at(epochs.shift(interval)), interval)
    straight = begin.moved(interval)
    assert norm(straight.position - begin.position - exact).max() < limit + 1e-4  # of rounding
    assert norm(begin.velocity * seconds - exact).max() < limit


def test_the_clock_of_the_place_is_that_of_the_standard_library(epochs):
    # SOFA's dtdb with and without the place (its terms of the place: Moyer 1981, with an error
    # of the mean longitudes of some nanoseconds).
    station = scene.station()
    event = station.at(epochs)
    longitude, _, _ = station.station.geodetic
    x, y, z = station.station.position / 1e3
    day, part = epochs.julian_date
    ut = (part + 0.5) % 1.0
    place = erfa.dtdb(day, part, ut, longitude, np.hypot(x, y), z)
    geocentre = erfa.dtdb(day, part, ut, 0.0, 0.0, 0.0)
    ours = station.place_clock(event)
    assert np.abs(ours).max() > 1.0e-6
    assert np.abs(ours - (place - geocentre)).max() < 3e-8


def test_what_the_clock_gains_on_tdb_is_the_change_of_its_reading(epochs):
    station = scene.station()
    interval = np.full(len(epochs), 60.0)
    first, last = station.at(epochs), station.at(epochs.shift(interval))
    gained = station.reading(last).minus(station.reading(first)) - 60.0
    assert np.abs(gained).max() > 1e-9
    assert np.abs(station.clock_gain(first, last, interval) - gained).max() < 1e-13


def test_an_event_at_the_clock_of_the_station_reads_that_time(epochs):
    station = scene.station()
    tt = Epochs(epochs.seconds, epochs.fraction, "tt")
    event = station.at_clock(tt)
    assert np.abs(station.reading(event).minus(tt)).max() < 1e-12


def test_scale_and_contraction_have_the_sizes_of_the_formula(epochs):
    # IERS Conventions 2010, eq. 11.19: (1.48e-8 + U/c^2) r with U/c^2 = 0.99e-8, and
    # V^2/(2 c^2) = 0.49e-8 of the part along V.
    station = scene.station().at(epochs)
    radius = norm(station.turned)
    shrunk = norm(station.turned) - norm(station.local)
    assert np.all((shrunk > 2.4e-8 * radius) & (shrunk < 3.1e-8 * radius))
    lander = scene.lander().at(epochs)
    shrunk = norm(lander.turned) - norm(lander.local)
    # GM/(c^2 r) of the Sun at Mars is 0.65e-8, V^2/(2 c^2) 0.32e-8; the tide adds 1 cm.
    assert np.all(np.abs(shrunk) < 1.1e-8 * 3.4e6 + 0.015)


def test_contraction_is_along_the_velocity():
    velocity = np.array([[0.6e8, 0.0, 0.0]])
    local = np.array([[1.0e6, 2.0e6, 0.0]])
    moved = local + barycentric_correction(local, velocity, np.zeros(1))
    # Lorentz: sqrt(1 - beta^2) = 1 - beta^2/2 along the velocity, nothing across.
    beta = 0.6e8 / SPEED_OF_LIGHT
    np.testing.assert_allclose(moved, [[1.0e6 * (1 - beta**2 / 2), 2.0e6, 0.0]], rtol=1e-14)


def test_the_tide_of_the_lander_is_the_one_of_its_body(epochs):
    lander = scene.lander()
    rigid = replace(lander, body=replace(lander.body, love_h2=0.0, love_l2=0.0))
    tide = lander.at(epochs).correction - rigid.at(epochs).correction
    fixed = lander.body.tidal_displacement(lander.lander.position, lander.ephemeris, epochs)
    turned = lander.body.orientation.inertial(fixed, epochs)
    assert norm(turned).max() > 1e-3
    np.testing.assert_allclose(tide, turned, atol=1e-9)


def test_an_offset_of_the_orbit_moves_the_planet_along_its_axes(epochs):
    lander = scene.lander()
    axes = lander.orbit_axes(epochs)
    np.testing.assert_allclose(
        np.einsum("nij,nkj->nik", axes, axes), np.broadcast_to(np.eye(3), (50, 3, 3)), atol=1e-14
    )
    position, velocity = lander.rough_state(epochs)
    sun, _ = lander.ephemeris.state("sun", epochs)
    outward = position - sun
    assert np.all(np.einsum("ni,ni->n", axes[:, 0], outward) > 0)
    assert np.all(np.einsum("ni,ni->n", axes[:, 1], velocity) > 2e4)
    moved = replace(lander, orbit_offset=(0.0, 1000.0, 0.0))
    shift = moved.at(epochs).center - lander.at(epochs).center
    np.testing.assert_allclose(shift, 1000.0 * axes[:, 1], atol=1e-4)


def test_an_offset_of_the_planet_turns_with_its_orbit(epochs):
    plain = scene.lander()
    moved = replace(plain, orbit_offset=(2e6, -1e6, 5e5))
    hour = np.full(len(epochs), 1800.0)
    later, earlier = (
        moved.at(epochs.shift(s * hour)).center - plain.at(epochs.shift(s * hour)).center
        for s in (1.0, -1.0)
    )
    velocity = moved.at(epochs).center_velocity - plain.at(epochs).center_velocity
    # The orbit turns by 1e-7 rad/s; positions of 2e11 m are rounded to 3e-5 m.
    assert np.abs(velocity).max() > 0.1
    np.testing.assert_allclose(velocity, (later - earlier) / 3600.0, atol=1e-6)


def test_the_zenith_is_the_third_axis_of_the_horizon(epochs):
    station = scene.station()
    event = station.at(epochs)
    toward = np.random.default_rng(2).normal(size=(len(epochs), 3))
    up = np.einsum("ni,ni->n", station.zenith(event), toward)
    np.testing.assert_allclose(station.look(event, toward)[:, 2], up, atol=1e-12)


# Amplitudes (m) up, west, south and phases (degrees) of the main tides at an exposed coast,
# invented: a centimetre and more, so that a wrong sign would show.
AMPLITUDES = np.array(
    [
        [0.0170, 0.0041, 0.0032],
        [0.0060, 0.0013, 0.0010],
        [0.0036, 0.0009, 0.0007],
        [0.0016, 0.0004, 0.0003],
        [0.0090, 0.0021, 0.0011],
        [0.0062, 0.0014, 0.0009],
        [0.0029, 0.0007, 0.0004],
        [0.0013, 0.0003, 0.0002],
        [0.0009, 0.0002, 0.0001],
        [0.0005, 0.0001, 0.0001],
        [0.0004, 0.0001, 0.0001],
    ]
)
PHASES = np.outer(np.arange(11.0) * 31.0 - 150.0, [1.0, -0.7, 0.4])

# Angular speeds (rad/s) and multiples of the mean longitudes of Sun, Moon and lunar perigee and of
# 360 degrees: the routine ARG2 of the IERS Conventions 2010, chapter 7 (from memory).
SPEEDS = np.array(
    [
        *(1.40519e-4, 1.45444e-4, 1.37880e-4, 1.45842e-4, 0.72921e-4, 0.67598e-4),
        *(0.72523e-4, 0.64959e-4, 0.053234e-4, 0.026392e-4, 0.003982e-4),
    ]
)
MULTIPLES = np.array(
    [
        [2, -2, 0, 0],
        [0, 0, 0, 0],
        [2, -3, 1, 0],
        [2, 0, 0, 0],
        [1, 0, 0, 0.25],
        [1, -2, 0, -0.25],
        [-1, 0, 0, -0.25],
        [1, -3, 1, -0.25],
        [0, 2, 0, 0],
        [0, 1, -1, 0],
        [2, 0, 0, 0],
    ]
)


def arguments_by_arg2(times):
    """Angles of the main tides at UTC times, rad, shape (n, 11), as ARG2 has them."""
    days = times.mjd - 42412.0  # since 1975 January 0
    whole = np.floor(days)
    century = (27392.500528 + 1.000000035 * (whole)) / 36525.0
    sun = 279.69668 + 36000.768930485 * century + 3.03e-4 * century**2
    moon = 270.434358 + 481267.88314137 * century - 0.001133 * century**2 + 1.9e-6 * century**3
    perigee = 334.329653 + 4069.0340329577 * century - 0.010325 * century**2 - 1.2e-5 * century**3
    slow = np.radians(np.stack([sun, moon, perigee, np.full(len(times), 360.0)], axis=1))
    return np.outer((days - whole) * 86400.0, SPEEDS) + slow @ MULTIPLES.T


def modulation(times):
    """Factors and phases (rad) by the Moon's node, shape (n, 11) each (Pugh 1987, Tides, surges
    and mean sea-level, table 4.3, from memory)."""
    node = np.radians(259.18 - 19.3414 * (times.jyear - 1900.0))[:, None]
    ones, cos, sin = np.ones(11), np.cos(node), np.sin(node)
    mean, swing, lead = ones.copy(), 0.0 * ones, 0.0 * ones
    for tide, factors in {
        0: (1.0, -0.037, -2.1),  # M2
        2: (1.0, -0.037, -2.1),  # N2
        3: (1.024, 0.286, -17.7),  # K2
        4: (1.006, 0.115, -8.9),  # K1
        5: (1.009, 0.187, 10.8),  # O1
        7: (1.009, 0.187, 10.8),  # Q1
        8: (1.043, 0.414, -23.7),  # Mf
        9: (1.0, -0.130, 0.0),  # Mm
    }.items():
        mean[tide], swing[tide], lead[tide] = factors
    return mean + swing * cos, np.radians(lead) * sin


@pytest.fixture(scope="module")
def loaded():
    """The coast's station with ocean loading, and the same without."""
    bare = scene.station_at("coast", -4.2, 40.4, earth=scene.near_earth(0.0, 60.0))
    coefficients = OceanLoading(AMPLITUDES, PHASES)
    station = replace(bare.station, ocean_loading=coefficients)
    return StationEnd.on(station, bare.earth), bare


def test_the_ocean_moves_the_station_as_its_eleven_constituents_say(loaded):
    # Independent evaluation: the sum of the cosines, modulated by the Moon's node.
    with_ocean, without = loaded
    times = scene.later(np.linspace(1.0, 59.0, 500))
    tt = Epochs.from_time(times, "tt")
    moved = with_ocean._itrf(tt) - without._itrf(tt)
    factor, lead = modulation(times)
    angles = (arguments_by_arg2(times) + lead)[:, :, None] - np.radians(PHASES)
    up, west, south = np.einsum("ni,nij,ij->jn", factor, np.cos(angles), AMPLITUDES)
    east_axis, north_axis, up_axis = with_ocean.station.horizon
    expected = np.outer(up, up_axis) - np.outer(west, east_axis) - np.outer(south, north_axis)
    assert norm(moved).max() > 0.03
    # The modulation of the handbook is rounded, and its vertical is the ellipsoid's.
    assert norm(moved - expected).max() < 0.02 * norm(moved).max()


@pytest.mark.parametrize("interval", [1.0, 60.0, 3600.0])
def test_the_ocean_enters_a_step_without_noise(loaded, interval):
    # The displacement's own formula at both ends: its difference is rounded at 1e-17 m only,
    # since the displacement is small.
    with_ocean, without = loaded
    tt = Epochs.from_time(scene.later(np.linspace(1.0, 59.0, 300)), "tt")
    seconds = np.full(len(tt), interval)
    step = with_ocean.tides.increment(tt, seconds) - without.tides.increment(tt, seconds)
    place, coefficients = with_ocean.station.position, with_ocean.station.ocean_loading
    before, after = (
        ocean_loading(place, coefficients, epochs) for epochs in (tt, tt.shift(seconds))
    )
    # As range rate in m/s: below 1e-7 mm/s.
    error = norm(step - (after - before)) / interval
    assert np.sqrt(np.mean(error**2)) < 1e-10
    assert norm(step).max() > 1e-6 * interval


def test_the_step_of_the_end_contains_the_ocean(loaded):
    with_ocean, without = loaded
    epochs = Epochs.from_time(scene.later(np.linspace(1.0, 59.0, 50)), "tdb")
    seconds = np.full(len(epochs), 600.0)
    steps = []
    for end in loaded:
        steps.append(end.step(end.at(epochs), end.at(epochs.shift(seconds)), seconds))
    tt = with_ocean.earth.tt(epochs)
    moved = with_ocean.tides.value(tt.shift(seconds)) - with_ocean.tides.value(tt)
    moved -= without.tides.value(tt.shift(seconds)) - without.tides.value(tt)
    # Turned with the Earth while it moves: 600 s of 3 cm turn by 4 per cent of 3 cm.
    assert abs(norm(steps[0] - steps[1]) - norm(moved)).max() < 2e-3
    assert norm(steps[0] - steps[1]).max() > 1e-3
