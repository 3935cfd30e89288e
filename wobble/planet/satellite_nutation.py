"""What a planet's small satellites add to its precession and nutation.

In: the planet and its satellites' masses and mean orbits. Out: a `NutationSeries` of given
terms, one per satellite, to be added to the rigid rotation.

A satellite's torque, averaged over its revolution, depends on the pole n of its orbit:

    ds/dt = -(3/2) GM_s / (a^3 Omega) H_D (n . s) (n x s).

The pole circles, with the regression of the node, about the pole of the Laplace plane,
which lies at a small angle from the planet's axis towards the pole of the planet's orbit.
With v = n - (n . s) s written as a complex number on (eps, sin(eps) psi), ``dz/dt = i kappa v``,
kappa the factor above: the circle of radius sin(i) at the node's rate mu gives a nutation
``(kappa / mu) v``, retrograde like the node; the Laplace plane's tilt gives a precession.

Sizes for Mars: Phobos 4.3 mas at 826 days and -0.24 mas/yr, Deimos 1.5 mas at 54 years and
-0.21 mas/yr. The terms of twice the node's argument and those from the eccentricities stay
below 0.05 mas.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.constants import DAY
from wobble.errors import InputError
from wobble.planet.harmonic_fit import HarmonicSeries
from wobble.planet.nutation_series import Circles, NutationSeries
from wobble.planet.rigid_axis import RigidPlanet, reference_plane, unit_axis

__all__ = ["MARS_SATELLITES", "Satellite", "satellite_nutation"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Satellite:
    """Mass and mean orbit of a satellite.

    Parameters
    ----------
    name : str
        For the table.
    gm : float
        Gravitational parameter, m^3/s^2.
    semi_major_axis : float
        m.
    inclination : float
        Of the orbit on the Laplace plane, rad.
    laplace_tilt : float
        Angle of the Laplace plane's pole from the planet's axis, towards the pole of the
        planet's orbit, rad.
    pole_argument, pole_rate : float
        M at J2000.0 (rad) and its rate (rad/s, negative), where the orbit's pole lies by
        ``inclination * sin(M)`` east and ``-inclination * cos(M)`` north of the Laplace pole
        on the sky (the form in which the IAU working group gives it).
    """

    name: str
    gm: float
    semi_major_axis: float
    inclination: float
    laplace_tilt: float
    pole_argument: float
    pole_rate: float

    def __post_init__(self) -> None:
        for field in ("gm", "semi_major_axis"):
            if not getattr(self, field) > 0.0:
                raise InputError(
                    "not positive", field=f"{self.name}.{field}", found=getattr(self, field)
                )
        if not self.pole_rate < 0.0:
            raise InputError(
                "the node of a satellite of a flattened planet regresses",
                field=f"{self.name}.pole_rate",
                found=self.pole_rate,
                expected="a negative rate",
            )


# From memory: masses good to 0.5 % (Phobos) and 3 % (Deimos), inclinations to 1 %, the poles'
# arguments (Archinal et al. 2011, Celest. Mech. Dyn. Astron. 109, 101) to a degree, so that
# the terms are good to 0.1 mas. The tilts of the Laplace planes follow from the balance of
# the Sun's torque and the planet's on the orbit, sin(2 eps) n^2 a^5 / (4 J2 R^2 GM).
MARS_SATELLITES = (
    Satellite(
        name="Phobos",
        gm=7.087e5,
        semi_major_axis=9.376e6,
        inclination=np.radians(1.08),
        laplace_tilt=np.radians(0.0093),
        pole_argument=np.radians(169.51),
        pole_rate=np.radians(-0.4357640) / DAY,
    ),
    Satellite(
        name="Deimos",
        gm=9.62e4,
        semi_major_axis=2.3458e7,
        inclination=np.radians(1.78),
        laplace_tilt=np.radians(0.91),
        pole_argument=np.radians(53.47),
        pole_rate=np.radians(-0.0181510) / DAY,
    ),
)
"""Phobos and Deimos."""


def satellite_nutation(
    planet: RigidPlanet, satellites: Sequence[Satellite] = MARS_SATELLITES
) -> NutationSeries:
    """Series of the satellites' circular terms, with their precession in its polynomial.

    Parameters
    ----------
    planet : RigidPlanet
        Flattening, spin rate and orientation.
    satellites : sequence of Satellite
        By default those of Mars.

    Raises
    ------
    InputError
        If no satellite is given, or those of Mars are to act on another planet.
    """
    if not satellites:
        raise InputError("no satellite is given", field="satellites")
    if satellites is MARS_SATELLITES and planet.body != "mars":
        raise InputError("these are the satellites of Mars", field="body", found=planet.body)
    kappa = np.array([_torque_rate(planet, s) for s in satellites])
    rate = np.array([s.pole_rate for s in satellites])
    at_epoch = np.array([s.pole_argument for s in satellites]) + rate * planet.epoch
    # East and north offsets inclination * (sin M, -cos M) are the complex -i inclination e^(iM).
    radius = np.sin([s.inclination for s in satellites])
    pole = -1j * radius * np.exp(-1j * _angle_from_east(planet))
    tilt = np.sin([s.laplace_tilt for s in satellites])
    frame = HarmonicSeries(
        epoch=planet.epoch,
        frequency=-rate,
        phase=-at_epoch,
        polynomial=np.array(
            [
                [planet.longitude, planet.obliquity],
                [-np.sum(kappa * tilt) / np.sin(planet.obliquity), 0.0],
                [0.0, 0.0],
            ]
        ),
        cosine=np.zeros((rate.size, 2)),
        sine=np.zeros((rate.size, 2)),
        cosine_rate=np.zeros((rate.size, 2)),
        sine_rate=np.zeros((rate.size, 2)),
        rms=np.zeros(2),
    )
    none = np.zeros(rate.size, complex)
    names = [f"{s.name} node" for s in satellites]
    return NutationSeries.from_circles(
        planet.body, names, frame, Circles(none, kappa / rate * pole, none, none)
    )


def _torque_rate(planet: RigidPlanet, satellite: Satellite) -> float:
    strength = 1.5 * satellite.gm / (satellite.semi_major_axis**3 * planet.spin_rate)
    return strength * planet.dynamical_flattening * float(np.cos(satellite.inclination))


def _angle_from_east(planet: RigidPlanet) -> float:
    """Angle on the sky from east (turning to north) to the direction of growing obliquity."""
    plane = reference_plane(planet.plane_node, planet.plane_inclination)
    axis = plane @ unit_axis(planet.longitude, planet.obliquity)
    # A quarter turn further in obliquity, the axis points along the direction of its growth.
    growth = plane @ unit_axis(planet.longitude, planet.obliquity + np.pi / 2.0)
    east = np.array([-axis[1], axis[0], 0.0]) / np.hypot(axis[0], axis[1])
    return float(np.arctan2(growth @ np.cross(axis, east), growth @ east))
