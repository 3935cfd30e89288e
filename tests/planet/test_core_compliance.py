"""Love numbers and compliances against closed forms, a differential equation and the Earth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import gravitational_constant as G

from wobble.errors import ConvergenceError, InputError
from wobble.planet.core_compliance import ElasticMantle, GivenCompliance, love_numbers
from wobble.planet.layers import Layers, core_and_mantle

EARTH_SPIN = 7.292115e-5


def two_layer_earth() -> Layers:
    """The Earth's mass, moment and core radius, uniform core and mantle."""
    core, mantle = core_and_mantle([3.48e6], 6.371e6, 5.9736e24, [0.3308])
    return Layers(np.array([[3.48e6, 6.371e6]]), np.column_stack([core, mantle]))


def test_uniform_elastic_sphere() -> None:
    # k2 = 3/2 / (1 + 19 mu / (2 rho g R)), h2 = 5/3 k2: Thomson 1863 (Lord Kelvin), textbook.
    density, radius = 5000.0, 6.0e6
    gravity = 4.0 / 3.0 * np.pi * G * density * radius
    body = Layers([[2.0e3, 3.0e6, radius]], [[density] * 3])
    for rigidity in (1e9, 5e10, 2e11):
        found = love_numbers(body, np.array([rigidity]))
        expected = 1.5 / (1.0 + 19.0 * rigidity / (2.0 * density * gravity * radius))
        assert found.tidal[0] == pytest.approx(expected, rel=1e-6)
        assert found.displacement[0] == pytest.approx(expected * 5.0 / 3.0, rel=1e-6)


def test_fluid_mantle_takes_the_hydrostatic_shape() -> None:
    # With almost no rigidity gamma is the core's hydrostatic flattening by Clairaut's equation,
    # and a potential on the core alone leaves beta: gamma is the larger.
    body = two_layer_earth()
    found = love_numbers(body, np.array([1e3]))
    scale = EARTH_SPIN**2 * 3.48e6 / (2.0 * body.gravity[0, 0])
    hydrostatic = body.hydrostatic_flattening(EARTH_SPIN)
    assert found.boundary[0] * scale == pytest.approx(hydrostatic[0, 0], rel=1e-5)
    assert found.displacement[0] == pytest.approx(1.0 + found.tidal[0], rel=1e-6)


def test_compliances_of_the_earth() -> None:
    # gamma = 1.965e-3, beta = 6.16e-4 of a full model: Mathews et al. 1991, J. Geophys. Res. 96,
    # 8219; k2 = 0.2981 (without anelasticity). From memory. Uniform layers, one rigidity: 10 %.
    gamma, beta = ElasticMantle(0.2981).compliances(two_layer_earth(), EARTH_SPIN)
    assert gamma[0] == pytest.approx(1.965e-3, rel=0.1)
    assert beta[0] == pytest.approx(6.16e-4, rel=0.1)


def test_rigidity_gives_the_love_number_asked_for() -> None:
    core, mantle = core_and_mantle(np.array([1.6e6, 1.85e6]), 3.3895e6, 6.417e23, 0.3644)
    body = Layers(
        np.array([[1.6e6, 3.3895e6], [1.85e6, 3.3895e6]]), np.column_stack([core, mantle])
    )
    rigidity = ElasticMantle(np.array([0.15, 0.17])).rigidity(body)
    np.testing.assert_allclose(love_numbers(body, rigidity).tidal, [0.15, 0.17], rtol=1e-8)


def test_solution_does_not_depend_on_how_a_layer_is_cut() -> None:
    core, mantle = 6500.0, 3480.0
    whole = Layers([[1.8e6, 3.39e6]], [[core, mantle]])
    cut = Layers([[1.8e6, 2.2e6, 3.0e6, 3.39e6]], [[core, mantle, mantle, mantle]])
    first, second = (love_numbers(body, np.array([7e10])) for body in (whole, cut))
    for name in ("tidal", "displacement", "boundary", "boundary_core_only"):
        assert getattr(first, name)[0] == pytest.approx(getattr(second, name)[0], rel=1e-10)


def test_given_compliances_are_given_back() -> None:
    gamma, beta = GivenCompliance(1e-3, 2e-4).compliances(two_layer_earth(), EARTH_SPIN)
    assert (gamma[0], beta[0]) == (1e-3, 2e-4)
    assert "gamma 0.001" in str(GivenCompliance(1e-3, 2e-4))


def test_love_numbers_that_no_planet_has_are_refused() -> None:
    with pytest.raises(InputError, match="love_number: not positive"):
        ElasticMantle(-0.1)
    with pytest.raises(ConvergenceError, match="no rigidity"):
        ElasticMantle(1.6).compliances(two_layer_earth(), EARTH_SPIN)
