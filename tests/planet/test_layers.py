"""Layered planets against uniform bodies, Clairaut's differential equation and the Earth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import gravitational_constant as G
from scipy.integrate import solve_ivp

from wobble.errors import InputError
from wobble.planet.layers import Crust, Layers, core_and_mantle

SPIN = 7.088218e-5


def earth() -> Layers:
    """Density of the preliminary reference Earth model in shells of some 15 km.

    Polynomials of Dziewonski & Anderson 1981, Phys. Earth Planet. Inter. 25, 297, table I (from
    memory), the ocean replaced by crust.
    """
    pieces = [
        (0.0, 1221.5, (13.0885, 0.0, -8.8381, 0.0)),
        (1221.5, 3480.0, (12.5815, -1.2638, -3.6426, -5.5281)),
        (3480.0, 5701.0, (7.9565, -6.4761, 5.5283, -3.0807)),
        (5701.0, 5771.0, (5.3197, -1.4836, 0.0, 0.0)),
        (5771.0, 5971.0, (11.2494, -8.0298, 0.0, 0.0)),
        (5971.0, 6151.0, (7.1089, -3.8045, 0.0, 0.0)),
        (6151.0, 6346.6, (2.6910, 0.6924, 0.0, 0.0)),
        (6346.6, 6356.0, (2.9, 0.0, 0.0, 0.0)),
        (6356.0, 6371.0, (2.6, 0.0, 0.0, 0.0)),
    ]
    radii, densities = [], []
    for bottom, top, coefficients in pieces:
        edges = np.linspace(bottom, top, max(2, int((top - bottom) / 15.0)))
        middles = (edges[1:] + edges[:-1]) / 2.0 / 6371.0
        radii.extend(edges[1:] * 1e3)
        densities.extend(np.polynomial.polynomial.polyval(middles, coefficients) * 1e3)
    return Layers(np.array([radii]), np.array([densities]))


def test_uniform_sphere() -> None:
    # I = 0.4 M R^2 and f = 5/4 q: textbook (Maclaurin's spheroid, first order).
    body = Layers([[1.0e6, 2.0e6, 3.0e6]], [[4000.0, 4000.0, 4000.0]])
    mass = 4.0 / 3.0 * np.pi * 3.0e6**3 * 4000.0
    assert body.mass[0] == pytest.approx(mass, rel=1e-14)
    assert body.moment_factor[0] == pytest.approx(0.4, rel=1e-14)
    assert body.gravity[0, -1] == pytest.approx(G * mass / 9.0e12, rel=1e-14)
    q = SPIN**2 * 3.0e6**3 / (G * mass)
    np.testing.assert_allclose(body.hydrostatic_flattening(SPIN), 1.25 * q, rtol=1e-12)


def test_hydrostatic_flattening_solves_clairauts_differential_equation() -> None:
    # f'' + 6 (rho/rho_bar) f'/r - 6 (1 - rho/rho_bar) f/r^2 = 0 with r f'/f + 2 = 5/2 q/f at the
    # surface (Jeffreys 1976, The Earth, ch. 4), integrated with DOP853 shell by shell.
    radii, densities = np.array([1.8e6, 3.3395e6, 3.3895e6]), np.array([6600.0, 3500.0, 2900.0])
    body = Layers(radii, densities)
    inside = np.cumsum(body.volumes * body.densities, axis=1)[0] / (4.0 / 3.0 * np.pi)
    state, values = np.array([1.0, 0.0]), [1.0]
    for layer in (1, 2):

        def slope(r: float, y: np.ndarray, layer: int = layer) -> list[float]:
            mean = inside[layer - 1] + densities[layer] * (r**3 - radii[layer - 1] ** 3)
            share = densities[layer] / (mean / r**3)
            return [y[1], -6.0 * share * y[1] / r + 6.0 * (1.0 - share) * y[0] / r**2]

        state = solve_ivp(
            slope,
            radii[layer - 1 : layer + 1],
            state,
            method="DOP853",
            rtol=1e-12,
            atol=[1e-13, 1e-20],
        ).y[:, -1]
        values.append(state[0])
    q = SPIN**2 * radii[-1] ** 3 / (G * body.mass[0])
    surface = 2.5 * q / (2.0 + radii[-1] * state[1] / state[0])
    expected = surface * np.array(values) / values[-1]
    np.testing.assert_allclose(body.hydrostatic_flattening(SPIN)[0], expected, rtol=1e-8)


def test_hydrostatic_earth() -> None:
    # Mass 5.9736e24 kg, I/(M R^2) = 0.3308: Dziewonski & Anderson 1981. Hydrostatic flattening
    # 1/299.7 (Nakiboglu 1982, Phys. Earth Planet. Inter. 28, 302); of the core-mantle boundary
    # 1/392.7, e_c = 0.002547 (Mathews et al. 1991, J. Geophys. Res. 96, 8219). From memory; first
    # order is good to 0.3 %.
    body = earth()
    assert body.mass[0] == pytest.approx(5.9736e24, rel=2e-3)
    assert body.moment_factor[0] == pytest.approx(0.3308, rel=2e-3)
    flattening = body.hydrostatic_flattening(7.292115e-5)[0]
    assert 1.0 / flattening[-1] == pytest.approx(299.7, rel=3e-3)
    at_core = flattening[np.argmin(np.abs(body.radii[0] - 3.48e6))]
    assert 1.0 / at_core == pytest.approx(392.7, rel=4e-3)


@pytest.mark.parametrize("crust", [None, Crust(50e3, 2900.0)])
def test_core_and_mantle_give_the_mass_and_moment_asked_for(crust: Crust | None) -> None:
    radius, mass, core = 3.3895e6, 6.417e23, np.array([1.5e6, 1.8e6])
    inner, mantle = core_and_mantle(core, radius, mass, [0.364, 0.365], crust)
    outer = [radius] if crust is None else [radius - 50e3, radius]
    densities = [inner, mantle] + ([] if crust is None else [np.full(2, 2900.0)])
    radii = np.column_stack([core, *(np.full(2, r) for r in outer)])
    body = Layers(radii, np.column_stack(densities))
    np.testing.assert_allclose(body.mass, mass, rtol=1e-12)
    np.testing.assert_allclose(body.moment_factor, [0.364, 0.365], rtol=1e-12)


def test_crusts_are_drawn_with_their_uncertainty() -> None:
    drawn = Crust(50e3, 2900.0, 5e3, 100.0).draw(np.random.default_rng(3), 4000)
    assert np.mean(drawn.thickness) == pytest.approx(50e3, abs=300.0)
    assert np.std(drawn.thickness) == pytest.approx(5e3, rel=0.05)
    assert np.std(drawn.density) == pytest.approx(100.0, rel=0.05)


def test_impossible_layers_are_refused() -> None:
    with pytest.raises(InputError, match=r"radii.*core larger than the planet.*3500"):
        Layers([[1.8e6, 3.39e6], [3.5e6, 3.39e6]], [[6000.0, 3500.0]] * 2)
    with pytest.raises(InputError, match=r"densities: not positive.*-1"):
        Layers([[1.8e6, 3.39e6]], [[6000.0, -1.0]])
    with pytest.raises(InputError, match="one radius and one density"):
        Layers([[1.8e6, 3.39e6]], [[6000.0]])
    with pytest.raises(InputError, match=r"crust\.thickness"):
        Crust(0.0, 2900.0)
