"""Precession and nutation of a rigid planet: the axis, its series and its budget.

In: a `RigidPlanet` with its mean orientation, an ephemeris, a span. Out: `rigid_rotation`
gives the integrated axis (`SpinAxis`, to be interpolated) and its `NutationSeries`;
`precession_budget` tells which body contributes how much to the precession.

The arguments of the series are multiples of the planet's mean anomaly l. Classical series
(Reasenberg & King 1979, J. Geophys. Res. 84, 6231) use ``m l`` and ``m l + q`` with q twice
the longitude of perihelion from the equator's node; `NutationSeries.classical` converts.

The harmonics serve a core's transfer function and tables. For a rigid planet's motion itself
use the axis: the effects of the planets' perturbations of the orbit (for Mars 0.6 mas in psi
and 0.14 mas in eps, rms over sixty years) are in the axis and not in the series.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import DAY, GM, JULIAN_YEAR, MAS
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet.harmonic_fit import fit_harmonics
from wobble.planet.nutation_series import NutationSeries
from wobble.planet.rigid_axis import (
    Integration,
    RigidPlanet,
    SpinAxis,
    TorqueField,
    reference_plane,
)
from wobble.shown import as_code

__all__ = [
    "MeanOrbit",
    "PrecessionBudget",
    "fit_nutation",
    "mean_orbit",
    "precession_budget",
    "rigid_rotation",
]

Array = NDArray[np.float64]


class OnPlane(Protocol):
    """A body and a reference plane: a `RigidPlanet`, for one."""

    @property
    def body(self) -> str:
        """Its name in the ephemeris."""
        ...

    @property
    def plane_node(self) -> float:
        """N, rad."""
        ...

    @property
    def plane_inclination(self) -> float:
        """J, rad."""
        ...

    @property
    def epoch(self) -> float:
        """Of the mean anomaly, seconds since J2000.0 TDB."""
        ...


@dataclass(frozen=True)
class MeanOrbit:
    """What the arguments of nutation need of the planet's orbit about the Sun.

    Parameters
    ----------
    anomaly_rate, anomaly : float
        Rate (rad/s) and value at the epoch (rad) of the mean anomaly.
    eccentricity : float
        Mean over the span.
    perihelion : float
        Longitude of perihelion on the reference plane from its node on the ICRF equator, rad.
    epoch : float
        Seconds since J2000.0 TDB.
    """

    anomaly_rate: float
    anomaly: float
    eccentricity: float
    perihelion: float
    epoch: float = 0.0


def mean_orbit(planet: OnPlane, ephemeris: Ephemeris, start: float, stop: float) -> MeanOrbit:
    """Mean anomaly (a straight line through the osculating one), eccentricity and perihelion."""
    epochs = Epochs.of(np.arange(start, stop, 4.0 * DAY))
    to_plane = reference_plane(planet.plane_node, planet.plane_inclination)
    own, sun = ephemeris.state(planet.body, epochs), ephemeris.state("sun", epochs)
    r, v = (own[0] - sun[0]) @ to_plane, (own[1] - sun[1]) @ to_plane
    mu = GM["sun"] + GM.get(planet.body, 0.0)
    distance = np.linalg.norm(r, axis=1)
    along = np.einsum("ni,ni->n", r, v)
    speed2 = np.einsum("ni,ni->n", v, v)
    axis = 1.0 / (2.0 / distance - speed2 / mu)
    e_cos, e_sin = 1.0 - distance / axis, along / np.sqrt(mu * axis)
    anomaly = np.unwrap(np.arctan2(e_sin, e_cos) - e_sin)
    t = (epochs.seconds - planet.epoch) + epochs.fraction
    rate, at_epoch = np.polyfit(t / JULIAN_YEAR, anomaly, 1)
    apsis = ((speed2 / mu - 1.0 / distance)[:, None] * r - (along / mu)[:, None] * v).mean(axis=0)
    return MeanOrbit(
        anomaly_rate=float(rate / JULIAN_YEAR),
        anomaly=float(np.remainder(at_epoch, 2.0 * np.pi)),
        eccentricity=float(np.hypot(e_cos, e_sin).mean()),
        perihelion=float(np.remainder(np.arctan2(apsis[1], apsis[0]), 2.0 * np.pi)),
        epoch=planet.epoch,
    )


def fit_nutation(axis: SpinAxis, orbit: MeanOrbit, harmonics: int = 6) -> NutationSeries:
    """Fit a quadratic trend and drifting harmonics of the mean anomaly to an axis.

    Parameters
    ----------
    axis : SpinAxis
        Its figure axis is fitted over its whole span.
    orbit : MeanOrbit
        The mean anomaly.
    harmonics : int
        Terms l, 2 l, ... up to this multiple.

    Raises
    ------
    InputError
        If the span is too short to tell the terms apart (less than two orbits or so).
    """
    if harmonics < 1:
        raise InputError(
            "no term is asked for", field="harmonics", found=harmonics, expected=">= 1"
        )
    multiples = np.arange(1, harmonics + 1)
    epochs = axis.sampled(min(4.0 * DAY, np.pi / orbit.anomaly_rate / (4 * harmonics)))
    fitted = fit_harmonics(
        epochs,
        axis.value(epochs),
        multiples * orbit.anomaly_rate,
        multiples * orbit.anomaly,
        epoch=orbit.epoch,
    )
    names = tuple("l" if m == 1 else f"{m} l" for m in multiples)
    return NutationSeries(axis.planet.body, names, fitted)


def rigid_rotation(
    planet: RigidPlanet,
    ephemeris: Ephemeris,
    start: float,
    stop: float,
    *,
    harmonics: int = 6,
    given_terms: NutationSeries | None = None,
) -> tuple[SpinAxis, NutationSeries]:
    """Axis and series of a rigid planet with a given *mean* orientation.

    Published longitudes and obliquities are means, the nutation taken off; the true axis
    is up to 0.6 arcsec away for Mars. So the axis is integrated, its mean found by the fit,
    and integrated again from where it must be for the mean to come out as given.

    Parameters
    ----------
    planet : RigidPlanet
        Its longitude and obliquity are the mean values at its epoch.
    ephemeris : Ephemeris
        Positions of the bodies.
    start, stop : float
        Span, seconds since J2000.0 TDB; several orbits, better decades.
    harmonics : int
        Highest multiple of the mean anomaly in the series.
    given_terms : NutationSeries, optional
        Terms from what is not in the ephemeris (satellites), added to axis and series.

    Raises
    ------
    InputError
        If the span is too short to tell the terms apart, or the ephemeris does not cover it.
    """
    orbit = mean_orbit(planet, ephemeris, start, stop)
    integration = Integration.prepare(planet, ephemeris, start, stop, None, True)
    first = fit_nutation(integration.run(planet), orbit, harmonics)
    corrected = planet.starting_at(
        2.0 * planet.longitude - first.longitude, 2.0 * planet.obliquity - first.obliquity
    )
    axis = integration.run(corrected)
    series = fit_nutation(axis, orbit, harmonics)
    if given_terms is None:
        return axis, series
    constant = given_terms.harmonics.polynomial[0]
    moved = axis.plus(lambda epochs: given_terms.value(epochs) - constant, "given terms")
    return moved, series.plus(given_terms)


@dataclass(frozen=True)
class PrecessionBudget:
    """Contributions to the rate of the node's longitude at the planet's epoch.

    Parameters
    ----------
    planet : RigidPlanet
        The planet, with the dynamical flattening of which the rates are.
    torques : dict of str to float
        Rate by the torque of each body, rad/s; all proportional to the flattening.
    geodetic : float
        Geodetic precession, rad/s.
    """

    planet: RigidPlanet
    torques: dict[str, float]
    geodetic: float

    @property
    def total(self) -> float:
        """Sum of all, rad/s."""
        return sum(self.torques.values()) + self.geodetic

    @property
    def rate_per_flattening(self) -> float:
        """Rate by all torques for a dynamical flattening of one, rad/s."""
        return sum(self.torques.values()) / self.planet.dynamical_flattening

    def flattening(self, precession_rate: ArrayLike) -> Array:
        """H_D that measured rates (rad/s, all contributions in them) stand for."""
        return (np.asarray(precession_rate, float) - self.geodetic) / self.rate_per_flattening

    def __repr__(self) -> str:
        rate = self.total * JULIAN_YEAR / MAS
        return f"<PrecessionBudget of {self.planet.body}: {rate:.2f} mas/yr in all>"

    def _repr_html_(self) -> str:
        return as_code(self)

    def __str__(self) -> str:
        rows = {**self.torques, "geodetic": self.geodetic, "total": self.total}
        lines = [f"  {name:<24}{rate * JULIAN_YEAR / MAS:12.3f}" for name, rate in rows.items()]
        head = f"Precession of {self.planet.body}, H_D = {self.planet.dynamical_flattening:.8f}"
        return "\n".join([f"{head}, mas/yr", *lines])


def precession_budget(
    axis: SpinAxis, ephemeris: Ephemeris, *, given_terms: NutationSeries | None = None
) -> PrecessionBudget:
    """The precession rate by each body, from its torque along the integrated axis.

    The rate of psi that each torque causes is fitted like the axis itself; its constant is
    the body's share at the planet's epoch.

    Parameters
    ----------
    axis : SpinAxis
        From `rigid_rotation` or `integrate_axis`, over decades.
    ephemeris : Ephemeris
        The one that the axis was integrated with.
    given_terms : NutationSeries, optional
        Terms from what is not in the ephemeris (satellites).
    """
    planet, epochs = axis.planet, axis.sampled()
    orbit = mean_orbit(planet, ephemeris, *axis.span)
    psi, eps = axis.angular_momentum.value(epochs).T
    sine, cosine = np.sin(psi), np.cos(psi)
    pole = np.stack([np.sin(eps) * sine, -np.sin(eps) * cosine, np.cos(eps)], axis=1)

    def psi_rate(bodies: tuple[str, ...], geodetic: bool) -> Array:
        field = TorqueField.along(planet, ephemeris, epochs, bodies, geodetic)
        rate = field.axis_rate(pole)
        return (rate[:, 0] * cosine + rate[:, 1] * sine) / np.sin(eps)

    bodies = [body for body in GM if body in ephemeris.bodies and body != planet.body]
    columns = [*(psi_rate((body,), False) for body in bodies), psi_rate((), True)]
    multiples = np.arange(1, 7)
    fitted = fit_harmonics(
        epochs,
        np.stack(columns, axis=1),
        multiples * orbit.anomaly_rate,
        multiples * orbit.anomaly,
        epoch=planet.epoch,
        degree=1,
    )
    *by_body, geodetic = (float(rate) for rate in fitted.polynomial[0])
    torques = dict(zip(bodies, by_body, strict=True))
    if given_terms is not None:
        torques["given terms"] = given_terms.precession_rate
    return PrecessionBudget(planet, torques, geodetic)
