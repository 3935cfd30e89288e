"""The terms of which a planet's orientation angles are made.

In: TDB epochs. Out: the five angles of the rotation model, their exact increments over
an interval, and their derivatives with respect to each parameter.

Five angles turn the body (see `wobble.planet.rotation`): the longitude of the equator's
node, the obliquity, the spin angle and the two components of polar motion. Each is a sum of
terms; a term is an object with named parameters:

* `Polynomial`: one angle, powers of time;
* `Harmonics`: cosine and sine amplitudes at one frequency, on one or several angles;
* `Nutation`: a term of a rigid planet's nutation in longitude and obliquity with the
  amplification by a liquid core, which the spin angle follows with ``-cos(eps)``;
* `Wobble`: the free wobble, circular polar motion with its period as a parameter.

A new kind of term is a new class with the same methods, and nothing else.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from wobble.epochs import Epochs
from wobble.errors import InputError

__all__ = ["ANGLES", "AngleTerm", "Harmonics", "Nutation", "Polynomial", "Wobble"]

Array = NDArray[np.float64]

ANGLES = ("node", "obliquity", "spin", "polar_x", "polar_y")
"""Names of the five angles, in the order of all arrays of shape (n, 5)."""

NODE, OBLIQUITY, SPIN, POLAR_X, POLAR_Y = range(5)


class AngleTerm(Protocol):
    """A contribution to the five angles."""

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the parameters on which the term depends."""
        ...

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        """Contribution to the angles, rad, shape (n, 5)."""
        ...

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        """Its change over ``interval`` seconds, rad, shape (n, 5), free of cancellation."""
        ...

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        """Derivatives of the contribution with respect to each parameter, shape (n, 5)."""
        ...

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        """Time derivatives of `derivatives`, per second, shape (n, 5)."""
        ...


@dataclass(frozen=True)
class Polynomial:
    """Powers of time on one angle: ``sum_k value_k t^k / k!``.

    Parameters
    ----------
    angle : int
        Index into `ANGLES`.
    names : tuple of str
        Parameters from power zero upward: rad, rad/s, rad/s^2.
    """

    angle: int
    names: tuple[str, ...]

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        out = no_angles(len(epochs))
        t = epochs.since_j2000
        out[:, self.angle] = values[self.names[0]]
        if len(self.names) > 1:
            out[:, self.angle] += reduced_product(values[self.names[1]], epochs)
        if len(self.names) > 2:
            out[:, self.angle] += values[self.names[2]] * t * t / 2.0
        return out

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        out = no_angles(len(epochs))
        if len(self.names) > 1:
            out[:, self.angle] += values[self.names[1]] * interval
        if len(self.names) > 2:
            t = epochs.since_j2000
            out[:, self.angle] += values[self.names[2]] * interval * (t + interval / 2.0)
        return out

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        t = epochs.since_j2000
        powers = (np.ones_like(t), t, t * t / 2.0)
        return {n: _on(self.angle, p) for n, p in zip(self.names, powers, strict=False)}

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        t = epochs.since_j2000
        rates = (np.zeros_like(t), np.ones_like(t), t)
        return {n: _on(self.angle, r) for n, r in zip(self.names, rates, strict=False)}


@dataclass(frozen=True)
class Harmonics:
    """``cos_name * cos(arg) + sin_name * sin(arg)``, ``arg = frequency t + phase``.

    Parameters
    ----------
    frequency, phase : float
        rad/s and rad.
    cos_name, sin_name : str
        Names of the amplitudes (rad).
    effects : dict
        For each angle's index the factor with which the sum acts on it.
    """

    frequency: float
    phase: float
    cos_name: str
    sin_name: str
    effects: dict[int, float]

    @property
    def names(self) -> tuple[str, ...]:
        return (self.cos_name, self.sin_name)

    def _basis(self, epochs: Epochs) -> tuple[Array, Array]:
        return cosine_and_sine(self.frequency, self.phase, epochs)

    def _spread(self, signal: Array) -> Array:
        out = no_angles(len(signal))
        for angle, factor in self.effects.items():
            out[:, angle] = factor * signal
        return out

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        cosine, sine = self._basis(epochs)
        return self._spread(values[self.cos_name] * cosine + values[self.sin_name] * sine)

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        cosine, sine = change_of_cosine_and_sine(self.frequency, self.phase, epochs, interval)
        return self._spread(values[self.cos_name] * cosine + values[self.sin_name] * sine)

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        cosine, sine = self._basis(epochs)
        return {self.cos_name: self._spread(cosine), self.sin_name: self._spread(sine)}

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        cosine, sine = self._basis(epochs)
        return {
            self.cos_name: self._spread(-self.frequency * sine),
            self.sin_name: self._spread(self.frequency * cosine),
        }


@dataclass(frozen=True)
class Nutation:
    """One term of the nutation, as a rigid planet has it and as a liquid core amplifies it.

    ``dpsi = longitude sin(arg)``, ``deps = obliquity cos(arg)`` for the rigid planet. With
    ``arg`` advancing at sigma the term is a prograde circle of amplitude ``P = (deps + dpsi
    sin eps)/2`` and a retrograde one of ``R = (deps - dpsi sin eps)/2``. A liquid core
    multiplies each by ``1 + F sigma / (sigma - sigma_core)``, sigma negative for the
    retrograde circle and ``sigma_core = 2 pi / core.period`` (Sasao, Okubo & Saito 1980, IAU
    Symp. 78, 165; Folkner et al. 1997, J. Geophys. Res. 102, 4057). The spin angle carries
    ``-dpsi cos eps``, so that it is counted from a point that does not nod.

    Parameters
    ----------
    frequency, phase : float
        Of the argument, rad/s and rad.
    longitude, obliquity : float
        Amplitudes of the rigid planet, rad.
    mean_obliquity : float
        rad; its uncertainty does not matter to a term.
    """

    frequency: float
    phase: float
    longitude: float
    obliquity: float
    mean_obliquity: float

    names = ("core.factor", "core.period")

    def _amplitudes(self, values: dict[str, float]) -> Array:
        return _amplified(self, values["core.factor"], values["core.period"])

    def _spread(self, amplitudes: Array, cosine: Array, sine: Array) -> Array:
        out = no_angles(len(cosine))
        out[:, NODE] = amplitudes[0] * sine
        out[:, OBLIQUITY] = amplitudes[1] * cosine
        out[:, SPIN] = -np.cos(self.mean_obliquity) * out[:, NODE]
        return out

    def _basis(self, epochs: Epochs) -> tuple[Array, Array]:
        return cosine_and_sine(self.frequency, self.phase, epochs)

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        return self._spread(self._amplitudes(values)[0], *self._basis(epochs))

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        change = change_of_cosine_and_sine(self.frequency, self.phase, epochs, interval)
        return self._spread(self._amplitudes(values)[0], *change)

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        basis = self._basis(epochs)
        _, by_factor, by_period = self._amplitudes(values)
        return {
            "core.factor": self._spread(by_factor, *basis),
            "core.period": self._spread(by_period, *basis),
        }

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        cosine, sine = self._basis(epochs)
        rates = -self.frequency * sine, self.frequency * cosine
        _, by_factor, by_period = self._amplitudes(values)
        return {
            "core.factor": self._spread(by_factor, *rates),
            "core.period": self._spread(by_period, *rates),
        }


@functools.lru_cache
def _amplified(term: Nutation, factor: float, period: float) -> Array:
    """(longitude, obliquity) amplitudes, then their derivatives by F and by the period, (3, 2)."""
    if period == 0.0:
        raise InputError("the period of the free core nutation is zero", field="core.period")
    sine = np.sin(term.mean_obliquity)
    core = 2.0 * np.pi / period
    rows = np.zeros((3, 2))
    for sign in (1.0, -1.0):
        circle = (term.obliquity + sign * term.longitude * sine) / 2.0
        sigma = sign * term.frequency
        if sigma == 0.0:
            gain = np.array([1.0, 0.0, 0.0])
        elif sigma == core:
            raise InputError(
                "the core's resonance falls exactly on a forcing",
                field="core.period",
                found=f"{period / 86400.0:.4f} days",
            )
        else:
            share = sigma / (sigma - core)
            by_core = factor * sigma / (sigma - core) ** 2
            gain = np.array([1.0 + factor * share, share, by_core * -core / period])
        rows[:, 0] += sign * circle * gain / sine
        rows[:, 1] += circle * gain
    return rows


@dataclass(frozen=True)
class Wobble:
    """Prograde circular polar motion: the free (Chandler) wobble.

    ``Xp - i Yp = (cos_name + i sin_name) exp(2 pi i t / period)``: with ``Ry(Xp) Rx(Yp)`` the
    spin axis meets the body at (Xp, -Yp), and goes round there with the spin, as a free wobble
    must (IERS Conventions 2010, section 7.1.4 for the sign of Yp).

    Parameters
    ----------
    cos_name, sin_name, period_name : str
        Amplitudes at J2000 (rad) and period (s).
    """

    cos_name: str
    sin_name: str
    period_name: str

    @property
    def names(self) -> tuple[str, ...]:
        return (self.cos_name, self.sin_name, self.period_name)

    def _pole(self, values: dict[str, float], epochs: Epochs) -> NDArray[np.complex128]:
        argument = reduced_product(2.0 * np.pi / values[self.period_name], epochs)
        return (values[self.cos_name] + 1j * values[self.sin_name]) * np.exp(1j * argument)

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        return _on_pole(self._pole(values, epochs))

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        secant = 2j * np.sin(np.pi * interval / values[self.period_name])
        return _on_pole(secant * self._pole(values, epochs.shift(interval / 2.0)))

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        period = values[self.period_name]
        turn = np.exp(1j * reduced_product(2.0 * np.pi / period, epochs))
        by_period = -2j * np.pi * epochs.since_j2000 / period**2 * self._pole(values, epochs)
        return {
            self.cos_name: _on_pole(turn),
            self.sin_name: _on_pole(1j * turn),
            self.period_name: _on_pole(by_period),
        }

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        period = values[self.period_name]
        rate = 2j * np.pi / period
        turn = np.exp(1j * reduced_product(2.0 * np.pi / period, epochs))
        by_period = -(1.0 + rate * epochs.since_j2000) * self._pole(values, epochs)
        return {
            self.cos_name: _on_pole(rate * turn),
            self.sin_name: _on_pole(1j * rate * turn),
            self.period_name: _on_pole(rate / period * by_period),
        }


def no_angles(n: int) -> Array:
    """Five angles that are zero, shape (n, 5), each contiguous in memory."""
    return np.zeros((len(ANGLES), n)).T


def _on(angle: int, signal: Array) -> Array:
    out = no_angles(len(signal))
    out[:, angle] = signal
    return out


def _on_pole(pole: NDArray[np.complex128]) -> Array:
    """Place ``Xp - i Yp`` of the spin axis in the body, as angles."""
    out = no_angles(len(pole))
    out[:, POLAR_X], out[:, POLAR_Y] = pole.real, -pole.imag
    return out


def cosine_and_sine(frequency: float, phase: float, epochs: Epochs) -> tuple[Array, Array]:
    """Of ``frequency t + phase``, shape (n,) each; computed once for the epochs."""

    def compute() -> tuple[Array, Array]:
        argument = reduced_product(frequency, epochs) + phase
        return np.cos(argument), np.sin(argument)

    return epochs.once((frequency, phase), compute)


def change_of_cosine_and_sine(
    frequency: float, phase: float, epochs: Epochs, interval: Array
) -> tuple[Array, Array]:
    """Change of both over an interval, shape (n,) each, by the exact secants.

    ``cos b - cos a = -2 sin h sin(a + h)``, ``sin b - sin a = 2 sin h cos(a + h)``, h half the
    change of the argument.
    """
    cosine, sine = cosine_and_sine(frequency, phase, epochs)
    half = frequency * interval / 2.0
    sin_half, cos_half = np.sin(half), np.cos(half)
    secant = 2.0 * sin_half
    return (
        -secant * (sine * cos_half + cosine * sin_half),
        secant * (cosine * cos_half - sine * sin_half),
    )


# 2 pi in three parts; the first two have 27 bits, so that their products with a count of turns
# below 2^26 are exact (Cody & Waite 1980, Software Manual for the Elementary Functions).
_TURN_1 = float.fromhex("0x1.921fb54p+2")
_TURN_2 = float.fromhex("0x1.10b461p-28")
_TURN_3 = float.fromhex("0x1.a62633145c06ep-56")
_SPLITTER = 134217729.0  # 2^27 + 1


def reduced_product(rate: float, epochs: Epochs) -> Array:
    """``rate * t`` less whole turns, rad, shape (n,), to 1e-15 rad.

    A product of some 1e5 rad held in one float is good to 1e-11 rad only: 0.05 mm on a planet's
    surface. The exact product of two floats is a sum of two (Dekker 1971, Numer. Math. 18,
    224), and whole turns are taken off before anything is rounded.
    """
    high, low = _exact_product(rate, epochs.seconds)
    turns = np.round(high / (2.0 * np.pi))
    rest = ((high - turns * _TURN_1) - turns * _TURN_2) - turns * _TURN_3
    return rest + (low + rate * epochs.fraction)


def _exact_product(a: float, b: Array) -> tuple[Array, Array]:
    product = a * b
    a_high = _SPLITTER * a - (_SPLITTER * a - a)
    b_high = _SPLITTER * b - (_SPLITTER * b - b)
    a_low, b_low = a - a_high, b - b_high
    error = ((a_high * b_high - product) + a_high * b_low + a_low * b_high) + a_low * b_low
    return product, error
