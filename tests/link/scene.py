"""An invented station and an invented lander on Mars, for the tests of the link."""

from functools import cache

import astropy.units as u
import erfa
import numpy as np
from astropy.time import Time

from wobble.constants import JULIAN_YEAR, MAS
from wobble.earth.orientation import EarthOrientation
from wobble.earth.stations import HorizonMask, Station
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.files.body_file import read_body
from wobble.link.delays import elevation_at_station
from wobble.link.ends import LanderEnd, NearEarth, StationEnd
from wobble.link.observables import Link
from wobble.link.plasma import sun_earth_probe_angle
from wobble.planet.lander import Lander

BEGIN = Time("2020-01-10", scale="utc")
DAYS = 730.0
LEAST_SUN_ANGLE = np.radians(2.0)
LEAST_ELEVATION = np.radians(15.0)


def later(days):
    """UTC so many days after the begin of the span, in steps of a millisecond."""
    return BEGIN + np.round(np.asarray(days) * 86400.0, 3) * u.s


@cache
def near_earth(first_day=0.0, last_day=DAYS):
    first, last = (Epochs.from_time(later(day), "tt") for day in (first_day, last_day))
    return NearEarth.over(open_ephemeris("de440"), EarthOrientation.over(first, last))


def station_at(name, longitude, latitude, height=300.0, earth=None):
    """A station on the ellipsoid (degrees, m) that drifts by 2.5 cm a year."""
    place = erfa.gd2gc(2, np.radians(longitude), np.radians(latitude), height)
    drift = np.array([-0.012, 0.019, 0.011]) / JULIAN_YEAR
    station = Station(name, np.asarray(place), drift, 2010.0, HorizonMask.flat(0.1))
    return StationEnd.on(station, earth or near_earth())


@cache
def station():
    return station_at("plateau", -4.2, 40.4, 840.0)


@cache
def shore():
    """A second station, which sees what the first one sees."""
    return station_at("shore", 5.0, 50.0)


@cache
def mars():
    """Mars with polar motion, so that no term of its rotation is zero."""
    body = read_body("mars")
    names = [n for n in body.orientation.values if "polar_motion" in n and "period" not in n]
    moving = {name: 30.0 * MAS for name in names}
    return body.with_rotation(moving | {"spin.acceleration": 1e-22})


@cache
def lander():
    place = Lander.geodetic("ridge", mars(), 1.0, 0.3, -2000.0)
    return LanderEnd(place, mars(), open_ephemeris("de440"))


def two_way(delays=()):
    return Link(station(), lander(), station(), delays)


def visible_tags(n, seed):
    """Receptions around which the planet stands high and away from the Sun for over an hour."""
    days = np.sort(np.random.default_rng(seed).uniform(0.5, DAYS - 0.5, 20 * n))
    tags = later(days)
    good = np.ones(len(tags), bool)
    for offset in (-0.6 * u.hour, 0.6 * u.hour):
        trip = two_way().range(tags + offset).trip
        for leg in (trip.up, trip.down):
            good &= elevation_at_station(station(), leg) > LEAST_ELEVATION
    sun = lander().ephemeris.position("sun", trip.received.epochs)
    angle = sun_earth_probe_angle(trip.received.center, trip.returned.center, sun)
    good &= angle > LEAST_SUN_ANGLE
    return tags[np.flatnonzero(good)[:: good.sum() // n][:n]]
