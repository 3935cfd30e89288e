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
from typing import NoReturn, Self

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import ArrayLike, NDArray

from wobble.epochs import Epochs
from wobble.errors import EpochRangeError, InputError

__all__ = ["ChebyshevTable", "iso_day"]

Array = NDArray[np.float64]

LONGEST_INTERVAL = 0.25
"""Longest interval of an increment, in records: a polynomial is not continued further."""


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
    scale : {"tdb", "tt"}
        Time scale of its argument.

    Notes
    -----
    Records of a planetary kernel do not join exactly: jumps of some 0.01 mm are stored
    in it. `increment` evaluates both ends of the interval in the record of its middle,
    so that such a jump never enters a range rate. All methods raise `EpochRangeError` for
    epochs outside the span and `InputError` for epochs of another scale.
    """

    start: float
    length: float
    coefficients: Array
    name: str = "table"
    scale: str = "tdb"

    def __post_init__(self) -> None:
        if self.coefficients.ndim != 3 or self.coefficients.shape[2] < 2:
            raise InputError(
                "a Chebyshev table has coefficients of shape (records, k, degree + 1)",
                field=self.name,
                found=self.coefficients.shape,
                expected="three dimensions and a degree of one or more",
            )

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
            Degree of the polynomials, at least one.
        scale, name : str
            Of the table, see there.
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
        return cls(first, length, np.einsum("dj,rjk->rkd", transform, values), name, scale)

    @property
    def stop(self) -> float:
        """End of the last record, seconds since J2000.0."""
        return self.start + self.length * self.coefficients.shape[0]

    def _locate(
        self, epochs: Epochs, interval: Array | float = 0.0
    ) -> tuple[NDArray[np.intp], Array]:
        """Record of the middle of the interval from each epoch, and its place there, -1 to 1.

        Epochs that lie outside the span, or from which the interval leads there, are refused.
        """
        if epochs.scale != self.scale:
            raise InputError(
                f"{self.name} is a function of {self.scale.upper()}", found=epochs.scale.upper()
            )
        whole = epochs.seconds - self.start
        begin = whole + epochs.fraction
        end = begin + interval
        if not (_within(begin, self.stop - self.start) and _within(end, self.stop - self.start)):
            self._refuse(np.stack([begin, end]))
        # The middle is not negative: its whole part is the number of records before it.
        record = (0.5 * (begin + end) / self.length).astype(np.intp)
        record = np.minimum(record, len(self.coefficients) - 1)
        rest = (whole - (record + 0.5) * self.length) + (epochs.fraction + 0.5 * interval)
        return record, 2.0 * rest / self.length

    def _refuse(self, ends: Array) -> NoReturn:
        beyond = (ends < 0.0) | (ends > self.stop - self.start)
        raise EpochRangeError(
            f"epochs outside the span of {self.name}",
            np.any(beyond, axis=0),
            found=iso_day(self.start + ends[beyond][0]),
            expected=f"{iso_day(self.start)} to {iso_day(self.stop)}",
        )

    def value(self, epochs: Epochs) -> Array:
        """Values, shape (n, k)."""
        record, x = self._locate(epochs)
        return _combine(self._records(record), self._polynomials(x, x))

    def value_and_rate(self, epochs: Epochs) -> tuple[Array, Array]:
        """Values and their time derivatives per second, each of shape (n, k)."""
        record, x = self._locate(epochs)
        coefficients = self._records(record)
        value = _combine(coefficients, self._polynomials(x, x))
        # The derivative of T_k is k times the polynomial of the second kind of degree k - 1.
        slopes = np.zeros((coefficients.shape[2], len(x)))
        slopes[1:] = self._polynomials(2.0 * x, x)[:-1]
        slopes *= np.arange(len(slopes))[:, None]
        return value, _combine(coefficients, slopes) * (2.0 / self.length)

    def increment(self, epochs: Epochs, interval: ArrayLike) -> Array:
        """Change of the function from each epoch to ``interval`` seconds later, shape (n, k).

        With ``x_m`` the middle and ``d`` the width of the interval in units of half a record,
        the divided differences ``D_k = (T_k(x_e) - T_k(x_s)) / d`` and the means ``M_k``
        follow the recursions of the polynomials themselves, exact for any width; as the
        width goes to zero, ``D_k`` becomes the derivative.

        Raises
        ------
        InputError
            If an interval is longer than a quarter of a record.
        """
        step = np.broadcast_to(np.asarray(interval, float), epochs.seconds.shape)
        record, x_m = self._locate(epochs, step)
        if (np.abs(step) > LONGEST_INTERVAL * self.length).any():
            raise InputError(
                f"an interval is too long for the records of {self.name}",
                found=f"{np.abs(step).max():.0f} s",
                expected=f"at most {LONGEST_INTERVAL * self.length:.0f} s",
            )
        d = 2.0 * step / self.length
        differences, means = (np.empty((self.coefficients.shape[2], len(d))) for _ in range(2))
        differences[0], means[0] = 0.0, 1.0
        differences[1], means[1] = 1.0, x_m
        twice, half_square = 2.0 * x_m, 0.5 * d * d
        for k in range(2, len(means)):
            before = differences[k - 1]
            differences[k] = twice * before + 2.0 * means[k - 1] - differences[k - 2]
            means[k] = twice * means[k - 1] + half_square * before - means[k - 2]
        return d[:, None] * _combine(self._records(record), differences)

    def _polynomials(self, first: Array, x: Array) -> Array:
        """Chebyshev polynomials at places within a record, shape (degree + 1, n).

        ``first`` is the one of degree one: ``x`` for the first kind, ``2 x`` for the second.
        """
        values = np.empty((self.coefficients.shape[2], len(x)))
        values[0], values[1] = 1.0, first
        twice = 2.0 * x
        for k in range(2, len(values)):
            np.multiply(twice, values[k - 1], out=values[k])
            values[k] -= values[k - 2]
        return values

    def _records(self, record: NDArray[np.intp]) -> Array:
        """Coefficients of the record of each epoch, shape (n, k, degree + 1)."""
        return self.coefficients.take(record, axis=0)


def _combine(coefficients: Array, basis: Array) -> Array:
    """Sum of coefficients (n, k, degree + 1) times basis functions (degree + 1, n), (n, k)."""
    out = np.empty((coefficients.shape[1], len(coefficients)))
    np.einsum("nkd,nd->kn", coefficients[..., 1:], np.ascontiguousarray(basis[1:].T), out=out)
    # The constant is the largest term: added last, it is rounded once.
    out += coefficients[..., 0].T * basis[0]
    return out.T


def _within(times: Array, span: float) -> bool:
    return bool(np.min(times, initial=0.0) >= 0.0 and np.max(times, initial=0.0) <= span)


def iso_day(seconds: float) -> str:
    """Date and time of seconds since J2000.0, for messages."""
    return str(Epochs.of(seconds).to_time().isot[0][:19])
