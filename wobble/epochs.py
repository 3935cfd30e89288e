"""Epochs as two floats, and the scales that the package computes in.

In: `astropy.time.Time` from the user, or seconds from a kernel. Out: `Epochs`, an
array of instants held as whole seconds since J2000.0 and a fraction of a second, in
TDB or in TT.

One float of seconds resolves 1.2e-7 s at 8e8 s, which at planetary speeds is
millimetres; the pair resolves 1e-16 s, and the difference of two pairs is exact to
the rounding of the result. UTC is never computed with: it enters and leaves through
`astropy.time`, which knows the leap seconds.

TDB - TT at the geocentre is that of Fairhead & Bretagnon (1990, Astron. Astrophys. 229,
240) in the form of the SOFA library, good to a few microseconds in the absolute and to
nanoseconds over a light time; what an observer on the surface adds to it is a matter of
the near end of the link.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Self, TypeVar

import erfa
import numpy as np
from astropy.time import Time
from numpy.typing import ArrayLike, NDArray

from wobble.constants import DAY, J2000_JD
from wobble.errors import InputError

__all__ = ["Epochs", "iso_texts", "tdb_minus_tt"]

Array = NDArray[np.float64]
T = TypeVar("T")
SCALES = ("tdb", "tt")


def _sum_exactly(a: Array, b: Array) -> tuple[Array, Array]:
    """Rounded sum and its rounding error (Knuth 1997, The Art of Computer Programming 2)."""
    total = a + b
    b_used = total - a
    return total, (a - (total - b_used)) + (b - b_used)


def _finite(seconds: ArrayLike) -> Array:
    array = np.asarray(seconds, float)
    if not np.isfinite(array).all():
        raise InputError("an epoch is not finite", expected="finite seconds")
    return array


@dataclass(frozen=True, eq=False)
class Epochs:
    """Instants of one scale, as whole seconds since J2000.0 plus a fraction.

    Parameters
    ----------
    seconds : ndarray, shape (n,)
        Whole seconds since JD 2451545.0 of the scale (an integer held as float).
    fraction : ndarray, shape (n,)
        Fraction of a second, between -0.5 and 0.5.
    scale : {"tdb", "tt"}
        Time scale.
    """

    seconds: Array
    fraction: Array
    scale: str = "tdb"

    @classmethod
    def of(cls, seconds: ArrayLike, fraction: ArrayLike = 0.0, scale: str = "tdb") -> Self:
        """Build from any two parts in seconds; their sum is kept to 1e-16 s.

        Raises
        ------
        InputError
            If a part is not finite or the scale is unknown.
        """
        if scale not in SCALES:
            raise InputError("unknown time scale", found=scale, expected=" or ".join(SCALES))
        a, b = np.broadcast_arrays(np.atleast_1d(_finite(seconds)), _finite(fraction))
        total, error = _sum_exactly(a, b)
        whole = np.round(total)
        rest = (total - whole) + error
        carry = np.round(rest)
        return cls(whole + carry, rest - carry, scale)

    @classmethod
    def from_time(cls, time: Time, scale: str = "tdb") -> Self:
        """Convert from `astropy.time.Time` of any scale.

        For ``scale="tdb"`` a time given in UTC or TT uses the location that it carries, or the
        geocentre. A station's time tags enter as TT instead: what its place adds is the
        matter of the near end of the link.

        Raises
        ------
        InputError
            If a time is not finite.
        """
        converted = getattr(time, scale)
        jd1 = np.atleast_1d(np.asarray(converted.jd1, float))
        jd2 = np.atleast_1d(np.asarray(converted.jd2, float))
        # jd1 is a multiple of half a day, so jd1 - J2000 and its product with 86400 are exact.
        high = (jd1 - J2000_JD) * DAY
        product = jd2 * DAY
        # Rounding error of the product, by splitting jd2 so that both partial products are exact.
        jd2_high = np.round(jd2 * 2.0**26) / 2.0**26
        error = (jd2_high * DAY - product) + (jd2 - jd2_high) * DAY
        first = cls.of(high, product, scale)
        return cls.of(first.seconds, first.fraction + error, scale)

    def to_time(self) -> Time:
        """Convert to `astropy.time.Time` of the same scale, to its own 1e-11 s."""
        days = np.floor(self.seconds / DAY)
        rest = self.seconds - days * DAY
        return Time(J2000_JD + days, (rest + self.fraction) / DAY, format="jd", scale=self.scale)

    def shift(self, seconds: ArrayLike) -> Epochs:
        """Later by so many seconds (array or number); the scale stays.

        Raises
        ------
        InputError
            If a step is not finite.
        """
        step = _finite(seconds)
        whole = np.round(step)
        rest = self.fraction + (step - whole)
        carry = np.round(rest)
        return Epochs(self.seconds + (whole + carry), rest - carry, self.scale)

    def minus(self, other: Epochs) -> Array:
        """Seconds from ``other`` to here, shape (n,).

        Raises
        ------
        InputError
            If the scales differ.
        """
        if self.scale != other.scale:
            raise InputError(
                "epochs of two scales have no difference", found=other.scale, expected=self.scale
            )
        return (self.seconds - other.seconds) + (self.fraction - other.fraction)

    @property
    def julian_date(self) -> tuple[Array, Array]:
        """Two-part Julian date: whole days (noon), and the rest of the day, to 1e-11 s."""
        days = np.floor(self.seconds / DAY)
        return J2000_JD + days, ((self.seconds - days * DAY) + self.fraction) / DAY

    @property
    def since_j2000(self) -> Array:
        """Seconds since J2000.0 in one float: for slow angles and for plots only."""
        return self.seconds + self.fraction

    def once(self, key: Hashable, compute: Callable[[], T]) -> T:
        """What depends on the instants alone, computed when it is asked for the first time.

        How a body is turned is wanted by its position, its steps, the horizons on it and the
        derivatives. It is kept as long as these epochs are; a slice of them starts anew.

        Parameters
        ----------
        key : hashable
            What it is; an object stands for itself.
        compute : callable
            Gives it.
        """
        if key not in self._known:
            self._known[key] = compute()
        known: T = self._known[key]
        return known

    @cached_property
    def _known(self) -> dict[Hashable, Any]:
        return {}

    def __getitem__(self, index: Any) -> Epochs:
        return Epochs(
            np.atleast_1d(self.seconds[index]), np.atleast_1d(self.fraction[index]), self.scale
        )

    def __len__(self) -> int:
        return int(self.seconds.size)

    def __iter__(self) -> Iterator[Epochs]:
        return (self[i] for i in range(len(self)))

    def __repr__(self) -> str:
        if not len(self):
            return f"<Epochs: none, {self.scale.upper()}>"
        first, last = (self[i].to_time().isot[0] for i in (0, -1))
        return f"<Epochs: {len(self)}, {first} to {last} {self.scale.upper()}>"


def tdb_minus_tt(epochs: Epochs) -> Array:
    """TDB - TT at the geocentre, s, shape (n,).

    SOFA's ``dtdb`` with 787 terms (Fairhead & Bretagnon 1990). The amplitude is 1.7 ms; over a
    light time of 40 minutes it changes by some 0.5 microseconds, 150 m of two-way light.

    Parameters
    ----------
    epochs : Epochs
        Instants in TDB or TT: which one is of no consequence to the result.
    """
    return np.asarray(erfa.dtdb(*epochs.julian_date, 0.0, 0.0, 0.0, 0.0), float)


def iso_texts(time: Time) -> NDArray[np.str_]:
    """Instants in ISO form to the millisecond, as `Time.isot` writes them, all at once.

    Parameters
    ----------
    time : Time, shape (n,)
        UTC; a leap second is the second 60.
    """
    year, month, day, clock = erfa.d2dtf(time.scale.upper(), 3, time.jd1, time.jd2)
    fields = (year, 4), (month, 2), (day, 2)
    clocks = (clock["h"], 2), (clock["m"], 2), (clock["s"], 2), (clock["f"], 3)
    letters = np.tile(
        np.frombuffer("0000-00-00T00:00:00.000".encode("utf-32-le"), "<u4"), (len(time), 1)
    )
    place = 0
    for value, digits in (*fields, *clocks):
        for k in range(digits):
            letters[:, place + k] += (value // 10 ** (digits - 1 - k) % 10).astype("<u4")
        place += digits + 1
    return letters.view("<U23")[:, 0]
