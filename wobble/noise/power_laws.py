"""Noise processes whose spectrum is a power of the frequency.

In: a level, an exponent, and the cut-offs without which the process would be infinite.
Out: a `Process` with its exact autocovariance or structure function.

    exponent of S_z    exponent of S_y    name                     needs
       0                  +2              white phase              high cut-off
      -1                  +1              flicker phase            both cut-offs
      -2                   0              white frequency          (low, for ranges)
      -8/3                -2/3            Kolmogorov turbulence    (low, for ranges)
      -3                  -1              flicker frequency        low cut-off
      -4                  -2              random walk frequency    low cut-off

``S_z`` is the one-sided spectrum of the path (m^2/Hz), ``S_y`` that of the fractional
frequency (IEEE Std 1139; NIST SP 1065, sect. 6).
"""

from __future__ import annotations

import bisect
import functools
import math
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import special

from wobble.constants import SPEED_OF_LIGHT
from wobble.errors import InputError
from wobble.noise.processes import LevelledProcess, Process, demand

__all__ = [
    "FlickerPhase",
    "PowerLaw",
    "VonKarman",
    "WhitePhase",
    "path_level",
    "power_law_process",
]

Array = NDArray[np.float64]


def path_level(frequency_level: float) -> float:
    """Level of the path spectrum (m^2/Hz at 1 Hz) from that of fractional frequency.

    ``S_y = h f^alpha`` becomes ``S_z = h (c / 2 pi)^2 f^(alpha - 2)``.
    """
    return frequency_level * (SPEED_OF_LIGHT / (2.0 * math.pi)) ** 2


@dataclass(frozen=True)
class PowerLaw(LevelledProcess):
    """Self-similar process ``S_z = level f^exponent`` with no cut-off, -3 < exponent < -1.

    White frequency noise has the exponent -2, Kolmogorov turbulence -8/3. The structure
    function is ``D = 2 level (2 pi lag)^(-exponent - 1) I``, with
    ``I = int_0^inf u^exponent (1 - cos u) du`` (Gradshteyn & Ryzhik 2007, 3.823).

    Parameters
    ----------
    level : float
        Spectral density at 1 Hz, m^2/Hz.
    exponent : float
        Exponent of the path spectrum.
    """

    level: float
    exponent: float
    has_variance: ClassVar[bool] = False

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.exponent >= -1:
            raise InputError(
                "the structure function diverges at high frequency",
                field="exponent",
                found=self.exponent,
                expected="a high-frequency cut-off (WhitePhase, FlickerPhase), or less than -1",
            )
        if not self.exponent > -3:
            raise InputError(
                "the structure function diverges at low frequency",
                field="exponent",
                found=self.exponent,
                expected="a low-frequency cut-off (VonKarman), or more than -3",
            )

    @classmethod
    def from_structure_function(cls, value: float, lag: float, exponent: float) -> Self:
        """From ``D(lag) = value`` (m^2 at s) growing as ``lag^exponent``, 0 < exponent < 2."""
        unit = cls(1.0, -1.0 - exponent)
        return unit.scaled(value / float(unit.structure_function(lag)))

    def spectrum(self, frequency: ArrayLike) -> Array:
        return self.level * np.asarray(frequency, float) ** self.exponent

    def kernel(self, lag: ArrayLike) -> Array:
        mu = self.exponent + 1.0
        # -Gamma(mu) cos(pi mu / 2) by reflection, so that mu = -1 is no pole.
        integral = -math.pi / (2.0 * math.gamma(1.0 - mu) * math.sin(math.pi * mu / 2.0))
        return -self.level * integral * (2.0 * math.pi * np.abs(lag)) ** -mu


@dataclass(frozen=True)
class VonKarman(LevelledProcess):
    """Power law that turns flat below a cut-off: ``S_z = level (f^2 + low_cutoff^2)^(exponent/2)``.

    Turbulence with an outer scale, frequency noise of a clock over a finite life, or, with
    the exponent -2, a first-order Gauss-Markov process. With ``nu = -(exponent + 1)/2`` and
    ``u = 2 pi low_cutoff lag`` the autocovariance is the Matern function
    ``C(0) 2^(1 - nu) / Gamma(nu) u^nu K_nu(u)`` (von Karman 1948, Proc. Natl. Acad. Sci. 34,
    530; Matern 1960).

    Counts see differences of this function. Without the variance (`increment_kernel`) they
    keep their digits whatever the cut-off; beside ranges, or with gains that change along the
    pass, rounding takes up to 1e-16 of the variance: there a cut-off need not be lower than a
    thousandth of 1 over the pass.

    Parameters
    ----------
    level : float
        Spectral density that the power law would have at 1 Hz, m^2/Hz.
    exponent : float
        Exponent well above the cut-off, -5 <= exponent < -1.
    low_cutoff : float
        Frequency below which the spectrum is flat, Hz.
    """

    level: float
    exponent: float
    low_cutoff: float

    def __post_init__(self) -> None:
        super().__post_init__()
        if self.exponent >= -1:
            raise InputError(
                "the variance diverges at high frequency",
                field="exponent",
                found=self.exponent,
                expected="a high-frequency cut-off (WhitePhase, FlickerPhase), or less than -1",
            )
        demand("exponent", self.exponent >= -5, self.exponent, "-5 or more")
        good = self.low_cutoff > 0 and math.isfinite(self.low_cutoff)
        demand("low_cutoff", good, self.low_cutoff, "a positive frequency")

    @classmethod
    def from_rms(cls, rms: float, correlation_time: float, exponent: float) -> Self:
        """From the standard deviation (m) and ``correlation_time = 1 / (2 pi low_cutoff)``, s."""
        demand("correlation_time", correlation_time > 0, correlation_time, "a positive time")
        unit = cls(1.0, exponent, 1.0 / (2.0 * math.pi * correlation_time))
        return unit.scaled(rms**2 / unit._variance)

    @cached_property
    def _nu(self) -> float:
        return -(self.exponent + 1.0) / 2.0

    @cached_property
    def _variance(self) -> float:
        gammas = math.gamma(self._nu) / math.gamma(self._nu + 0.5)
        return self.level * self.low_cutoff ** (-2.0 * self._nu) * math.sqrt(math.pi) / 2 * gammas

    def spectrum(self, frequency: ArrayLike) -> Array:
        f = np.asarray(frequency, float)
        return self.level * (f**2 + self.low_cutoff**2) ** (self.exponent / 2.0)

    def kernel(self, lag: ArrayLike) -> Array:
        return self._variance * (1.0 - matern_deficit(self._nu, self._argument(lag)))

    def increment_kernel(self, lag: ArrayLike) -> Array:
        return -self._variance * matern_deficit(self._nu, self._argument(lag))

    def _argument(self, lag: ArrayLike) -> Array:
        return 2.0 * math.pi * self.low_cutoff * np.abs(np.asarray(lag, float))


SERIES_REACH = 2.0
"""Largest argument for the series of the Matern function."""
SERIES_TERMS = 15
TERMS_REACH = tuple((1e-16 * math.factorial(k) ** 2) ** (1.0 / k) for k in range(1, SERIES_TERMS))
"""Largest (u/2)^2 for which 1, 2, ... terms suffice: the k-th is below its power over k!^2."""


def matern_deficit(nu: float, u: Array) -> Array:
    """One minus the Matern correlation, ``1 - 2^(1 - nu) / Gamma(nu) u^nu K_nu(u)``.

    Small arguments go through the ascending series of K (Abramowitz & Stegun 1964, 9.6.2,
    9.6.10 and 9.6.11), which starts from zero and so keeps its digits where the correlation
    is almost 1, and which is many times faster than the general function.
    """
    if nu == 0.5:
        return -np.expm1(-u)
    if not _has_series(nu):
        return _general_deficit(nu, u)
    largest = u.max(initial=0.0)
    if largest <= SERIES_REACH:
        return _series_deficit(nu, u, largest)
    near = u <= SERIES_REACH
    result = np.empty_like(u)
    result[near] = _series_deficit(nu, u[near], SERIES_REACH)
    result[~near] = _general_deficit(nu, u[~near])
    return result


def _has_series(nu: float) -> bool:
    """Orders near a whole number lose digits in the series; that of 1 has its own."""
    return nu == 1.0 or abs(nu - round(nu)) > 0.1


def _general_deficit(nu: float, u: Array) -> Array:
    # Below the least argument no double tells the result from its limit.
    u = np.maximum(u, 1e-100)
    return 1.0 - 2.0 ** (1.0 - nu) / math.gamma(nu) * u**nu * special.kv(nu, u)


def _series_deficit(nu: float, u: Array, largest: float) -> Array:
    count = 1 + bisect.bisect_left(TERMS_REACH, 0.25 * largest**2)
    square = 0.25 * u.ravel() ** 2
    powers = np.multiply.accumulate(np.full((count, square.size), square))
    coefficients = _series(nu)
    smooth, rough = coefficients[:, 1 : count + 1] @ powers + coefficients[:, :1]
    if nu == 1.0:
        # The logarithm's argument may not vanish; its product with the square does then.
        deficit = square * (smooth - rough * np.log(np.maximum(square, 1e-200)))
    else:
        deficit = rough * square**nu - square * smooth
    return deficit.reshape(u.shape)


@functools.cache
def _series(nu: float) -> Array:
    """Coefficients in (u/2)^2: of the analytic part, and of the other; shape (2, terms + 1)."""
    k = np.arange(SERIES_TERMS + 1)
    factorial, next_factorial = special.gamma(k + 1.0), special.gamma(k + 2.0)
    if nu == 1.0:
        rough = 1.0 / (factorial * next_factorial)
        return np.stack([rough * (special.digamma(k + 1) + special.digamma(k + 2)), rough])
    ratio = math.gamma(1.0 - nu)
    smooth = ratio / (next_factorial * special.gamma(k + 2.0 - nu))
    return np.stack([smooth, ratio / (factorial * special.gamma(k + 1.0 + nu))])


@dataclass(frozen=True)
class WhitePhase(LevelledProcess):
    """White noise of phase through a first-order loop of given noise bandwidth.

    ``S_z = level / (1 + (pi f / 2 bandwidth)^2)``, whose integral is ``level * bandwidth``
    and whose autocovariance is ``level bandwidth exp(-4 bandwidth |lag|)``. Counts long
    against the loop are uncorrelated unless they share an end: contiguous counts of equal
    length have the correlation -1/2.

    Parameters
    ----------
    level : float
        Spectral density at low frequency, m^2/Hz.
    bandwidth : float
        One-sided noise bandwidth of the loop, Hz.
    """

    level: float
    bandwidth: float

    def __post_init__(self) -> None:
        super().__post_init__()
        good = self.bandwidth > 0 and math.isfinite(self.bandwidth)
        demand("bandwidth", good, self.bandwidth, "a positive high-frequency cut-off")

    def spectrum(self, frequency: ArrayLike) -> Array:
        f = np.asarray(frequency, float)
        return self.level / (1.0 + (math.pi * f / (2.0 * self.bandwidth)) ** 2)

    def kernel(self, lag: ArrayLike) -> Array:
        return self.level * self.bandwidth * np.exp(-4.0 * self.bandwidth * np.abs(lag))


@dataclass(frozen=True)
class FlickerPhase(LevelledProcess):
    """Flicker noise of phase, ``S_z = level / f`` between two sharp cut-offs.

    The autocovariance is ``level [Ci(2 pi high lag) - Ci(2 pi low lag)]``.

    Parameters
    ----------
    level : float
        Spectral density at 1 Hz, m^2/Hz.
    low_cutoff, high_cutoff : float
        Band limits, Hz; both are needed, since the variance diverges at either end.
    """

    level: float
    low_cutoff: float
    high_cutoff: float

    def __post_init__(self) -> None:
        super().__post_init__()
        good = 0 < self.low_cutoff < self.high_cutoff < math.inf
        found = (self.low_cutoff, self.high_cutoff)
        demand("low_cutoff, high_cutoff", good, found, "0 < low_cutoff < high_cutoff")

    def spectrum(self, frequency: ArrayLike) -> Array:
        f = np.asarray(frequency, float)
        inside = (f >= self.low_cutoff) & (f <= self.high_cutoff)
        return np.where(inside, self.level / np.where(inside, f, 1.0), 0.0)

    def kernel(self, lag: ArrayLike) -> Array:
        # The difference of the two integrals tends to the logarithm as the lag goes to zero.
        tau = np.maximum(2.0 * math.pi * np.abs(lag), 1e-12 / self.high_cutoff)
        return self.level * (
            special.sici(self.high_cutoff * tau)[1] - special.sici(self.low_cutoff * tau)[1]
        )


def power_law_process(
    level: float,
    exponent: float,
    low_cutoff: float | None = None,
    high_cutoff: float | None = None,
) -> Process:
    """The process of ``S_z = level f^exponent`` with the cut-offs that it needs.

    Parameters
    ----------
    level : float
        Spectral density of the path at 1 Hz, m^2/Hz (`path_level` converts from frequency).
    exponent : float
        0 white phase, -1 flicker phase, -2 white frequency, -8/3 Kolmogorov, -3 flicker
        frequency, -4 random walk of frequency.
    low_cutoff, high_cutoff : float, optional
        Hz. White phase needs the high one, flicker phase both, exponents of -3 and steeper
        the low one; between -1 and -3 the low one is free, and needed only for ranges.

    Raises
    ------
    InputError
        If a cut-off is missing without which the structure function diverges, or one is
        given that the process has no use for.
    """
    if exponent > -1 and exponent != 0:
        raise InputError(
            "no closed form for this exponent",
            field="exponent",
            found=exponent,
            expected="0, -1 and steeper, or a SpectrumTable",
        )
    if exponent >= -1:
        _need("high_cutoff", high_cutoff, exponent, "high")
    if exponent == -1 or exponent <= -3:
        _need("low_cutoff", low_cutoff, exponent, "low")
    if exponent == 0 and low_cutoff is not None:
        raise InputError("white phase noise has no low cut-off", found=low_cutoff)
    if exponent < -1 and high_cutoff is not None:
        raise InputError("this exponent converges at high frequency", found=high_cutoff)
    if exponent == 0:
        return WhitePhase(level, high_cutoff)  # type: ignore[arg-type]  # checked above
    if exponent == -1:
        return FlickerPhase(level, low_cutoff, high_cutoff)  # type: ignore[arg-type]
    if low_cutoff is None:
        return PowerLaw(level, exponent)
    return VonKarman(level, exponent, low_cutoff)


def _need(field: str, value: float | None, exponent: float, end: str) -> None:
    if value is None:
        raise InputError(
            f"the structure function diverges at {end} frequency for exponent {exponent:g}",
            field=field,
            expected=f"a {end}-frequency cut-off in Hz",
        )
