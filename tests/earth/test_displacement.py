"""Station displacements against the test cases of the IERS Conventions 2010 and physics."""

from __future__ import annotations

import erfa
import numpy as np
import pytest
from astropy.time import Time
from numpy.typing import NDArray

from wobble.earth import displacement
from wobble.earth.displacement import (
    MAIN_TIDES,
    OceanLoading,
    ocean_loading,
    pole_tide,
    solid_earth_tide,
)
from wobble.earth.subdaily import tidal_arguments
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError

Array = NDArray[np.float64]

ARCSECOND = np.pi / 180 / 3600
STATION = np.array([4075578.385, 931852.890, 4801570.154])
SUN = np.array([[137859926952.015, 54228127881.4350, 23509422341.6960]])
MOON = np.array([[-179996231.920342, -312468450.131567, -169288918.592160]])


def epochs_of_utc(*dates: str) -> Epochs:
    return Epochs.from_time(Time(list(dates), scale="utc"), scale="tt")


def place(latitude: float, longitude: float) -> Array:
    """A station on the sphere; degrees."""
    phi, lam = np.radians([latitude, longitude])
    unit = [np.cos(phi) * np.cos(lam), np.cos(phi) * np.sin(lam), np.sin(phi)]
    return 6371e3 * np.array(unit)


def local(vectors: Array, latitude: float, longitude: float) -> Array:
    """Components up, north, east at a place."""
    phi, lam = np.radians([latitude, longitude])
    up = place(latitude, longitude) / 6371e3
    north = [-np.sin(phi) * np.cos(lam), -np.sin(phi) * np.sin(lam), np.cos(phi)]
    east = [-np.sin(lam), np.cos(lam), 0.0]
    return vectors @ np.array([up, north, east]).T


# ---------------------------------------------------------------------------------------------
# Solid Earth tide


@pytest.mark.parametrize(
    ("date", "station", "sun", "moon", "expected"),
    [
        (
            "2009-04-13",
            STATION,
            SUN[0],
            MOON[0],
            [0.07700420357108125891, 0.06304056321824967613, 0.05516568152597246810],
        ),
        (
            "2012-07-13",
            [1112189.660, -4842955.026, 3985352.284],
            [-54537460436.2357, 130244288385.279, 56463429031.5996],
            [300396716.912, 243238281.451, 120548075.939],
            [-0.02036831479592075833, 0.05658254776225972449, -0.07597679676871742227],
        ),
        (
            "2015-07-15",
            [1112200.5696, -4842957.8511, 3985345.9122],
            [100210282451.6279, 103055630398.3160, 56855096480.4475],
            [369817604.4348, 1897917.5258, 120804980.8284],
            [0.00509570869172363845, 0.0828663025983528700, -0.0636634925404189617],
        ),
    ],
)
def test_solid_tide_matches_the_iers_test_cases(date, station, sun, moon, expected) -> None:  # type: ignore[no-untyped-def]
    """IERS Conventions 2010, ch. 7, test cases of DEHANTTIDEINEL (0h UTC).

    What remains is the ratio of the masses, which here belong to a later ephemeris.
    """
    found = solid_earth_tide(station, [sun], [moon], epochs_of_utc(date))
    np.testing.assert_allclose(found, [expected], rtol=0, atol=1e-9)


def test_semidiurnal_out_of_phase_tide_matches_the_iers_test_case() -> None:
    """IERS Conventions 2010, ch. 7, test case of ST1ISEM."""
    site = displacement._site(STATION)
    sizes = [0.163271964478954, 0.321989090026845]
    found = sum(
        displacement._step_1_out_of_phase_semidiurnal(
            site, body / np.linalg.norm(body), np.array([size])
        )
        for body, size in zip((SUN, MOON), sizes, strict=True)
    )
    expected = [-0.2801334805106874015e-3, 0.2939522229284325029e-4, -0.6051677912316721561e-4]
    np.testing.assert_allclose(found, [expected], rtol=0, atol=1e-15)


def test_frequency_dependence_matches_the_iers_test_cases() -> None:
    """IERS Conventions 2010, ch. 7, test cases of STEP2DIU and STEP2LON."""
    site = displacement._site(STATION)
    doodson = displacement._doodson_of([0.1059411362080767], [0.0])
    np.testing.assert_allclose(
        displacement._step_2_diurnal(site, doodson),
        [[0.4193085327321284701e-2, 0.1456681241014607395e-2, 0.5123366597450316508e-2]],
        rtol=0,
        atol=1e-15,
    )
    np.testing.assert_allclose(
        displacement._step_2_long_period(site, doodson),
        [[-0.9780962849562107762e-4, -0.2236349699932734273e-4, 0.3561945821351565926e-3]],
        rtol=0,
        atol=1e-15,
    )


def test_mean_of_the_solid_tide_is_the_permanent_tide() -> None:
    """IERS Conventions 2010, eq. 7.14: (-0.1206 + 0.0001 P2) P2(sin phi) m up and
    (-0.0252 - 0.0001 P2) sin(2 phi) m north, the tide's mean over a revolution of the Moon's
    node (18.61 years), here with Sun and Moon of DE440. From memory.
    """
    latitude, longitude = 65.0, 20.0
    n = 4001
    tt = Epochs.of(np.linspace(0.0, 18.61 * 365.25 * 86400, n, endpoint=False), scale="tt")
    tdb = Epochs.of(tt.seconds, tt.fraction)  # 2 ms are 2 m of the Moon's way
    utc = tt.to_time().utc
    to_itrf = erfa.c2t06a(*tt.julian_date, utc.jd1, utc.jd2, 0.0, 0.0)
    ephemeris = open_ephemeris("de440")
    earth = ephemeris.position("earth", tdb)
    sun, moon = (
        np.einsum("nij,nj->ni", to_itrf, ephemeris.position(body, tdb) - earth)
        for body in ("sun", "moon")
    )
    tide = local(solid_earth_tide(place(latitude, longitude), sun, moon, tt), latitude, longitude)
    sine = np.sin(np.radians(latitude))
    p2 = 1.5 * sine**2 - 0.5
    up = (-0.1206 + 0.0001 * p2) * p2
    north = (-0.0252 - 0.0001 * p2) * np.sin(2 * np.radians(latitude))
    np.testing.assert_allclose(tide.mean(axis=0), [up, north, 0.0], atol=5e-4)


def test_many_epochs_at_once_give_what_each_gives_alone() -> None:
    epochs = epochs_of_utc("2009-04-13T00:00:00", "2016-12-31T23:59:60", "2026-07-01T12:34:56")
    sun, moon = np.repeat(SUN, 3, axis=0), MOON * np.array([[1.0], [1.05], [0.95]])
    together = solid_earth_tide(STATION, sun, moon, epochs)
    for i in range(3):
        alone = solid_earth_tide(STATION, sun[[i]], moon[[i]], epochs[i])
        np.testing.assert_allclose(together[[i]], alone, rtol=0, atol=1e-12)


def test_what_does_not_fit_is_refused_with_its_name() -> None:
    epochs = epochs_of_utc("2009-04-13")
    with pytest.raises(InputError, match="moon"):
        solid_earth_tide(STATION, SUN, np.repeat(MOON, 2, axis=0), epochs)
    with pytest.raises(InputError, match=r"sun.*not finite"):
        solid_earth_tide(STATION, SUN * np.nan, MOON, epochs)
    with pytest.raises(InputError, match="station"):
        solid_earth_tide([0.0, 0.0, 0.0], SUN, MOON, epochs)
    with pytest.raises(InputError, match="function of TT"):
        solid_earth_tide(STATION, SUN, MOON, Epochs.of(3e8, scale="tdb"))
    with pytest.raises(InputError, match="x_pole"):
        pole_tide(STATION, [0.0, 0.0], [0.0], epochs)


# ---------------------------------------------------------------------------------------------
# Pole tide


def centrifugal_potential(m1: float, m2: float, latitude: float, longitude: float) -> float:
    """Change by the wobble, m^2/s^2: IERS Conventions 2010, eq. 7.21."""
    rate, radius = 7.292115e-5, 6378136.6
    theta, lam = np.radians([90.0 - latitude, longitude])
    amplitude = -0.5 * (rate * radius) ** 2 * np.sin(2 * theta)
    return float(amplitude * (m1 * np.cos(lam) + m2 * np.sin(lam)))


@pytest.mark.parametrize(("latitude", "longitude"), [(48.0, 16.0), (-35.0, 149.0), (19.0, -155.0)])
@pytest.mark.parametrize(("m1", "m2"), [(0.3, 0.0), (0.0, 0.3)])
def test_pole_tide_is_the_response_to_the_centrifugal_potential(
    latitude: float, longitude: float, m1: float, m2: float
) -> None:
    """IERS Conventions 2010, eq. 7.24: h V/g up and l times the gradient of V/g sideways, with
    h = 0.6207, l = 0.0836; the rounded coefficients 33 and 9 mm differ from it by 1.5 %.

    Wobble (m1, m2) arcseconds: the pole coordinates less the secular pole, which at 2020.0 is
    (55.0 + 20 * 1.677, 320.5 + 20 * 3.460) mas (update of 2018-02-01); m2 = -(y - y_s).
    """
    epochs = Epochs.of(20 * 365.25 * 86400, scale="tt")
    x_pole = np.array([(0.055 + 0.03354 + m1) * ARCSECOND])
    y_pole = np.array([(0.3205 + 0.0692 - m2) * ARCSECOND])
    found = local(
        pole_tide(place(latitude, longitude), x_pole, y_pole, epochs), latitude, longitude
    )

    def level(phi: float, lam: float) -> float:
        return centrifugal_potential(m1 * ARCSECOND, m2 * ARCSECOND, phi, lam) / 9.7982

    step = 0.01
    northward = level(latitude + step, longitude) - level(latitude - step, longitude)
    eastward = level(latitude, longitude + step) - level(latitude, longitude - step)
    per_radian = np.radians(2 * step)
    expected = [
        0.6207 * level(latitude, longitude),
        0.0836 * northward / per_radian,
        0.0836 * eastward / per_radian / np.cos(np.radians(latitude)),
    ]
    np.testing.assert_allclose(found, [expected], rtol=0.015, atol=1e-6)


# ---------------------------------------------------------------------------------------------
# Ocean tide loading

# IERS Conventions 2010, ch. 7, input and output of the test case of HARDISP (from memory):
# amplitudes in m and phases in degrees of the 11 tides, up, west, south, then hourly
# displacements up, south, west in m from 2009-06-25 01:10:45 UTC on.
AMPLITUDES = """
.00352 .00123 .00080 .00032 .00187 .00112 .00063 .00003 .00082 .00044 .00037
.00144 .00035 .00035 .00008 .00053 .00049 .00018 .00009 .00012 .00005 .00006
.00086 .00023 .00023 .00006 .00029 .00028 .00010 .00007 .00004 .00002 .00001
"""
PHASES = """
-64.7 -52.0 -96.2 -55.2 -58.8 -151.4 -65.6 -138.1    8.4    5.2    2.1
 85.5 114.5  56.5 113.6  99.4   19.1  94.1  -10.4 -167.4 -170.0 -177.7
109.5 147.0  92.7 148.8  50.5  -55.1  36.4 -170.4  -15.0    2.3    5.2
"""
DISPLACEMENTS = """
 0.003094 -0.001538 -0.000895
 0.001812 -0.000950 -0.000193
 0.000218 -0.000248  0.000421
-0.001104  0.000404  0.000741
-0.001668  0.000863  0.000646
-0.001209  0.001042  0.000137
 0.000235  0.000926 -0.000667
 0.002337  0.000580 -0.001555
 0.004554  0.000125 -0.002278
 0.006271 -0.000291 -0.002615
 0.006955 -0.000537 -0.002430
 0.006299 -0.000526 -0.001706
 0.004305 -0.000244 -0.000559
 0.001294  0.000245  0.000793
-0.002163  0.000819  0.002075
-0.005375  0.001326  0.003024
-0.007695  0.001622  0.003448
-0.008669  0.001610  0.003272
-0.008143  0.001262  0.002557
-0.006290  0.000633  0.001477
-0.003566 -0.000155  0.000282
-0.000593 -0.000941 -0.000766
 0.001992 -0.001561 -0.001457
 0.003689 -0.001883 -0.001680
"""


def numbers(text: str) -> Array:
    return np.array([line.split() for line in text.strip().splitlines()], float)


def test_ocean_loading_matches_the_iers_test_case() -> None:
    """IERS Conventions 2010, ch. 7, test case of HARDISP (from memory).

    That routine adds 331 minor tides interpolated between the 11; they make 0.3 mm rms here,
    where the displacement itself is 4.5 mm rms.
    """
    latitude, longitude = 45.0, 30.0  # the coefficients alone know the place
    coefficients = OceanLoading(numbers(AMPLITUDES).T, numbers(PHASES).T)
    epochs = epochs_of_utc("2009-06-25T01:10:45").shift(3600.0 * np.arange(24))
    found = local(
        ocean_loading(place(latitude, longitude), coefficients, epochs), latitude, longitude
    )
    up, south, west = numbers(DISPLACEMENTS).T
    difference = found - np.stack([up, -south, -west], axis=-1)
    assert np.all(np.sqrt((difference**2).mean(axis=0)) < [0.3e-3, 0.15e-3, 0.15e-3])


def test_arguments_of_the_main_tides_match_the_iers_test_case() -> None:
    """IERS Conventions 2010, ch. 7, test case of ARG2, 2008, day 311.5 (from memory).

    There the angle of S2 is universal time itself; here it follows the Sun's geometric mean
    longitude, which is 20 arcseconds (aberration), 1e-4 rad, ahead of the mean Sun of UT. The
    older expressions of that routine agree with the newer ones as well.
    """
    expected = [
        2.849663065753787805,
        6.28318080000000023,
        4.926040134021299366,
        1.608450491115348768,
        2.375021572352622456,
        0.4746414933980958040,
        3.908159227647345801,
        2.551018561669245344,
        5.041990012540757959,
        4.206816878908014701,
        1.608463638294885811,
    ]
    # Day 311 of the leap year 2008 is the 6th of November.
    arguments = tidal_arguments(epochs_of_utc("2008-11-06T12:00:00"))
    difference = displacement._main_angles(arguments)[0] - expected
    np.testing.assert_allclose(np.exp(1j * difference), 1.0, rtol=0, atol=2.5e-4)


@pytest.mark.parametrize(
    ("tide", "factor", "phase"),
    [
        ("M2", [1.000, -0.037, 0.000], [-2.1, 0.0]),
        ("S2", [1.000, 0.000, 0.000], [0.0, 0.0]),
        ("K2", [1.024, 0.286, 0.008], [-17.7, 0.7]),
        ("K1", [1.006, 0.115, -0.009], [-8.9, 0.7]),
        ("O1", [1.009, 0.187, -0.015], [10.8, -1.3]),
        ("Mf", [1.043, 0.414, 0.000], [-23.7, 2.7]),
        ("Mm", [1.000, -0.130, 0.001], [0.0, 0.0]),
    ],
)
def test_nodal_modulation_agrees_with_the_classical_expressions(
    tide: str, factor: list[float], phase: list[float]
) -> None:
    """Doodson & Warburg 1941, Admiralty Manual of Tides (from memory): with N the longitude of
    the Moon's node, f = f0 + f1 cos N + f2 cos 2N, u = u1 sin N + u2 sin 2N degrees.
    """
    node = np.linspace(0.0, 2 * np.pi, 25)
    arguments = np.zeros((len(node), 6))
    arguments[:, 5] = node
    found = displacement._nodal_factors(arguments)[:, MAIN_TIDES.index(tide)]
    f = factor[0] + factor[1] * np.cos(node) + factor[2] * np.cos(2 * node)
    u = np.radians(phase[0] * np.sin(node) + phase[1] * np.sin(2 * node))
    np.testing.assert_allclose(found, f * np.exp(1j * u), rtol=0, atol=0.02)


def test_a_table_of_ocean_loading_must_be_whole() -> None:
    with pytest.raises(InputError, match="amplitudes"):
        OceanLoading(np.zeros((3, 11)), np.zeros((11, 3)))
    with pytest.raises(InputError, match="phases_deg"):
        OceanLoading(np.zeros((11, 3)), np.full((11, 3), np.nan))
    with pytest.raises(InputError, match="negative"):
        OceanLoading(-np.ones((11, 3)), np.zeros((11, 3)))
