"""The two sets of angles against rotations by astropy and published poles."""

from __future__ import annotations

import numpy as np
import pytest
from astropy.coordinates.matrix_utilities import rotation_matrix
from hypothesis import given
from hypothesis import strategies as st

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.planet import reference_angles as angles

DEGREE = np.pi / 180.0
# Orbit plane and orientation of Mars: Konopliv et al. 2006, Icarus 182, 23.
PLANE = (3.37919183 * DEGREE, 24.67682669 * DEGREE)
PSI, EPS, PHI = 81.9683671267 * DEGREE, 25.1893984585 * DEGREE, 133.38462 * DEGREE


def test_pole_and_prime_meridian_of_mars() -> None:
    # 317.68143, 52.88650, 176.630 deg at J2000: IAU/IAG Working Group report 2000 (Seidelmann
    # et al. 2002), with which the orientation of Konopliv et al. 2006 agrees to 0.0004 deg.
    alpha, delta, w = angles.equatorial_from_orbit(PLANE, PSI, EPS, PHI)
    found = np.array([alpha, delta, w]) / DEGREE
    np.testing.assert_allclose(found, [317.68143, 52.88650, 176.630], atol=4e-4)


@given(
    psi=st.floats(-3.1, 3.1),
    eps=st.floats(0.01, 3.1),
    phi=st.floats(-3.1, 3.1),
    node=st.floats(-3.0, 3.0),
    inclination=st.floats(0.0, 3.0),
)
def test_both_sets_are_one_rotation(
    psi: float, eps: float, phi: float, node: float, inclination: float
) -> None:
    """Judge: products of astropy's elementary rotations, in both sets."""
    plane = (node, inclination)

    def z(angle: float) -> np.ndarray:
        return rotation_matrix(angle, "z", unit="rad")

    def x(angle: float) -> np.ndarray:
        return rotation_matrix(angle, "x", unit="rad")

    expected = z(-node) @ x(-inclination) @ z(-psi) @ x(-eps) @ z(-phi)
    found = angles.matrix_of_orbit_angles(plane, psi, eps, phi)[0]
    np.testing.assert_allclose(found, expected, atol=1e-14)
    if np.hypot(*expected[:2, 2]) < 1e-3:
        return
    alpha, delta, w = (float(a) for a in angles.equatorial_from_orbit(plane, psi, eps, phi))
    again = z(-alpha - np.pi / 2) @ x(delta - np.pi / 2) @ z(-w)
    np.testing.assert_allclose(again, expected, atol=1e-11)
    np.testing.assert_allclose(
        angles.matrix_of_equatorial_angles(alpha, delta, w)[0], expected, atol=1e-11
    )
    back = np.array(angles.orbit_from_equatorial(plane, alpha, delta, w))
    np.testing.assert_allclose(np.exp(1j * back), np.exp(1j * np.array([psi, eps, phi])), atol=1e-9)
    by_matrix = np.array(angles.orbit_angles_of_matrix(plane, found))[:, 0]
    np.testing.assert_allclose(np.exp(1j * by_matrix), np.exp(1j * back), atol=1e-9)
    equatorial = np.array(angles.equatorial_angles_of_matrix(found))[:, 0]
    np.testing.assert_allclose(
        np.exp(1j * equatorial), np.exp(1j * np.array([alpha, delta, w])), atol=1e-9
    )


def test_spin_angle_keeps_its_turns() -> None:
    turns = 2.0 * np.pi * np.array([0.0, 1.0, 35000.0])
    w = angles.equatorial_from_orbit(PLANE, PSI, EPS, PHI + turns)[2]
    np.testing.assert_allclose(w - w[0], turns, atol=1e-10)
    phi = angles.orbit_from_equatorial(PLANE, *angles.equatorial_from_orbit(PLANE, PSI, EPS, w))[2]
    np.testing.assert_allclose(phi, w, atol=1e-10)


def test_partials_are_those_by_differences() -> None:
    step = 1e-6
    for psi, eps in ((PSI, EPS), (2.3, 0.4), (-1.0, 2.9)):
        found = angles.equatorial_partials(PLANE, psi, eps)[0]
        for column in range(3):
            move = step * np.eye(3)[column]
            later = np.array(angles.equatorial_from_orbit(PLANE, *(np.array([psi, eps, 1]) + move)))
            before = np.array(
                angles.equatorial_from_orbit(PLANE, *(np.array([psi, eps, 1]) - move))
            )
            expected = (later - before) / (2 * step)
            np.testing.assert_allclose(found[:, column], expected, atol=1e-9)


def classical_motion(epochs: Epochs) -> np.ndarray:
    """psi and eps of Mars with the nutations of Reasenberg & King 1979, largest terms."""
    days = epochs.since_j2000 / DAY
    anomaly, q = (19.3564 + 0.52403958828 * days) * DEGREE, 142.0 * DEGREE
    psi, eps = PSI - 5.756e-6 * DEGREE * days, EPS - 5e-9 * DEGREE * days
    series = [(-632.6, -44.2, -4.0), (-104.5, 1097.0, 240.1), (-0.4, 0, 0), (-49.1, 515.7, 112.8)]
    for m in (1, 2, 3):
        psi_m, psi_mq, eps_m, eps_mq = (row[m - 1] * MAS for row in series)
        psi = psi + psi_m * np.sin(m * anomaly) + psi_mq * np.sin(m * anomaly + q)
        eps = eps + eps_m * np.cos(m * anomaly) + eps_mq * np.cos(m * anomaly + q)
    return np.stack([psi, eps], axis=1)


def test_series_convert_to_a_tenth_of_a_milliarcsecond_over_thirty_years() -> None:
    # Accuracy claimed for second-degree polynomials with Poisson terms by Yseboodt, Baland &
    # Le Maistre 2023, Celest. Mech. Dyn. Astron. 135, 50. Judge: the exact conversion.
    half = 30.0 * JULIAN_YEAR
    multiples = np.arange(1, 7)
    frequency = multiples * 0.52403958828 * DEGREE / DAY
    phase = multiples * 19.3564 * DEGREE
    series = angles.equatorial_series(PLANE, classical_motion, -half, half, frequency, phase)
    epochs = Epochs.of(np.linspace(-half, half, 3001))
    exact = np.stack(angles.equatorial_from_orbit(PLANE, *classical_motion(epochs).T, 0.0), axis=1)
    assert np.abs(series.value(epochs) - exact).max() < 0.1 * MAS
    # Rates of the pole at J2000, all secular terms together, -0.108597 and -0.061582 deg per
    # century: Archinal et al. 2018, Celest. Mech. Dyn. Astron. 130, 22, 0.5 % faster.
    slopes = series.polynomial[1, :2] * 100.0 * JULIAN_YEAR / DEGREE
    assert slopes == pytest.approx([-0.108597, -0.061582], rel=0.008)

    back = angles.orbit_series(
        PLANE, lambda at: series.value(at)[:, :2], -half, half, frequency, phase
    )
    again = back.value(epochs)
    assert np.abs(again[:, :2] - classical_motion(epochs)).max() < 0.2 * MAS
    assert np.abs(again[:, 2] + series.value(epochs)[:, 2]).max() < 0.2 * MAS


def test_undefined_nodes_are_refused() -> None:
    with pytest.raises(InputError, match="delta: the planet's pole"):
        angles.equatorial_from_orbit((0.0, 0.4), np.pi, 0.4, 0.0)
    with pytest.raises(InputError, match="eps: the planet's equator"):
        angles.orbit_from_equatorial((0.0, 0.4), -np.pi / 2, np.pi / 2 - 0.4, 0.0)
    with pytest.raises(InputError, match="eps: the planet's equator"):
        angles.orbit_angles_of_matrix((0.0, 0.0), np.eye(3)[None])
