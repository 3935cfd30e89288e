"""A planet of a few uniform layers: mass, moment of inertia, hydrostatic shape.

In: outer radii and densities of the layers, innermost (the core) first, for n planets at a
time. Out: mass, mean moment, gravity, and the flattening of each boundary that the planet
would have if it were fluid throughout (Clairaut's equation, first order).

Clairaut's equation holds in its integral form, which for uniform layers is a linear system:
on boundary i the displacement -2/3 f r P2 follows the potential of all boundaries' own
displacements (density jump D_j) and of the rotation,

    g_i r_i f_i = (4 pi G / 5) [sum_(j <= i) D_j f_j r_j^5 / r_i^3 + sum_(j > i) D_j f_j r_i^2]
                  + Omega^2 r_i^2 / 2

(Jeffreys 1976, The Earth, 6th ed., ch. 4). Second order changes f by about f of itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.constants import gravitational_constant

from wobble.errors import InputError

__all__ = ["Crust", "Layers", "core_and_mantle"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Layers:
    """Uniform spherical layers of n planets.

    Parameters
    ----------
    radii : array_like, shape (n, layers)
        Outer radius of each layer, m, growing outwards; the last is the surface.
    densities : array_like, shape (n, layers)
        kg/m^3.

    Raises
    ------
    InputError
        If a radius does not grow outwards (a core larger than the planet, say) or a density
        is not positive.
    """

    radii: Array
    densities: Array

    def __post_init__(self) -> None:
        radii, densities = np.atleast_2d(self.radii), np.atleast_2d(self.densities)
        object.__setattr__(self, "radii", radii)
        object.__setattr__(self, "densities", densities)
        if radii.shape != densities.shape:
            raise InputError(
                "each layer has one radius and one density",
                field="densities",
                found=densities.shape,
                expected=radii.shape,
            )
        if not (np.diff(radii, axis=1, prepend=0.0) > 0.0).all():
            bad = int(np.argmin((np.diff(radii, axis=1, prepend=0.0) > 0.0).all(axis=1)))
            raise InputError(
                "a layer lies outside the one above it (a core larger than the planet?)",
                field="radii",
                found=(radii[bad] / 1e3).tolist(),
                expected="outer radii that grow from the core to the surface, km",
            )
        if not (densities > 0.0).all():
            raise InputError(
                "not positive", field="densities", found=float(densities.min()), expected="> 0"
            )

    @property
    def volumes(self) -> Array:
        """Volume of each layer, m^3, shape (n, layers)."""
        return 4.0 / 3.0 * np.pi * np.diff(self.radii**3, axis=1, prepend=0.0)

    @property
    def mass(self) -> Array:
        """kg, shape (n,)."""
        return np.sum(self.volumes * self.densities, axis=1)

    @property
    def moments(self) -> Array:
        """Mean moment of inertia of each layer, kg m^2, shape (n, layers)."""
        fifth = np.diff(self.radii**5, axis=1, prepend=0.0)
        return 8.0 / 15.0 * np.pi * self.densities * fifth

    @property
    def moment_factor(self) -> Array:
        """Mean moment over mass and squared radius, I / (M R^2), shape (n,)."""
        return self.moments.sum(axis=1) / (self.mass * self.radii[:, -1] ** 2)

    @property
    def gravity(self) -> Array:
        """Gravity at each boundary, m/s^2, shape (n, layers)."""
        inside = np.cumsum(self.volumes * self.densities, axis=1)
        return gravitational_constant * inside / self.radii**2

    def hydrostatic_flattening(self, spin_rate: float) -> Array:
        """Flattening of each boundary of the fluid planet, shape (n, layers).

        Parameters
        ----------
        spin_rate : float
            rad/s.
        """
        r = self.radii
        jump = -np.diff(self.densities, axis=1, append=0.0)
        here, other = r[:, :, None], r[:, None, :]
        within = np.tri(r.shape[1], dtype=bool)
        pull = 0.8 * np.pi * gravitational_constant * jump[:, None, :]
        attraction = pull * np.where(within, other**5 / here**3, here**2)
        system = np.eye(r.shape[1]) * (self.gravity * r)[:, :, None] - attraction
        centrifugal = 0.5 * spin_rate**2 * r**2
        return np.linalg.solve(system, centrifugal[:, :, None])[:, :, 0]


@dataclass(frozen=True)
class Crust:
    """A uniform crust that is known beforehand.

    Parameters
    ----------
    thickness, density : float or ndarray, shape (n,)
        m and kg/m^3.
    thickness_sigma, density_sigma : float
        Their uncertainties.
    """

    thickness: float | Array
    density: float | Array
    thickness_sigma: float = 0.0
    density_sigma: float = 0.0

    def __post_init__(self) -> None:
        for name in ("thickness", "density"):
            if not np.all(np.asarray(getattr(self, name)) > 0.0):
                raise InputError("not positive", field=f"crust.{name}", found=getattr(self, name))

    def draw(self, rng: np.random.Generator, count: int) -> Crust:
        """So many crusts from independent normal distributions, no thinner than 1 km."""
        thickness = self.thickness + self.thickness_sigma * rng.standard_normal(count)
        density = self.density + self.density_sigma * rng.standard_normal(count)
        return Crust(np.maximum(thickness, 1e3), np.maximum(density, 100.0))

    def __str__(self) -> str:
        return (
            f"crust {np.mean(self.thickness) / 1e3:g} +- {self.thickness_sigma / 1e3:g} km thick, "
            f"{np.mean(self.density):g} +- {self.density_sigma:g} kg/m^3"
        )


def core_and_mantle(
    core_radius: ArrayLike,
    radius: float,
    mass: float,
    moment_factor: ArrayLike,
    crust: Crust | None = None,
) -> tuple[Array, Array]:
    """Densities of core and mantle that give the planet its mass and mean moment.

    Two linear equations, for ``mass`` and for ``moment_factor * mass * radius^2``.

    Parameters
    ----------
    core_radius : array_like, shape (n,)
        m.
    radius, mass : float
        Of the planet, m and kg.
    moment_factor : array_like, shape (n,)
        I / (M R^2), mean moment.
    crust : Crust, optional
        Above the mantle; without it the mantle reaches the surface.

    Returns
    -------
    core, mantle : ndarray, shape (n,)
        Densities, kg/m^3; negative where no such planet exists.
    """
    inner = np.asarray(core_radius, float) / radius
    outer = np.ones_like(inner)
    mean = mass / (4.0 / 3.0 * np.pi * radius**3)
    by_mass = mean * np.ones_like(inner)
    by_moment = by_mass * np.asarray(moment_factor, float) / 0.4
    if crust is not None:
        outer = outer - crust.thickness / radius
        by_mass = by_mass - crust.density * (1.0 - outer**3)
        by_moment = by_moment - crust.density * (1.0 - outer**5)
    # contrast x^3 + mantle outer^3 = by_mass and the same with fifth powers.
    determinant = inner**3 * outer**5 - inner**5 * outer**3
    contrast = (by_mass * outer**5 - by_moment * outer**3) / determinant
    mantle = (inner**3 * by_moment - inner**5 * by_mass) / determinant
    return contrast + mantle, mantle
