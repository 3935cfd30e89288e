"""The range between a station and a lander in forty digits: the judge of the fast model.

In: a link and the path that it has solved, from which only the approximate epochs and the
records of the tables are taken. Out: the range as an `mpmath` number, one event at a time.

The same coefficients, tables and constants (they are floats, and exact), the same physics,
written down once more from the formulas: rotations multiplied out, light-time equations with
the delay on the path that light takes, the station's own terrestrial time in the orientation
of the Earth. Where the fast model approximates, this does not.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from mpmath import mp, mpf

from wobble.constants import (
    CARRIER_DISPERSION,
    EARTH_ROTATION_RATE,
    GM,
    L_C,
    SPEED_OF_LIGHT,
    SUN_RADIUS,
)
from wobble.earth import ionosphere, troposphere
from wobble.earth.orientation import TIO_RATE
from wobble.earth.weather import water_vapour_pressure
from wobble.link import delays as effects
from wobble.link import plasma
from wobble.planet.angle_terms import Harmonics, Nutation, Polynomial, Wobble

mp.dps = 40
C = mpf(SPEED_OF_LIGHT)
DAY = mpf(86400)
PI = mp.pi


# ------------------------------------------------------------------ vectors


def dot(a, b):
    return mp.fdot(a, b)


def norm(a):
    return mp.sqrt(dot(a, a))


def plus(a, b, factor=1):
    return [x + factor * y for x, y in zip(a, b, strict=True)]


def minus(a, b):
    return plus(a, b, -1)


def cross(a, b):
    return [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]


def vector(floats):
    return [mpf(float(x)) for x in floats]


def turn(axis, angle, v):
    """The vector turned by +angle about an axis."""
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    cosine, sine = mp.cos(angle), mp.sin(angle)
    out = list(v)
    out[i] = cosine * v[i] - sine * v[j]
    out[j] = sine * v[i] + cosine * v[j]
    return out


# ------------------------------------------------------------------- tables


@cache
def _coefficients(table, record):
    return [[mpf(float(a)) for a in row] for row in table.coefficients[record]]


def evaluate(table, t, record_at, derivative=False):
    """Value (or rate) of a table at t, in the record to which the epoch ``record_at`` belongs."""
    start, length = mpf(table.start), mpf(table.length)
    last = len(table.coefficients) - 1
    record = min(max(int(mp.floor((record_at - start) / length)), 0), last)
    x = 2 * (t - start - (record + mpf(1) / 2) * length) / length
    rows = _coefficients(table, record)
    basis, slope = [mpf(1), x], [mpf(0), mpf(1)]
    for _ in range(2, len(rows[0])):
        slope.append(2 * basis[-1] + 2 * x * slope[-1] - slope[-2])
        basis.append(2 * x * basis[-1] - basis[-2])
    if derivative:
        return [2 * mp.fdot(row, slope) / length for row in rows]
    return [mp.fdot(row, basis) for row in rows]


def body(ephemeris, name, t, record_at, derivative=False):
    total = [mpf(0)] * 3
    for factor, table in ephemeris.chains[name]:
        total = plus(total, evaluate(table, t, record_at, derivative), mpf(factor))
    return total


# ------------------------------------------------------------------- events


class Event:
    """Position, velocity (of any accuracy: it moves the event by picoseconds), clock."""

    def __init__(self, t, center, local, velocity, zenith=None, clock=None):
        self.t, self.center, self.local = t, center, local
        self.velocity, self.zenith, self.clock = velocity, zenith, clock

    @property
    def position(self):
        return plus(self.center, self.local)

    def moved(self, interval):
        center = plus(self.center, self.velocity, interval)
        return Event(self.t + interval, center, self.local, self.velocity, self.zenith, self.clock)


def barycentric(local, velocity, scale):
    return plus([x * (1 - scale) for x in local], velocity, -dot(velocity, local) / (2 * C**2))


def station_event(end, t, record_at):
    """At TDB t; ``clock`` is TDB - TT at the place."""
    earth, orientation = end.earth, end.earth.orientation
    center = body(earth.ephemeris, "earth", t, record_at)
    velocity = body(earth.ephemeris, "earth", t, record_at, derivative=True)
    geocentric_clock = evaluate(earth.clock, t, record_at)[0]
    tt, tt_record = t - geocentric_clock, record_at - geocentric_clock
    years_of_drift = (2000 - mpf(end.station.epoch)) * mpf("365.25") * DAY + tt
    itrf = plus(vector(end.station.position), vector(end.station.velocity), years_of_drift)
    itrf = plus(itrf, evaluate(end.tides, tt, tt_record))
    x, y, s = evaluate(orientation.celestial_pole, tt, tt_record)
    xp, yp, ut1_minus_tt = evaluate(orientation.spin_and_pole, tt, tt_record)

    def celestial(v, at):
        """IERS Conventions 2010, eqs. 5.1, 5.3, 5.10, 5.13, 5.15."""
        days = (at + ut1_minus_tt) / DAY
        turns = mpf("0.7790572732640") + mpf("1.00273781191135448") * days
        v = turn("y", -xp, turn("x", -yp, v))
        v = turn("z", 2 * PI * turns + mpf(TIO_RATE) * at - s, v)
        z = mp.sqrt(1 - x * x - y * y)
        a = 1 / (1 + z)
        return [
            (1 - a * x * x) * v[0] - a * x * y * v[1] + x * v[2],
            -a * x * y * v[0] + (1 - a * y * y) * v[1] + y * v[2],
            -x * v[0] - y * v[1] + (1 - a * (x * x + y * y)) * v[2],
        ]

    place_clock = dot(velocity, celestial(itrf, tt)) / C**2
    geocentric = celestial(itrf, tt - place_clock)
    pole = vector(orientation._spin / np.linalg.norm(orientation._spin))
    spin = [mpf(EARTH_ROTATION_RATE) * w for w in cross(pole, geocentric)]
    scale = evaluate(earth.potential, t, record_at)[0] / C**2 + mpf(L_C)
    local = barycentric(geocentric, velocity, scale)
    return Event(
        t,
        center,
        local,
        plus(velocity, spin),
        celestial(vector(end.station.horizon[2]), tt),
        geocentric_clock + dot(velocity, local) / C**2,
    )


def angles(model, t):
    """Node, obliquity, spin, polar motion: the sum of the terms."""
    out = [mpf(0)] * 5
    values = {name: mpf(value) for name, value in model.values.items()}
    for term in model.terms:
        if isinstance(term, Polynomial):
            for k, name in enumerate(term.names):
                out[term.angle] += values[name] * t**k / math.factorial(k)
        elif isinstance(term, Harmonics):
            a = mpf(term.frequency) * t + mpf(term.phase)
            total = values[term.cos_name] * mp.cos(a) + values[term.sin_name] * mp.sin(a)
            for which, factor in term.effects.items():
                out[which] += mpf(factor) * total
        elif isinstance(term, Nutation):
            a = mpf(term.frequency) * t + mpf(term.phase)
            longitude, obliquity = vector(term._amplitudes(model.values)[0])
            out[0] += longitude * mp.sin(a)
            out[1] += obliquity * mp.cos(a)
            out[2] -= mp.cos(mpf(term.mean_obliquity)) * longitude * mp.sin(a)
        elif isinstance(term, Wobble):
            a = 2 * PI * t / values[term.period_name]
            cosine, sine = values[term.cos_name], values[term.sin_name]
            out[3] += cosine * mp.cos(a) - sine * mp.sin(a)
            out[4] -= cosine * mp.sin(a) + sine * mp.cos(a)
        else:
            raise TypeError(term)
    return out


def lander_event(end, t, record_at):
    planet, model = end.body, end.body.orientation
    center = body(end.ephemeris, planet.name, t, record_at)
    velocity = body(end.ephemeris, planet.name, t, record_at, derivative=True)
    node, obliquity, spin, xp, yp = angles(model, t)
    v = vector(end.lander.position)
    v = turn("z", spin, turn("y", -xp, turn("x", -yp, v)))
    v, axis = (
        turn(
            "z",
            mpf(model.plane_node),
            turn("x", mpf(model.plane_inclination), turn("z", node, turn("x", obliquity, w))),
        )
        for w in (v, [mpf(0), mpf(0), mpf(1)])
    )
    spinning = [mpf(model.values["spin.rate"]) * w for w in cross(axis, v)]
    sun = minus(body(end.ephemeris, "sun", t, t), center)
    distance = norm(sun)
    moving = barycentric(v, velocity, mpf(GM["sun"]) / distance / C**2)
    # Solid tide of degree 2 (IERS Conventions 2010, eq. 7.5).
    up, toward = [x / norm(v) for x in v], [x / distance for x in sun]
    cosine = dot(up, toward)
    radius = mpf((2.0 * planet.equatorial_radius + planet.polar_radius) / 3.0)
    size = mpf(GM["sun"] / planet.gm) * radius**4 / distance**3
    h2, l2 = mpf(planet.love_h2), mpf(planet.love_l2)
    moving = plus(moving, up, size * h2 * (3 * cosine**2 / 2 - mpf(1) / 2))
    moving = plus(moving, minus(toward, [cosine * x for x in up]), 3 * size * l2 * cosine)
    return Event(t, center, moving, plus(velocity, spinning))


# ------------------------------------------------------------------- delays


def gravity(effect, first, last):
    """Moyer 2000, eq. 8-55."""
    middle = (first.t + last.t) / 2
    rho = norm(minus(last.position, first.position))
    total = mpf(0)
    for name in effect.bodies:
        distances = []
        for event in (first, last):
            if name == event.name:
                distances.append(norm(event.local))
                continue
            other = last if event is first else first
            place = (
                other.center if name == other.name else body(effect.ephemeris, name, middle, middle)
            )
            distances.append(norm(minus(event.position, place)))
        m = 2 * mpf(GM[name]) / C**2
        sides = sum(distances)
        total += m / C * mp.log((sides + rho + m) / (sides - rho + m))
    return total


def elevation(station, lander, transmits):
    """Of the ray in vacuum, with aberration."""
    direction = minus(lander.position, station.position)
    distance = norm(direction)
    sign = -1 if transmits else 1
    direction = plus([x / distance for x in direction], station.velocity, sign / C)
    return mp.asin(dot(station.zenith, direction) / norm(direction))


def marini(sine, a, b, c):
    top = 1 + a / (1 + b / (1 + c))
    return top / (sine + a / (sine + b / (sine + c)))


def air(effect, end, station, sine, tt):
    """Saastamoinen 1972 and Niell 1996."""
    _, latitude, height = end.station.geodetic
    pressure, temperature, humidity = (float(w[0]) for w in effect.weather.completed(end.station))
    vapour = water_vapour_pressure(humidity, temperature, pressure)
    dry = mpf(float(troposphere.zenith_hydrostatic_delay(pressure, latitude, height)))
    wet = mpf(float(troposphere.zenith_wet_delay(temperature, vapour)))
    degrees = abs(math.degrees(latitude))

    def at_latitude(row):
        return mpf(float(np.interp(degrees, troposphere.NIELL_LATITUDES, row)))

    phase = 2 * PI * (tt / DAY + mpf("1.5") - 28) / mpf("365.25")
    season = mp.cos(phase) if latitude >= 0 else -mp.cos(phase)
    abc = [
        at_latitude(mean) - at_latitude(amplitude) * season
        for mean, amplitude in zip(
            troposphere.HYDROSTATIC_MEAN, troposphere.HYDROSTATIC_AMPLITUDE, strict=True
        )
    ]
    high = 1 / sine - marini(sine, *vector(troposphere.HEIGHT_COEFFICIENTS))
    hydrostatic = marini(sine, *abc) + high * mpf(height) / 1000
    return dry * hydrostatic + wet * marini(sine, *(at_latitude(row) for row in troposphere.WET))


def corona_column(model, first, last, sun):
    """The rule of Gauss and Legendre in ln(r + z) on either side of the nearest point."""
    start, stop = minus(first, sun), minus(last, sun)
    path = minus(stop, start)
    length = norm(path)
    along = [x / length for x in path]
    begin = dot(start, along)
    impact = norm(plus(start, along, -begin))
    total = mpf(0)
    for low, high in (
        (max(begin, 0), max(begin + length, 0)),
        (max(-begin - length, 0), max(-begin, 0)),
    ):
        lower, upper = (mp.log(mp.sqrt(impact**2 + z**2) + z) for z in (low, high))
        middle, half = (upper + lower) / 2, (upper - lower) / 2
        for node, weight in zip(plasma.NODES, plasma.WEIGHTS, strict=True):
            far = mp.exp(middle + half * mpf(node))
            distance = (far + impact**2 / far) / 2
            density = sum(
                mpf(term.density) * (distance / mpf(SUN_RADIUS)) ** -mpf(term.exponent)
                for term in model.terms
            )
            total += half * mpf(weight) * distance * density
    return total


def leg_delay(link, first, last, transmits, phase):
    """Sum of the delays of one leg, s; of the carrier's phase if ``phase``."""
    station, lander = (first, last) if transmits else (last, first)
    end = link.transmitter if transmits else link.receiver
    total = mpf(0)
    for effect in link.delays:
        if isinstance(effect, effects.GravitationalDelay):
            total += gravity(effect, first, last)
        elif isinstance(effect, effects.RadioTroposphere):
            sine = mp.sin(elevation(station, lander, transmits))
            total += air(effect, end, station, sine, station.t) / C
        elif isinstance(effect, effects.Ionosphere | effects.SolarCorona):
            if isinstance(effect, effects.Ionosphere):
                e = elevation(station, lander, transmits)
                base, height = mpf(ionosphere.SHELL_BASE_RADIUS), mpf(ionosphere.SHELL_HEIGHT)
                slant = 1 / mp.sqrt(1 - (base * mp.cos(e) / (base + height)) ** 2)
                electrons = mpf(effect.content) * slant
            else:
                middle = (first.t + last.t) / 2
                sun = body(effect.ephemeris, "sun", middle, middle)
                column = corona_column(effect.model, first.position, last.position, sun)
                electrons = mpf(effect.scale) * column
            frequency = effect.up_frequency if transmits else effect.down_frequency
            delay = mpf(CARRIER_DISPERSION) * electrons / mpf(float(frequency[0])) ** 2 / C
            total += -delay if phase else delay
        else:
            raise TypeError(effect)
    return total


# -------------------------------------------------------------------- range


def exact_range(link, tt, rough, record_at, *, phase=True):
    """Range at a TT of the receiver's clock, one-way m.

    Parameters
    ----------
    link : Link
        Of one measurement.
    tt : mpf
        Seconds since J2000.0.
    rough : tuple of mpf
        TDB of transmission, retransmission and reception, good to microseconds.
    record_at : tuple of mpf
        Epochs whose records of the tables are used at the three events.
    """
    sent, returned, received = (
        make(end, t, record)
        for make, end, t, record in zip(
            (station_event, lander_event, station_event),
            (link.transmitter, link.lander, link.receiver),
            rough,
            record_at,
            strict=True,
        )
    )
    received = received.moved(tt + received.clock - received.t)
    sent.name = received.name = "earth"
    returned.name = link.lander.body.name
    returned = _meet(link, returned, received, False, phase)
    sent = _meet(link, sent, returned, True, phase)
    interval = (received.t - sent.t) - (received.clock - sent.clock)
    return C * interval / 2


def _meet(link, event, later, transmits, phase):
    """The event moved so that light from it meets the later one."""
    for _ in range(3):
        delay = leg_delay(link, event, later, transmits, phase)
        distance = norm(minus(later.position, event.position))
        name, event = event.name, event.moved(later.t - distance / C - delay - event.t)
        event.name = name
    return event
