"""A function given as a table of values, between them a cubic spline.

In: epochs and values, at any spacing. Out: values and exact increments at other epochs, shape
(n, k), as `wobble.chebyshev.ChebyshevTable` gives them for functions that are known everywhere.

A spline has continuous second derivatives; its third one jumps at the knots. An increment is
that of the piece in the middle of its interval, and never the difference of two values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from wobble.chebyshev import iso_day
from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError

__all__ = ["CubicTable"]

Array = NDArray[np.float64]

FEWEST = 4
"""Knots that a cubic needs."""


@dataclass(frozen=True, eq=False)
class CubicTable:
    """A vector function of TDB, a cubic between any two knots.

    Parameters
    ----------
    start : float
        First knot, seconds since J2000.0 TDB.
    knots : ndarray, shape (m,)
        Seconds from ``start``.
    coefficients : ndarray, shape (4, m - 1, k)
        Of the powers three to zero of the time from each knot.
    name : str
        What the table is, for messages.
    """

    start: float
    knots: Array
    coefficients: Array
    name: str = "table"

    @classmethod
    def through(cls, epochs: Epochs, values: ArrayLike, name: str = "table") -> Self:
        """The spline through values (m, k) at m epochs (third derivatives join at both ends).

        Raises
        ------
        InputError
            If there are fewer than four epochs, they do not increase, are not TDB, or a value
            is not finite.
        """
        values = np.asarray(values, float)
        if epochs.scale != "tdb":
            raise InputError(f"{name} is a function of TDB", found=epochs.scale.upper())
        if len(epochs) < FEWEST:
            raise InputError(
                "too few values for a cubic",
                field=name,
                found=len(epochs),
                expected=f"at least {FEWEST}",
            )
        knots = epochs.minus(epochs[0])
        back = np.flatnonzero(np.diff(knots) <= 0.0)
        if back.size:
            raise InputError(
                "the epochs do not increase",
                field=name,
                found=f"{_day(epochs, back[0] + 1)} after {_day(epochs, back[0])}",
            )
        bad = np.flatnonzero(~np.isfinite(values).all(axis=1))
        if bad.size:
            raise InputError("a value is not finite", field=name, found=_day(epochs, bad[0]))
        return cls(float(epochs.since_j2000[0]), knots, CubicSpline(knots, values).c, name)

    @property
    def stop(self) -> float:
        """Last knot, seconds since J2000.0 TDB."""
        return float(self.start + self.knots[-1])

    def value(self, epochs: Epochs) -> Array:
        """Values, shape (n, k)."""
        piece, t = self._locate(epochs, 0.0)
        cubic, square, linear, constant = self.coefficients[:, piece]
        return ((cubic * t + square) * t + linear) * t + constant

    def increment(self, epochs: Epochs, interval: ArrayLike) -> Array:
        """Change of the function over ``interval`` seconds, shape (n, k)."""
        piece, t = self._locate(epochs, interval)
        cubic, square, linear, _ = self.coefficients[:, piece]
        step = np.broadcast_to(np.asarray(interval, float), len(epochs))[:, None]
        secant = cubic * (3.0 * t * (t + step) + step * step) + square * (2.0 * t + step) + linear
        return step * secant

    def _locate(self, epochs: Epochs, interval: ArrayLike) -> tuple[NDArray[np.intp], Array]:
        """Piece in which the middle of each interval lies; begin of it from the piece's knot."""
        since = (epochs.seconds - self.start) + epochs.fraction
        ends = np.stack([since, since + np.asarray(interval, float)])
        beyond = (ends < 0.0) | (ends > self.knots[-1])
        if beyond.any():
            raise EpochRangeError(
                f"epochs outside the span of {self.name}",
                np.any(beyond, axis=0),
                found=iso_day(self.start + ends[beyond][0]),
                expected=f"{iso_day(self.start)} to {iso_day(self.stop)}",
            )
        piece = np.searchsorted(self.knots, ends.mean(axis=0), side="right") - 1
        piece = np.clip(piece, 0, len(self.knots) - 2)
        return piece, (since - self.knots[piece])[:, None]


def _day(epochs: Epochs, index: int) -> str:
    return iso_day(float(epochs.since_j2000[index]))
