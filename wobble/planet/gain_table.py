"""The measured pattern of an antenna: gain against the angle from its boresight.

In: a table of angles (rad) and gains (dB). Out: the gain at any angle, linear in decibels
between the entries; beyond the last angle the antenna is taken as deaf.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.errors import InputError

__all__ = ["GainTable"]

Array = NDArray[np.float64]

DEAF = -200.0
"""dB, beyond the end of a table: finite, so that a margin can be searched for its zero."""


@dataclass(frozen=True, eq=False)
class GainTable:
    """Gain of an antenna, the same in all directions about its boresight.

    Parameters
    ----------
    angle : ndarray, shape (m,)
        From the boresight, rad, from 0 upward.
    gain : ndarray, shape (m,)
        dB, over an isotropic antenna or over the peak: as `least` is.
    least : float
        The least gain with which the link works, dB.

    Raises
    ------
    InputError
        If the table is too short, does not begin at the boresight or does not increase, or if
        no angle has the least gain.
    """

    angle: Array
    gain: Array
    least: float

    def __post_init__(self) -> None:
        if self.angle.shape != self.gain.shape or self.angle.size < 2:
            raise InputError(
                "a gain table needs as many gains as angles, at least two",
                field="gain_angle",
                found=f"{self.angle.size} angles, {self.gain.size} gains",
            )
        if self.angle[0] != 0 or not (np.diff(self.angle) > 0).all() or self.angle[-1] > np.pi:
            raise InputError(
                "the angles of a gain table begin at 0 and increase to 180 degrees at most",
                field="gain_angle",
            )
        if not self.gain.max() > self.least:
            raise InputError(
                "the antenna has the least gain in no direction",
                field="least_gain_db",
                found=self.least,
                expected=f"less than {self.gain.max():g} dB, the peak",
            )

    def at(self, off_boresight: ArrayLike) -> Array:
        """Gain, dB, at angles from the boresight, rad."""
        return np.interp(np.asarray(off_boresight, float), self.angle, self.gain, right=DEAF)
