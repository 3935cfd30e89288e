"""The satellites' terms against their torque, followed revolution by revolution."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.nutation import rigid_rotation
from wobble.planet.rigid_axis import RigidPlanet, reference_plane, unit_axis
from wobble.planet.satellite_nutation import MARS_SATELLITES, satellite_nutation

DEGREE = np.pi / 180.0
MARS = RigidPlanet(
    body="mars",
    dynamical_flattening=0.00538017,
    spin_rate=350.891985303 * DEGREE / DAY,
    plane_node=3.37919183 * DEGREE,
    plane_inclination=24.67682669 * DEGREE,
    longitude=81.9683671267 * DEGREE,
    obliquity=25.1893984585 * DEGREE,
)


def test_phobos_term_is_the_integral_of_its_torque() -> None:
    """A point mass on a circular orbit whose pole goes as the IAU working group has it.

    Pole of Phobos: alpha = 317.68 + 1.79 sin M, delta = 52.90 - 1.08 cos M, M = 169.51 deg -
    0.4357640 d: Archinal et al. 2011, Celest. Mech. Dyn. Astron. 109, 101 (from memory). The
    torque is that on a symmetric body, 3 GM/r^5 (C-A) (r.s) (r x s), summed along the orbit.
    """
    gm, radius = 7.087e5, 9.376e6
    t = np.arange(0.0, 826.2 * DAY, 1800.0)
    m = (169.51 - 0.4357640 * t / DAY) * DEGREE
    alpha = (317.68 + 1.79 * np.sin(m)) * DEGREE
    delta = (52.90 - 1.08 * np.cos(m)) * DEGREE
    cos_d = np.cos(delta)
    pole = np.stack([cos_d * np.cos(alpha), cos_d * np.sin(alpha), np.sin(delta)], axis=1)
    along = np.cross([0.0, 0.0, 1.0], pole)
    along /= np.linalg.norm(along, axis=1)[:, None]
    turn = (2.0 * np.pi / 27553.8 * t)[:, None]
    r = radius * (np.cos(turn) * along + np.sin(turn) * np.cross(pole, along))

    plane = reference_plane(MARS.plane_node, MARS.plane_inclination)
    s = plane @ unit_axis(MARS.longitude, MARS.obliquity)
    strength = 3.0 * gm * MARS.dynamical_flattening / (radius**5 * MARS.spin_rate)
    rate = strength * (r @ s)[:, None] * np.cross(r, s)
    moved = np.cumsum(rate, axis=0) * 1800.0
    growth = plane @ unit_axis(MARS.longitude, MARS.obliquity + np.pi / 2.0)
    z = moved @ growth + 1j * (moved @ np.cross(s, growth))

    # Offset, drift and the circle at the node's argument.
    design = np.stack([np.ones_like(t), t, np.exp(1j * (m - m[0]))], axis=1)
    circle = np.linalg.lstsq(design, z, rcond=None)[0][2]
    series = satellite_nutation(MARS, MARS_SATELLITES[:1])
    phase = np.exp(-1j * series.harmonics.phase[0])
    expected = series.retrograde[0] * phase
    assert abs(expected) / MAS == pytest.approx(4.3, abs=0.1)
    assert abs(circle - expected) / MAS < 0.06
    assert abs(series.prograde[0]) == 0.0


def test_satellites_of_mars_precess_it_like_an_added_ring() -> None:
    """A satellite bound to the equator adds (m/2M)(a/R)^2 sin 2(eps-i)/sin 2 eps to J2.

    Ward 1975, Astron. J. 80, 64 (from memory); J2 = 1.9566e-3: Genova et al. 2016, Icarus 272,
    228. Independent of the Laplace plane's tilt, which enters the code instead.
    """
    tilts = np.array([s.laplace_tilt for s in MARS_SATELLITES])
    bulge = np.array(
        [s.gm / 42828.37e9 * (s.semi_major_axis / 3396.0e3) ** 2 / 2.0 for s in MARS_SATELLITES]
    )
    lock = np.sin(MARS.obliquity - tilts) * np.cos(MARS.obliquity - tilts)
    lock /= np.sin(MARS.obliquity) * np.cos(MARS.obliquity)
    expected = -7615.0 * np.sum(bulge * lock) / 1.9566e-3
    found = satellite_nutation(MARS).precession_rate * JULIAN_YEAR / MAS
    assert found == pytest.approx(expected, abs=0.01)


def test_given_terms_go_into_axis_and_series() -> None:
    ephemeris, half = open_ephemeris("de440"), 10.0 * JULIAN_YEAR
    given = satellite_nutation(MARS)
    bare_axis, bare = rigid_rotation(MARS, ephemeris, -half, half)
    axis, series = rigid_rotation(MARS, ephemeris, -half, half, given_terms=given)
    assert series.terms[-2:] == ("Phobos node", "Deimos node")
    assert series.precession_rate == bare.precession_rate + given.precession_rate
    epochs = Epochs.of(np.linspace(-3e8, 3e8, 50))
    moved = axis.value(epochs) - bare_axis.value(epochs)
    np.testing.assert_allclose(moved, series.value(epochs) - bare.value(epochs), atol=1e-13)
    assert 3.0 < np.abs(moved[:, 1]).max() / MAS < 7.0


def test_satellites_that_make_no_sense_are_refused() -> None:
    with pytest.raises(InputError, match="satellites of Mars"):
        satellite_nutation(replace(MARS, body="venus"))
    with pytest.raises(InputError, match="no satellite"):
        satellite_nutation(MARS, ())
    with pytest.raises(InputError, match=r"Phobos\.gm"):
        replace(MARS_SATELLITES[0], gm=-1.0)
    with pytest.raises(InputError, match="regresses"):
        replace(MARS_SATELLITES[0], pole_rate=1e-7)
