"""How the core-mantle boundary yields: the compliances gamma and beta of a mantle.

In: the planet's layers and its spin rate, and what is assumed of the mantle. Out: gamma and
beta, the two numbers by which an elastic mantle softens the core's resonance (Sasao, Okubo &
Saito 1980, IAU Symp. 78, 165; Mathews et al. 1991, J. Geophys. Res. 96, 8219).

* gamma is the core's dynamical flattening caused by the centrifugal potential that acts on
  the whole planet, beta that by the same potential acting on the core alone. For a uniform
  core, both are ``h Omega^2 c / (2 g)`` with c and g radius and gravity of the core-mantle
  boundary and h the boundary's Love number for the respective forcing.
* `GivenCompliance` takes both as numbers (zero for a rigid mantle).
* `ElasticMantle` computes them for an incompressible, elastic mantle of one rigidity over an
  inviscid uniform core, the rigidity being the one that gives the planet its tidal Love
  number k2. The solution in each layer is a sum of six powers of r for displacements U, V,
  stresses, potential and its gradient (Sabadini & Vermeersen 2004, Global Dynamics of the
  Earth, ch. 2). With the Earth's layers it gives gamma and beta to about 5 % of those of a
  full model. Anelasticity between tidal and nutation periods is left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.errors import ConvergenceError, InputError
from wobble.planet.layers import Layers

__all__ = ["ElasticMantle", "GivenCompliance", "LoveNumbers", "love_numbers"]

Array = NDArray[np.float64]

PI_G = 0.75  # pi G when radius, mean density and surface gravity are one


@dataclass(frozen=True)
class GivenCompliance:
    """Compliances given as numbers.

    Parameters
    ----------
    gamma, beta : float
        Zero for a rigid mantle.
    """

    gamma: float = 0.0
    beta: float = 0.0

    def draw(self, rng: np.random.Generator, count: int) -> GivenCompliance:
        """Itself: the numbers have no uncertainty."""
        return self

    def compliances(self, layers: Layers, spin_rate: float) -> tuple[Array, Array]:
        """gamma and beta, each of shape (n,)."""
        count = len(layers.radii)
        return np.full(count, self.gamma), np.full(count, self.beta)

    def __str__(self) -> str:
        return f"given compliances gamma {self.gamma:g}, beta {self.beta:g}"


@dataclass(frozen=True)
class ElasticMantle:
    """A mantle of one rigidity that gives the planet its Love number.

    Parameters
    ----------
    love_number : float or ndarray, shape (n,)
        k2 of degree two.
    love_number_sigma : float
        Its uncertainty.
    """

    love_number: float | Array
    love_number_sigma: float = 0.0

    def __post_init__(self) -> None:
        if not np.all(np.asarray(self.love_number) > 0.0):
            raise InputError("not positive", field="love_number", found=self.love_number)

    def draw(self, rng: np.random.Generator, count: int) -> ElasticMantle:
        """So many mantles from a normal distribution of k2, cut at a tenth of its value."""
        drawn = self.love_number + self.love_number_sigma * rng.standard_normal(count)
        return ElasticMantle(np.maximum(drawn, 0.1 * self.love_number))

    def compliances(self, layers: Layers, spin_rate: float) -> tuple[Array, Array]:
        """gamma and beta, each of shape (n,).

        Raises
        ------
        ConvergenceError
            If no rigidity gives the Love number (larger than that of a fluid planet).
        """
        numbers = love_numbers(layers, self.rigidity(layers))
        scale = spin_rate**2 * layers.radii[:, 0] / (2.0 * layers.gravity[:, 0])
        return numbers.boundary * scale, numbers.boundary_core_only * scale

    def rigidity(self, layers: Layers) -> Array:
        """Rigidity of the mantle, Pa, shape (n,).

        ``1/k2`` is nearly linear in the rigidity, as for the uniform sphere ``k2 = 1.5 / (1 +
        9.5 mu)``, so that a few secant steps suffice.
        """
        target = np.broadcast_to(1.0 / np.asarray(self.love_number, float), len(layers.radii))
        unit = layers.mass / (4.0 / 3.0 * np.pi * layers.radii[:, -1] ** 3)
        unit = unit * layers.gravity[:, -1] * layers.radii[:, -1]
        before = (1.5 * target - 1.0) / 9.5 * unit
        now = 1.2 * before
        miss_before = 1.0 / love_numbers(layers, before).tidal - target
        for _ in range(12):
            miss = 1.0 / love_numbers(layers, now).tidal - target
            if np.abs(miss / target).max() < 1e-9:
                return now
            slope = (miss - miss_before) / np.where(now == before, 1.0, now - before)
            step = np.where(slope == 0.0, 0.0, -miss / np.where(slope == 0.0, 1.0, slope))
            before, now, miss_before = now, np.maximum(now + step, 0.05 * now), miss
        raise ConvergenceError("no rigidity of the mantle gives the Love number k2 asked for")

    def __str__(self) -> str:
        return (
            "elastic incompressible mantle of one rigidity that gives "
            f"k2 = {np.mean(self.love_number):g} +- {self.love_number_sigma:g}"
        )


@dataclass(frozen=True, eq=False)
class LoveNumbers:
    """Response of degree two of n planets.

    Parameters
    ----------
    tidal : ndarray, shape (n,)
        k2, potential at the surface.
    displacement : ndarray, shape (n,)
        h2, displacement of the surface.
    boundary : ndarray, shape (n,)
        h of the core-mantle boundary, in units of potential over gravity there.
    boundary_core_only : ndarray, shape (n,)
        The same when the potential acts on the core alone.
    """

    tidal: Array
    displacement: Array
    boundary: Array
    boundary_core_only: Array


def love_numbers(layers: Layers, rigidity: Array) -> LoveNumbers:
    """Static Love numbers of an inviscid core under incompressible elastic layers.

    Parameters
    ----------
    layers : Layers
        Core first; all others are solid.
    rigidity : ndarray, shape (n,)
        Of all solid layers, Pa.
    """
    surface, mass = layers.radii[:, -1:], layers.mass[:, None]
    mean = mass / (4.0 / 3.0 * np.pi * surface**3)
    radii, density = layers.radii / surface, layers.densities / mean
    gravity = layers.gravity / layers.gravity[:, -1:]
    mu = rigidity / (mean * layers.gravity[:, -1:] * surface)[:, 0]

    # Columns: potential in the core, radial and tangential displacement of its boundary, and
    # the pressure of a unit potential that acts on the core alone.
    c, g, rho = radii[:, 0], gravity[:, 0], density[:, 0]
    state = np.zeros((len(c), 6, 4))
    state[:, 2, 0], state[:, 4, 0], state[:, 5, 0] = rho * c**2, c**2, 5.0 * c
    state[:, 0, 1], state[:, 2, 1], state[:, 5, 1] = 1.0, rho * g, 4.0 * PI_G * rho
    state[:, 1, 2] = 1.0
    state[:, 2, 3] = rho
    for layer in range(1, radii.shape[1]):
        solid = density[:, layer], mu
        bottom = _fundamental(radii[:, layer - 1], gravity[:, layer - 1], *solid)
        top = _fundamental(radii[:, layer], gravity[:, layer], *solid)
        state = top @ np.linalg.solve(bottom, state)

    # At the surface the stresses vanish; the potential is the tide's, of unit size there.
    free, forced = state[:, [2, 3, 5], :3], -state[:, [2, 3, 5], 3:]
    tide = np.zeros_like(forced)
    tide[:, 2, 0] = 5.0
    by_tide = np.linalg.solve(free, tide)
    by_pressure = np.linalg.solve(free, forced)
    surface_values = state[:, :, :3] @ by_tide
    return LoveNumbers(
        tidal=surface_values[:, 4, 0] - 1.0,
        displacement=-surface_values[:, 0, 0],
        boundary=-by_tide[:, 1, 0] * g / c**2,
        boundary_core_only=-by_pressure[:, 1, 0] * g,
    )


def _fundamental(r: Array, g: Array, rho: Array, mu: Array) -> Array:
    """Six solutions of degree two (columns) for U, V, two stresses, potential and gradient.

    Sabadini & Vermeersen (2004), ch. 2, with l = 2; the potential's force is minus its
    gradient, the sixth quantity ``d phi/dr + 3 phi / r + 4 pi G rho U``.
    """
    zero, weight, g4 = np.zeros_like(r), rho * g * r, 4.0 * PI_G * rho
    rows = [
        [r**3 / 7, r, zero, r**-2 / 2, r**-4, zero],
        [5 * r**3 / 42, r / 2, zero, zero, -(r**-4) / 3, zero],
        [
            (weight - mu) * r**2 / 7,
            weight + 2 * mu,
            rho * r**2,
            (weight - 6 * mu) * r**-3 / 2,
            (weight - 8 * mu) * r**-5,
            rho * r**-3,
        ],
        [8 * mu * r**2 / 21, mu, zero, mu * r**-3 / 2, 8 * mu * r**-5 / 3, zero],
        [zero, zero, r**2, zero, zero, r**-3],
        [g4 * r**3 / 7, g4 * r, 5 * r, g4 * r**-2 / 2, g4 * r**-4, zero],
    ]
    return np.moveaxis(np.array(rows), 2, 0)
