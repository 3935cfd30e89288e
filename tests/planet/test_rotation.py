"""Rotation of Mars and of the Moon against published expressions, 40 digits and differences."""

from __future__ import annotations

import de421
import mpmath
import numpy as np
import pytest
from jplephem.ephem import Ephemeris as PackagedEphemeris
from numpy.typing import NDArray

from wobble.constants import DAY, MAS
from wobble.ephemeris import de421_table, open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError, UnknownNameError
from wobble.files.body_file import read_body
from wobble.planet.angle_terms import ANGLES, Nutation
from wobble.planet.rotation import RotationModel, TabulatedLibration

Array = NDArray[np.float64]

LANDER = np.array([2.1e6, -1.3e6, 2.3e6])
DEGREE = np.pi / 180


@pytest.fixture(scope="module")
def mars() -> RotationModel:
    orientation = read_body("mars").orientation
    assert isinstance(orientation, RotationModel)
    return orientation


@pytest.fixture(scope="module")
def rich(mars: RotationModel) -> RotationModel:
    """Mars with every parameter different from zero."""
    random = np.random.default_rng(8)
    zeros = [name for name, value in mars.values.items() if value == 0.0]
    given = {name: random.uniform(5, 20) * MAS for name in zeros}
    given["spin.acceleration"] = 4 * MAS / (365.25 * DAY) ** 2
    return mars.with_values(given)


def days(*numbers: float) -> Epochs:
    return Epochs.of(np.array(numbers) * DAY)


def random_epochs(number: int) -> Epochs:
    random = np.random.default_rng(9)
    return Epochs.of(random.uniform(0, 1.2e9, number), random.uniform(-0.5, 0.5, number))


# ---------------------------------------------------------------------------------------------
# Published orientation of Mars


def right_ascension_declination_meridian(matrix: Array) -> tuple[Array, Array, Array]:
    """alpha, delta of the pole and W of the prime meridian, degrees, from body-fixed axes."""
    pole = matrix[:, :, 2]
    # W is counted along the equator from its ascending node on the ICRF equator.
    node = np.column_stack([-pole[:, 1], pole[:, 0], np.zeros(len(pole))])
    across = np.cross(pole, node)
    meridian = np.arctan2(
        np.einsum("ni,ni->n", matrix[:, :, 0], across) / np.linalg.norm(across, axis=1),
        np.einsum("ni,ni->n", matrix[:, :, 0], node) / np.linalg.norm(node, axis=1),
    )
    alpha = np.arctan2(pole[:, 1], pole[:, 0])
    delta = np.arcsin(pole[:, 2])
    return np.degrees(alpha) % 360, np.degrees(delta), np.degrees(meridian) % 360


def without_nutation(model: RotationModel) -> RotationModel:
    terms = tuple(term for term in model.terms if not isinstance(term, Nutation))
    values = {n: 0.0 if "annual" in n else v for n, v in model.values.items()}
    return RotationModel(
        model.plane_node,
        model.plane_inclination,
        terms,
        {n: v for n, v in values.items() if not n.startswith("core.")},
    )


def test_the_mean_pole_of_mars_is_the_published_one(mars: RotationModel) -> None:
    # Konopliv et al. 2006, Icarus 182, 23, angles turned by hand into right ascension,
    # declination and prime meridian of J2000.
    mean = without_nutation(mars).matrix(days(0.0))
    alpha, delta, meridian = right_ascension_declination_meridian(mean)
    assert alpha[0] == pytest.approx(317.681118, abs=1e-6)
    assert delta[0] == pytest.approx(52.886331, abs=1e-6)
    assert meridian[0] == pytest.approx(176.630209, abs=1e-6)
    # Within 0.0004 degrees of the older recommended values (IAU working group, report of 2000).
    assert alpha[0] == pytest.approx(317.68143, abs=4e-4)
    assert delta[0] == pytest.approx(52.88650, abs=4e-4)
    assert meridian[0] == pytest.approx(176.630, abs=4e-4)


# Archinal et al. 2018, Celest. Mech. Dyn. Astron. 130, 22: polynomial (degrees, per Julian
# century; W per day) and amplitude, phase, rate per century of the periodic terms, degrees.
ALPHA_2015 = (
    [317.269202, -0.10927547],
    [
        (0.000068, 198.991226, 19139.4819985),
        (0.000238, 226.292679, 38280.8511281),
        (0.000052, 249.663391, 57420.7251593),
        (0.000009, 266.183510, 76560.6367950),
        (0.419057, 79.398797, 0.5042615),
    ],
)
DELTA_2015 = (
    [54.432516, -0.05827105],
    [
        (0.000051, 122.433576, 19139.9407476),
        (0.000141, 43.058401, 38280.8753272),
        (0.000031, 57.663379, 57420.7517205),
        (0.000005, 79.476401, 76560.6495004),
        (1.591274, 166.325722, 0.5042615),
    ],
)
W_2015 = (
    [176.049863, 350.891982443297],
    [
        (0.000145, 129.071773, 19140.0328244),
        (0.000157, 36.352167, 38281.0473591),
        (0.000040, 56.668646, 57420.9295360),
        (0.000001, 67.364003, 76560.2552215),
        (0.000001, 104.792680, 95700.4387578),
        (0.584542, 95.391654, 0.5042615),
    ],
)


def expressions_of_2015(day: Array) -> tuple[Array, Array, Array]:
    century = day / 36525.0

    def periodic(terms: list[tuple[float, float, float]], function: np.ufunc) -> Array:
        return sum(a * function(DEGREE * (p + r * century)) for a, p, r in terms)

    alpha = ALPHA_2015[0][0] + ALPHA_2015[0][1] * century + periodic(ALPHA_2015[1], np.sin)
    delta = DELTA_2015[0][0] + DELTA_2015[0][1] * century + periodic(DELTA_2015[1], np.cos)
    meridian = W_2015[0][0] + W_2015[0][1] * day + periodic(W_2015[1], np.sin)
    return alpha, delta, meridian


def test_the_expressions_of_2015_are_typed_in_rightly() -> None:
    # The published pole of J2000, 317.68086 and 52.88643; the further digits are a regression.
    alpha, delta, meridian = expressions_of_2015(np.array([0.0, 7305.0]))
    np.testing.assert_allclose(alpha, [317.680854407, 317.659283797], rtol=0, atol=1e-9)
    np.testing.assert_allclose(delta, [52.886439275, 52.874004561], rtol=0, atol=1e-9)
    np.testing.assert_allclose(meridian % 360, [176.632059732, 242.563591258], atol=1e-9)


def test_the_pole_of_mars_is_that_of_2015_to_a_tenth_of_an_arcsecond(
    mars: RotationModel,
) -> None:
    # Two descriptions of one planet, from data sets of different age, over thirty years.
    day = np.linspace(0.0, 30 * 365.25, 400)
    alpha, delta, _ = right_ascension_declination_meridian(mars.matrix(Epochs.of(day * DAY)))
    alpha_2015, delta_2015, _ = expressions_of_2015(day)
    across = (alpha - alpha_2015) * np.cos(delta * DEGREE)
    assert np.abs(across).max() * 3600 < 0.12
    assert np.abs(delta - delta_2015).max() * 3600 < 0.07
    # The nutation itself agrees to some milliarcseconds: take a straight line off.
    for difference in (across, delta - delta_2015):
        rest = difference - np.polyval(np.polyfit(day, difference, 1), day)
        assert np.std(rest) * 3600e3 < 6.0


def test_mars_turns_as_in_2015_but_for_the_choice_of_the_prime_meridian(
    mars: RotationModel,
) -> None:
    # Along the equator, from a fixed direction: W + alpha sin(delta). The prime meridians differ
    # by 5.7 arcsec (94 m at the equator), a matter of definition; the rates by 10 mas a year,
    # the seasonal terms by up to 0.4 arcsec (interannual, and models of different age).
    day = np.linspace(0.0, 30 * 365.25, 2000)
    alpha, delta, meridian = right_ascension_declination_meridian(mars.matrix(Epochs.of(day * DAY)))
    alpha_2015, _, meridian_2015 = expressions_of_2015(day)
    turned = (meridian - meridian_2015 + 180) % 360 - 180
    turned += (alpha - alpha_2015) * np.sin(delta * DEGREE)
    slope, offset = np.polyfit(day, turned * 3600, 1)
    assert abs(slope) * 365.25 < 0.02
    assert offset == pytest.approx(-5.7, abs=0.2)
    assert np.abs(turned * 3600 - np.polyval([slope, offset], day)).max() < 0.4


def test_the_rigid_nutation_of_mars_has_its_published_values(mars: RotationModel) -> None:
    # Series of Reasenberg & King 1979, J. Geophys. Res. 84, 6231, as listed by Konopliv et al.
    # 2006, summed by hand for J2000 and 1000 days later.
    rigid = mars.with_values({"core.factor": 0.0})
    epochs = days(0.0, 1000.0)
    difference = rigid.angles(epochs) - without_nutation(mars).angles(epochs)
    np.testing.assert_allclose(difference[:, 0] / MAS, [-402.666, 563.560], atol=1e-3)
    np.testing.assert_allclose(difference[:, 1] / MAS, [-593.333, -397.783], atol=1e-3)


def test_the_nutation_splits_into_the_published_circles(mars: RotationModel) -> None:
    # The same series, terms of one frequency joined: prograde and retrograde amplitudes in mas.
    published = {1: (102.1, 136.3), 2: (498.7, 17.9), 3: (108.2, 4.7), 4: (18.3, 0.9)}
    rate = min(t.frequency for t in mars.terms if isinstance(t, Nutation) and t.frequency > 0)
    circles = {multiple: np.zeros(2, complex) for multiple in published}
    for term in mars.terms:
        multiple = round(term.frequency / rate) if isinstance(term, Nutation) else 0
        if multiple in circles:
            across = term.longitude * np.sin(term.mean_obliquity)
            amplitudes = np.array([term.obliquity + across, term.obliquity - across]) / 2
            circles[multiple] += amplitudes * np.exp(1j * term.phase) / MAS
    for multiple, expected in published.items():
        np.testing.assert_allclose(np.abs(circles[multiple]), expected, atol=0.1)


def test_the_circles_have_the_senses_that_their_names_say(mars: RotationModel) -> None:
    # A prograde term moves the pole the way the planet turns: right-handed about the pole.
    angles = (mars.plane_node, mars.plane_inclination)
    for sense in (1.0, -1.0):
        circle = Nutation(1e-7, 0.0, sense * 1e-3 / np.sin(0.44), 1e-3, 0.44)
        values = {"pole.obliquity": 0.44, "core.factor": 0.0, "core.period": -2e7}
        tilt = RotationModel(
            *angles,
            (circle, *(t for t in mars.terms if t.names[0] == "pole.obliquity")),
            values | {"pole.obliquity_rate": 0.0},
        )
        poles = tilt.matrix(Epochs.of(np.linspace(0, 6e7, 9)))[:, :, 2]
        offsets = poles - poles[:-1].mean(axis=0)
        turning = np.einsum("ni,i->n", np.cross(offsets[:-1], offsets[1:]), poles.mean(axis=0))
        assert (sense * turning > 0).all()


# ---------------------------------------------------------------------------------------------
# The chain of rotations


def passive(axis: str, angle: float) -> Array:
    """Matrix of the literature's R_axis(angle): components in axes turned by the angle."""
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    matrix = np.eye(3)
    matrix[i, i] = matrix[j, j] = np.cos(angle)
    matrix[i, j], matrix[j, i] = np.sin(angle), -np.sin(angle)
    return matrix


def test_the_matrix_is_the_product_that_the_literature_writes(rich: RotationModel) -> None:
    # Rz(-N) Rx(-J) Rz(-psi) Rx(-eps) Rz(-phi) Ry(Xp) Rx(Yp): Folkner et al. 1997, J. Geophys.
    # Res. 102, 4057; Konopliv et al. 2006, Icarus 182, 23.
    epochs = random_epochs(20)
    for matrix, angles in zip(rich.matrix(epochs), rich.angles(epochs), strict=True):
        psi, obliquity, phi, xp, yp = angles
        expected = (
            passive("z", -rich.plane_node)
            @ passive("x", -rich.plane_inclination)
            @ passive("z", -psi)
            @ passive("x", -obliquity)
            @ passive("z", -phi)
            @ passive("y", xp)
            @ passive("x", yp)
        )
        np.testing.assert_allclose(matrix, expected, atol=1e-14)


def test_body_fixed_undoes_inertial(rich: RotationModel) -> None:
    epochs = random_epochs(20)
    back = rich.body_fixed(rich.inertial(LANDER, epochs), epochs)
    np.testing.assert_allclose(back, np.broadcast_to(LANDER, (20, 3)), atol=1e-8)


def test_the_free_wobble_goes_round_with_the_spin(mars: RotationModel) -> None:
    # A free wobble is prograde in the body. The spin axis is that of the same planet without
    # polar motion; the quarter of a period turns its place from the x to the y axis.
    wobbling = mars.with_values({"polar_motion.chandler_cos": 100 * MAS})
    period = mars.values["polar_motion.chandler_period"]
    epochs = Epochs.of([0.0, period / 4])
    axis = mars.matrix(epochs)[:, :, 2]
    places = wobbling.body_fixed(axis, epochs)[:, :2] / MAS
    np.testing.assert_allclose(places, [[100, 0], [0, 100]], atol=1e-3)


def test_positive_polar_motion_has_the_signs_of_the_conventions(mars: RotationModel) -> None:
    # x_p toward the prime meridian, y_p toward 90 degrees west (IERS Conventions 2010, eq. 5.3,
    # the same order of rotations for the Earth).
    moved = mars.with_values(
        {"polar_motion.x_annual_cos": 30 * MAS, "polar_motion.y_annual_cos": 20 * MAS}
    )
    phase = next(t for t in mars.terms if "polar_motion.x_annual_cos" in t.names).phase
    epochs = days(0.0)
    place = moved.body_fixed(mars.matrix(epochs)[:, :, 2], epochs)[0, :2] / MAS
    np.testing.assert_allclose(place, np.cos(phase) * np.array([30, -20]), atol=1e-4)


# ---------------------------------------------------------------------------------------------
# The model in 40 digits, written out anew from the definition of its parameters


def exact_values(model: RotationModel) -> Exact:
    return {name: mpmath.mpf(value) for name, value in model.values.items()}


def exactly_turned(axis: str, angle: mpmath.mpf, v: list[mpmath.mpf]) -> list[mpmath.mpf]:
    """Active rotation by an angle, in 40 digits."""
    i, j = {"x": (1, 2), "y": (2, 0), "z": (0, 1)}[axis]
    turned = list(v)
    turned[i] = mpmath.cos(angle) * v[i] - mpmath.sin(angle) * v[j]
    turned[j] = mpmath.sin(angle) * v[i] + mpmath.cos(angle) * v[j]
    return turned


Exact = dict[str, mpmath.mpf]


def exact_angles(model: RotationModel, v: Exact, t: mpmath.mpf) -> list[mpmath.mpf]:
    """The five angles for given values of the parameters."""
    season = next(t for t in model.terms if "spin.annual_cos" in t.names)
    psi = v["pole.node_longitude"] + v["pole.precession_rate"] * t
    obliquity = v["pole.obliquity"] + v["pole.obliquity_rate"] * t
    phi = v["spin.angle"] + v["spin.rate"] * t + v["spin.acceleration"] * t * t / 2
    pole = {"x": mpmath.mpf(0), "y": mpmath.mpf(0)}
    for name in model.values:
        head, _, tail = name.rpartition("_")
        if not head.endswith("annual"):
            continue
        names = ("annual", "semiannual", "terannual", "quarterannual")
        which = max(k for k, season_name in enumerate(names) if head.endswith(season_name))
        frequency = next(term.frequency for term in model.terms if name in term.names)
        phase = next(term.phase for term in model.terms if name in term.names)
        assert frequency == pytest.approx((which + 1) * season.frequency, rel=1e-15)
        argument = mpmath.mpf(frequency) * t + mpmath.mpf(phase)
        signal = v[name] * (mpmath.cos(argument) if tail == "cos" else mpmath.sin(argument))
        if head.startswith("spin"):
            phi += signal
        else:
            pole[head.split(".")[1][0]] += signal
    for term in model.terms:
        if isinstance(term, Nutation):
            argument = mpmath.mpf(term.frequency) * t + mpmath.mpf(term.phase)
            across = mpmath.mpf(term.longitude) * mpmath.sin(mpmath.mpf(term.mean_obliquity))
            circles = []
            for sign in (1, -1):
                sigma = sign * mpmath.mpf(term.frequency)
                gain = 1 + v["core.factor"] * sigma / (sigma - 2 * mpmath.pi / v["core.period"])
                circles.append(gain * (mpmath.mpf(term.obliquity) + sign * across) / 2)
            obliquity += (circles[0] + circles[1]) * mpmath.cos(argument)
            longitude = (circles[0] - circles[1]) * mpmath.sin(argument)
            longitude /= mpmath.sin(mpmath.mpf(term.mean_obliquity))
            psi += longitude
            phi -= mpmath.cos(mpmath.mpf(term.mean_obliquity)) * longitude
    free = mpmath.mpc(v["polar_motion.chandler_cos"], v["polar_motion.chandler_sin"])
    free *= mpmath.expj(2 * mpmath.pi * t / v["polar_motion.chandler_period"])
    return [psi, obliquity, phi, pole["x"] + free.real, pole["y"] - free.imag]


def exact_inertial(model: RotationModel, values: Exact, t: mpmath.mpf) -> list[mpmath.mpf]:
    psi, obliquity, phi, xp, yp = exact_angles(model, values, t)
    turned = [mpmath.mpf(c) for c in LANDER]
    for axis, angle in (
        ("x", -yp),
        ("y", -xp),
        ("z", phi),
        ("x", obliquity),
        ("z", psi),
        ("x", mpmath.mpf(model.plane_inclination)),
        ("z", mpmath.mpf(model.plane_node)),
    ):
        turned = exactly_turned(axis, angle, turned)
    return turned


# ---------------------------------------------------------------------------------------------
# Derivatives


def test_partials_of_every_parameter_are_central_differences(rich: RotationModel) -> None:
    # In 40 digits a step can be so small that nothing is truncated and nothing rounded.
    epochs = random_epochs(4)
    directions = np.random.default_rng(10).normal(size=(4, 3))
    partials = rich.projected_partials(rich.values, LANDER, epochs, directions)
    assert set(partials) == set(rich.values)
    for name, partial in partials.items():
        for n in range(4):
            with mpmath.workdps(40):
                t = mpmath.mpf(epochs.seconds[n]) + mpmath.mpf(epochs.fraction[n])
                values = exact_values(rich)
                step = values[name] * mpmath.mpf("1e-13")
                high, low = (
                    exact_inertial(rich, values | {name: values[name] + sign * step}, t)
                    for sign in (1, -1)
                )
                moved = [(a - b) / (2 * step) for a, b in zip(high, low, strict=True)]
                expected = float(sum(d * m for d, m in zip(directions[n], moved, strict=True)))
            size = np.linalg.norm([float(m) for m in moved])
            assert partial[n] == pytest.approx(expected, abs=1e-11 * size), name


def test_only_the_partials_asked_for_are_given(rich: RotationModel) -> None:
    names = ["core.factor", "spin.rate", "lander.alpha.x"]
    partials = rich.projected_partials(names, LANDER, days(1.0), np.eye(3)[:1])
    assert set(partials) == {"core.factor", "spin.rate"}
    assert rich.projected_partials([], LANDER, days(1.0), np.eye(3)[:1]) == {}


# ---------------------------------------------------------------------------------------------
# Increments


@pytest.mark.parametrize("interval", [1e-3, 1.0, 60.0, 3600.0])
def test_increments_of_mars_equal_those_in_forty_digits(
    rich: RotationModel, interval: float
) -> None:
    epochs = random_epochs(30)
    found = rich.increment(LANDER, epochs, np.full(30, interval))
    places = rich.inertial(LANDER, epochs)
    for n in range(30):
        with mpmath.workdps(40):
            t = mpmath.mpf(epochs.seconds[n]) + mpmath.mpf(epochs.fraction[n])
            values = exact_values(rich)
            start = exact_inertial(rich, values, t)
            end = exact_inertial(rich, values, t + mpmath.mpf(interval))
            step = [
                float(b - a - mpmath.mpf(f)) for a, b, f in zip(start, end, found[n], strict=True)
            ]
            place = [float(a - mpmath.mpf(p)) for a, p in zip(start, places[n], strict=True)]
        assert np.linalg.norm(step) < 1e-14 * np.linalg.norm(found[n])
        assert np.linalg.norm(place) < 2e-8


def test_the_lander_moves_at_the_speed_of_its_parallel(rich: RotationModel) -> None:
    # The spin rate of 7.0882e-5 rad/s times the distance from the axis: 240.73 m/s at the
    # equator of 3396.19 km (elementary).
    second = np.ones(20)
    speeds = np.linalg.norm(rich.increment(LANDER, random_epochs(20), second), axis=1)
    np.testing.assert_allclose(speeds, 240.73 * np.hypot(*LANDER[:2]) / 3396.19e3, rtol=1e-5)


# ---------------------------------------------------------------------------------------------
# Parameters


def test_values_can_be_changed_and_only_known_ones(mars: RotationModel) -> None:
    faster = mars.with_values({"spin.rate": 8e-5})
    assert faster.values["spin.rate"] == 8e-5
    assert mars.values["spin.rate"] == pytest.approx(7.0882e-5, rel=1e-5)
    with pytest.raises(UnknownNameError, match=r"perhaps 'spin.rate'"):
        mars.with_values({"spin.rates": 8e-5})


def test_a_parameter_without_a_value_is_refused(mars: RotationModel) -> None:
    values = {name: v for name, v in mars.values.items() if name != "core.period"}
    with pytest.raises(InputError, match=r"core.period: a parameter .* has no value"):
        RotationModel(mars.plane_node, mars.plane_inclination, mars.terms, values)


# ---------------------------------------------------------------------------------------------
# The Moon


@pytest.fixture(scope="module")
def moon() -> TabulatedLibration:
    return TabulatedLibration(de421_table("librations"))


def moon_epochs() -> Epochs:
    return Epochs.of((np.arange(300) * 23 + 5400) * DAY + np.arange(300) * DAY / 512)


def test_the_moon_is_turned_by_its_tabulated_angles(moon: TabulatedLibration) -> None:
    # The angles by another reader, the matrix Rz(-phi) Rx(-theta) Rz(-psi) written out
    # (Folkner, Williams & Boggs 2009, IPN Progress Report 42-178).
    epochs = moon_epochs()
    day, rest = epochs.julian_date
    angles = PackagedEphemeris(de421).compute("librations", day + rest)[:3].T
    for matrix, (phi, theta, psi) in zip(moon.matrix(epochs), angles, strict=True):
        expected = passive("z", -phi) @ passive("x", -theta) @ passive("z", -psi)
        np.testing.assert_allclose(matrix, expected, atol=5e-12)


def test_the_moon_shows_the_earth_one_face_within_its_librations(moon: TabulatedLibration) -> None:
    # Optical librations reach 7.9 degrees in longitude and 6.9 in latitude (common knowledge
    # of astronomers, no source).
    ephemeris, epochs = open_ephemeris("de421"), moon_epochs()
    to_earth = ephemeris.position("earth", epochs) - ephemeris.position("moon", epochs)
    seen = moon.body_fixed(to_earth, epochs)
    longitude = np.degrees(np.arctan2(seen[:, 1], seen[:, 0]))
    latitude = np.degrees(np.arcsin(seen[:, 2] / np.linalg.norm(seen, axis=1)))
    assert 7.0 < np.abs(longitude).max() < 8.1
    assert 6.0 < np.abs(latitude).max() < 7.0
    assert abs(longitude.mean()) < 0.5


def test_the_lunar_equator_keeps_its_tilt_to_the_ecliptic(moon: TabulatedLibration) -> None:
    # Cassini's second law: 1.543 degrees on average (from memory), some hundredths about it.
    obliquity = 84381.406 / 3600 * DEGREE
    ecliptic_pole = np.array([0.0, -np.sin(obliquity), np.cos(obliquity)])
    poles = moon.matrix(moon_epochs())[:, :, 2]
    tilt = np.degrees(np.arccos(poles @ ecliptic_pole))
    assert tilt.mean() == pytest.approx(1.543, abs=0.01)
    assert np.ptp(tilt) < 0.15


def test_increments_of_the_moon_are_differences_to_their_rounding(moon: TabulatedLibration) -> None:
    epochs, place = moon_epochs(), np.array([1.6e6, 0.1e6, 0.7e6])
    hour = np.full(300, 3600.0)
    found = moon.increment(place, epochs, hour)
    difference = moon.inertial(place, epochs.shift(3600.0)) - moon.inertial(place, epochs)
    # An angle of thousands of radians is known to 1e-12: some micrometres on the surface.
    np.testing.assert_allclose(found, difference, rtol=0, atol=1e-5)
    short = moon.increment(place, epochs, np.full(300, 1e-3)) / 1e-3
    middle = moon.increment(place, epochs.shift(-0.5), np.ones(300))
    np.testing.assert_allclose(short, middle, rtol=0, atol=1e-8)


def test_the_moon_has_no_rotation_parameters(moon: TabulatedLibration) -> None:
    assert moon.values == {}
    assert moon.with_values({}) is moon
    assert moon.projected_partials(["spin.rate"], LANDER, days(0.0), LANDER[None]) == {}
    with pytest.raises(UnknownNameError, match="none is defined"):
        moon.with_values({"spin.rate": 1.0})


def test_angles_are_named_in_their_order(rich: RotationModel) -> None:
    assert rich.angles(days(0.0)).shape == (1, len(ANGLES))
    assert ANGLES == ("node", "obliquity", "spin", "polar_x", "polar_y")
