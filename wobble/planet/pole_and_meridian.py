"""Orientation by right ascension, declination and prime meridian, as working groups publish it.

In: polynomials and periodic terms of the right ascension alpha and declination delta of the
pole and of the angle W of the prime meridian. Out: a `RotationModel` like any other, with
exact increments and with derivatives by the coefficients of the polynomials.

    M = Rz(-alpha - 90 deg) Rx(delta - 90 deg) Rz(-W)

takes body-fixed vectors to the ICRF (Archinal et al. 2018, Celest. Mech. Dyn. Astron. 130, 22).
With the equator of the ICRF as reference plane, N = J = 0, this is the rotation model itself:
alpha + 90 deg is the longitude of the node, 90 deg - delta the obliquity, W the spin angle.

    alpha = alpha_0 + alpha_1 t + sum a sin(arg),   delta = delta_0 + delta_1 t + sum d cos(arg),
    W = W_0 + W_1 t + W_2 t^2 / 2 + sum w sin(arg),   arg = phase + rate t,  t from J2000.0 TDB.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.epochs import Epochs
from wobble.planet.angle_terms import NODE, OBLIQUITY, SPIN, AngleTerm, Polynomial
from wobble.planet.harmonic_fit import HarmonicSeries
from wobble.planet.rotation import RotationModel
from wobble.planet.series_terms import FixedSeries

__all__ = ["PeriodicTerm", "PoleAndMeridian", "pole_and_meridian"]

Array = NDArray[np.float64]

QUARTER = np.pi / 2.0
SPIN_NAMES = ("spin.angle", "spin.rate", "spin.acceleration")


@dataclass(frozen=True)
class PoleAndMeridian:
    """Linear motion of the pole in right ascension and declination."""

    names = (
        "pole.right_ascension",
        "pole.right_ascension_rate",
        "pole.declination",
        "pole.declination_rate",
    )

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        alpha, alpha_rate, delta, delta_rate = (values[name] for name in self.names)
        t = epochs.since_j2000
        return _of_pole(alpha + QUARTER + alpha_rate * t, QUARTER - delta - delta_rate * t)

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        _, alpha_rate, _, delta_rate = (values[name] for name in self.names)
        step = np.broadcast_to(interval, len(epochs))
        return _of_pole(alpha_rate * step, -delta_rate * step)

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        t = epochs.since_j2000
        return self._by_name(np.ones_like(t), t)

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        t = epochs.since_j2000
        return self._by_name(np.zeros_like(t), np.ones_like(t))

    def _by_name(self, level: Array, linear: Array) -> dict[str, Array]:
        none = np.zeros_like(level)
        columns = (
            _of_pole(level, none),
            _of_pole(linear, none),
            _of_pole(none, -level),
            _of_pole(none, -linear),
        )
        return dict(zip(self.names, columns, strict=True))


def _of_pole(node: Array, obliquity: Array) -> Array:
    out = np.zeros((len(node), 5))
    out[:, NODE], out[:, OBLIQUITY] = node, obliquity
    return out


@dataclass(frozen=True)
class PeriodicTerm:
    """One argument and what it does to the three angles.

    Parameters
    ----------
    phase, rate : float
        Of the argument, rad at J2000.0 and rad/s.
    right_ascension, declination, meridian : float
        Amplitudes of its sine, its cosine and its sine, rad.
    """

    phase: float
    rate: float
    right_ascension: float = 0.0
    declination: float = 0.0
    meridian: float = 0.0


def pole_and_meridian(
    values: dict[str, float], periodic: Sequence[PeriodicTerm] = ()
) -> RotationModel:
    """An orientation from published expressions.

    Parameters
    ----------
    values : dict
        Names of `PoleAndMeridian` and ``spin.angle``, ``spin.rate`` and, if there is one,
        ``spin.acceleration`` (W_0, W_1, W_2), SI.
    periodic : sequence of PeriodicTerm
        The periodic terms; they are given, not parameters.

    Raises
    ------
    InputError
        If a value is missing or has no place.
    """
    powers = SPIN_NAMES if SPIN_NAMES[2] in values else SPIN_NAMES[:2]
    terms: list[AngleTerm] = [PoleAndMeridian(), Polynomial(SPIN, powers)]
    if periodic:
        terms.append(FixedSeries(_series(periodic)))
    return RotationModel(plane_node=0.0, plane_inclination=0.0, terms=tuple(terms), values=values)


def _series(periodic: Sequence[PeriodicTerm]) -> HarmonicSeries:
    cosine, sine = np.zeros((len(periodic), 5)), np.zeros((len(periodic), 5))
    for row, term in enumerate(periodic):
        sine[row, NODE] = term.right_ascension
        cosine[row, OBLIQUITY] = -term.declination
        sine[row, SPIN] = term.meridian
    return HarmonicSeries(
        epoch=0.0,
        frequency=np.array([term.rate for term in periodic]),
        phase=np.array([term.phase for term in periodic]),
        polynomial=np.zeros((1, 5)),
        cosine=cosine,
        sine=sine,
        cosine_rate=np.zeros_like(cosine),
        sine_rate=np.zeros_like(sine),
        rms=np.zeros(5),
    )
