"""Two sets of angles for one orientation, converted both ways.

In and out: the angles (psi, eps, phi) on a fixed orbit plane (N, J), and right ascension,
declination and prime meridian (alpha, delta, W), as matrices, as angles, as series.

    M = Rz(-N) Rx(-J) Rz(-psi) Rx(-eps) Rz(-phi) = Rz(-alpha - 90 deg) Rx(delta - 90 deg) Rz(-W)

takes body-fixed vectors to the ICRF, without polar motion; Rz(a) turns the axes by a. N and J
are node and inclination of the reference plane on the ICRF equator, psi the longitude of the
planet's equator on it, eps the obliquity, phi the spin angle from that node; W is the spin
angle from the ascending node of the planet's equator on the ICRF equator, at alpha + 90 deg
(Archinal et al. 2018, Celest. Mech. Dyn. Astron. 130, 22; Yseboodt, Baland & Le Maistre 2023,
ibid. 135, 50).

W and phi differ by a slow angle, the arc of the planet's equator between the two nodes. It
depends on psi and eps alone, so that the many turns of phi never enter a trigonometric
function: the conversion is exact to 1e-15 rad whatever the count of turns.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import DAY
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.harmonic_fit import HarmonicSeries, fit_harmonics

__all__ = [
    "equatorial_angles_of_matrix",
    "equatorial_from_orbit",
    "equatorial_partials",
    "equatorial_series",
    "matrix_of_equatorial_angles",
    "matrix_of_orbit_angles",
    "orbit_angles_of_matrix",
    "orbit_from_equatorial",
    "orbit_series",
]

Array = NDArray[np.float64]
Plane = tuple[float, float]

SMALLEST_SINE = 1e-9
"""Sine of the angle between two equators or planes below which their node is undefined."""


def equatorial_from_orbit(
    plane: Plane, psi: ArrayLike, eps: ArrayLike, phi: ArrayLike
) -> tuple[Array, Array, Array]:
    """Right ascension, declination and prime meridian of angles on an orbit plane.

    Parameters
    ----------
    plane : (float, float)
        N and J, rad.
    psi, eps, phi : array_like, shape (n,)
        rad.

    Returns
    -------
    alpha, delta, w : ndarray, shape (n,)
        rad; alpha from 0 to 2 pi, W within half a turn of phi.

    Raises
    ------
    InputError
        If the planet's pole is that of the ICRF, where alpha is undefined.
    """
    (node, inclination), psi, eps = plane, np.asarray(psi, float), np.asarray(eps, float)
    cj, sj = np.cos(inclination), np.sin(inclination)
    x = np.sin(eps) * np.sin(psi)
    y = -cj * np.sin(eps) * np.cos(psi) - sj * np.cos(eps)
    z = -sj * np.sin(eps) * np.cos(psi) + cj * np.cos(eps)
    _require_node(np.hypot(x, y), "delta", "the planet's pole coincides with that of the ICRF")
    alpha = np.remainder(np.arctan2(y, x) + node, 2.0 * np.pi)
    w = np.asarray(phi, float) + _arc_between_nodes(inclination, psi, eps)
    return alpha, np.arctan2(z, np.hypot(x, y)), w


def orbit_from_equatorial(
    plane: Plane, alpha: ArrayLike, delta: ArrayLike, w: ArrayLike
) -> tuple[Array, Array, Array]:
    """Angles on an orbit plane of right ascension, declination and prime meridian.

    Parameters
    ----------
    plane : (float, float)
        N and J, rad.
    alpha, delta, w : array_like, shape (n,)
        rad.

    Returns
    -------
    psi, eps, phi : ndarray, shape (n,)
        rad; psi in (-pi, pi], phi within half a turn of W.

    Raises
    ------
    InputError
        If the equator lies in the orbit plane, where psi is undefined.
    """
    (node, inclination), delta = plane, np.asarray(delta, float)
    from_node = np.asarray(alpha, float) - node
    cj, sj = np.cos(inclination), np.sin(inclination)
    x = np.cos(delta) * np.cos(from_node)
    y = cj * np.cos(delta) * np.sin(from_node) + sj * np.sin(delta)
    z = -sj * np.cos(delta) * np.sin(from_node) + cj * np.sin(delta)
    _require_node(np.hypot(x, y), "eps", "the planet's equator lies in the orbit plane")
    psi, eps = np.arctan2(x, -y), np.arctan2(np.hypot(x, y), z)
    return psi, eps, np.asarray(w, float) - _arc_between_nodes(inclination, psi, eps)


def equatorial_partials(plane: Plane, psi: ArrayLike, eps: ArrayLike) -> Array:
    """Derivatives of (alpha, delta, W) with respect to (psi, eps, phi), shape (n, 3, 3).

    A step of the pole has the components deps and sin(eps) dpsi, or cos(delta) dalpha and
    ddelta, on two right-handed pairs of axes turned against each other; the turn about the
    pole itself is ``dphi + cos(eps) dpsi = dW + sin(delta) dalpha``.
    """
    psi, eps = np.atleast_1d(np.asarray(psi, float)), np.atleast_1d(np.asarray(eps, float))
    _, delta, _ = equatorial_from_orbit(plane, psi, eps, 0.0)
    cj, sj = np.cos(plane[1]), np.sin(plane[1])
    east = sj * np.sin(psi) / np.cos(delta)
    north = -(cj * np.sin(eps) + sj * np.cos(eps) * np.cos(psi)) / np.cos(delta)
    partials = np.zeros((psi.size, 3, 3))
    partials[:, 0, 0] = -north * np.sin(eps) / np.cos(delta)
    partials[:, 0, 1] = east / np.cos(delta)
    partials[:, 1, 0] = east * np.sin(eps)
    partials[:, 1, 1] = north
    partials[:, 2, :2] = -np.sin(delta)[:, None] * partials[:, 0, :2]
    partials[:, 2, 0] += np.cos(eps)
    partials[:, 2, 2] = 1.0
    return partials


def matrix_of_orbit_angles(plane: Plane, psi: ArrayLike, eps: ArrayLike, phi: ArrayLike) -> Array:
    """Body-fixed to ICRF from angles on an orbit plane, shape (n, 3, 3)."""
    return _euler(plane[0], plane[1], 0.0) @ _euler(psi, eps, phi)


def matrix_of_equatorial_angles(alpha: ArrayLike, delta: ArrayLike, w: ArrayLike) -> Array:
    """Body-fixed to ICRF from right ascension, declination and prime meridian, (n, 3, 3)."""
    quarter = np.pi / 2.0
    return _euler(np.asarray(alpha) + quarter, quarter - np.asarray(delta), w)


def orbit_angles_of_matrix(plane: Plane, matrix: ArrayLike) -> tuple[Array, Array, Array]:
    """psi, eps and phi (rad, in (-pi, pi]) of a body-fixed to ICRF matrix, (n, 3, 3)."""
    in_plane = _euler(plane[0], plane[1], 0.0).swapaxes(1, 2) @ np.asarray(matrix, float)
    return _euler_angles(in_plane, "eps", "the planet's equator lies in the orbit plane")


def equatorial_angles_of_matrix(matrix: ArrayLike) -> tuple[Array, Array, Array]:
    """alpha (0 to 2 pi), delta and W ((-pi, pi]), rad, of a body-fixed to ICRF matrix."""
    node, inclination, w = _euler_angles(
        np.asarray(matrix, float).reshape(-1, 3, 3),
        "delta",
        "the planet's pole coincides with that of the ICRF",
    )
    alpha = np.remainder(node - np.pi / 2.0, 2.0 * np.pi)
    return alpha, np.pi / 2.0 - inclination, w


def equatorial_series(
    plane: Plane,
    orbit_angles: Callable[[Epochs], Array],
    start: float,
    stop: float,
    frequency: ArrayLike,
    phase: ArrayLike,
    epoch: float = 0.0,
) -> HarmonicSeries:
    """Series of (alpha, delta, W - phi) of given psi and eps.

    A second-degree polynomial and drifting harmonics at the arguments of the nutation; give
    all multiples that matter, for a product of two terms has the sum of their arguments.

    Parameters
    ----------
    plane : (float, float)
        N and J, rad.
    orbit_angles : callable
        Takes `Epochs`, returns psi and eps (rad, shape (n, 2)): `NutationSeries.value`, or
        `SpinAxis.value`.
    start, stop : float
        Span over which the series shall hold, seconds since J2000.0 TDB.
    frequency, phase : array_like, shape (m,)
        Arguments, rad/s and rad at ``epoch``.
    epoch : float
        Origin of the series, seconds since J2000.0 TDB.
    """

    def converted(epochs: Epochs) -> Array:
        psi, eps = orbit_angles(epochs).T
        return np.stack(equatorial_from_orbit(plane, psi, eps, 0.0), axis=1)

    return _series(converted, start, stop, frequency, phase, epoch)


def orbit_series(
    plane: Plane,
    equatorial_angles: Callable[[Epochs], Array],
    start: float,
    stop: float,
    frequency: ArrayLike,
    phase: ArrayLike,
    epoch: float = 0.0,
) -> HarmonicSeries:
    """Series of (psi, eps, phi - W) of given alpha and delta, as `equatorial_series`."""

    def converted(epochs: Epochs) -> Array:
        alpha, delta = equatorial_angles(epochs).T
        return np.stack(orbit_from_equatorial(plane, alpha, delta, 0.0), axis=1)

    return _series(converted, start, stop, frequency, phase, epoch)


def _series(
    function: Callable[[Epochs], Array],
    start: float,
    stop: float,
    frequency: ArrayLike,
    phase: ArrayLike,
    epoch: float,
) -> HarmonicSeries:
    fastest = 2.0 * np.pi / np.abs(np.asarray(frequency)).max()
    epochs = Epochs.of(np.arange(start, stop, min(4.0 * DAY, fastest / 8.0)))
    values = np.unwrap(function(epochs), axis=0)
    return fit_harmonics(epochs, values, frequency, phase, epoch=epoch)


def _arc_between_nodes(inclination: float, psi: Array, eps: Array) -> Array:
    """``W - phi``: from the node on the ICRF equator to that on the orbit plane, rad.

    The projection of the ICRF pole on the planet's equator lies a quarter turn after the
    former node; its components along the latter node and a quarter turn after it are these.
    """
    cj, sj = np.cos(inclination), np.sin(inclination)
    return np.arctan2(sj * np.sin(psi), sj * np.cos(eps) * np.cos(psi) + cj * np.sin(eps))


def _euler(first: ArrayLike, second: ArrayLike, third: ArrayLike) -> Array:
    """``Rz(-first) Rx(-second) Rz(-third)``, shape (n, 3, 3)."""
    a, b, c = np.broadcast_arrays(*np.atleast_1d(first, second, third))
    ca, sa, cb, sb, cc, sc = np.cos(a), np.sin(a), np.cos(b), np.sin(b), np.cos(c), np.sin(c)
    rows = [
        [ca * cc - sa * cb * sc, -ca * sc - sa * cb * cc, sa * sb],
        [sa * cc + ca * cb * sc, -sa * sc + ca * cb * cc, -ca * sb],
        [sb * sc, sb * cc, cb],
    ]
    return np.moveaxis(np.array(rows), 2, 0)


def _euler_angles(matrix: Array, field: str, problem: str) -> tuple[Array, Array, Array]:
    sine = np.hypot(matrix[:, 0, 2], matrix[:, 1, 2])
    _require_node(sine, field, problem)
    return (
        np.arctan2(matrix[:, 0, 2], -matrix[:, 1, 2]),
        np.arctan2(sine, matrix[:, 2, 2]),
        np.arctan2(matrix[:, 2, 0], matrix[:, 2, 1]),
    )


def _require_node(sine: Array, field: str, problem: str) -> None:
    if np.min(sine) < SMALLEST_SINE:
        raise InputError(
            f"{problem}: their node is undefined",
            field=field,
            found=f"sine {float(np.min(sine)):.1e}",
            expected=f"at least {SMALLEST_SINE:.0e}",
        )
