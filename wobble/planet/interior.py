"""From rotation parameters to moments of inertia and to the core.

In: precession rate, core factor F and period of the free core nutation with their covariance,
the gravity field's J2, and what is assumed of crust and mantle. Out: polar moment of inertia,
the core's moment and flattening, its radius and density, as samples of their distribution.

1. Precession, the geodetic part taken off, is proportional to the dynamical flattening:
   ``H_D = (psi_dot - geodetic) / k`` with k from `wobble.planet.nutation.precession_budget`.
   With ``J2 M R^2 = C - (A+B)/2`` follows ``C / (M R^2) = J2 / H_D``, R being the reference
   radius of J2.
2. The resonance tells of the core (Sasao, Okubo & Saito 1980, IAU Symp. 78, 165; subscript m
   the mantle, c the core, e and e_c dynamical flattenings (C-A)/A of planet and core):

       F = (A_c / A_m) (1 - gamma / e),   2 pi / period = -Omega (A / A_m) (e_c - beta).

   gamma and beta are the mantle's compliances (`wobble.planet.core_compliance`).
3. Mass, mean moment and core moment fix three unknowns: radius and density of a uniform core
   and density of a uniform mantle (two layers), under a crust that is given (three layers).
4. The flattening that the core-mantle boundary would have if the planet were fluid
   (`wobble.planet.layers`) is compared with e_c.

This is an inference under assumptions, and the result lists them. The weightiest: layers are
uniform. A mantle whose density grows by 15 to 20 % with depth makes the core of Mars 20 to
25 km larger and 360 to 470 kg/m^3 lighter than a uniform one; a 50 km crust of 2900 kg/m^3
makes it 7 km larger than none.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import gravitational_constant

from wobble.constants import DAY
from wobble.errors import ConvergenceError, InputError
from wobble.planet.interior_samples import InteriorSamples
from wobble.planet.layers import Crust, Layers, core_and_mantle

__all__ = [
    "Mantle",
    "PlanetFigure",
    "PolarMoment",
    "core_flattening",
    "core_moment_fraction",
    "infer_interior",
    "interior_model",
    "polar_moment",
    "precession_by_hand",
]

Array = NDArray[np.float64]

LARGEST_ITERATIONS = 30
SMALLEST_CORE, LARGEST_CORE = 0.02, 0.98  # of the radius, of the mantle's outer radius
DENSEST_CORE = 2.0e4
"""No planet's iron is denser, kg/m^3 (13 000 at the centre of the Earth)."""


class Precession(Protocol):
    """What turns a precession rate into a flattening: a `PrecessionBudget`."""

    def flattening(self, precession_rate: ArrayLike) -> Array:
        """H_D for rates in rad/s."""
        ...


class Mantle(Protocol):
    """An assumption on how the mantle yields (`ElasticMantle`, `GivenCompliance`)."""

    def draw(self, rng: np.random.Generator, count: int) -> Mantle:
        """So many mantles from the assumed distribution."""
        ...

    def compliances(self, layers: Layers, spin_rate: float) -> tuple[Array, Array]:
        """gamma and beta."""
        ...


@dataclass(frozen=True)
class PlanetFigure:
    """Mass, size, gravity and spin of the planet.

    Parameters
    ----------
    gm : float
        m^3/s^2.
    radius : float
        Mean radius, m: the surface of the layered models.
    j2 : float or ndarray, shape (n,)
        Unnormalised zonal coefficient of degree two, the permanent tide's part included or
        not as in the determination of the precession (1e-6 of J2 for Mars).
    j2_radius : float
        Reference radius of J2, m; C/(M R^2) refers to it too.
    spin_rate : float
        rad/s.
    j2_sigma : float
        Uncertainty of J2.

    Raises
    ------
    InputError
        If a quantity that must be positive is not.
    """

    gm: float
    radius: float
    j2: float | Array
    j2_radius: float
    spin_rate: float
    j2_sigma: float = 0.0

    def __post_init__(self) -> None:
        for name in ("gm", "radius", "j2", "j2_radius", "spin_rate"):
            if not np.all(np.asarray(getattr(self, name)) > 0.0):
                raise InputError("not positive", field=name, found=getattr(self, name))

    @property
    def mass(self) -> float:
        """kg."""
        return self.gm / gravitational_constant


@dataclass(frozen=True)
class PolarMoment:
    """Dynamical flattening and polar moment of inertia with their uncertainties.

    Parameters
    ----------
    flattening, flattening_sigma : float
        H_D = (C - (A+B)/2) / C.
    moment, moment_sigma : float
        C / (M R^2), R the reference radius of J2.
    """

    flattening: float
    flattening_sigma: float
    moment: float
    moment_sigma: float

    def __str__(self) -> str:
        return (
            f"H_D = {self.flattening:.8f} +- {self.flattening_sigma:.8f}, "
            f"C/MR^2 = {self.moment:.5f} +- {self.moment_sigma:.5f}"
        )


def polar_moment(
    precession_rate: float, precession_sigma: float, precession: Precession, figure: PlanetFigure
) -> PolarMoment:
    """Polar moment from the precession rate (rad/s) and J2, propagated linearly.

    Raises
    ------
    InputError
        If the rate stands for a moment that no planet has.
    """
    flattening = float(precession.flattening(np.asarray(precession_rate)))
    slope = float(precession.flattening(np.asarray(precession_rate + precession_sigma)))
    sigma = abs(slope - flattening)
    moment = float(figure.j2) / flattening
    _require_moment(moment, flattening)
    relative = np.hypot(sigma / flattening, figure.j2_sigma / float(figure.j2))
    return PolarMoment(flattening, sigma, moment, moment * float(relative))


def precession_by_hand(
    flattening: float, mean_motion: float, eccentricity: float, obliquity: float, spin_rate: float
) -> float:
    """First-order precession by the Sun, ``-3/2 n^2/Omega H_D cos(eps) (1-e^2)^(-3/2)``, rad/s.

    For checks on the back of an envelope: 0.005 % off the integration for Mars.
    """
    shape = (1.0 - eccentricity**2) ** -1.5
    return float(-1.5 * mean_motion**2 / spin_rate * flattening * np.cos(obliquity) * shape)


def core_moment_fraction(factor: ArrayLike, flattening: ArrayLike, gamma: ArrayLike) -> Array:
    """A_c / A from the core factor, ``r / (1 + r)`` with ``r = A_c/A_m = F / (1 - gamma/e)``.

    Parameters
    ----------
    factor, flattening, gamma : array_like
        F, H_D of the planet (``e = H_D / (1 - H_D)``), compliance.
    """
    e = np.asarray(flattening) / (1.0 - np.asarray(flattening))
    ratio = np.asarray(factor) / (1.0 - np.asarray(gamma) / e)
    return ratio / (1.0 + ratio)


def core_flattening(
    period: ArrayLike, spin_rate: float, moment_fraction: ArrayLike, beta: ArrayLike
) -> Array:
    """e_c from the period (s, inertial, negative), ``beta - (2 pi/period) (1 - A_c/A) / Omega``."""
    frequency = 2.0 * np.pi / np.asarray(period)
    return np.asarray(beta, float) - frequency * (1.0 - np.asarray(moment_fraction)) / spin_rate


def interior_model(
    precession_rate: ArrayLike,
    factor: ArrayLike,
    period: ArrayLike,
    precession: Precession,
    figure: PlanetFigure,
    mantle: Mantle,
    crust: Crust | None = None,
) -> InteriorSamples:
    """The interior that given rotation parameters stand for, n at a time.

    Parameters
    ----------
    precession_rate, factor, period : array_like, shape (n,)
        rad/s; F; period of the free core nutation in the inertial frame, s.
    precession : PrecessionBudget
        Rate per flattening, and the geodetic part.
    figure : PlanetFigure
        Mass, radius, J2, spin.
    mantle : ElasticMantle or GivenCompliance
        How the mantle yields.
    crust : Crust, optional
        Makes three layers of two.

    Returns
    -------
    InteriorSamples
        Of n samples, NaN throughout where no such planet exists: a moment of inertia too
        large for a dense core, a core factor that is not positive, or so small that its core
        would be denser than `DENSEST_CORE`.
    """
    flattening = precession.flattening(np.atleast_1d(precession_rate))
    inputs = np.array(np.broadcast_arrays(figure.j2, flattening, factor, period))
    possible = _is_physical(*inputs)
    gamma, beta = np.zeros(possible.size), np.zeros(possible.size)
    for _ in range(LARGEST_ITERATIONS):
        # Impossible rows are carried along as copies of a possible one, and blanked at the end.
        _require_any(possible)
        inputs[:, ~possible] = inputs[:, [np.argmax(possible)]]
        core = _Core.of(inputs, gamma, beta, figure, crust)
        if not core.exists[possible].all():
            possible = possible & core.exists
            continue
        layers = core.layers(figure, crust)
        before = gamma
        gamma, beta = mantle.compliances(layers, figure.spin_rate)
        if np.abs(gamma - before).max() < 1e-10:
            break
    else:
        raise ConvergenceError("core radius and compliance of the mantle did not settle")
    j2, h_d, f, tau = inputs
    hydrostatic = layers.hydrostatic_flattening(figure.spin_rate)[:, 0]

    def blanked(values: Array) -> Array:
        return np.where(possible, values, np.nan)

    return InteriorSamples(
        flattening=blanked(h_d),
        polar_moment=blanked(j2 / h_d),
        core_factor=blanked(f),
        core_period=blanked(tau),
        core_moment=blanked(core.fraction),
        core_flattening=blanked(core.flattening),
        hydrostatic_flattening=blanked(hydrostatic),
        core_radius=blanked(core.radius),
        core_density=blanked(core.density),
        mantle_density=blanked(core.mantle_density),
        gamma=blanked(gamma),
        beta=blanked(beta),
        assumptions=_assumptions(figure, mantle, crust),
    )


def infer_interior(
    mean: ArrayLike,
    covariance: ArrayLike,
    precession: Precession,
    figure: PlanetFigure,
    mantle: Mantle,
    rng: np.random.Generator,
    *,
    crust: Crust | None = None,
    samples: int = 4000,
) -> InteriorSamples:
    """Monte Carlo through the covariance of a solution.

    Parameters
    ----------
    mean : array_like, shape (3,)
        Precession rate (rad/s), core factor F, period of the free core nutation (s).
    covariance : array_like, shape (3, 3)
        Theirs.
    precession, figure, mantle, crust
        As for `interior_model`; J2, Love number and crust are drawn from normal distributions
        with their own uncertainties.
    rng : numpy.random.Generator
        Source of the random numbers.
    samples : int
        How many are drawn; those for which no planet exists are taken out and counted.

    Raises
    ------
    InputError
        If the mean is not physical, the covariance not positive semidefinite, or no sample
        stands for a planet.
    """
    mean, covariance = np.asarray(mean, float), np.asarray(covariance, float)
    _require_physical(mean, covariance, precession, figure)
    rate, factor, period = rng.multivariate_normal(mean, covariance, size=samples, method="eigh").T
    j2 = figure.j2 + figure.j2_sigma * rng.standard_normal(samples)
    found = interior_model(
        rate,
        factor,
        period,
        precession,
        replace(figure, j2=j2),
        mantle.draw(rng, samples),
        None if crust is None else crust.draw(rng, samples),
    )
    kept = np.isfinite(found.core_radius)
    return replace(found.only(kept), assumptions=_assumptions(figure, mantle, crust))


@dataclass(frozen=True, eq=False)
class _Core:
    """The core for given compliances, n at a time; ``exists`` where there is one."""

    fraction: Array
    flattening: Array
    radius: Array
    density: Array
    mantle_density: Array
    exists: NDArray[np.bool_]

    @classmethod
    def of(
        cls, inputs: Array, gamma: Array, beta: Array, figure: PlanetFigure, crust: Crust | None
    ) -> _Core:
        j2, flattening, factor, period = inputs
        fraction = core_moment_fraction(factor, flattening, gamma)
        e_core = core_flattening(period, figure.spin_rate, fraction, beta)
        # Moments over M R^2 with R the mean radius: polar, equatorial, mean, the core's mean.
        polar = j2 / flattening * (figure.j2_radius / figure.radius) ** 2
        equatorial = polar * (1.0 - flattening)
        mean = (polar + 2.0 * equatorial) / 3.0
        target = fraction * equatorial * (1.0 + e_core / 3.0)

        surface = np.ones_like(j2) if crust is None else 1.0 - crust.thickness / figure.radius
        low, high = np.full_like(j2, SMALLEST_CORE), LARGEST_CORE * surface * np.ones_like(j2)
        unit = 8.0 / 15.0 * np.pi * figure.radius**3 / figure.mass

        def moment(inner: Array) -> Array:
            """The core's moment grows with its radius when mass and mean moment are kept."""
            density, _ = core_and_mantle(
                inner * figure.radius, figure.radius, figure.mass, mean, crust
            )
            return unit * density * inner**5

        exists = (fraction > 0.0) & (moment(low) < target) & (moment(high) > target)
        for _ in range(50):
            middle = (low + high) / 2.0
            below = moment(middle) < target
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        radius = (low + high) / 2.0 * figure.radius
        density, mantle = core_and_mantle(radius, figure.radius, figure.mass, mean, crust)
        exists &= (mantle > 0.0) & (density > mantle) & (density < DENSEST_CORE)
        return cls(fraction, e_core, radius, density, mantle, exists)

    def layers(self, figure: PlanetFigure, crust: Crust | None) -> Layers:
        """Core, mantle and, if there is one, crust."""
        surface = np.full_like(self.radius, figure.radius)
        if crust is None:
            return Layers(
                np.stack([self.radius, surface], axis=1),
                np.stack([self.density, self.mantle_density], axis=1),
            )
        crust_density = crust.density * np.ones_like(surface)
        return Layers(
            np.stack([self.radius, surface - crust.thickness, surface], axis=1),
            np.stack([self.density, self.mantle_density, crust_density], axis=1),
        )


def _assumptions(figure: PlanetFigure, mantle: Mantle, crust: Crust | None) -> tuple[str, ...]:
    layers = "uniform core and uniform mantle"
    return (
        f"two layers: {layers}" if crust is None else f"three layers: {layers} under a {crust}",
        str(mantle),
        f"J2 = {np.mean(figure.j2):.9g} +- {figure.j2_sigma:.2g} at {figure.j2_radius / 1e3:g} km, "
        f"mean radius {figure.radius / 1e3:g} km, GM {figure.gm:.9g} m^3/s^2",
        "entirely solid mantle, inviscid core, no coupling but pressure at the boundary",
        "independent normal distributions of J2, Love number and crust; core denser than the "
        f"mantle and lighter than {DENSEST_CORE:g} kg/m^3; no other prior",
    )


def _is_physical(j2: Array, flattening: Array, factor: Array, period: Array) -> NDArray[np.bool_]:
    """Where J2/H_D is the moment of a planet denser inside, and the resonance a core's."""
    moment = (flattening > 0.0) & (flattening < 1.0) & (j2 < 0.4 * flattening)
    return moment & (factor > 0.0) & (period < 0.0)


def _require_physical(
    mean: Array, covariance: Array, precession: Precession, figure: PlanetFigure
) -> None:
    if mean.shape != (3,) or covariance.shape != (3, 3):
        raise InputError(
            "three parameters are needed",
            field="mean, covariance",
            found=(mean.shape, covariance.shape),
            expected="(3,) and (3, 3): precession rate, core factor, core period",
        )
    if not _is_covariance(covariance):
        raise InputError("not a covariance (symmetric, no negative variance)", field="covariance")
    flattening = float(precession.flattening(mean[0]))
    _require_moment(float(np.mean(figure.j2)) / flattening, flattening)
    if not mean[1] > 0.0:
        raise InputError(
            "a core adds to the nutation", field="core.factor", found=mean[1], expected="> 0"
        )
    if not mean[2] < 0.0:
        raise InputError(
            "the free core nutation is retrograde",
            field="core.period",
            found=f"{mean[2] / DAY:g} d",
            expected="a negative period",
        )


def _is_covariance(matrix: Array) -> bool:
    variance = np.diag(matrix)
    if not np.isfinite(matrix).all() or (variance < 0.0).any():
        return False
    if not np.allclose(matrix, matrix.T, rtol=1e-8, atol=0.0):
        return False
    # Scaled to correlations: the units differ by twenty orders of magnitude.
    sigma = np.sqrt(np.where(variance > 0.0, variance, 1.0))
    return bool(np.linalg.eigvalsh(matrix / np.outer(sigma, sigma)).min() > -1e-8)


def _require_moment(moment: float, flattening: float) -> None:
    if not 0.0 < flattening < 1.0:
        raise InputError(
            "the precession rate stands for no flattening between 0 and 1",
            field="pole.precession_rate",
            found=f"H_D = {flattening:.6g}",
            expected="0 < H_D < 1",
        )
    if not moment < 0.4:
        raise InputError(
            "a planet that is denser inside has less than a uniform sphere",
            field="C/MR^2",
            found=round(moment, 6),
            expected="< 0.4",
        )


def _require_any(possible: NDArray[np.bool_]) -> None:
    if not possible.any():
        raise InputError(
            f"no planet of uniform layers has these parameters ({possible.size} tried): the core "
            f"would have to be denser than {DENSEST_CORE:g} kg/m^3, lighter than the mantle, or "
            "larger than the planet",
            field="core.factor",
        )
