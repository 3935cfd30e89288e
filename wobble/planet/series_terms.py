"""More terms of a planet's orientation angles: series with drift, circles, tables.

In: TDB epochs. Out: contributions to the five angles, as `wobble.planet.angle_terms`
describes them:

* `DriftingHarmonics`: a periodic and a Poisson term, four parameters, on any of the angles;
* `Circle`: a prograde or retrograde circle of the pole with its two amplitudes as parameters,
  for those who fit amplitudes first and interpret them later;
* `FixedSeries`: many periodic and Poisson terms that are given, without parameters;
* `TabulatedAngles`: angles given as a table of values, polar motion say, without parameters.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.epochs import Epochs
from wobble.planet.angle_terms import NODE, OBLIQUITY, SPIN, no_angles, reduced_product
from wobble.planet.harmonic_fit import HarmonicSeries

__all__ = ["Circle", "DriftingHarmonics", "FixedSeries", "Table", "TabulatedAngles"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class DriftingHarmonics:
    """``(C + C' t) cos(arg) + (S + S' t) sin(arg)``, ``arg = frequency t + phase``.

    Parameters
    ----------
    frequency, phase : float
        rad/s and rad.
    names : tuple of str
        Names of C, S (rad), C' and S' (rad/s, t in seconds since J2000.0).
    effects : dict
        For each angle's index the factor with which the sum acts on it.
    """

    frequency: float
    phase: float
    names: tuple[str, str, str, str]
    effects: dict[int, float]

    def _argument(self, epochs: Epochs) -> Array:
        return reduced_product(self.frequency, epochs) + self.phase

    def _basis(self, epochs: Epochs) -> Array:
        """The four functions that the parameters multiply, shape (4, n)."""
        argument, t = self._argument(epochs), epochs.since_j2000
        cosine, sine = np.cos(argument), np.sin(argument)
        return np.stack([cosine, sine, t * cosine, t * sine])

    def _combine(self, values: dict[str, float], basis: Array) -> Array:
        return self._spread(np.array([values[name] for name in self.names]) @ basis)

    def _spread(self, signal: Array) -> Array:
        out = no_angles(len(signal))
        for angle, factor in self.effects.items():
            out[:, angle] = factor * signal
        return out

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        return self._combine(values, self._basis(epochs))

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        middle = self._argument(epochs.shift(interval / 2.0))
        end = middle + self.frequency * interval / 2.0
        secant = 2.0 * np.sin(self.frequency * interval / 2.0)
        cosine, sine = -secant * np.sin(middle), secant * np.cos(middle)
        t = epochs.since_j2000
        drift = t * cosine + interval * np.cos(end), t * sine + interval * np.sin(end)
        return self._combine(values, np.stack([cosine, sine, *drift]))

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        basis = self._basis(epochs)
        return {n: self._spread(b) for n, b in zip(self.names, basis, strict=True)}

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        cosine, sine, t_cosine, t_sine = self._basis(epochs)
        f = self.frequency
        rates = (-f * sine, f * cosine, cosine - f * t_sine, sine + f * t_cosine)
        return {n: self._spread(r) for n, r in zip(self.names, rates, strict=True)}


@dataclass(frozen=True)
class Circle:
    """A circle of the pole on the sky: ``deps + i sin(eps) dpsi = (A + i B) exp(i arg)``.

    Parameters
    ----------
    frequency, phase : float
        Of the argument, rad/s and rad; prograde if the frequency is positive, retrograde if
        it is negative (see `wobble.planet.nutation_series`).
    names : tuple of str
        Names of A and B (rad).
    mean_obliquity : float
        rad; its uncertainty does not matter to a term.
    """

    frequency: float
    phase: float
    names: tuple[str, str]
    mean_obliquity: float

    def _turn(self, epochs: Epochs) -> NDArray[np.complex128]:
        return np.exp(1j * (reduced_product(self.frequency, epochs) + self.phase))

    def _amplitude(self, values: dict[str, float]) -> complex:
        return complex(values[self.names[0]], values[self.names[1]])

    def _spread(self, pole: NDArray[np.complex128]) -> Array:
        out = no_angles(len(pole))
        out[:, NODE] = pole.imag / np.sin(self.mean_obliquity)
        out[:, OBLIQUITY] = pole.real
        out[:, SPIN] = -np.cos(self.mean_obliquity) * out[:, NODE]
        return out

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        return self._spread(self._amplitude(values) * self._turn(epochs))

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        secant = 2j * np.sin(self.frequency * interval / 2.0)
        return self._spread(
            self._amplitude(values) * secant * self._turn(epochs.shift(interval / 2.0))
        )

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        turn = self._turn(epochs)
        return {self.names[0]: self._spread(turn), self.names[1]: self._spread(1j * turn)}

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        rate = 1j * self.frequency * self._turn(epochs)
        return {self.names[0]: self._spread(rate), self.names[1]: self._spread(1j * rate)}


class _WithoutParameters:
    """What holds for any term whose numbers are given."""

    names: tuple[str, ...] = ()

    def derivatives(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        return {}

    def derivative_rates(self, values: dict[str, float], epochs: Epochs) -> dict[str, Array]:
        return {}


@dataclass(frozen=True, eq=False)
class FixedSeries(_WithoutParameters):
    """The harmonics of a series that is given.

    Parameters
    ----------
    series : HarmonicSeries
        Of five columns, the angles (rad); its polynomial is left to other terms.
    """

    series: HarmonicSeries

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        return self.series.periodic(epochs)

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        return self.series.periodic_increment(epochs, interval)


class Table(Protocol):
    """A vector function of time: a `ChebyshevTable` or a `CubicTable`."""

    def value(self, epochs: Epochs) -> Array:
        """Values, shape (n, k)."""
        ...

    def increment(self, epochs: Epochs, interval: ArrayLike) -> Array:
        """Change over ``interval`` seconds, shape (n, k), free of cancellation."""
        ...


@dataclass(frozen=True, eq=False)
class TabulatedAngles(_WithoutParameters):
    """Angles from a table.

    Parameters
    ----------
    table : Table
        Of k columns, rad.
    columns : tuple of int
        For each column the index of the angle (in `ANGLES`) to which it is added.
    """

    table: Table
    columns: tuple[int, ...]

    def angles(self, values: dict[str, float], epochs: Epochs) -> Array:
        return self._spread(self.table.value(epochs))

    def increments(self, values: dict[str, float], epochs: Epochs, interval: Array) -> Array:
        return self._spread(self.table.increment(epochs, interval))

    def _spread(self, columns: Array) -> Array:
        out = no_angles(len(columns))
        out[:, list(self.columns)] = columns
        return out
