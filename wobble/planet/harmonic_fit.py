"""Slow functions of time as a polynomial plus harmonics whose amplitudes drift.

In: values of k functions at TDB epochs and the arguments to be looked for. Out: a
`HarmonicSeries`, which can be evaluated anywhere, and the residual of the fit.

    f(t) = a_0 + a_1 t + a_2 t^2 + sum_j (C_j + C_j' t) cos(arg_j) + (S_j + S_j' t) sin(arg_j),
    arg_j = frequency_j t + phase_j,   t in seconds since the series' epoch.

The terms with ``t cos`` and ``t sin`` are the Poisson terms. Without them, nutation over
decades cannot be fitted to a milliarcsecond, because perihelion and equinox move.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import Polynomial
from numpy.typing import ArrayLike, NDArray

from wobble.constants import JULIAN_YEAR
from wobble.epochs import Epochs
from wobble.errors import InputError

__all__ = ["HarmonicSeries", "fit_harmonics"]

Array = NDArray[np.float64]

LARGEST_CONDITION = 100.0
"""Beyond this ratio of the singular values of the scaled columns, terms mix."""


@dataclass(frozen=True, eq=False)
class HarmonicSeries:
    """A polynomial and drifting harmonics of k functions.

    Parameters
    ----------
    epoch : float
        Origin of ``t``, seconds since J2000.0 TDB.
    frequency, phase : ndarray, shape (m,)
        Of the arguments, rad/s and rad (at the epoch).
    polynomial : ndarray, shape (degree + 1, k)
        Coefficients of powers of ``t``, in the unit of the function per s^power.
    cosine, sine : ndarray, shape (m, k)
        Amplitudes at the epoch.
    cosine_rate, sine_rate : ndarray, shape (m, k)
        Their rates, per second.
    rms : ndarray, shape (k,)
        Root mean square of what the fit left; zero for a series that is given.
    """

    epoch: float
    frequency: Array
    phase: Array
    polynomial: Array
    cosine: Array
    sine: Array
    cosine_rate: Array
    sine_rate: Array
    rms: Array

    def secular(self, epochs: Epochs) -> Array:
        """The polynomial, shape (n, k)."""
        t = _since(self.epoch, epochs)
        return np.asarray(np.polynomial.polynomial.polyval(t, self.polynomial).T, float)

    def periodic(self, epochs: Epochs) -> Array:
        """The harmonics, shape (n, k)."""
        t = _since(self.epoch, epochs)
        argument = t[:, None] * self.frequency + self.phase
        cosine, sine = np.cos(argument), np.sin(argument)
        drifting = t[:, None] * cosine @ self.cosine_rate + t[:, None] * sine @ self.sine_rate
        return cosine @ self.cosine + sine @ self.sine + drifting

    def periodic_increment(self, epochs: Epochs, interval: ArrayLike) -> Array:
        """Change of the harmonics over ``interval`` seconds, shape (n, k), not subtracted."""
        t, step = _since(self.epoch, epochs), np.asarray(interval, float).reshape(-1, 1)
        middle = (t[:, None] + step / 2.0) * self.frequency + self.phase
        secant = 2.0 * np.sin(step * self.frequency / 2.0)
        end = middle + step * self.frequency / 2.0
        cosine, sine = -secant * np.sin(middle), secant * np.cos(middle)
        drifting = (t[:, None] * cosine + step * np.cos(end)) @ self.cosine_rate
        drifting += (t[:, None] * sine + step * np.sin(end)) @ self.sine_rate
        return cosine @ self.cosine + sine @ self.sine + drifting

    def value(self, epochs: Epochs) -> Array:
        """Polynomial and harmonics together, shape (n, k)."""
        return self.secular(epochs) + self.periodic(epochs)


def fit_harmonics(
    epochs: Epochs,
    values: ArrayLike,
    frequency: ArrayLike,
    phase: ArrayLike,
    *,
    epoch: float = 0.0,
    degree: int = 2,
) -> HarmonicSeries:
    """Least-squares polynomial and drifting harmonics through sampled functions.

    Time is counted from the middle of the span in units of half of it, so that all columns
    are of order one; the result is then carried over to ``epoch`` exactly.

    Parameters
    ----------
    epochs : Epochs
        The n instants of the samples.
    values : array_like, shape (n, k)
        The functions.
    frequency, phase : array_like, shape (m,)
        Arguments to be looked for: rad/s, and rad at ``epoch``.
    epoch : float
        Origin of time of the series, seconds since J2000.0 TDB.
    degree : int
        Degree of the polynomial.

    Raises
    ------
    InputError
        If the span is too short (or the samples too few) to tell the terms apart.
    """
    values = np.asarray(values, float)
    frequency, phase = np.atleast_1d(frequency), np.atleast_1d(phase)
    t = _since(epoch, epochs)
    middle, half = (t.max() + t.min()) / 2.0, (t.max() - t.min()) / 2.0
    tau = (t - middle) / half
    argument = t[:, None] * frequency + phase
    cosine, sine = np.cos(argument), np.sin(argument)
    powers = tau[:, None] ** np.arange(degree + 1)
    design = np.hstack([powers, cosine, sine, tau[:, None] * cosine, tau[:, None] * sine])
    found, _, _, singular = np.linalg.lstsq(design, values, rcond=None)
    _require_separable(design, singular, half, frequency)

    a, c, s, dc, ds = np.split(found, degree + 1 + frequency.size * np.arange(4))
    drift = middle / half
    return HarmonicSeries(
        epoch=epoch,
        frequency=frequency,
        phase=phase,
        polynomial=_shift_polynomial(a, middle, half),
        cosine=c - drift * dc,
        sine=s - drift * ds,
        cosine_rate=dc / half,
        sine_rate=ds / half,
        rms=np.sqrt(np.mean((values - design @ found) ** 2, axis=0)),
    )


def _since(epoch: float, epochs: Epochs) -> Array:
    return (epochs.seconds - epoch) + epochs.fraction


def _shift_polynomial(coefficients: Array, middle: float, half: float) -> Array:
    """From powers of ``(t - middle) / half`` to powers of ``t``."""
    scaled_time = Polynomial([-middle / half, 1.0 / half])
    shifted = np.zeros_like(coefficients)
    for column in range(coefficients.shape[1]):
        powers = Polynomial(coefficients[:, column])(scaled_time).coef
        shifted[: powers.size, column] = powers
    return shifted


def _require_separable(design: Array, singular: Array, half: float, frequency: Array) -> None:
    condition = singular[0] / singular[-1] if singular[-1] > 0.0 else np.inf
    if len(design) >= design.shape[1] and condition <= LARGEST_CONDITION:
        return
    period = 2.0 * np.pi / np.abs(frequency).min() / JULIAN_YEAR
    raise InputError(
        f"the span is too short to separate {design.shape[1]} terms "
        f"(condition number {condition:.0f}, limit {LARGEST_CONDITION:.0f}; {len(design)} samples)",
        field="span",
        found=f"{2.0 * half / JULIAN_YEAR:.2f} years",
        expected=f"at least about three periods of the slowest term, {3.0 * period:.2f} years",
    )
