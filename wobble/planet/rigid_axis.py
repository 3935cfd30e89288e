"""The axis of a rigid planet, integrated from the torque on its flattening.

In: a `RigidPlanet` (flattening, spin, orientation) and an ephemeris. Out: a `SpinAxis`,
the longitude psi of the equator's node and the obliquity eps on the reference plane as
tables that can be evaluated at any epoch of the span, for the figure axis and for the axis
of angular momentum.

Equation of motion of the unit vector s of the angular momentum,

    ds/dt = sum_b 3 GM_b / (r_b^3 Omega) H_D (s . u_b) (u_b x s)
            + 3/2 GM_sun / (c^2 r^3) (r x v) x s,

with u_b the direction and r_b the distance from the planet to body b, Omega the spin rate,
H_D = (C - (A+B)/2) / C; the last term is the geodetic precession and nutation, r and v of
the planet about the Sun (de Sitter 1916, Mon. Not. R. Astron. Soc. 77, 155). Both terms are
linear in s inside one vector product, ``ds/dt = (T(t) s + g(t)) x s``, so that the ephemeris
is evaluated once and the equation solved by Picard sweeps over the whole span at a time.

For an axially symmetric planet the torque does not depend on the angle of rotation, and the
equation is exact but for the angle between s and the figure axis f in the torque (7e-9 of
it). The figure axis follows from ``H = A omega + (C-A) omega_3 f``:

    df/dt = (L/A) s x f,  L/A = Omega / (1 - H_D),  so  f = s - (A/L) s x df/dt,

1.5 mas apart for Mars. Left out, with sizes for Mars: the free wobble (it is polar motion),
the difference of A and B (0.09 mas in space, twice a rotation), the seasons' change of the
flattening (1e-6 of it, 0.001 mas). Satellites: see `wobble.planet.satellite_nutation`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial import chebyshev, legendre
from numpy.typing import ArrayLike, NDArray

from wobble.chebyshev import ChebyshevTable
from wobble.constants import DAY, GM, SPEED_OF_LIGHT
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs
from wobble.errors import ConvergenceError, InputError, UnknownNameError

__all__ = [
    "Integration",
    "RigidPlanet",
    "SpinAxis",
    "TorqueField",
    "integrate_axis",
    "reference_plane",
    "unit_axis",
]

Array = NDArray[np.float64]

RECORD = 16.0 * DAY
NODES = 16
TOLERANCE = 1e-15  # rad; 2e-7 mas
LARGEST_SWEEPS = 30

LOCKED = {"mercury": "3:2 resonance of spin and orbit", "moon": "1:1 resonance of spin and orbit"}


@dataclass(frozen=True)
class RigidPlanet:
    """A rotating planet as the torque sees it.

    Parameters
    ----------
    body : str
        Its name in the ephemeris.
    dynamical_flattening : float
        H_D = (C - (A+B)/2) / C, between 0 and 1.
    spin_rate : float
        Sidereal rate about the figure axis, rad/s; negative if the axis is the one that a
        retrograde body turns clockwise about.
    plane_node, plane_inclination : float
        N and J of the reference plane on the ICRF equator, rad.
    longitude, obliquity : float
        psi and eps of the figure axis at the epoch, rad.
    epoch : float
        Seconds since J2000.0 TDB.

    Raises
    ------
    InputError
        If a value is not physical or the body's spin is locked to its orbit.
    """

    body: str
    dynamical_flattening: float
    spin_rate: float
    plane_node: float
    plane_inclination: float
    longitude: float
    obliquity: float
    epoch: float = 0.0

    def __post_init__(self) -> None:
        if self.body in LOCKED:
            raise InputError(
                f"the {LOCKED[self.body]} ties the angle of rotation to the torque, which this "
                "equation averages out: the axis would come out wrong",
                field="body",
                found=self.body,
                expected="a body that is not in a spin-orbit resonance",
            )
        for name, value in vars(self).items():
            if name != "body" and not np.isfinite(value):
                raise InputError("not a finite number", field=name, found=value)
        if not 0.0 < self.dynamical_flattening < 1.0:
            raise InputError(
                "without a flattening between 0 and 1 there is no torque to integrate",
                field="dynamical_flattening",
                found=self.dynamical_flattening,
                expected="0 < H_D < 1",
            )
        if self.spin_rate == 0.0:
            raise InputError("the planet does not turn", field="spin_rate", found=0.0)
        if not 1e-6 < self.obliquity < np.pi - 1e-6:
            raise InputError(
                "the longitude of the node is not defined",
                field="obliquity",
                found=self.obliquity,
                expected="between 1e-6 and pi - 1e-6 rad",
            )

    def starting_at(self, longitude: float, obliquity: float) -> RigidPlanet:
        """The same planet with another orientation at its epoch (rad)."""
        return replace(self, longitude=longitude, obliquity=obliquity)


@dataclass(frozen=True, eq=False)
class SpinAxis:
    """Direction of a planet's axis on the reference plane as a function of time.

    Parameters
    ----------
    planet : RigidPlanet
        What was integrated.
    bodies : tuple of str
        Whose torque was in.
    figure, angular_momentum : ChebyshevTable
        psi and eps (rad) of the two axes. The rotation of a planet's crust, hence of a
        lander, is that of the figure axis.
    """

    planet: RigidPlanet
    bodies: tuple[str, ...]
    figure: ChebyshevTable
    angular_momentum: ChebyshevTable

    @property
    def span(self) -> tuple[float, float]:
        """First and last second since J2000.0 TDB."""
        return self.figure.start, self.figure.stop

    def value(self, epochs: Epochs) -> Array:
        """Longitude psi and obliquity eps of the figure axis, rad, shape (n, 2)."""
        return self.figure.value(epochs)

    def value_and_rate(self, epochs: Epochs) -> tuple[Array, Array]:
        """The same with their rates, rad/s, each of shape (n, 2)."""
        return self.figure.value_and_rate(epochs)

    def increment(self, epochs: Epochs, interval: ArrayLike) -> Array:
        """Change of psi and eps over ``interval`` seconds, rad, shape (n, 2)."""
        return self.figure.increment(epochs, interval)

    def plus(self, correction: Callable[[Epochs], Array], name: str) -> SpinAxis:
        """Both axes moved by a small ``correction`` of psi and eps (rad, shape (n, 2))."""
        start, stop = self.span
        added = ChebyshevTable.fit(correction, start, stop, RECORD, NODES - 1).coefficients
        return replace(
            self,
            bodies=(*self.bodies, name),
            figure=replace(self.figure, coefficients=self.figure.coefficients + added),
            angular_momentum=replace(
                self.angular_momentum, coefficients=self.angular_momentum.coefficients + added
            ),
        )

    def sampled(self, step: float = 4.0 * DAY) -> Epochs:
        """Epochs at even steps over the whole span."""
        start, stop = self.span
        return Epochs.of(np.arange(start, stop, step))

    def __repr__(self) -> str:
        first, last = Epochs.of(self.span).to_time().isot
        return (
            f"<SpinAxis: {self.planet.body}, H_D {self.planet.dynamical_flattening:.8g}, "
            f"{first[:10]} to {last[:10]} TDB, torque of {', '.join(self.bodies)}>"
        )


def integrate_axis(
    planet: RigidPlanet,
    ephemeris: Ephemeris,
    start: float,
    stop: float,
    *,
    bodies: tuple[str, ...] | None = None,
    geodetic: bool = True,
) -> SpinAxis:
    """Integrate the axis from the planet's orientation at its epoch.

    Parameters
    ----------
    planet : RigidPlanet
        Its longitude and obliquity are those of the figure axis at its epoch.
    ephemeris : Ephemeris
        Positions of the planet and of the torquing bodies.
    start, stop : float
        Span, seconds since J2000.0 TDB; widened to whole records and to the planet's epoch.
    bodies : tuple of str, optional
        Whose torque acts; all bodies of known mass in the ephemeris if left out.
    geodetic : bool
        Whether the geodetic precession and nutation are added.

    Raises
    ------
    InputError
        If a body is not in the ephemeris or has no mass, or the span is not covered.
    """
    return Integration.prepare(planet, ephemeris, start, stop, bodies, geodetic).run(planet)


@dataclass(frozen=True, eq=False)
class Integration:
    """The torque along the ephemeris, ready to be integrated from any orientation.

    The span is cut into records of equal length, whole multiples of it from J2000.0, with
    Gauss-Legendre nodes in each; `field` holds the torque at the nodes, `field_at_epoch` at
    the planet's epoch, which lies `anchor` records after `start`.
    """

    start: float
    anchor: float
    bodies: tuple[str, ...]
    field: TorqueField
    field_at_epoch: TorqueField

    @classmethod
    def prepare(
        cls,
        planet: RigidPlanet,
        ephemeris: Ephemeris,
        start: float,
        stop: float,
        bodies: tuple[str, ...] | None,
        geodetic: bool,
    ) -> Integration:
        """Evaluate the ephemeris and form the torque (arguments as for `integrate_axis`)."""
        if not stop > start:
            raise InputError("the span is empty", field="stop", found=stop, expected=f"> {start}")
        if bodies is None:
            bodies = tuple(b for b in GM if b in ephemeris.bodies and b != planet.body)
        first = np.floor(min(start, planet.epoch) / RECORD) * RECORD
        records = int(np.ceil((max(stop, planet.epoch) - first) / RECORD))
        middles = first + (np.arange(records) + 0.5) * RECORD
        nodes = Epochs.of(np.repeat(middles, NODES), np.tile(_GAUSS_NODES * RECORD / 2.0, records))
        return cls(
            first,
            (planet.epoch - first) / RECORD,
            bodies,
            TorqueField.along(planet, ephemeris, nodes, bodies, geodetic),
            TorqueField.along(planet, ephemeris, Epochs.of(planet.epoch), bodies, geodetic),
        )

    def run(self, planet: RigidPlanet) -> SpinAxis:
        """Integrate from the orientation of ``planet``, whose torque this must be.

        Raises
        ------
        ConvergenceError
            If the sweeps do not settle (a planet that precesses by radians over the span).
        """
        lever = (1.0 - planet.dynamical_flattening) / planet.spin_rate  # A / L
        figure_start = unit_axis(planet.longitude, planet.obliquity)
        begin = figure_start + lever * np.cross(
            figure_start, self.field_at_epoch.axis_rate(figure_start)
        )
        axis = np.broadcast_to(begin, self.field.offset.shape)
        for _ in range(LARGEST_SWEEPS):
            rate = self.field.axis_rate(axis)
            swept = begin + self._integrate(rate)
            change = np.abs(swept - axis).max()
            axis = swept
            if change < TOLERANCE:
                break
        else:
            raise ConvergenceError(
                f"the axis of {planet.body} still moved by {change:.1e} rad "
                f"after {LARGEST_SWEEPS} sweeps"
            )
        figure = axis - lever * np.cross(axis, rate)
        # df/dt differs from ds/dt by the rate of f - s: 0.005 mas in the figure axis of Mars.
        figure = axis - lever * np.cross(axis, rate + self._differentiate(figure - axis))
        return SpinAxis(planet, self.bodies, self._table(planet, figure), self._table(planet, axis))

    def _integrate(self, rate: Array) -> Array:
        """Integral of the nodes' rates from the epoch to each node, shape (records * NODES, 3)."""
        by_record = rate.reshape(-1, NODES, 3) * (RECORD / 2.0)
        within = np.einsum("ij,rjk->rik", _GAUSS_INTEGRAL, by_record)
        boundaries = np.zeros((len(by_record) + 1, 3))
        np.cumsum(np.einsum("j,rjk->rk", _GAUSS_WEIGHTS, by_record), axis=0, out=boundaries[1:])
        record = min(int(self.anchor), len(by_record) - 1)
        place = 2.0 * (self.anchor - record) - 1.0
        to_epoch = legendre.legval(place, legendre.legint(_TO_LEGENDRE, lbnd=-1.0))
        boundaries -= boundaries[record] + to_epoch @ by_record[record]
        return (boundaries[:-1, None, :] + within).reshape(-1, 3)

    def _differentiate(self, values: Array) -> Array:
        """Time derivative at the nodes of what is smooth within each record."""
        by_record = values.reshape(-1, NODES, 3) / (RECORD / 2.0)
        return np.einsum("ij,rjk->rik", _GAUSS_DERIVATIVE, by_record).reshape(-1, 3)

    def _table(self, planet: RigidPlanet, axis: Array) -> ChebyshevTable:
        x, y, z = axis.T
        turn = np.arctan2(x, -y) - planet.longitude
        psi = planet.longitude + np.remainder(turn + np.pi, 2.0 * np.pi) - np.pi
        eps = np.arctan2(np.hypot(x, y), z)
        values = np.stack([psi, eps], axis=-1).reshape(-1, NODES, 2)
        coefficients = np.einsum("dj,rjk->rkd", _GAUSS_TO_CHEBYSHEV, values)
        return ChebyshevTable(self.start, RECORD, coefficients, f"axis of {planet.body}")


@dataclass(frozen=True, eq=False)
class TorqueField:
    """``ds/dt = (tensor s + offset) x s`` at n epochs, in the axes of the reference plane.

    ``tensor`` (n, 3, 3) is ``sum_b 3 GM_b H_D / (r_b^3 Omega) u_b u_b^T``, ``offset`` (n, 3)
    the geodetic rotation, both rad/s.
    """

    tensor: Array
    offset: Array

    @classmethod
    def along(
        cls,
        planet: RigidPlanet,
        ephemeris: Ephemeris,
        epochs: Epochs,
        bodies: tuple[str, ...],
        geodetic: bool,
    ) -> TorqueField:
        """Sum over the bodies at the positions that the ephemeris gives."""
        to_plane = reference_plane(planet.plane_node, planet.plane_inclination).T
        here, here_rate = ephemeris.state(planet.body, epochs)
        tensor = np.zeros((len(epochs), 3, 3))
        for body in bodies:
            if body not in GM:
                raise UnknownNameError("mass of a torquing body", body, GM)
            arm = (ephemeris.position(body, epochs) - here) @ to_plane.T
            distance = np.linalg.norm(arm, axis=1)
            strength = 3.0 * GM[body] * planet.dynamical_flattening / planet.spin_rate
            weighted = arm * (strength / distance**5)[:, None]
            tensor += weighted[:, :, None] * arm[:, None, :]
        offset = np.zeros((len(epochs), 3))
        if geodetic:
            sun, sun_rate = ephemeris.state("sun", epochs)
            r, v = (here - sun) @ to_plane.T, (here_rate - sun_rate) @ to_plane.T
            scale = 1.5 * GM["sun"] / SPEED_OF_LIGHT**2 / np.linalg.norm(r, axis=1) ** 3
            offset = scale[:, None] * np.cross(r, v)
        return cls(tensor, offset)

    def axis_rate(self, axis: Array) -> Array:
        """``ds/dt`` for the axes s, shape (n, 3), rad/s."""
        turning = np.einsum("nij,nj->ni", self.tensor, np.broadcast_to(axis, self.offset.shape))
        return np.cross(turning + self.offset, axis)


def reference_plane(node: float, inclination: float) -> Array:
    """Columns are the plane's axes in the ICRF: ``Rz(-N) Rx(-J)``, shape (3, 3)."""
    cn, sn = np.cos(node), np.sin(node)
    cj, sj = np.cos(inclination), np.sin(inclination)
    return np.array([[cn, -sn * cj, sn * sj], [sn, cn * cj, -cn * sj], [0.0, sj, cj]])


def unit_axis(longitude: float, obliquity: float) -> Array:
    """The axis with its equator's node at psi, inclined by eps, in the plane's axes."""
    sine = np.sin(obliquity)
    return np.array([sine * np.sin(longitude), -sine * np.cos(longitude), np.cos(obliquity)])


_GAUSS_NODES, _GAUSS_WEIGHTS = legendre.leggauss(NODES)
# Values at the nodes to Legendre coefficients: by the quadrature, exact to its order.
_TO_LEGENDRE = (
    (np.arange(NODES) + 0.5)[:, None] * legendre.legvander(_GAUSS_NODES, NODES - 1).T
) * _GAUSS_WEIGHTS
# Matrices on the values at the nodes: integral from -1 to each node, derivative at each node.
_GAUSS_INTEGRAL = legendre.legval(_GAUSS_NODES, legendre.legint(_TO_LEGENDRE, lbnd=-1.0)).T
_GAUSS_DERIVATIVE = legendre.legval(_GAUSS_NODES, legendre.legder(_TO_LEGENDRE)).T
_GAUSS_TO_CHEBYSHEV = np.linalg.inv(chebyshev.chebvander(_GAUSS_NODES, NODES - 1))
