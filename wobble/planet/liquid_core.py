"""The liquid core's resonance in a planet's nutation.

In: a rigid planet's `NutationSeries` and a `LiquidCore` (core factor F, period of the free
core nutation). Out: the amplified series, and its derivatives with respect to F and the
period as series of the same kind.

In the inertial frame, a circular forcing of frequency sigma (positive prograde, negative
retrograde) moves a mantle over a liquid core by

    T(sigma) = 1 + F sigma / (sigma - sigma_0),   sigma_0 = 2 pi / period < 0,

times as far as a rigid planet (Sasao, Okubo & Saito 1980, IAU Symp. 78, 165; Folkner et al.
1997, J. Geophys. Res. 102, 4057). Precession, sigma = 0, is unchanged. A drifting amplitude
``(P + P' t) exp(i sigma t)`` becomes ``(T P - i T' P' + T P' t) exp(i sigma t)`` with
``T' = dT/dsigma = -F sigma_0 / (sigma - sigma_0)^2``, which counts near the resonance.

There is no damping in this: on the resonance itself the answer is infinite, and refused.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from wobble.constants import DAY
from wobble.errors import InputError
from wobble.planet.nutation_series import Circles, NutationSeries

__all__ = [
    "CoreFit",
    "LiquidCore",
    "core_from_amplitudes",
    "frequency_from_period",
    "period_from_frequency",
]

Array = NDArray[np.float64]

NEAREST = 1e-6
"""Relative distance of a forcing from the resonance below which it counts as on it."""


def frequency_from_period(period: ArrayLike) -> Array:
    """``2 pi / period``: rad/s from s, the sign kept (negative is retrograde)."""
    return 2.0 * np.pi / np.asarray(period, float)


def period_from_frequency(frequency: ArrayLike) -> Array:
    """``2 pi / frequency``: s from rad/s, the sign kept."""
    return 2.0 * np.pi / np.asarray(frequency, float)


@dataclass(frozen=True)
class LiquidCore:
    """Core factor and free core nutation.

    Parameters
    ----------
    factor : float
        F, the strength of the resonance; positive for a real core, any sign while fitting.
    period : float
        Period of the free core nutation in the inertial frame, s; negative, for it is
        retrograde.

    Raises
    ------
    InputError
        If a value is not finite or the period not negative.
    """

    factor: float
    period: float

    def __post_init__(self) -> None:
        if not np.isfinite(self.factor):
            raise InputError("not a finite number", field="core.factor", found=self.factor)
        if not (np.isfinite(self.period) and self.period < 0.0):
            raise InputError(
                "the free core nutation is retrograde in the inertial frame",
                field="core.period",
                found=f"{self.period / DAY:g} days",
                expected="a negative period",
            )

    @classmethod
    def with_frequency(cls, factor: float, frequency: float) -> LiquidCore:
        """From F and the frequency sigma_0, rad/s, negative."""
        return cls(factor, float(period_from_frequency(frequency)))

    @property
    def frequency(self) -> float:
        """sigma_0, rad/s."""
        return float(frequency_from_period(self.period))

    def transfer(self, frequency: ArrayLike) -> Array:
        """T at forcing frequencies sigma (rad/s, positive prograde), of the same shape."""
        return 1.0 + self.factor * self.transfer_by_factor(frequency)

    def transfer_by_factor(self, frequency: ArrayLike) -> Array:
        """``dT/dF = sigma / (sigma - sigma_0)``."""
        return np.asarray(frequency, float) / self._detuning(frequency)

    def transfer_by_frequency(self, frequency: ArrayLike) -> Array:
        """``dT/dsigma_0 = F sigma / (sigma - sigma_0)^2``, s/rad."""
        return self.factor * np.asarray(frequency, float) / self._detuning(frequency) ** 2

    def transfer_by_period(self, frequency: ArrayLike) -> Array:
        """``dT/dperiod = dT/dsigma_0 * (-sigma_0 / period)``, 1/s."""
        return self.transfer_by_frequency(frequency) * (-self.frequency / self.period)

    def amplify(self, rigid: NutationSeries) -> NutationSeries:
        """The series of the planet with this core.

        Raises
        ------
        InputError
            If a term of the series lies on the resonance.
        """
        forward, backward = rigid.frequency, -rigid.frequency
        return _filter(
            rigid,
            (self.transfer(forward), self.transfer(backward)),
            (
                self.factor * self._slope_by_factor(forward),
                self.factor * self._slope_by_factor(backward),
            ),
        )

    def amplify_by_factor(self, rigid: NutationSeries) -> NutationSeries:
        """Derivative of the amplified series with respect to F.

        Like those by frequency and by period, it is to be evaluated with `nutation`; the
        secular part does not depend on the core, and the rigid planet's stands in its place.
        """
        forward, backward = rigid.frequency, -rigid.frequency
        return _filter(
            rigid,
            (self.transfer_by_factor(forward), self.transfer_by_factor(backward)),
            (self._slope_by_factor(forward), self._slope_by_factor(backward)),
        )

    def amplify_by_frequency(self, rigid: NutationSeries) -> NutationSeries:
        """Derivative of the amplified series with respect to sigma_0, per rad/s."""
        forward, backward = rigid.frequency, -rigid.frequency
        return _filter(
            rigid,
            (self.transfer_by_frequency(forward), self.transfer_by_frequency(backward)),
            (self._slope_by_frequency(forward), self._slope_by_frequency(backward)),
        )

    def amplify_by_period(self, rigid: NutationSeries) -> NutationSeries:
        """Derivative of the amplified series with respect to the period, per s."""
        by_frequency = self.amplify_by_frequency(rigid)
        scale = -self.frequency / self.period
        found = by_frequency.circles
        circles = Circles(
            scale * found.prograde,
            scale * found.retrograde,
            scale * found.prograde_rate,
            scale * found.retrograde_rate,
        )
        return NutationSeries.from_circles(rigid.body, rigid.terms, by_frequency.harmonics, circles)

    def _slope_by_factor(self, frequency: Array) -> Array:
        """``T' / F = -sigma_0 / (sigma - sigma_0)^2``."""
        return -self.frequency / self._detuning(frequency) ** 2

    def _slope_by_frequency(self, frequency: Array) -> Array:
        """``dT'/dsigma_0 = -F (sigma + sigma_0) / (sigma - sigma_0)^3``."""
        return -self.factor * (frequency + self.frequency) / self._detuning(frequency) ** 3

    def _detuning(self, frequency: ArrayLike) -> Array:
        """``sigma - sigma_0``, or the error if a forcing lies on the resonance."""
        sigma = np.asarray(frequency, float)
        detuning = sigma - self.frequency
        near = np.abs(detuning) < NEAREST * abs(self.frequency)
        if near.any():
            raise InputError(
                f"{int(near.sum())} forcing(s) lie on the resonance of the core, "
                f"nearer than {NEAREST:g} of its frequency",
                field="core.period",
                found=f"{self.period / DAY:.6f} days",
                expected="a period apart from that of every term of the nutation",
            )
        return detuning

    def __str__(self) -> str:
        return f"liquid core: F = {self.factor:.4f}, period {self.period / DAY:.2f} days"


def _filter(
    rigid: NutationSeries, gain: tuple[Array, Array], slope: tuple[Array, Array]
) -> NutationSeries:
    """Apply gain and its slope to each circle, the prograde ones first in both pairs.

    The retrograde circle is ``(R + R' t) exp(-i arg)`` with frequency ``-d arg/dt``: the same
    rule, at the negative frequency.
    """
    circles = rigid.circles
    filtered = Circles(
        gain[0] * circles.prograde - 1j * slope[0] * circles.prograde_rate,
        gain[1] * circles.retrograde - 1j * slope[1] * circles.retrograde_rate,
        gain[0] * circles.prograde_rate,
        gain[1] * circles.retrograde_rate,
    )
    return NutationSeries.from_circles(rigid.body, rigid.terms, rigid.harmonics, filtered)


@dataclass(frozen=True, eq=False)
class CoreFit:
    """A core found from observed amplitudes.

    Parameters
    ----------
    core : LiquidCore
        The estimate.
    covariance : ndarray, shape (2, 2)
        Of F (no unit) and the period (s), from the amplitudes' covariance.
    chi_square, degrees_of_freedom : float, int
        How well one core explains the amplitudes.
    """

    core: LiquidCore
    covariance: Array
    chi_square: float
    degrees_of_freedom: int

    def __str__(self) -> str:
        factor, period = np.sqrt(np.diag(self.covariance))
        return (
            f"F = {self.core.factor:.4f} +- {factor:.4f}, "
            f"period {self.core.period / DAY:.2f} +- {period / DAY:.2f} days, "
            f"chi-square {self.chi_square:.1f} with {self.degrees_of_freedom} degrees of freedom"
        )


def core_from_amplitudes(
    rigid: NutationSeries,
    columns: ArrayLike,
    amplitudes: ArrayLike,
    covariance: ArrayLike,
    start: LiquidCore,
) -> CoreFit:
    """Interpret amplitudes that were fitted one by one.

    Parameters
    ----------
    rigid : NutationSeries
        The rigid planet's series.
    columns : array_like of int, shape (k,)
        Which amplitudes were observed, in the order of `NutationSeries.amplitude_partials`.
    amplitudes : array_like, shape (k,)
        Their observed values, rad.
    covariance : array_like, shape (k, k)
        Their covariance, rad^2.
    start : LiquidCore
        Where the search begins. The sum of squares has a pole at each forcing, which the
        search does not cross: begin on the right side of the nearest term.

    Raises
    ------
    InputError
        If there are fewer than two amplitudes or the covariance is not positive definite.
    """
    columns, amplitudes = np.asarray(columns, int), np.asarray(amplitudes, float)
    if columns.size < 2:
        raise InputError("two unknowns need two amplitudes", field="columns", found=columns.size)
    try:
        root = np.linalg.cholesky(np.asarray(covariance, float))
    except np.linalg.LinAlgError as error:
        raise InputError("the covariance is not positive definite", field="covariance") from error

    def observed(series: NutationSeries) -> Array:
        parts = [p for c in (series.prograde, series.retrograde) for p in (c.real, c.imag)]
        return np.concatenate(parts)[columns]

    def residual(x: Array) -> Array:
        model = observed(LiquidCore(x[0], x[1] * DAY).amplify(rigid))
        return np.linalg.solve(root, model - amplitudes)

    def jacobian(x: Array) -> Array:
        core = LiquidCore(x[0], x[1] * DAY)
        by_factor = observed(core.amplify_by_factor(rigid))
        by_period = observed(core.amplify_by_period(rigid)) * DAY
        return np.linalg.solve(root, np.stack([by_factor, by_period], axis=1))

    found = least_squares(
        residual,
        [start.factor, start.period / DAY],
        jac=jacobian,
        bounds=([-np.inf, -np.inf], [np.inf, -np.finfo(float).tiny]),
        x_scale=[0.01, 1.0],
        xtol=1e-13,
        ftol=1e-13,
        gtol=1e-13,
    )
    units = np.array([1.0, DAY])
    return CoreFit(
        core=LiquidCore(float(found.x[0]), float(found.x[1] * DAY)),
        covariance=np.linalg.inv(found.jac.T @ found.jac) * np.outer(units, units),
        chi_square=float(2.0 * found.cost),
        degrees_of_freedom=int(columns.size - 2),
    )
