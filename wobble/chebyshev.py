"""Smooth functions of time as records of Chebyshev polynomials.

In: epochs. Out: values, rates, and increments over a given interval, shape (n, k).

Everything tabulated in the package has this form: planetary positions, the celestial
pole, TDB - TT, the libration of the Moon. What the form is chosen for is `increment`:
the change of the function over an interval, formed from divided differences of the
polynomials and never by subtracting two values, so that a range rate made from it
carries no numerical noise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import ArrayLike, NDArray

from wobble.epochs import Epochs
from wobble.errors import EpochRangeError

__all__ = ["ChebyshevTable", "iso_day"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class ChebyshevTable:
    """A vector function of time, a polynomial on each of many equal intervals.

    Parameters
    ----------
    start : float
        Begin of the first record, whole seconds since J2000.0 of the table's scale.
    length : float
        Length of a record, s (whole).
    coefficients : ndarray, shape (records, k, degree + 1)
        Chebyshev coefficients of each component, in the units of the function.
    name : str
        What the table is, for messages.

    Notes
    -----
    Records of a planetary kernel do not join exactly: jumps of some 0.01 mm are stored
    in it. `increment` evaluates both ends of the interval in the record of its middle,
    so that such a jump never enters a range rate.
    """

    start: float
    length: float
    coefficients: Array
    name: str = "table"

    @classmethod
    def fit(
        cls,
        function: Callable[[Epochs], Array],
        start: float,
        stop: float,
        length: float,
        degree: int,
        *,
        scale: str = "tdb",
        name: str = "table",
    ) -> Self:
        """Interpolate ``function`` at the Chebyshev nodes of records that cover a span.

        Parameters
        ----------
        function : callable
            Takes `Epochs` of n instants, returns values of shape (n, k).
        start, stop : float
            Span to be covered, seconds since J2000.0; widened to whole records.
        length : float
            Length of a record, s (whole seconds).
        degree : int
            Degree of the polynomials.
        """
        first = np.floor(start / length) * length
        records = max(1, int(np.ceil((stop - first) / length)))
        nodes = chebyshev.chebpts1(degree + 1)
        middles = first + (np.arange(records) + 0.5) * length
        epochs = Epochs.of(
            np.repeat(middles, degree + 1), np.tile(nodes * length / 2, records), scale
        )
        values = function(epochs).reshape(records, degree + 1, -1)
        vandermonde = chebyshev.chebvander(nodes, degree)
        transform = 2.0 * vandermonde.T / (degree + 1)
        transform[0] /= 2.0
        return cls(first, length, np.einsum("dj,rjk->rkd", transform, values), name)

    @property
    def stop(self) -> float:
        """End of the last record, seconds since J2000.0."""
        return self.start + self.length * self.coefficients.shape[0]

    def _locate(self, epochs: Epochs) -> tuple[NDArray[np.intp], Array]:
        """Record of each epoch and its place in it, from -1 to 1."""
        whole = epochs.seconds - self.start
        outside = (whole + epochs.fraction < 0) | (whole + epochs.fraction > self.stop - self.start)
        if outside.any():
            bad = epochs[outside]
            raise EpochRangeError(
                f"epochs outside the span of {self.name}",
                outside,
                found=iso_day(bad.since_j2000[0]),
                expected=f"{iso_day(self.start)} to {iso_day(self.stop)}",
            )
        record = np.clip((whole // self.length).astype(np.intp), 0, len(self.coefficients) - 1)
        rest = (whole - (record + 0.5) * self.length) + epochs.fraction
        return record, 2.0 * rest / self.length

    def value(self, epochs: Epochs) -> Array:
        """Values, shape (n, k)."""
        record, x = self._locate(epochs)
        coefficients = self.coefficients[record]
        before = np.zeros(coefficients.shape[:2])
        now = np.zeros_like(before)
        for k in range(coefficients.shape[2] - 1, 0, -1):
            before, now = now, coefficients[..., k] + 2.0 * x[:, None] * now - before
        return coefficients[..., 0] + x[:, None] * now - before

    def value_and_rate(self, epochs: Epochs) -> tuple[Array, Array]:
        """Values and their time derivatives per second, each of shape (n, k)."""
        record, x = self._locate(epochs)
        coefficients = self.coefficients[record]
        x = x[:, None]
        t_before, t_now = np.ones_like(x), x
        d_before, d_now = np.zeros_like(x), np.ones_like(x)
        value = coefficients[..., 0] + coefficients[..., 1] * t_now
        rate = coefficients[..., 1] * d_now
        for k in range(2, coefficients.shape[2]):
            d_before, d_now = d_now, 2.0 * t_now + 2.0 * x * d_now - d_before
            t_before, t_now = t_now, 2.0 * x * t_now - t_before
            value = value + coefficients[..., k] * t_now
            rate = rate + coefficients[..., k] * d_now
        return value, rate * (2.0 / self.length)

    def increment(self, epochs: Epochs, interval: ArrayLike) -> Array:
        """Change of the function from each epoch to ``interval`` seconds later, shape (n, k).

        With ``x_m`` the middle and ``d`` the width of the interval in units of half a record,
        the divided differences ``D_k = (T_k(x_e) - T_k(x_s)) / d`` and the means ``M_k``
        follow the recursions of the polynomials themselves, exact for any width; as the
        width goes to zero, ``D_k`` becomes the derivative.
        """
        step = np.broadcast_to(np.asarray(interval, float), epochs.seconds.shape)
        record, x_m = self._locate(epochs.shift(step / 2.0))
        coefficients = self.coefficients[record]
        x_m = x_m[:, None]
        d = (2.0 * step / self.length)[:, None]
        difference_before, difference = np.zeros_like(x_m), np.ones_like(x_m)
        mean_before, mean = np.ones_like(x_m), x_m
        total = coefficients[..., 1] * difference
        for k in range(2, coefficients.shape[2]):
            difference_next = 2.0 * x_m * difference + 2.0 * mean - difference_before
            mean_next = 2.0 * x_m * mean + 0.5 * d * d * difference - mean_before
            difference_before, difference = difference, difference_next
            mean_before, mean = mean, mean_next
            total = total + coefficients[..., k] * difference
        return d * total


def iso_day(seconds: float) -> str:
    """Date and time of seconds since J2000.0, for messages."""
    return str(Epochs.of(seconds).to_time().isot[0][:19])
