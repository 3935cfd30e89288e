"""The oscillator with which a lander sends when it has no uplink to turn around.

In: a nominal frequency, and by how much and how fast the true one departs from it. Out: the
fraction by which the frequency is too high at any age of the oscillator.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.errors import InputError

__all__ = ["Oscillator"]


@dataclass(frozen=True)
class Oscillator:
    """The lander's own frequency, ``frequency (1 + bias + drift (t - epoch))``.

    Parameters
    ----------
    frequency : float
        Nominal transmitted frequency, Hz.
    epoch : float
        TDB seconds since J2000.0 at which the bias holds.
    bias : float
        Fractional deviation from the nominal frequency.
    drift : float
        Its rate, 1/s.

    Raises
    ------
    InputError
        If the frequency is not positive, or a number is not finite.
    """

    frequency: float
    epoch: float
    bias: float = 0.0
    drift: float = 0.0

    def __post_init__(self) -> None:
        for name in ("frequency", "epoch", "bias", "drift"):
            value = getattr(self, name)
            if not math.isfinite(value) or (name == "frequency" and value <= 0.0):
                expected = "a positive number" if name == "frequency" else "a finite number"
                raise InputError(
                    "impossible oscillator", field=name, found=value, expected=expected
                )

    def departure(self, age: ArrayLike) -> NDArray[np.float64]:
        """Fractional deviation from the nominal frequency, ``age`` seconds after the epoch."""
        return np.asarray(self.bias + self.drift * np.asarray(age, float))
