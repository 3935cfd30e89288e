"""The kinds of measurements, and what is true of each of them.

In: the name of a kind, as it stands in tables and files. Out: a `Kind`, which says its units and
names, what it measures of a signal's path, and what an error of whole steps means for it. What
depends on the kind of a measurement is asked of it, and decided nowhere else by its name.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import SPEED_OF_LIGHT
from wobble.shown import fitting_unit

__all__ = ["KINDS", "Kind", "kind_named"]

Array = NDArray[np.float64]

LENGTHS = (("km", 1e3, 1e3), ("m", 1.0, 0.1), ("cm", 1e-2, 3e-3), ("mm", 1e-3, 0.0))
SPEEDS = (("m/s", 1.0, 0.3), ("mm/s", 1e-3, 5e-6), ("µm/s", 1e-6, 0.0))
"""Units: name, SI value, and size (SI) from which the trade uses it."""


@dataclass(frozen=True)
class Kind:
    """One kind of measurement.

    Parameters
    ----------
    name : str
        In tables and files.
    label : str
        For a reader.
    si, user : str
        Unit inside, and the one in which residuals are told.
    scale : float
        SI value of the latter.
    counted : bool
        Whether it is an average over a count time.
    ways : int
        Legs of its signal's path.
    units : tuple
        In which values are shown: name, SI value, and size (SI) from which the trade uses it.
    """

    name: str
    label: str
    si: str
    user: str
    scale: float
    counted: bool
    ways: int
    units: tuple[tuple[str, float, float], ...]

    @property
    def si_text(self) -> str:
        """The unit inside as people write it."""
        return self.si.replace(" ", "") or "SI"

    @property
    def rms_key(self) -> str:
        """Under which programs find the size of its residuals, its unit in the name."""
        return f"{self.name}_{self.user.replace('/', '_').lower()}"

    def fitting_unit(self, size: float) -> tuple[str, float]:
        """Name and SI value of the unit in which the trade writes values of this size (SI)."""
        return fitting_unit(self.units, size)

    def step(
        self, frequency: ArrayLike, turnaround: float, count_time: ArrayLike, ambiguity: float
    ) -> Array:
        """Shift of each measurement by one lost cycle, or by one ambiguity of range, SI.

        A counter that loses one cycle of the received carrier within a count of duration T shifts
        the range rate by ``c / (n f T)`` for n ways of the signal and the received frequency f:
        for X band and a minute 0.3 mm/s two-way, in its one-way equivalent, and 0.6 mm/s one-way.

        Parameters
        ----------
        frequency : array_like, shape (n,)
            Of the uplink, or nominal one of a downlink from the lander's oscillator, Hz.
        turnaround : float
            Received over transmitted frequency of the lander.
        count_time : array_like, shape (n,)
            s.
        ambiguity : float
            After which the ranging code repeats itself, one-way, m; NaN if not known.
        """
        sent = np.asarray(frequency, float)
        if not self.counted:
            return np.full(sent.shape, ambiguity)
        received = sent if self.ways == 1 else turnaround * sent
        return np.asarray(SPEED_OF_LIGHT / (self.ways * received * np.asarray(count_time, float)))

    def slip_text(self, count: int) -> str:
        """What an error of so many steps is; empty for none."""
        if not count:
            return ""
        one = abs(count) == 1
        if self.counted:
            return f"cycle slip of {count:+d} cycle{'' if one else 's'} of the carrier"
        return f"range wrong by {count:+d} ambiguit{'y' if one else 'ies'}"


KINDS = {
    kind.name: kind
    for kind in (
        Kind("range", "range", "m", "m", 1.0, False, 2, LENGTHS),
        Kind("range_rate", "range rate", "m / s", "mm/s", 1e-3, True, 2, SPEEDS),
        Kind("one_way_range_rate", "one-way range rate", "m / s", "mm/s", 1e-3, True, 1, SPEEDS),
    )
}


def kind_named(name: str) -> Kind:
    """The kind of that name; of one that is not known, with numbers in SI units."""
    return KINDS.get(name) or Kind(name, name, "", "SI", 1.0, False, 2, (("SI", 1.0, 0.0),))
