"""Seasonal spin: from milliseconds of length of day to milliarcseconds of angle and back.

In and out: amplitudes of cosine and sine of one argument, ``arg = frequency t + phase``.

The spin angle is ``phi = Omega t + c cos(arg) + s sin(arg)`` with c, s in rad; the day is the
time in which phi grows by a turn at its momentary rate. A day longer than its mean is positive:
it belongs to a rate below the mean, and the angle then falls behind,

    LOD = 2 pi / (dphi/dt),   dLOD = -(2 pi / Omega^2) d(dphi)/dt,
    c_LOD = -(2 pi / Omega^2) frequency s,   s_LOD = +(2 pi / Omega^2) frequency c.

This is the sidereal day. The solar day is ``2 pi / (Omega - n)``, n the mean motion: its
changes are larger by ``(Omega / (Omega - n))^2``, 0.3 % for Mars. Both are in use, so the
argument ``orbital_rate`` says which one is meant: zero for the sidereal day, n for the solar.

A drift of the angle has no counterpart among the harmonics: a secular acceleration a (rad/s^2)
makes the day longer by ``-(2 pi / Omega^2) a`` in every second (`day_growth`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.errors import InputError

__all__ = ["angle_from_length_of_day", "day_growth", "length_of_day_from_angle"]

Array = NDArray[np.float64]


def length_of_day_from_angle(
    cosine: ArrayLike,
    sine: ArrayLike,
    frequency: ArrayLike,
    spin_rate: float,
    *,
    orbital_rate: float = 0.0,
) -> tuple[Array, Array]:
    """Cosine and sine amplitudes of the length of day, s, from those of the spin angle.

    Parameters
    ----------
    cosine, sine : array_like
        Amplitudes of the spin angle, rad.
    frequency : array_like
        Of the argument, rad/s.
    spin_rate : float
        Omega, rad/s.
    orbital_rate : float
        Zero for the sidereal day; the planet's mean motion n (rad/s) for the solar day.

    Raises
    ------
    InputError
        If the planet does not turn with respect to what the day is counted by.
    """
    scale = _seconds_per_rate(spin_rate, orbital_rate) * np.asarray(frequency, float)
    return -scale * np.asarray(sine, float), scale * np.asarray(cosine, float)


def angle_from_length_of_day(
    cosine: ArrayLike,
    sine: ArrayLike,
    frequency: ArrayLike,
    spin_rate: float,
    *,
    orbital_rate: float = 0.0,
) -> tuple[Array, Array]:
    """Cosine and sine amplitudes of the spin angle, rad, from those of the length of day (s).

    The inverse of `length_of_day_from_angle`, with the same parameters.

    Raises
    ------
    InputError
        If the planet does not turn, or the frequency is zero: a constant day has no amplitude
        of angle.
    """
    if (np.asarray(frequency) == 0.0).any():
        raise InputError(
            "a constant change of the day is a change of the spin rate, not an amplitude",
            field="frequency",
            found=0.0,
        )
    scale = _seconds_per_rate(spin_rate, orbital_rate) * np.asarray(frequency, float)
    return np.asarray(sine, float) / scale, -np.asarray(cosine, float) / scale


def day_growth(acceleration: ArrayLike, spin_rate: float, *, orbital_rate: float = 0.0) -> Array:
    """By how much the day grows, s per s, if the spin accelerates by so much (rad/s^2)."""
    return -_seconds_per_rate(spin_rate, orbital_rate) * np.asarray(acceleration, float)


def _seconds_per_rate(spin_rate: float, orbital_rate: float) -> float:
    """By how much the day shortens for a faster rate, ``2 pi / (Omega - n)^2``, s per rad/s."""
    turning = spin_rate - orbital_rate
    if turning == 0.0:
        raise InputError("the day has no end", field="spin_rate", found=spin_rate)
    return 2.0 * np.pi / turning**2
