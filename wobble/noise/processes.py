"""Stochastic processes of path length: what a noise is, before any link is considered.

In: a one-sided power spectral density by its level and exponent, by a table, by a
variance, by an Allan deviation or by a structure function. Out: an object that knows its
spectrum, its structure function, its Allan deviation, and the exact covariance of ranges
and of count-averaged range rates at any time tags and count times.

A process ``z(t)`` is an excess path in metres along one leg. Its fractional frequency is
``y = (1/c) dz/dt``, with spectrum ``S_y(f) = (2 pi f / c)^2 S_z(f)``. What two legs make of
it (factor 1/2 of a one-way equivalent range, lags, signs) is told by the contributions.

Everything follows from one even function of the lag, the kernel ``K``: the autocovariance
where the variance is finite, otherwise minus half the structure function
``D(lag) = <[z(t + lag) - z(t)]^2>``, which serves wherever weights sum to zero, as the two
ends of a count do:

    cov(v_i, v_j) = [K(b_i - b_j) + K(a_i - a_j) - K(b_i - a_j) - K(a_i - b_j)] / (T_i T_j)

for counts from a to b of length T; for equal counts this is
``[D(lag + T) + D(lag - T) - 2 D(lag)] / (2 T^2)``.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from typing import ClassVar, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError

__all__ = [
    "Constant",
    "LevelledProcess",
    "Process",
    "Sinusoid",
    "SpectrumTable",
    "Sum",
    "demand",
]

Array = NDArray[np.float64]


class Process(ABC):
    """A stationary process of path length, or one with stationary increments."""

    has_variance: ClassVar[bool] = True
    """Whether the autocovariance exists, so that single values (ranges) have a variance."""

    @abstractmethod
    def spectrum(self, frequency: ArrayLike) -> Array:
        """One-sided power spectral density of the path, m^2/Hz, at frequencies in Hz."""

    @abstractmethod
    def kernel(self, lag: ArrayLike) -> Array:
        """Autocovariance, or minus half the structure function, m^2, at lags in s."""

    def increment_kernel(self, lag: ArrayLike) -> Array:
        """A kernel for weights that sum to zero, m^2: may differ from `kernel` by a constant."""
        return self.kernel(lag)

    @abstractmethod
    def scaled(self, factor: float) -> Self:
        """The same process with spectrum and variance multiplied by ``factor``."""

    def frequency_spectrum(self, frequency: ArrayLike) -> Array:
        """One-sided spectral density of the fractional frequency, 1/Hz."""
        f = np.asarray(frequency, float)
        return (2.0 * math.pi * f / SPEED_OF_LIGHT) ** 2 * self.spectrum(f)

    def autocovariance(self, lag: ArrayLike) -> Array:
        """Autocovariance, m^2.

        Raises
        ------
        InputError
            If the variance is infinite for want of a low-frequency cut-off.
        """
        if not self.has_variance:
            raise InputError(
                "the variance of this process diverges at low frequency",
                found=self,
                expected="a process with a low_cutoff (VonKarman) where single ranges are asked",
            )
        return self.kernel(lag)

    def structure_function(self, lag: ArrayLike) -> Array:
        """Structure function ``<[z(t + lag) - z(t)]^2>``, m^2."""
        return 2.0 * (self.increment_kernel(0.0) - self.increment_kernel(lag))

    def allan_deviation(self, averaging_time: ArrayLike) -> Array:
        """Allan deviation of the fractional frequency of one leg.

        ``sigma_y^2(tau) = [4 D(tau) - D(2 tau)] / (2 c^2 tau^2)`` (NIST SP 1065, sect. 5.2.3,
        with the second difference of the phase written through the structure function).
        """
        tau = np.asarray(averaging_time, float)
        second_difference = 4.0 * self.structure_function(tau) - self.structure_function(2 * tau)
        return np.sqrt(np.maximum(second_difference, 0.0) / 2.0) / (SPEED_OF_LIGHT * tau)

    def with_allan_deviation(self, deviation: float, averaging_time: float) -> Self:
        """The same process scaled to a given Allan deviation at a given averaging time, s."""
        demand("deviation", deviation >= 0 and math.isfinite(deviation), deviation, "0 or more")
        demand("averaging_time", averaging_time > 0, averaging_time, "a positive time")
        own = float(self.allan_deviation(averaging_time))
        demand("averaging_time", own > 0.0, averaging_time, "one at which the process has noise")
        return self.scaled((deviation / own) ** 2)

    def range_covariance(self, time: ArrayLike) -> Array:
        """Covariance of ranges at ``time`` (s), m^2, shape (n, n)."""
        t = np.asarray(time, float)
        return self.autocovariance(t[:, None] - t)

    def range_rate_covariance(self, start: ArrayLike, count_time: ArrayLike) -> Array:
        """Covariance of mean range rates over counts, m^2/s^2, shape (n, n).

        Parameters
        ----------
        start : array_like, shape (n,)
            Starts of the counts, s.
        count_time : array_like, shape (n,)
            Lengths of the counts, s; they may differ.
        """
        a = np.asarray(start, float)
        count = np.broadcast_to(np.asarray(count_time, float), a.shape)
        demand("count_time", bool(np.all(count > 0)), count_time, "positive count times")
        b = a + count
        kernel = self.increment_kernel
        ends = kernel(b[:, None] - b) + kernel(a[:, None] - a)
        crossed = kernel(b[:, None] - a) + kernel(a[:, None] - b)
        return (ends - crossed) / (count[:, None] * count)

    def cross_covariance(self, time: ArrayLike, start: ArrayLike, count_time: ArrayLike) -> Array:
        """Covariance of ranges (rows) with mean range rates (columns), m^2/s, shape (n, k)."""
        t = np.asarray(time, float)[:, None]
        a = np.asarray(start, float)
        count = np.broadcast_to(np.asarray(count_time, float), a.shape)
        demand("count_time", bool(np.all(count > 0)), count_time, "positive count times")
        return (self.autocovariance(t - (a + count)) - self.autocovariance(t - a)) / count


def demand(field: str, good: bool, found: object, expected: str) -> None:
    if not good:
        raise InputError(
            "not a possible noise process", field=field, found=found, expected=expected
        )


class LevelledProcess(Process):
    """A process whose spectrum is proportional to its field ``level``."""

    level: float

    def __post_init__(self) -> None:
        demand("level", self.level >= 0 and math.isfinite(self.level), self.level, "0 or more")

    def scaled(self, factor: float) -> Self:
        return replace(self, level=self.level * factor)  # type: ignore[type-var]


@dataclass(frozen=True)
class Constant(LevelledProcess):
    """One unknown value for the whole pass, of variance ``level`` (m^2)."""

    level: float

    def spectrum(self, frequency: ArrayLike) -> Array:
        """Zero: all power is at zero frequency, outside any density."""
        return np.zeros_like(np.asarray(frequency, float))

    def kernel(self, lag: ArrayLike) -> Array:
        return np.full_like(np.asarray(lag, float), self.level)


@dataclass(frozen=True)
class Sinusoid(LevelledProcess):
    """Oscillation of known period and random phase and amplitude, of variance ``level`` (m^2)."""

    level: float
    period: float

    def __post_init__(self) -> None:
        super().__post_init__()
        demand("period", self.period > 0, self.period, "a positive period")

    def spectrum(self, frequency: ArrayLike) -> Array:
        """Zero: the power is in a line, outside any density."""
        return np.zeros_like(np.asarray(frequency, float))

    def kernel(self, lag: ArrayLike) -> Array:
        return self.level * np.cos(2.0 * math.pi / self.period * np.asarray(lag, float))


@dataclass(frozen=True, eq=False)
class SpectrumTable(Process):
    """Any spectrum, linear between tabulated frequencies and zero outside them.

    ``int (p + q f) cos(2 pi f lag) df`` is elementary, so the autocovariance is exact for
    the polygon.

    Parameters
    ----------
    frequency : array_like, shape (k,)
        Increasing frequencies, Hz.
    density : array_like, shape (k,)
        One-sided spectral density there, m^2/Hz.
    """

    frequency: Array
    density: Array

    def __post_init__(self) -> None:
        f, s = np.array(self.frequency, float), np.array(self.density, float)
        good = f.ndim == 1 and f.size >= 2 and f.shape == s.shape
        demand("frequency", good, f.shape, "two or more, as many as densities")
        rising = bool(np.isfinite(f).all() and f[0] >= 0 and (np.diff(f) > 0).all())
        demand("frequency", rising, self.frequency, "increasing frequencies from 0 on")
        bad = np.flatnonzero(~(np.isfinite(s) & (s >= 0)))
        demand("density", not bad.size, f"entries {bad.tolist()}", "no negative density")
        object.__setattr__(self, "frequency", f)
        object.__setattr__(self, "density", s)

    def scaled(self, factor: float) -> Self:
        return replace(self, density=self.density * factor)

    def spectrum(self, frequency: ArrayLike) -> Array:
        f = np.asarray(frequency, float)
        return np.interp(f, self.frequency, self.density, left=0.0, right=0.0)

    def kernel(self, lag: ArrayLike) -> Array:
        tau = np.asarray(lag, float)[..., None]
        width, slope = np.diff(self.frequency), np.diff(self.density)
        middle = (self.frequency[1:] + self.frequency[:-1]) / 2.0
        mean = (self.density[1:] + self.density[:-1]) / 2.0
        # About each segment's middle: the mean gives a cosine times sinc, the slope a sine times
        # the derivative of sinc, that is a spherical Bessel function; no term cancels another.
        half = math.pi * width * tau
        even = mean * np.cos(2.0 * math.pi * middle * tau) * np.sinc(width * tau)
        odd = slope / 2.0 * np.sin(2.0 * math.pi * middle * tau)
        bessel = np.sign(half) * special.spherical_jn(1, np.abs(half))
        return ((even - odd * bessel) * width).sum(axis=-1)


@dataclass(frozen=True)
class Sum(Process):
    """Sum of independent processes."""

    parts: tuple[Process, ...]

    @property
    def has_variance(self) -> bool:  # type: ignore[override]
        return all(part.has_variance for part in self.parts)

    def scaled(self, factor: float) -> Self:
        return replace(self, parts=tuple(part.scaled(factor) for part in self.parts))

    def spectrum(self, frequency: ArrayLike) -> Array:
        return np.sum([part.spectrum(frequency) for part in self.parts], axis=0)

    def kernel(self, lag: ArrayLike) -> Array:
        return np.sum([part.kernel(lag) for part in self.parts], axis=0)

    def increment_kernel(self, lag: ArrayLike) -> Array:
        return np.sum([part.increment_kernel(lag) for part in self.parts], axis=0)
