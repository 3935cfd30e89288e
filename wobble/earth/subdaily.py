"""Sub-daily variations of polar motion and of UT1: ocean tides and libration.

In: epochs in TT. Out: what is to be added to the pole coordinates (rad) and to UT1 (s)
of an Earth-orientation table, whose values are free of sub-daily terms.

Each variation is a sum over tidal lines, ``sum(s sin(a) + c cos(a))``, with ``a`` a sum of
multiples of GMST + pi and of the five Delaunay variables (IERS Conventions 2010, sections
5.5.1.3, 5.5.3.3 and 8.2):

- ocean tides, 71 lines (tables 8.2 and 8.3; Ray, Steinberg, Chao & Cartwright 1994, Science
  264, 830): up to 0.9 mas in the pole, 3 cm, and 0.09 ms in UT1, 4 cm at the equator;
- libration, the direct torque on the Earth's triaxial figure, 10 diurnal lines of the pole
  (table 5.1a) and 11 semidiurnal lines of UT1 (table 5.1b): up to 0.045 mas, 1.4 mm, and
  0.004 ms, 1.7 mm at the equator.

Not here: zonal tides in UT1 from 5 days on, which the tables contain, and retrograde diurnal
polar motion, which by convention is nutation.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from importlib.resources import files
from typing import Self

import erfa
import numpy as np
from numpy.typing import NDArray

from wobble.constants import JULIAN_CENTURY, MAS
from wobble.epochs import Epochs
from wobble.errors import InputError

__all__ = [
    "libration_variations",
    "ocean_tide_variations",
    "subdaily_variations",
    "tidal_arguments",
    "tidal_table",
    "utc_date",
]

Array = NDArray[np.float64]

MICROARCSECOND = MAS / 1e3
MICROSECOND = 1e-6


def subdaily_variations(epochs: Epochs) -> tuple[Array, Array, Array]:
    """All sub-daily variations: ocean tides and libration.

    Parameters
    ----------
    epochs : Epochs
        Instants in TT.

    Returns
    -------
    x_pole, y_pole : ndarray, shape (n,)
        Variations of the pole coordinates, rad.
    ut1 : ndarray, shape (n,)
        Variation of UT1, s.

    Raises
    ------
    InputError
        If the epochs are not in TT.
    """
    arguments = tidal_arguments(epochs)
    x_tide, y_tide, ut1_tide = _OCEAN_TIDES.sum(arguments)
    x_libration, y_libration, ut1_libration = _LIBRATION.sum(arguments)
    return x_tide + x_libration, y_tide + y_libration, ut1_tide + ut1_libration


def ocean_tide_variations(epochs: Epochs) -> tuple[Array, Array, Array]:
    """Variations by the ocean tides alone; see `subdaily_variations`.

    The largest lines are M2 (0.33 mas in x), K1 (0.17 mas) and O1 (0.14 mas, 20 microseconds).
    """
    return _OCEAN_TIDES.sum(tidal_arguments(epochs))


def libration_variations(epochs: Epochs) -> tuple[Array, Array, Array]:
    """Variations by the libration alone; see `subdaily_variations`.

    The largest lines are K1 (0.016 mas) in the pole and M2 (2 microseconds) in UT1.
    """
    return _LIBRATION.sum(tidal_arguments(epochs))


def tidal_arguments(epochs: Epochs) -> Array:
    """GMST + pi and the Delaunay variables l, l', F, D, Omega, rad, shape (n, 6).

    Parameters
    ----------
    epochs : Epochs
        Instants in TT.

    Raises
    ------
    InputError
        If the epochs are not in TT.

    Notes
    -----
    Delaunay variables of the IERS Conventions 2010, eq. 5.43. Sidereal time of 1982, with
    which the Conventions' own routines work; it is within 1e-6 rad of the newer one.
    """
    centuries = epochs.since_j2000 / JULIAN_CENTURY
    return np.stack(
        [
            erfa.gmst82(*utc_date(epochs)) + np.pi,
            erfa.fal03(centuries),
            erfa.falp03(centuries),
            erfa.faf03(centuries),
            erfa.fad03(centuries),
            erfa.faom03(centuries),
        ],
        axis=-1,
    )


def utc_date(epochs: Epochs) -> tuple[Array, Array]:
    """Two-part Julian date of UTC, which stands for UT1 in the arguments of the tides.

    The two differ by less than 0.9 s, 1.3e-4 rad in a semidiurnal argument: 0.04
    microarcseconds in the sub-daily pole, 1 micrometre in a station's tide.

    Parameters
    ----------
    epochs : Epochs
        Instants in TT.

    Raises
    ------
    InputError
        If the epochs are not in TT.
    """
    if epochs.scale != "tt":
        raise InputError("tides are a function of TT", field="epochs", found=epochs.scale)
    with warnings.catch_warnings():
        # The warning is of leap seconds not yet announced; each would change as little as above.
        warnings.simplefilter("ignore", erfa.ErfaWarning)
        return erfa.taiutc(*erfa.tttai(*epochs.julian_date))


def tidal_table(name: str) -> Array:
    """A table of tidal lines that comes with the package; its head says what it holds."""
    text = files("wobble.earth").joinpath("data", name).read_text(encoding="ascii")
    return np.loadtxt(text.splitlines(), delimiter=",")


@dataclass(frozen=True, eq=False)
class _TidalSeries:
    """Sines and cosines of k tidal lines, for the pole (rad) and for UT1 (s)."""

    multipliers: Array  # (k, 6), of `tidal_arguments`
    sine: Array  # (k, 3): x, y, UT1
    cosine: Array  # (k, 3)

    @classmethod
    def read(cls, name: str) -> Self:
        table = tidal_table(name)
        units = np.array([MICROARCSECOND, MICROARCSECOND, MICROSECOND])
        return cls(table[:, :6], table[:, 6::2] * units, table[:, 7::2] * units)

    def sum(self, arguments: Array) -> tuple[Array, Array, Array]:
        """Sum of all lines: x, y, UT1, each of shape (n,)."""
        angles = arguments @ self.multipliers.T
        x_pole, y_pole, ut1 = (np.sin(angles) @ self.sine + np.cos(angles) @ self.cosine).T
        return x_pole, y_pole, ut1


_OCEAN_TIDES = _TidalSeries.read("subdaily_tides.csv")
_LIBRATION = _TidalSeries.read("subdaily_libration.csv")
