"""The inside of Mars as published, and the chain of relations closed on itself."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.errors import InputError, UnknownNameError
from wobble.planet.core_compliance import ElasticMantle, GivenCompliance
from wobble.planet.interior import (
    Mantle,
    PlanetFigure,
    core_flattening,
    core_moment_fraction,
    infer_interior,
    interior_model,
    polar_moment,
    precession_by_hand,
)
from wobble.planet.layers import Crust, Layers, core_and_mantle
from wobble.planet.nutation import PrecessionBudget
from wobble.planet.rigid_axis import RigidPlanet

DEGREE = np.pi / 180.0
MAS_PER_YEAR = MAS / JULIAN_YEAR
SPIN = 350.891985303 * DEGREE / DAY

# Degree two of gravity: Genova et al. 2016, Icarus 272, 228. Mean radius: Archinal et al. 2018.
MARS = PlanetFigure(
    gm=4.2828372854e13,
    radius=3.38950e6,
    j2=np.sqrt(5.0) * 8.7502113235452894e-4,
    j2_radius=3.396e6,
    spin_rate=SPIN,
    j2_sigma=2e-10,
)
# Konopliv et al. 2006, Icarus 182, 23, and Baland et al. 2020 (H_D); the contributions as
# `precession_budget` gives them, here as plain numbers.
BUDGET = PrecessionBudget(
    RigidPlanet("mars", 0.00538017, SPIN, 0.05898, 0.43069, 1.43062, 0.43964),
    {"sun": -7614.92 * MAS_PER_YEAR, "planets": -0.35 * MAS_PER_YEAR},
    6.755 * MAS_PER_YEAR,
)
RATE, RATE_SIGMA = -7608.3 * MAS_PER_YEAR, 2.1 * MAS_PER_YEAR
# F = 0.061 +- 0.006 and -242.3 +- 2.7 days: Le Maistre et al. 2023, Nature 619, 733 (from memory).
MEAN = np.array([RATE, 0.061, -242.3 * DAY])
COVARIANCE = np.diag([RATE_SIGMA, 0.006, 2.7 * DAY]) ** 2
MANTLE = ElasticMantle(0.169, 0.006)  # k2: Konopliv et al. 2016, Icarus 274, 253
CRUST = Crust(50e3, 2900.0, 10e3, 100.0)


def test_polar_moment_of_mars_is_as_published() -> None:
    # C/MR^2 = 0.36367 +- 0.00010 and H_D = 0.00538017 +- 0.00000148 from -7608.3 +- 2.1 mas/yr:
    # Konopliv et al. 2016, Icarus 274, 253; Baland et al. 2020, Celest. Mech. Dyn. Astron. 132, 47.
    found = polar_moment(RATE, RATE_SIGMA, BUDGET, MARS)
    assert found.moment == pytest.approx(0.36367, abs=0.00003)
    assert found.moment_sigma == pytest.approx(0.00010, abs=0.000005)
    assert found.flattening == pytest.approx(0.00538017, abs=0.0000005)
    assert found.flattening_sigma == pytest.approx(0.00000148, abs=0.00000002)
    assert str(found).endswith("C/MR^2 = 0.36368 +- 0.00010")


def test_precession_by_hand_meets_the_budget() -> None:
    n = 0.52403958828 * DEGREE / DAY
    rate = precession_by_hand(0.00538017, n, 0.0934, 25.1893984585 * DEGREE, SPIN)
    assert rate == pytest.approx(-7614.92 * MAS_PER_YEAR, rel=1e-4)


def test_core_radius_of_mars_is_as_published_within_the_uncertainty() -> None:
    """1835 +- 55 km (Le Maistre et al. 2023, Nature 619, 733, abstract), solid mantle.

    Uniform layers give some 50 km less, because compression makes the real mantle denser
    below (see the next test).
    """
    for crust in (None, CRUST):
        found = infer_interior(
            MEAN,
            COVARIANCE,
            BUDGET,
            MARS,
            MANTLE,
            np.random.default_rng(11),
            crust=crust,
            samples=1500,
        )
        low, high = found.interval("core_radius")
        assert found.median("core_radius") / 1e3 == pytest.approx(1835.0, abs=65.0)
        assert high - low < 110e3
        # The boundary is not hydrostatic (as published), but nearly.
        assert 0.0 < found.median("flattening_departure") < 5e-4
    assert found.rejected == 0


def test_a_mantle_that_is_denser_below_explains_the_published_core() -> None:
    """Published radius and density, mantle 20 % denser at its base: forward to F.

    1835 km, 5955 to 6290 kg/m^3, F = 0.061 +- 0.006: Le Maistre et al. 2023 (F from memory).
    """
    radius, crust, core, steps = MARS.radius, 50e3, 1.835e6, 12
    edges = np.linspace(core, radius - crust, steps + 1)
    profile = 1.0 + 0.2 * (edges[-1] - (edges[1:] + edges[:-1]) / 2.0) / (edges[-1] - core)
    polar = 0.36367 * (MARS.j2_radius / radius) ** 2
    moment = polar * (1.0 - 2.0 / 3.0 * 0.00538017)

    def integral(power: int) -> np.ndarray:
        mantle = np.sum(profile * np.diff((edges / radius) ** power))
        return np.array([(core / radius) ** power, mantle])

    mean = MARS.mass / (4.0 / 3.0 * np.pi * radius**3)
    outer = (radius - crust) / radius
    right = [mean - 2900.0 * (1 - outer**3), mean * moment / 0.4 - 2900.0 * (1 - outer**5)]
    core_density, mantle = np.linalg.solve([integral(3), integral(5)], right)
    assert 5955.0 < core_density < 6290.0
    planet = Layers(
        np.array([[core, *edges[1:], radius]]),
        np.array([[core_density, *(mantle * profile), 2900.0]]),
    )
    gamma, _ = MANTLE.compliances(planet, SPIN)
    share = planet.moments[0, 0] / planet.moments[0].sum()
    e = 0.00538017 / (1.0 - 0.00538017)
    factor = share / (1.0 - share) * (1.0 - gamma[0] / e)
    assert factor == pytest.approx(0.061, abs=0.006)


@pytest.mark.parametrize("crust", [None, CRUST])
@pytest.mark.parametrize("mantle", [MANTLE, GivenCompliance(), GivenCompliance(1.4e-3, 3e-4)])
def test_inference_inverts_the_forward_relations(mantle: Mantle, crust: Crust | None) -> None:
    """A planet is built, its F and period computed, and its core found again."""
    radius, core = MARS.radius, np.array([1.6e6, 1.75e6, 1.9e6])
    flattening = float(BUDGET.flattening(RATE))
    polar = MARS.j2 / flattening * (MARS.j2_radius / radius) ** 2
    equatorial = polar * (1.0 - flattening)
    inner, outer = core_and_mantle(
        core, radius, MARS.mass, (polar + 2.0 * equatorial) / 3.0 * np.ones(3), crust
    )
    columns = [core] + ([] if crust is None else [np.full(3, radius - 50e3)])
    densities = [inner, outer] + ([] if crust is None else [np.full(3, 2900.0)])
    planet = Layers(np.column_stack([*columns, np.full(3, radius)]), np.column_stack(densities))
    gamma, beta = mantle.compliances(planet, SPIN)
    e_core = np.array([0.0041, 0.0042, 0.0043])
    mean_moment = planet.moments[:, 0] / (planet.mass * radius**2)
    share = mean_moment / (1.0 + e_core / 3.0) / equatorial  # A_c / A
    e = flattening / (1.0 - flattening)
    factor = share / (1.0 - share) * (1.0 - gamma / e)
    period = -2.0 * np.pi / (SPIN / (1.0 - share) * (e_core - beta))

    found = interior_model(RATE, factor, period, BUDGET, MARS, mantle, crust)
    np.testing.assert_allclose(found.core_radius, core, rtol=1e-6)
    np.testing.assert_allclose(found.core_density, inner, rtol=1e-5)
    np.testing.assert_allclose(found.core_flattening, e_core, rtol=1e-6)
    np.testing.assert_allclose(found.core_moment, share, rtol=1e-6)
    np.testing.assert_allclose(
        found.hydrostatic_flattening, planet.hydrostatic_flattening(SPIN)[:, 0], rtol=1e-5
    )


def test_monte_carlo_meets_linear_propagation_where_it_is_linear() -> None:
    """Uncertainties a tenth of today's: standard deviations from derivatives by differences."""
    covariance = COVARIANCE / 100.0
    covariance[0, 1] = covariance[1, 0] = 0.5 * np.sqrt(covariance[0, 0] * covariance[1, 1])
    figure, mantle = replace(MARS, j2_sigma=0.0), ElasticMantle(0.169)
    found = infer_interior(
        MEAN, covariance, BUDGET, figure, mantle, np.random.default_rng(2), samples=3000
    )
    steps = np.sqrt(np.diag(covariance))
    ends = [MEAN + sign * step for step in np.diag(steps) for sign in (1.0, -1.0)]
    model = interior_model(*np.array(ends).T, BUDGET, figure, mantle)
    for name in ("polar_moment", "core_moment", "core_radius", "core_density", "core_flattening"):
        values = getattr(model, name)
        slope = (values[0::2] - values[1::2]) / (2.0 * steps)
        sigma = np.sqrt(slope @ covariance @ slope)
        assert np.std(getattr(found, name)) == pytest.approx(sigma, rel=0.05)


def test_two_relations_of_the_core_by_hand() -> None:
    # Sasao, Okubo & Saito 1980: F = 0.06, H_D = 0.0054, gamma = e/4: A_c/A_m = 0.08.
    e = 0.0054 / (1.0 - 0.0054)
    assert core_moment_fraction(0.06, 0.0054, e / 4.0) == pytest.approx(0.08 / 1.08)
    # Period -240 d, a rotation in 1.026 d: (A/A_m) (e_c - beta) = 1.026 / 240.
    spin = 2.0 * np.pi / (1.026 * DAY)
    found = core_flattening(-240.0 * DAY, spin, 0.08 / 1.08, 3e-4)
    assert found == pytest.approx(3e-4 + 1.026 / 240.0 / 1.08)


def test_samples_without_a_planet_are_counted_and_taken_out() -> None:
    # F uncertain by as much as itself: 15.9 % of a normal distribution is negative, and a core
    # of F below 0.01 or so (another 4 %) would be denser than any iron.
    wide = COVARIANCE.copy()
    wide[1, 1] = 0.061**2
    found = infer_interior(
        MEAN, wide, BUDGET, MARS, GivenCompliance(1.4e-3, 3e-4), np.random.default_rng(4)
    )
    assert len(found) + found.rejected == 4000
    assert 0.17 < found.rejected / 4000 < 0.25
    assert found.core_density.max() < 2e4
    assert np.isfinite(found.core_radius).all()
    assert found.core_radius.max() < MARS.radius
    assert f"{found.rejected} of 4000 rejected" in str(found)


def test_impossible_rows_do_not_touch_their_neighbours() -> None:
    alone = interior_model(RATE, [0.061], -242.3 * DAY, BUDGET, MARS, MANTLE)
    mixed = interior_model(RATE, [-0.01, 0.061, 1e-3], -242.3 * DAY, BUDGET, MARS, MANTLE)
    assert np.isnan(mixed.core_radius[[0, 2]]).all()
    assert mixed.core_radius[1] == pytest.approx(alone.core_radius[0], rel=1e-9)


def test_a_core_that_would_fill_the_planet_is_refused() -> None:
    almost_uniform = replace(MARS, j2=0.3975 * float(BUDGET.flattening(RATE)), j2_sigma=0.0)
    with pytest.raises(InputError, match="larger than the planet"):
        interior_model(RATE, 1e4, -242.3 * DAY, BUDGET, almost_uniform, GivenCompliance())


def test_samples_show_themselves() -> None:
    found = infer_interior(
        MEAN, COVARIANCE, BUDGET, MARS, MANTLE, np.random.default_rng(1), crust=CRUST, samples=500
    )
    text = str(found)
    for expected in ("core_radius", "km", "three layers", "k2 = 0.169 +- 0.006", "solid mantle"):
        assert expected in text
    assert "<table" in found._repr_html_()
    table = found.to_table()
    row = table[list(table["quantity"]).index("core_radius")]
    assert row["low_95"] < row["low_68"] < row["median"] < row["high_68"] < row["high_95"]
    with pytest.raises(UnknownNameError, match="core_radius"):
        found.median("core_radus")


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ((-RATE, 0.061, -242.0 * DAY), r"pole\.precession_rate.*no flattening"),
        ((0.9 * RATE, 0.061, -242.0 * DAY), r"C/MR\^2.*< 0\.4"),
        ((RATE, -0.061, -242.0 * DAY), r"core\.factor.*> 0"),
        ((RATE, 0.061, 242.0 * DAY), r"core\.period.*retrograde"),
        ((RATE, 1e-3, -242.0 * DAY), "core would have to be denser than 20000"),
    ],
)
def test_parameters_that_no_planet_has_are_refused(change: tuple, match: str) -> None:
    with pytest.raises(InputError, match=match):
        infer_interior(
            change, COVARIANCE * 1e-6, BUDGET, MARS, MANTLE, np.random.default_rng(1), samples=20
        )


def test_bad_figures_and_covariances_are_refused() -> None:
    with pytest.raises(InputError, match="j2: not positive"):
        replace(MARS, j2=-1e-3)
    rng = np.random.default_rng(1)
    lopsided = COVARIANCE.copy()
    lopsided[0, 1] = 1e-20
    for covariance in (-COVARIANCE, lopsided):
        with pytest.raises(InputError, match="not a covariance"):
            infer_interior(MEAN, covariance, BUDGET, MARS, MANTLE, rng)
    with pytest.raises(InputError, match="three parameters"):
        infer_interior(MEAN[:2], COVARIANCE[:2, :2], BUDGET, MARS, MANTLE, rng)
    with pytest.raises(InputError, match=r"pole\.precession_rate"):
        polar_moment(-RATE, RATE_SIGMA, BUDGET, MARS)
