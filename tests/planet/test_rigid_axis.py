"""Independent judges of the integrated axis: Euler's equations, the Earth, Venus, geodesy."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.polynomial import chebyshev
from scipy.integrate import solve_ivp

from wobble.constants import DAY, GM, JULIAN_YEAR, MAS
from wobble.ephemeris import Ephemeris, open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError, UnknownNameError
from wobble.planet.harmonic_fit import fit_harmonics
from wobble.planet.rigid_axis import RigidPlanet, SpinAxis, integrate_axis, reference_plane

DEGREE = np.pi / 180.0
ARCSEC = DEGREE / 3600.0

# Orientation and spin rate: Konopliv et al. 2006, Icarus 182, 23; H_D: Baland et al. 2020,
# Celest. Mech. Dyn. Astron. 132, 47.
MARS = {
    "body": "mars",
    "dynamical_flattening": 0.00538017,
    "spin_rate": 350.891985303 * DEGREE / DAY,
    "plane_node": 3.37919183 * DEGREE,
    "plane_inclination": 24.67682669 * DEGREE,
    "longitude": 81.9683671267 * DEGREE,
    "obliquity": 25.1893984585 * DEGREE,
}


@pytest.fixture(scope="module")
def ephemeris() -> Ephemeris:
    return open_ephemeris("de440")


def euler_axis(axis: SpinAxis, ephemeris: Ephemeris, days: float) -> tuple[Epochs, np.ndarray]:
    """psi and eps of the figure axis from Euler's equations in full, Sun's torque only.

    The attitude is a quaternion, the angular velocity body-fixed, the torque the vector
    product of the Sun's direction and the inertia times it: nothing is averaged, and the
    figure axis is the body's own z axis.
    """
    planet = axis.planet
    polar, equatorial = 1.0, 1.0 - planet.dynamical_flattening
    span = days * DAY
    x = np.linspace(-1.0, 1.0, 40 * 8)
    samples = Epochs.of((x + 1.0) * span / 2.0)
    arm = ephemeris.position("sun", samples) - ephemeris.position("mars", samples)
    arm = arm @ reference_plane(planet.plane_node, planet.plane_inclination) / 1e11
    fitted = chebyshev.chebfit(x, arm, 24)
    scale = 3.0 * GM["sun"] / 1e33

    def slope(t: float, y: np.ndarray) -> list[float]:
        q0, q1, q2, q3, w1, w2, w3 = y.tolist()
        a, b, c = chebyshev.chebval(2.0 * t / span - 1.0, fitted).tolist()
        k = scale * (a * a + b * b + c * c) ** -2.5
        u1 = (
            (1 - 2 * (q2 * q2 + q3 * q3)) * a
            + 2 * (q1 * q2 + q0 * q3) * b
            + 2 * (q1 * q3 - q0 * q2) * c
        )
        u2 = (
            2 * (q1 * q2 - q0 * q3) * a
            + (1 - 2 * (q1 * q1 + q3 * q3)) * b
            + 2 * (q2 * q3 + q0 * q1) * c
        )
        u3 = (
            2 * (q1 * q3 + q0 * q2) * a
            + 2 * (q2 * q3 - q0 * q1) * b
            + (1 - 2 * (q1 * q1 + q2 * q2)) * c
        )
        difference = polar - equatorial
        return [
            (-q1 * w1 - q2 * w2 - q3 * w3) / 2,
            (q0 * w1 + q2 * w3 - q3 * w2) / 2,
            (q0 * w2 + q3 * w1 - q1 * w3) / 2,
            (q0 * w3 + q1 * w2 - q2 * w1) / 2,
            difference * (k * u2 * u3 - w2 * w3) / equatorial,
            difference * (w1 * w3 - k * u1 * u3) / equatorial,
            0.0,
        ]

    begin = Epochs.of(0.0)
    psi, eps = axis.value(begin)[0]
    cz, sz, cx, sx = np.cos(psi / 2), np.sin(psi / 2), np.cos(eps / 2), np.sin(eps / 2)
    attitude = reference_plane(psi, eps)  # Rz(-psi) Rx(-eps): spin angle zero
    sine, (psi_l, eps_l) = np.sin, axis.angular_momentum.value(begin)[0]
    momentum = np.array([sine(eps_l) * sine(psi_l), -sine(eps_l) * np.cos(psi_l), np.cos(eps_l)])
    momentum = attitude.T @ momentum
    rate = momentum * (polar * planet.spin_rate / momentum[2])
    rate /= [equatorial, equatorial, polar]
    epochs = Epochs.of(np.linspace(0.0, span, 301))
    solution = solve_ivp(
        slope,
        (0.0, span),
        [cz * cx, cz * sx, sz * sx, sz * cx, *rate],
        method="DOP853",
        rtol=1e-12,
        atol=1e-15,
        t_eval=epochs.since_j2000,
    )
    q0, q1, q2, q3 = solution.y[:4]
    x, y = 2 * (q1 * q3 + q0 * q2), 2 * (q2 * q3 - q0 * q1)
    z = 1 - 2 * (q1 * q1 + q2 * q2)
    return epochs, np.stack([np.arctan2(x, -y), np.arctan2(np.hypot(x, y), z)], axis=1)


def test_figure_axis_follows_the_full_euler_equations(ephemeris: Ephemeris) -> None:
    # Independent integration with DOP853 (Hairer, Norsett & Wanner 1993) over 90 days.
    axis = integrate_axis(
        RigidPlanet(**MARS), ephemeris, 0.0, 90.0 * DAY, bodies=("sun",), geodetic=False
    )
    epochs, direct = euler_axis(axis, ephemeris, 90.0)
    found = axis.value(epochs)
    moved = np.abs(found[-1] - found[0]) / MAS
    assert (moved > 500.0).all()
    difference = (direct - found) / MAS
    difference[:, 0] *= np.sin(MARS["obliquity"])
    assert np.abs(difference).max() < 1e-3
    # The angular momentum is elsewhere: the test would not pass with the one for the other.
    other = (direct - axis.angular_momentum.value(epochs)) / MAS
    assert np.abs(other[:, 1]).max() > 1.0


def test_the_earth_precesses_and_nods_as_published(ephemeris: Ephemeris) -> None:
    # Rate 5038.481507 "/cy and -1.0790069 "/cy^2 with H_D = 0.0032737949 and the geodetic
    # -1.92 "/cy: Capitaine, Wallace & Chapront 2003, Astron. Astrophys. 412, 567. Nutation of
    # 18.6 years of the rigid Earth, 17.2808 and 9.2279 arcsec: Souchay et al. 1999, Astron.
    # Astrophys. Suppl. Ser. 135, 111. All from memory. The node regresses: psi = 180 deg - psi_A.
    obliquity = 84381.406 * ARCSEC
    earth = RigidPlanet("earth", 0.0032737949, 7.292115e-5, 0.0, obliquity, np.pi, obliquity)
    half = 28.0 * JULIAN_YEAR
    axis = integrate_axis(earth, ephemeris, -half, half)
    periods = DAY * np.array([6798.38, 3399.19, 365.26, 182.62, 121.75, 13.66])
    epochs = axis.sampled(2.0 * DAY)
    found = fit_harmonics(epochs, axis.value(epochs), 2.0 * np.pi / periods, np.zeros(6))
    century = 100.0 * JULIAN_YEAR / ARCSEC
    assert found.polynomial[1, 0] * century == pytest.approx(-5038.4815, abs=0.1)
    assert found.polynomial[2, 0] * century**2 * ARCSEC == pytest.approx(1.079, abs=0.02)
    amplitude = np.hypot(found.cosine[0], found.sine[0]) / ARCSEC
    assert amplitude == pytest.approx([17.2808, 9.2279], rel=3e-4)


def test_venus_turns_backwards_and_precesses_forwards(ephemeris: Ephemeris) -> None:
    # 44.58 +- 3.3 "/yr with C/MR^2 = 0.337 +- 0.024: Margot et al. 2021, Nat. Astron. 5, 676;
    # J2 = 4.4044e-6: Konopliv et al. 1999, Icarus 139, 3. Pole and spin rate: Archinal et al.
    # 2018. From memory. Pole and orbit normal of J2000 as plain vectors.
    r, v = (
        a - b
        for a, b in zip(
            *(ephemeris.state(x, Epochs.of(0.0)) for x in ("venus", "sun")), strict=True
        )
    )
    normal = np.cross(r, v)[0] / np.linalg.norm(np.cross(r, v))
    node, inclination = np.arctan2(normal[0], -normal[1]), np.arccos(normal[2])
    alpha, delta = 272.76 * DEGREE, 67.16 * DEGREE
    pole = np.array([np.cos(delta) * np.cos(alpha), np.cos(delta) * np.sin(alpha), np.sin(delta)])
    x, y, z = pole @ reference_plane(node, inclination)
    venus = RigidPlanet(
        "venus",
        4.4044e-6 / 0.337,
        -1.4813688 * DEGREE / DAY,
        node,
        inclination,
        np.arctan2(x, -y),
        np.arccos(z),
    )
    axis = integrate_axis(venus, ephemeris, 0.0, 10.0 * JULIAN_YEAR)
    epochs = axis.sampled()
    frequency = 2.0 * np.pi / (224.701 * DAY) * np.array([1.0, 2.0, 3.0])
    found = fit_harmonics(epochs, axis.value(epochs), frequency, np.zeros(3))
    assert found.polynomial[1, 0] * JULIAN_YEAR / ARCSEC == pytest.approx(44.58, abs=0.3)


def test_geodetic_precession_and_nutation_of_mars(ephemeris: Ephemeris) -> None:
    # 6.754 mas/yr and 0.565 mas: Baland et al. 2023, Astron. Astrophys. 670, A29.
    half = 15.0 * JULIAN_YEAR
    axis = integrate_axis(RigidPlanet(**MARS), ephemeris, -half, half, bodies=())
    rate = np.array([0.52403958828]) * DEGREE / DAY
    epochs = axis.sampled()
    found = fit_harmonics(epochs, axis.value(epochs), rate, [19.3564 * DEGREE])
    assert found.polynomial[1, 0] * JULIAN_YEAR / MAS == pytest.approx(6.754, abs=0.003)
    assert np.hypot(found.sine[0, 0], found.cosine[0, 0]) / MAS == pytest.approx(0.565, abs=0.003)


def test_obliquity_of_figure_axis_is_below_that_of_angular_momentum(ephemeris: Ephemeris) -> None:
    # Mean difference -1.4 mas, the constant of the classical series of Reasenberg & King 1979.
    axis = integrate_axis(RigidPlanet(**MARS), ephemeris, 0.0, 687.0 * DAY)
    epochs = axis.sampled()
    difference = axis.value(epochs) - axis.angular_momentum.value(epochs)
    assert difference[:, 1].mean() / MAS == pytest.approx(-1.4, abs=0.06)


def test_axis_starts_as_given_and_does_not_depend_on_the_span(ephemeris: Ephemeris) -> None:
    planet = RigidPlanet(**MARS, epoch=5.3e6)
    short = integrate_axis(planet, ephemeris, 1e7, 5e7)
    long = integrate_axis(planet, ephemeris, -4e8, 6e8)
    at_epoch = short.value(Epochs.of(planet.epoch))[0]
    # The start takes df/dt for ds/dt, which is 0.005 mas.
    assert np.abs(at_epoch - [planet.longitude, planet.obliquity]).max() < 0.02 * MAS
    epochs = Epochs.of(np.linspace(6e6, 5e7, 50))
    assert np.abs(short.value(epochs) - long.value(epochs)).max() < 1e-5 * MAS


def test_rates_and_increments_are_those_of_the_values(ephemeris: Ephemeris) -> None:
    axis = integrate_axis(RigidPlanet(**MARS), ephemeris, 0.0, 100.0 * DAY)
    epochs = Epochs.of(np.linspace(1e5, 7e6, 20))
    step = 1.0e4
    value, rate = axis.value_and_rate(epochs)
    change = axis.value(epochs.shift(step)) - value
    np.testing.assert_allclose(axis.increment(epochs, step), change, atol=1e-15)
    central = axis.value(epochs.shift(step / 2)) - axis.value(epochs.shift(-step / 2))
    np.testing.assert_allclose(rate, central / step, rtol=2e-6, atol=1e-19)


def test_a_correction_moves_both_axes(ephemeris: Ephemeris) -> None:
    axis = integrate_axis(RigidPlanet(**MARS), ephemeris, 0.0, 100.0 * DAY)
    epochs = Epochs.of(np.linspace(0.0, 8e6, 30))

    def swing(at: Epochs) -> np.ndarray:
        return np.outer(np.sin(at.since_j2000 / 1e7), [1e-8, -2e-8])

    moved = axis.plus(swing, "swing")
    np.testing.assert_allclose(moved.value(epochs) - axis.value(epochs), swing(epochs), atol=1e-15)
    both = moved.angular_momentum.value(epochs) - axis.angular_momentum.value(epochs)
    np.testing.assert_allclose(both, swing(epochs), atol=1e-15)
    assert moved.bodies[-1] == "swing"
    assert "swing" in repr(moved)


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({"dynamical_flattening": 0.0}, "dynamical_flattening.*no torque"),
        ({"dynamical_flattening": -0.005}, "dynamical_flattening.*0 < H_D < 1"),
        ({"spin_rate": 0.0}, "spin_rate.*does not turn"),
        ({"obliquity": 0.0}, "obliquity.*node is not defined"),
        ({"longitude": np.nan}, "longitude.*finite"),
        ({"body": "mercury"}, "3:2 resonance"),
        ({"body": "moon"}, "1:1 resonance"),
    ],
)
def test_what_has_no_averaged_torque_is_refused(change: dict, match: str) -> None:
    with pytest.raises(InputError, match=match):
        RigidPlanet(**{**MARS, **change})


def test_bodies_and_spans_that_the_ephemeris_lacks_are_refused(ephemeris: Ephemeris) -> None:
    planet = RigidPlanet(**MARS)
    with pytest.raises(UnknownNameError, match="phobos"):
        integrate_axis(planet, ephemeris, 0.0, 1e7, bodies=("sun", "phobos"))
    with pytest.raises(UnknownNameError, match="vulcan"):
        integrate_axis(RigidPlanet(**{**MARS, "body": "vulcan"}), ephemeris, 0.0, 1e7)
    with pytest.raises(EpochRangeError, match="outside the span"):
        integrate_axis(planet, ephemeris, 0.0, 1e11, bodies=("sun",))
    with pytest.raises(InputError, match="span is empty"):
        integrate_axis(planet, ephemeris, 1e7, 1e7)
