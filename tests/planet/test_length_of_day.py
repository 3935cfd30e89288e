"""Length of day and spin angle: by hand, by the turning planet itself, and back again."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.errors import InputError
from wobble.planet.length_of_day import (
    angle_from_length_of_day,
    day_growth,
    length_of_day_from_angle,
)

DEGREE = np.pi / 180.0
SPIN = 350.891985303 * DEGREE / DAY  # Konopliv et al. 2006, Icarus 182, 23
ORBIT = 0.52403958828 * DEGREE / DAY


def test_a_millisecond_of_the_earths_day_is_58_milliseconds_of_clock() -> None:
    """By hand: 1 ms a day, once a year, adds up to 365.25 / (2 pi) = 58.13 ms of UT1.

    A day 1 ms too long in the cosine leaves the clock behind in the sine: the angle has -58.13 ms
    of it, and one millisecond of mean solar time is 15 mas.
    """
    year = 365.25 * DAY
    turning = 2.0 * np.pi / DAY
    cosine, sine = angle_from_length_of_day(
        1e-3, 0.0, 2.0 * np.pi / year, turning + 2.0 * np.pi / year, orbital_rate=2.0 * np.pi / year
    )
    assert cosine == pytest.approx(0.0, abs=1e-20)
    assert sine == pytest.approx(-58.13 * 15.0 * MAS, rel=1e-4)


def test_the_annual_day_of_mars_by_hand() -> None:
    """481 mas in the cosine: P^2 f A / (2 pi) with P = 88642.66 s, T = 686.97 d.

    88642.66 s * (1.025957 d / 686.97 d) * 481 mas = 0.3087 ms in the sine, positive: where the
    angle passes its maximum it begins to fall behind, and a quarter period later the day is at
    its longest.
    """
    cosine, sine = length_of_day_from_angle(481.0 * MAS, 0.0, ORBIT, SPIN)
    assert cosine == pytest.approx(0.0, abs=1e-20)
    by_hand = 88642.66 * (1.025957 / 686.97) * 481.0 * 4.848137e-9
    assert by_hand == pytest.approx(3.087e-4, rel=1e-3)
    assert sine == pytest.approx(by_hand, rel=1e-5)


@pytest.mark.parametrize("orbit", [0.0, ORBIT])
def test_the_day_is_the_time_of_a_turn(orbit: float) -> None:
    """Judged by the planet itself: how long until the angle, less the Sun's, gains a turn."""
    c, s, phase = 400.0 * MAS, -300.0 * MAS, 0.7
    turning = SPIN - orbit

    def angle(t: float) -> float:
        return turning * t + c * np.cos(ORBIT * t + phase) + s * np.sin(ORBIT * t + phase)

    cosine, sine = length_of_day_from_angle(c, s, ORBIT, SPIN, orbital_rate=orbit)
    for begin in np.linspace(0.0, 6e7, 5):
        turn = brentq(
            lambda d, b=begin: angle(b + d) - angle(b) - 2.0 * np.pi, 8e4, 1e5, xtol=1e-10
        )
        middle = ORBIT * (begin + turn / 2.0) + phase
        predicted = cosine * np.cos(middle) + sine * np.sin(middle)
        # A root at 1e5 s is found to 1e-10 s; the amplitude is 0.3 ms.
        assert turn - 2.0 * np.pi / turning == pytest.approx(predicted, abs=2e-8)
        assert abs(predicted) < 4e-4


def test_solar_and_sidereal_day_differ_by_a_third_of_a_percent() -> None:
    # (Omega / (Omega - n))^2, elementary.
    sidereal = length_of_day_from_angle(1.0, 0.0, ORBIT, SPIN)[1]
    solar = length_of_day_from_angle(1.0, 0.0, ORBIT, SPIN, orbital_rate=ORBIT)[1]
    assert solar / sidereal == pytest.approx((350.891985 / (350.891985 - 0.52404)) ** 2, rel=1e-8)
    assert solar / sidereal - 1.0 == pytest.approx(0.003, abs=1e-4)


@pytest.mark.parametrize("orbit", [0.0, ORBIT])
def test_there_and_back_is_the_identity(orbit: float) -> None:
    c, s = np.array([481.0, -103.0, -35.0]) * MAS, np.array([-155.0, -93.0, -3.0]) * MAS
    frequency = ORBIT * np.array([1.0, 2.0, 3.0])
    day = length_of_day_from_angle(c, s, frequency, SPIN, orbital_rate=orbit)
    back = angle_from_length_of_day(*day, frequency, SPIN, orbital_rate=orbit)
    np.testing.assert_allclose(back, [c, s], rtol=1e-14)


def test_an_accelerating_planet_has_a_shorter_day() -> None:
    # By hand: 4 mas/yr^2 shorten the day of 88642.66 s by P^2 a / (2 pi) = 2.1e-6 ms a day.
    growth = day_growth(4.0 * MAS / JULIAN_YEAR**2, SPIN)
    by_hand = -(88642.66**2) * 4.0 * 4.848137e-9 / (3.15576e7**2) / (2.0 * np.pi)
    assert growth == pytest.approx(by_hand, rel=1e-6)
    assert growth * DAY == pytest.approx(-2.1e-6 * 1e-3, rel=0.02)


def test_what_has_no_day_or_no_amplitude_is_refused() -> None:
    with pytest.raises(InputError, match=r"spin_rate.*no end"):
        length_of_day_from_angle(1.0, 0.0, ORBIT, ORBIT, orbital_rate=ORBIT)
    with pytest.raises(InputError, match=r"frequency.*spin rate"):
        angle_from_length_of_day(1.0, 0.0, 0.0, SPIN)
