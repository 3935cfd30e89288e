"""Numerical noise of the range rate: the complete model against forty digits.

The judge is `many_digits`, which evaluates the same model with the same tables. Beside the
package's range rate stands the classical one, the difference of two light times with the
epoch in one float, which makes 2 to 5e-3 mm/s in favourable cases and up to 6e-2 mm/s of
noise at a count time of 60 s (Zannoni & Tortora 2013, J. Guid. Control Dyn. 36, 1008).
"""

import astropy.units as u
import many_digits
import numpy as np
import pytest
from astropy.time import Time
from mpmath import mpf

from wobble.constants import JULIAN_YEAR, MAS, SPEED_OF_LIGHT
from wobble.earth.orientation import EarthOrientation
from wobble.earth.stations import HorizonMask, Station
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.formats.body_file import read_body
from wobble.link.delays import (
    GravitationalDelay,
    Ionosphere,
    RadioTroposphere,
    SolarCorona,
    Weather,
    elevation_at_station,
)
from wobble.link.ends import LanderEnd, NearEarth, StationEnd
from wobble.link.observables import Link
from wobble.link.plasma import SPHERICAL_CORONA, sun_earth_probe_angle
from wobble.planet.lander import Lander

BEGIN = Time("2020-01-10", scale="utc")
DAYS = 730.0
COUNTS = (1.0, 60.0, 600.0, 3600.0)
LEAST_SUN_ANGLE = np.radians(2.0)
UP, DOWN = 7.18e9, 7.18e9 * 880 / 749


@pytest.fixture(scope="module")
def ends():
    ephemeris = open_ephemeris("de440")
    first, last = (Epochs.from_time(t, "tt") for t in (BEGIN, BEGIN + DAYS * u.day))
    near = NearEarth.over(ephemeris, EarthOrientation.over(first, last))
    station = Station(
        "plateau",
        np.array([4_849.1e3, -360.3e3, 4_114.9e3]),
        np.array([-0.012, 0.019, 0.011]) / JULIAN_YEAR,
        2010.0,
        HorizonMask.flat(0.1),
    )
    mars = read_body("mars")
    moving = {name: 30.0 * MAS for name in mars.orientation.values if "polar_motion" in name}
    moving.pop("polar_motion.chandler_period")
    mars = mars.with_rotation(moving | {"spin.acceleration": 1e-22})
    lander = Lander.geodetic("ridge", mars, 1.0, 0.3, -2000.0)
    return StationEnd.on(station, near), LanderEnd(lander, mars, ephemeris)


def link_of(ends, n):
    station, lander = ends
    up, down = np.full(n, UP), np.full(n, DOWN)
    return Link(
        station,
        lander,
        station,
        [
            GravitationalDelay(lander.ephemeris, ("sun", "earth", "mars", "jupiter", "saturn")),
            RadioTroposphere(station, station, Weather.unknown(n)),
            Ionosphere(station, station, 3e17, up, down),
            SolarCorona(lander.ephemeris, SPHERICAL_CORONA, 1.0, up, down),
        ],
    )


def visible_tags(ends, n, seed):
    """Middles of counts during which the planet stands high and away from the Sun."""
    station, lander = ends
    seconds = np.sort(np.random.default_rng(seed).uniform(0.0, DAYS, 20 * n)) * 86400.0
    tags = BEGIN + np.round(seconds, 3) * u.s
    bare = Link(station, lander, station)
    good = np.ones(len(tags), bool)
    for offset in (-0.6 * u.hour, 0.6 * u.hour):
        trip = bare.range(tags + offset).trip
        for leg in (trip.up, trip.down):
            good &= elevation_at_station(station, leg) > np.radians(15.0)
    sun = lander.ephemeris.position("sun", trip.received.epochs)
    angle = sun_earth_probe_angle(trip.received.center, trip.returned.center, sun)
    good &= angle > LEAST_SUN_ANGLE
    return tags[np.flatnonzero(good)[:: good.sum() // n][:n]]


def exact_rates(link, tags, count):
    """In forty digits, m/s, as rounded floats."""
    fast = link.range_rate(tags, count)
    first = Epochs.from_time(tags, "tt").shift(-count / 2.0)
    rates = []
    for k in range(len(tags)):
        one = link.rows(slice(k, k + 1))
        rough = [
            [mpf(e.epochs.seconds[k]) + mpf(e.epochs.fraction[k]) for e in events]
            for events in (
                (fast.begin.sent, fast.begin.returned, fast.begin.received),
                (fast.end.sent, fast.end.returned, fast.end.received),
            )
        ]
        record_at = [(a + b) / 2 for a, b in zip(*rough, strict=True)]
        tt = mpf(first.seconds[k]) + mpf(first.fraction[k])
        begin, end = (
            many_digits.exact_range(one, at, times, record_at)
            for at, times in zip((tt, tt + mpf(count)), rough, strict=True)
        )
        rates.append((end - begin) / mpf(count))
    return rates, fast.value


def rms(values):
    return float(np.sqrt(np.mean(np.square(np.asarray(values, float)))))


@pytest.mark.parametrize("count", COUNTS)
def test_range_rate_is_free_of_numerical_noise(ends, count):
    tags = visible_tags(ends, 12, seed=int(count))
    exact, fast = exact_rates(link_of(ends, len(tags)), tags, count)
    error = [float(mpf(v) - e) * 1e3 for v, e in zip(fast, exact, strict=True)]
    print(count, rms(error), np.abs(error).max())
    assert rms(error) < 1e-7
