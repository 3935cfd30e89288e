"""Electrons of the solar corona and wind along a leg of the link.

In: barycentric positions of the two ends of a leg and of the Sun, a model of the corona.
Out: electrons per square metre along the straight line between them, or the group delay in
metres that they make; the angles that tell how near the line comes to the Sun.

A corona is a sum of terms, with r the distance from the Sun in solar radii and beta the
heliographic latitude: N_e = sum A r^-k exp(-(beta / width)^2). Two are ready made:

- `SPHERICAL_CORONA`: 2.21e8 r^-6 + 1.55e6 r^-2.3 cm^-3 (TDA Progress Report 42-71, 1982,
  p. 117), 6.7 cm^-3 at 1 au.
- `LATITUDE_CORONA`: 1.32e6 r^-2.7 exp(-(beta / 8.1 deg)^2) + 2.3e5 r^-2.04 cm^-3
  (Muhleman & Anderson 1981, ApJ 247, 1093, from 4 solar radii out; exponents as in its
  abstract, coefficients from memory), 4.7 cm^-3 at 1 au in the Sun's equator.

Their columns differ by a factor of 1.5 to 2.4, as the Sun itself does over its cycle.

Sign, as in the ionosphere: range is increased by the group delay, the phase path of the
carrier is decreased by it, so Doppler sees the negative of its rate.

Size, one way at 8.4 GHz from the Earth to Mars at 1.52 au, spherical model: 0.19 m at
opposition, where the path leads outward from 1 au; 0.47, 5.4, 14, 35 and 122 m at
Sun-Earth-probe angles of 90, 20, 10, 5 and 2 degrees (the last 7.5 solar radii from the
Sun). At 5 degrees the change from day to day makes 0.03 mm/s. The corona's fluctuations,
which no model foretells, make more: they belong to the noise.

Method: with z along the line from the point nearest to the Sun, b the distance of that
point, r^2 = b^2 + z^2 and u = ln(r + z), the column is the integral of N_e r du. The
integrand is smooth from grazing to radial paths, for which z^-k itself is not. Each side of
the nearest point is integrated apart by the rule of Gauss & Legendre with 32 nodes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SUN_RADIUS
from wobble.earth.ionosphere import group_delay
from wobble.errors import InputError

__all__ = [
    "LATITUDE_CORONA",
    "SPHERICAL_CORONA",
    "Corona",
    "CoronaTerm",
    "coronal_delay",
    "electron_column",
    "impact_parameter",
    "sun_earth_probe_angle",
]

Array = NDArray[np.float64]
Vectors = NDArray[np.float64]

PER_CUBIC_CENTIMETRE = 1e6

# North pole of the Sun's rotation, right ascension 286.13 and declination 63.87 degrees
# (Archinal et al. 2018, Celest. Mech. Dyn. Astron. 130, 22, table 1).
_ASCENSION, _DECLINATION = math.radians(286.13), math.radians(63.87)
SUN_POLE = np.array(
    [
        math.cos(_DECLINATION) * math.cos(_ASCENSION),
        math.cos(_DECLINATION) * math.sin(_ASCENSION),
        math.sin(_DECLINATION),
    ]
)

NODES, WEIGHTS = np.polynomial.legendre.leggauss(32)


@dataclass(frozen=True)
class CoronaTerm:
    """One power law of the density, perhaps gathered about the Sun's equator.

    Parameters
    ----------
    density : float
        Electrons per m^3, extrapolated to one solar radius.
    exponent : float
        k of r^-k.
    latitude_width : float
        Heliographic latitude, rad, at which the term has fallen to 1/e; infinite for a
        spherical term.
    """

    density: float
    exponent: float
    latitude_width: float = math.inf

    def __post_init__(self) -> None:
        if not (self.density > 0.0 and self.latitude_width > 0.0):
            raise InputError("density and latitude width of a corona term must be positive")

    def evaluate(self, radius: Array, sine_latitude: Array) -> Array:
        """Electrons per m^3 at a distance in solar radii and a sine of latitude."""
        density = self.density * radius**-self.exponent
        if math.isinf(self.latitude_width):
            return density
        return density * np.exp(-((np.arcsin(sine_latitude) / self.latitude_width) ** 2))


@dataclass(frozen=True)
class Corona:
    """Density of electrons around the Sun as a sum of terms.

    Parameters
    ----------
    terms : tuple of CoronaTerm
        The terms.
    """

    terms: tuple[CoronaTerm, ...]

    def density(self, distance: ArrayLike, latitude: ArrayLike = 0.0) -> Array:
        """Electrons per m^3 at a distance (m) from the Sun and a heliographic latitude (rad)."""
        radius = np.asarray(distance, float) / SUN_RADIUS
        return self.evaluate(radius, np.sin(latitude))

    def evaluate(self, radius: Array, sine_latitude: Array) -> Array:
        """Electrons per m^3 at a distance in solar radii and a sine of latitude."""
        return sum(
            (term.evaluate(radius, sine_latitude) for term in self.terms), np.zeros_like(radius)
        )


SPHERICAL_CORONA = Corona(
    (
        CoronaTerm(2.21e8 * PER_CUBIC_CENTIMETRE, 6.0),
        CoronaTerm(1.55e6 * PER_CUBIC_CENTIMETRE, 2.3),
    )
)
LATITUDE_CORONA = Corona(
    (
        CoronaTerm(1.32e6 * PER_CUBIC_CENTIMETRE, 2.7, latitude_width=math.radians(8.1)),
        CoronaTerm(2.3e5 * PER_CUBIC_CENTIMETRE, 2.04),
    )
)


def electron_column(
    model: Corona, transmitter: ArrayLike, receiver: ArrayLike, sun: ArrayLike
) -> Array:
    """Electrons along the straight line from transmitter to receiver, m^-2, shape (n,).

    Relative error of the quadrature from 4 solar radii of impact to opposition: 1e-13 for
    spherical terms, 1e-9 for `LATITUDE_CORONA` and paths near the ecliptic, and 3e-5 at the
    worst for it, where a path crosses the Sun's equator steeply a few solar radii out.

    Parameters
    ----------
    model : Corona
        Density of electrons.
    transmitter, receiver, sun : array_like, shape (n, 3) or (3,)
        Barycentric positions, m, axes of the ICRF: each end at its own epoch, the Sun at
        any epoch between (it moves by some 10 km in that time).

    Raises
    ------
    InputError
        If a path comes within one solar radius of the Sun's centre, or is no path.
    """
    near, along, start, stop = _path(transmitter, receiver, sun)
    impact = np.linalg.norm(near, axis=-1)
    _refuse_hidden(_nearest_distance(impact, start, stop))
    near_pole, along_pole = near @ SUN_POLE, along @ SUN_POLE
    toward_receiver = _column_of_side(
        model, impact, near_pole, along_pole, np.maximum(start, 0.0), np.maximum(stop, 0.0)
    )
    toward_transmitter = _column_of_side(
        model, impact, near_pole, -along_pole, np.maximum(-stop, 0.0), np.maximum(-start, 0.0)
    )
    return toward_receiver + toward_transmitter


def coronal_delay(
    model: Corona,
    transmitter: ArrayLike,
    receiver: ArrayLike,
    sun: ArrayLike,
    frequency: ArrayLike,
) -> Array:
    """Group delay by the corona on one leg, m, shape (n,); the phase advances by as much.

    Parameters
    ----------
    model : Corona
        Density of electrons.
    transmitter, receiver, sun : array_like, shape (n, 3) or (3,)
        As for `electron_column`.
    frequency : array_like, shape (n,)
        Frequency on this leg, Hz; the two legs of coherent tracking have two.

    Raises
    ------
    InputError
        As `electron_column` and `wobble.earth.ionosphere.group_delay`.
    """
    return group_delay(electron_column(model, transmitter, receiver, sun), frequency)


def impact_parameter(transmitter: ArrayLike, receiver: ArrayLike, sun: ArrayLike) -> Array:
    """Least distance of the path from the Sun's centre, m, shape (n,).

    The path ends at its ends: beyond quadrature it is the distance of the nearer end, not
    that of the line prolonged.

    Parameters
    ----------
    transmitter, receiver, sun : array_like, shape (n, 3) or (3,)
        Barycentric positions, m.

    Raises
    ------
    InputError
        If transmitter and receiver coincide or a position is not finite.
    """
    near, _, start, stop = _path(transmitter, receiver, sun)
    return _nearest_distance(np.linalg.norm(near, axis=-1), start, stop)


def sun_earth_probe_angle(earth: ArrayLike, probe: ArrayLike, sun: ArrayLike) -> Array:
    """Angle at the Earth between the Sun and the probe, rad, from 0 to pi, shape (n,).

    Parameters
    ----------
    earth, probe, sun : array_like, shape (n, 3) or (3,)
        Barycentric positions, m.
    """
    to_sun = np.asarray(sun, float) - np.asarray(earth, float)
    to_probe = np.asarray(probe, float) - np.asarray(earth, float)
    # The arctangent is exact to rounding at conjunction and opposition, the arccosine not.
    across = np.linalg.norm(np.cross(to_sun, to_probe), axis=-1)
    return np.arctan2(across, np.sum(to_sun * to_probe, axis=-1))


def _path(
    transmitter: ArrayLike, receiver: ArrayLike, sun: ArrayLike
) -> tuple[Vectors, Vectors, Array, Array]:
    """Point of the line nearest to the Sun (from the Sun), unit vector along the path, and
    how far along it from that point the path starts and stops, m."""
    origin = np.asarray(sun, float)
    start, stop = np.asarray(transmitter, float) - origin, np.asarray(receiver, float) - origin
    path = stop - start
    length = np.linalg.norm(path, axis=-1)
    if not np.all((length > 0.0) & np.isfinite(length)):
        raise InputError(
            "transmitter and receiver coincide, or a position is not finite",
            field="transmitter, receiver, sun",
            expected="two finite positions apart from each other",
        )
    along = path / length[..., None]
    start_along = np.sum(start * along, axis=-1)
    return start - start_along[..., None] * along, along, start_along, start_along + length


def _nearest_distance(impact: Array, start: Array, stop: Array) -> Array:
    return np.hypot(impact, np.clip(0.0, start, stop))


def _refuse_hidden(nearest: Array) -> None:
    hidden = nearest <= SUN_RADIUS
    if hidden.any():
        raise InputError(
            f"the Sun hides the other end ({np.count_nonzero(hidden)} of {hidden.size} paths)",
            field="transmitter, receiver, sun",
            found=f"a path {np.min(nearest) / SUN_RADIUS:.3f} solar radii from the Sun's centre, "
            f"index {int(np.argmin(nearest))}",
            expected="more than one solar radius",
        )


def _column_of_side(
    model: Corona, impact: Array, near_pole: Array, along_pole: Array, first: Array, last: Array
) -> Array:
    """Column on one side of the nearest point, from ``first`` to ``last`` >= 0 along it."""
    # A path that begins beyond the nearest point may be radial (impact 0) and has no other
    # side; a metre of impact keeps the logarithm of that empty side finite.
    impact = np.maximum(impact, 1.0)
    lower = np.log(np.hypot(impact, first) + first)
    upper = np.log(np.hypot(impact, last) + last)
    middle, half = (upper + lower) / 2.0, (upper - lower) / 2.0
    total = np.zeros_like(middle)
    for node, weight in zip(NODES, WEIGHTS, strict=True):
        far = np.exp(middle + half * node)
        distance = (far + impact**2 / far) / 2.0
        z = (far - impact**2 / far) / 2.0
        sine_latitude = np.clip((near_pole + z * along_pole) / distance, -1.0, 1.0)
        total += weight * distance * model.evaluate(distance / SUN_RADIUS, sine_latitude)
    return half * total
