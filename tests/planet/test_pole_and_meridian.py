"""Published expressions of the working group, evaluated plainly, and what the sky says of them."""

from __future__ import annotations

import math

import numpy as np
import pytest

from wobble.constants import DAY, GM, JULIAN_CENTURY
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.files.body_file import read_body
from wobble.planet.pole_and_meridian import PeriodicTerm, pole_and_meridian
from wobble.planet.reference_angles import equatorial_angles_of_matrix
from wobble.planet.rotation import RotationModel
from wobble.planet.rotation_partials import matrix_partials

DEGREE = math.pi / 180.0
DAYS = (-9131.25, 0.0, 0.4, 7305.0, 12345.6)


def sine(degrees: float) -> float:
    return math.sin(math.radians(degrees))


def cosine(degrees: float) -> float:
    return math.cos(math.radians(degrees))


# The expressions of Archinal et al. 2018, Celest. Mech. Dyn. Astron. 130, 22, written out as
# printed there, apart from the files: alpha, delta, W in degrees for d days from J2000.0 TDB.


def mars(d: float) -> tuple[float, float, float]:
    t = d / 36525.0
    alpha = (
        317.269202
        - 0.10927547 * t
        + 0.000068 * sine(198.991226 + 19139.4819985 * t)
        + 0.000238 * sine(226.292679 + 38280.8511281 * t)
        + 0.000052 * sine(249.663391 + 57420.7251593 * t)
        + 0.000009 * sine(266.183510 + 76560.6367950 * t)
        + 0.419057 * sine(79.398797 + 0.5042615 * t)
    )
    delta = (
        54.432516
        - 0.05827105 * t
        + 0.000051 * cosine(122.433576 + 19139.9407476 * t)
        + 0.000141 * cosine(43.058401 + 38280.8753272 * t)
        + 0.000031 * cosine(57.663379 + 57420.7517205 * t)
        + 0.000005 * cosine(79.476401 + 76560.6495004 * t)
        + 1.591274 * cosine(166.325722 + 0.5042615 * t)
    )
    w = (
        176.049863
        + 350.891982443297 * d
        + 0.000145 * sine(129.071773 + 19140.0328244 * t)
        + 0.000157 * sine(36.352167 + 38281.0473591 * t)
        + 0.000040 * sine(56.668646 + 57420.9295360 * t)
        + 0.000001 * sine(67.364003 + 76560.2552215 * t)
        + 0.000001 * sine(104.792680 + 95700.4387578 * t)
        + 0.584542 * sine(95.391654 + 0.5042615 * t)
    )
    return alpha, delta, w


def mercury(d: float) -> tuple[float, float, float]:  # from memory
    t = d / 36525.0
    w = (
        329.5988
        + 6.1385108 * d
        + 0.01067257 * sine(174.7910857 + 4.092335 * d)
        - 0.00112309 * sine(349.5821714 + 8.184670 * d)
        - 0.00011040 * sine(164.3732571 + 12.277005 * d)
        - 0.00002539 * sine(339.1643429 + 16.369340 * d)
        - 0.00000571 * sine(153.9554286 + 20.461675 * d)
    )
    return 281.0103 - 0.0328 * t, 61.4155 - 0.0049 * t, w


def venus(d: float) -> tuple[float, float, float]:  # from memory
    return 272.76, 67.16, 160.20 - 1.4813688 * d


def moon(d: float) -> tuple[float, float, float]:  # from memory
    t = d / 36525.0
    e1, e2 = 125.045 - 0.0529921 * d, 250.089 - 0.1059842 * d
    e3, e4 = 260.008 + 13.0120009 * d, 176.625 + 13.3407154 * d
    e5, e6 = 357.529 + 0.9856003 * d, 311.589 + 26.4057084 * d
    e7, e8 = 134.963 + 13.0649930 * d, 276.617 + 0.3287146 * d
    e9, e10 = 34.226 + 1.7484877 * d, 15.134 - 0.1589763 * d
    e11, e12, e13 = 119.743 + 0.0036096 * d, 239.961 + 0.1643573 * d, 25.053 + 12.9590088 * d
    alpha = 269.9949 + 0.0031 * t - 3.8787 * sine(e1) - 0.1204 * sine(e2) + 0.0700 * sine(e3)
    alpha += -0.0172 * sine(e4) + 0.0072 * sine(e6) - 0.0052 * sine(e10) + 0.0043 * sine(e13)
    delta = 66.5392 + 0.0130 * t + 1.5419 * cosine(e1) + 0.0239 * cosine(e2) - 0.0278 * cosine(e3)
    delta += 0.0068 * cosine(e4) - 0.0029 * cosine(e6) + 0.0009 * cosine(e7)
    delta += 0.0008 * cosine(e10) - 0.0009 * cosine(e13)
    w = 38.3213 + 13.17635815 * d - 1.4e-12 * d**2 + 3.5610 * sine(e1) + 0.1208 * sine(e2)
    w += -0.0642 * sine(e3) + 0.0158 * sine(e4) + 0.0252 * sine(e5) - 0.0066 * sine(e6)
    w += -0.0047 * sine(e7) - 0.0046 * sine(e8) + 0.0028 * sine(e9) + 0.0052 * sine(e10)
    w += 0.0040 * sine(e11) + 0.0019 * sine(e12) - 0.0044 * sine(e13)
    return alpha, delta, w


EXPRESSIONS = {"mars_iau": mars, "mercury": mercury, "venus": venus, "moon_iau": moon}


def orientation_of(name: str) -> RotationModel:
    orientation = read_body(name).orientation
    assert isinstance(orientation, RotationModel)
    return orientation


def plain_matrix(alpha: float, delta: float, w: float) -> np.ndarray:
    """From the pole, the node and the meridian as vectors, without a rotation matrix."""
    pole = np.array([cosine(delta) * cosine(alpha), cosine(delta) * sine(alpha), sine(delta)])
    node = np.array([-sine(alpha), cosine(alpha), 0.0])  # at alpha + 90 degrees
    meridian = node * cosine(w) + np.cross(pole, node) * sine(w)
    return np.stack([meridian, np.cross(pole, meridian), pole], axis=1)


@pytest.mark.parametrize("name", EXPRESSIONS)
@pytest.mark.parametrize("day", DAYS)
def test_bodies_are_turned_as_the_working_group_says(name: str, day: float) -> None:
    expected = plain_matrix(*EXPRESSIONS[name](day))
    found = orientation_of(name).matrix(Epochs.of(day * DAY))[0]
    # W reaches 4e6 degrees, of which the plain evaluation keeps 1e-9.
    np.testing.assert_allclose(found, expected, atol=2e-11)


@pytest.mark.parametrize(
    ("day", "published"),
    [
        # Evaluations of the 2015 model from two transcriptions, degrees.
        (0.0, (317.680854407, 52.886439275, 176.632059732)),
        (7305.0, (317.659283797, 52.874004561, 242.563591258)),
    ],
)
def test_mars_at_two_dates(day: float, published: tuple[float, float, float]) -> None:
    matrix = orientation_of("mars_iau").matrix(Epochs.of(day * DAY))
    found = np.degrees([angle[0] for angle in equatorial_angles_of_matrix(matrix)])
    np.testing.assert_allclose(np.remainder(found, 360.0), published, atol=2e-9)


def test_mars_in_an_older_model_is_turned_alike() -> None:
    # 317.68143 - 0.1061 T, 52.88650 - 0.0609 T, 176.630 + 350.89198226 d: reports of the working
    # group of 2000 and 2009; within 0.01 degrees from 2000 to 2030.
    days = np.linspace(0.0, 10957.0, 40)
    t = days / 36525.0
    matrix = orientation_of("mars_iau").matrix(Epochs.of(days * DAY))
    alpha, delta, w = equatorial_angles_of_matrix(matrix)
    older = np.radians(
        [317.68143 - 0.1061 * t, 52.88650 - 0.0609 * t, 176.630 + 350.89198226 * days]
    )
    for found, expected in zip((alpha, delta, w), older, strict=True):
        assert (
            np.degrees(np.abs(np.remainder(found - expected + 3.0, 2 * math.pi) - 3.0)).max() < 0.01
        )


def test_the_moon_is_turned_like_its_integrated_librations() -> None:
    """DE421's principal axes are 78.56" and 67.92" from the mean ones, and 0.30" in tilt.

    Rotation from principal to mean axes: Williams, Boggs & Folkner 2008 (from memory). The
    expressions are good to 150 m, 18" (Archinal et al. 2018).
    """
    arcsec = DEGREE / 3600.0
    epochs = Epochs.of(np.linspace(-9.5e8, 3e8, 400))
    principal = read_body("moon").orientation
    between = np.swapaxes(principal.matrix(epochs), 1, 2) @ orientation_of("moon_iau").matrix(
        epochs
    )
    offsets = np.stack([between[:, 2, 1], between[:, 0, 2], between[:, 1, 0]], axis=1) / arcsec
    assert offsets.mean(axis=0) == pytest.approx([0.30, -78.56, -67.92], abs=4.0)
    assert np.abs(offsets - offsets.mean(axis=0)).max() < 18.0


def osculating(body: str, epochs: Epochs) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Position from the Sun, orbit normal and direction of perihelion, plain vectors."""
    ephemeris = open_ephemeris()
    own, sun = ephemeris.state(body, epochs), ephemeris.state("sun", epochs)
    r, v = own[0] - sun[0], own[1] - sun[1]
    normal = np.cross(r, v)
    mu = GM["sun"] + GM[body]
    perihelion = np.cross(v, normal) / mu - r / np.linalg.norm(r, axis=1)[:, None]
    unit = [x / np.linalg.norm(x, axis=1)[:, None] for x in (normal, perihelion)]
    return r, unit[0], unit[1]


def test_mercury_is_in_its_cassini_state() -> None:
    # Obliquity 2.04 +- 0.08 arcmin: Margot et al. 2012, J. Geophys. Res. 117, E00L09 (from memory).
    epochs = Epochs.of(np.linspace(0.0, 3e8, 50))
    pole = orientation_of("mercury").matrix(epochs)[:, :, 2]
    _, normal, _ = osculating("mercury", epochs)
    obliquity = np.degrees(np.arcsin(np.linalg.norm(np.cross(pole, normal), axis=1))) * 60.0
    assert obliquity.mean() == pytest.approx(2.04, abs=0.08)


def test_mercury_turns_three_times_in_two_years() -> None:
    """At perihelion the Sun stands over longitude 0 or 180, the long axis (3:2 resonance).

    The meridian is that of a crater, which is 0.1 degrees off.
    """
    epochs = Epochs.of(np.linspace(0.0, 3e8, 50))
    _, _, perihelion = osculating("mercury", epochs)
    anomaly = (174.7910857 + 4.092335 * epochs.since_j2000 / DAY) * DEGREE
    to_sun = orientation_of("mercury").body_fixed(-perihelion, epochs)
    # The long axis is a turn and a half a revolution ahead of the perihelion.
    longitude = np.arctan2(to_sun[:, 1], to_sun[:, 0]) + 1.5 * anomaly
    folded = np.degrees(np.remainder(longitude + math.pi / 2.0, math.pi) - math.pi / 2.0)
    assert np.abs(folded).max() < 0.2
    assert np.ptp(folded) < 0.05


def test_venus_stands_upside_down() -> None:
    # Obliquity 177.36 degrees (common practice, no source): 2.64 from the north pole, backwards.
    epochs = Epochs.of([0.0])
    model = orientation_of("venus")
    _, normal, _ = osculating("venus", epochs)
    tilt = np.degrees(np.arccos(model.matrix(epochs)[0, :, 2] @ normal[0]))
    assert tilt == pytest.approx(180.0 - 177.36, abs=0.02)
    assert model.values["spin.rate"] < 0.0


def test_increment_is_the_difference_without_its_noise() -> None:
    model = orientation_of("moon_iau")
    place, epochs = np.array([1.0e6, -0.5e6, 1.2e6]), Epochs.of(np.linspace(0.0, 9e8, 30))
    long, short = np.full(30, 1e4), np.full(30, 1e-3)
    change = model.inertial(place, epochs.shift(long)) - model.inertial(place, epochs)
    np.testing.assert_allclose(model.increment(place, epochs, long), change, atol=1e-8)
    # Over a millisecond the difference would be read to 1e-4 of itself.
    rates = [
        model.increment(place, epochs.shift(-step / 2.0), step) / step[:, None]
        for step in (short, 10.0 * short)
    ]
    np.testing.assert_allclose(rates[0], rates[1], atol=1e-11)


def test_coefficients_can_be_estimated() -> None:
    """Derivatives by each coefficient of the polynomials, against differences."""
    model = orientation_of("moon_iau")
    epochs = Epochs.of(np.linspace(-3e8, 8e8, 5))
    partials = matrix_partials(model, epochs)
    assert set(partials) == {
        "pole.right_ascension",
        "pole.right_ascension_rate",
        "pole.declination",
        "pole.declination_rate",
        "spin.angle",
        "spin.rate",
        "spin.acceleration",
    }
    for name, partial in partials.items():
        step = 1e-5 / np.abs(partial).max()
        later, earlier = (
            model.with_values({name: model.values[name] + s * step}).matrix(epochs) for s in (1, -1)
        )
        np.testing.assert_allclose(
            partial, (later - earlier) / (2.0 * step), atol=1e-9 * np.abs(partial).max()
        )


def test_amplitudes_act_where_they_should() -> None:
    """By hand: a quarter turn of the argument makes the sine one and the cosine zero."""
    values = {
        "pole.right_ascension": 1.0,
        "pole.right_ascension_rate": 1.0 / JULIAN_CENTURY,
        "pole.declination": 0.5,
        "pole.declination_rate": 0.0,
        "spin.angle": 2.0,
        "spin.rate": 0.0,
    }
    at = Epochs.of(JULIAN_CENTURY)
    for phase, expected in ((math.pi / 2.0, (2.1, 0.5, 2.3)), (0.0, (2.0, 0.7, 2.0))):
        model = pole_and_meridian(values, [PeriodicTerm(phase, 0.0, 0.1, 0.2, 0.3)])
        found = [angle[0] for angle in equatorial_angles_of_matrix(model.matrix(at))]
        assert found == pytest.approx(expected, abs=1e-12)


def test_a_missing_coefficient_is_named() -> None:
    with pytest.raises(InputError, match=r"spin\.rate.*no value"):
        pole_and_meridian(
            dict.fromkeys(
                (
                    "pole.right_ascension",
                    "pole.right_ascension_rate",
                    "pole.declination",
                    "pole.declination_rate",
                    "spin.angle",
                ),
                0.1,
            )
        )
