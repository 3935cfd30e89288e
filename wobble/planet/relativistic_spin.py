"""Relativity in the spin angle: the planet turns evenly in its own time, not in TDB.

In: a body, its spin rate, an ephemeris, a span. Out: a `RelativisticSpin`: the angle by which
the planet is ahead of an even rotation in TDB as a table, its rate, its series.

The proper time tau of the planet's centre, its own potential apart, runs as

    dtau/dTDB = 1 + L_B - (v^2/2 + U)/c^2,

v the barycentric speed, U the potential of all other bodies, L_B what scales TDB. A rotation
even in tau has ``phi = Omega tau``, so in TDB the angle is ahead by the integral of
``Omega (L_B - (v^2/2 + U)/c^2)`` (Baland et al. 2023, Astron. Astrophys. 670, A29). Its mean
rate cannot be told from the spin rate and is taken off the table; near perihelion speed and
potential are high and the planet falls behind: for Mars -167 mas sin(l) and its harmonics,
0.6 mas at the synodic period with Jupiter.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.polynomial import chebyshev
from numpy.typing import NDArray

from wobble.chebyshev import ChebyshevTable
from wobble.constants import DAY, GM, L_B, MAS, SPEED_OF_LIGHT
from wobble.ephemeris import Ephemeris
from wobble.epochs import Epochs
from wobble.planet.harmonic_fit import HarmonicSeries, fit_harmonics

__all__ = ["RelativisticSpin", "clock_rate", "relativistic_spin"]

Array = NDArray[np.float64]

RECORD = 16.0 * DAY
DEGREE = 12


@dataclass(frozen=True, eq=False)
class RelativisticSpin:
    """What relativity adds to a planet's spin angle.

    Parameters
    ----------
    body : str
        The planet.
    rate : float
        Mean rate at J2000.0, rad/s: part of the spin rate.
    table : ChebyshevTable
        The angle without its mean and mean rate, rad, one column.
    series : HarmonicSeries
        Fitted to the angle at multiples of the mean anomaly; the polynomial holds what was
        taken off.
    """

    body: str
    rate: float
    table: ChebyshevTable
    series: HarmonicSeries

    def __str__(self) -> str:
        amplitudes = ", ".join(
            f"{c / MAS:+.3f} cos {s / MAS:+.3f} sin at {2.0 * np.pi / f / DAY:.2f} d"
            for (c,), (s,), f in zip(
                self.series.cosine, self.series.sine, self.series.frequency, strict=True
            )
        )
        return (
            f"relativity in the spin of {self.body}: {self.rate * DAY / MAS:.4f} mas/d; "
            f"{amplitudes} (mas)"
        )


def clock_rate(body: str, ephemeris: Ephemeris, epochs: Epochs) -> Array:
    """``dtau/dTDB - 1`` of a body's centre, its own potential apart, shape (n,).

    All bodies of known mass in the ephemeris act.
    """
    here, velocity = ephemeris.state(body, epochs)
    energy = 0.5 * np.einsum("ni,ni->n", velocity, velocity)
    for other in GM:
        if other != body and other in ephemeris.bodies:
            distance = np.linalg.norm(ephemeris.position(other, epochs) - here, axis=1)
            energy += GM[other] / distance
    return L_B - energy / SPEED_OF_LIGHT**2


def relativistic_spin(
    body: str,
    spin_rate: float,
    ephemeris: Ephemeris,
    start: float,
    stop: float,
    anomaly: tuple[float, float],
    *,
    harmonics: int = 4,
) -> RelativisticSpin:
    """Integrate the clock rate along the ephemeris.

    Parameters
    ----------
    body : str
        Its name in the ephemeris.
    spin_rate : float
        Omega, rad/s.
    ephemeris : Ephemeris
        Positions and velocities of all bodies.
    start, stop : float
        Span, seconds since J2000.0 TDB; widened to whole records.
    anomaly : (float, float)
        Rate of the mean anomaly (rad/s) and its value at J2000.0 (rad).
    harmonics : int
        Multiples of the mean anomaly in the series.

    Raises
    ------
    InputError
        If the ephemeris does not reach, or the span is too short to separate the terms.
    """

    def ahead(epochs: Epochs) -> Array:
        return spin_rate * clock_rate(body, ephemeris, epochs)[:, None]

    name = f"relativistic spin of {body}"
    rates = ChebyshevTable.fit(ahead, start, stop, RECORD, DEGREE, name=name)
    table = _integrated(rates)
    multiples = np.arange(1, harmonics + 1)
    epochs = Epochs.of(np.arange(table.start, table.stop, 4.0 * DAY))
    series = fit_harmonics(
        epochs, table.value(epochs), multiples * anomaly[0], multiples * anomaly[1]
    )
    mean, rate = series.polynomial[:2, 0]
    return RelativisticSpin(body, float(rate), _without_trend(table, mean, rate), series)


def _integrated(rates: ChebyshevTable) -> ChebyshevTable:
    """Integral of a table from its start, continuous from record to record."""
    scale = rates.length / 2.0
    integrals = chebyshev.chebint(rates.coefficients, lbnd=-1.0, scl=scale, axis=2)
    within = np.asarray(integrals, float)
    ends = np.cumsum(within.sum(axis=2), axis=0)
    within[1:, :, 0] += ends[:-1]
    return replace(rates, coefficients=within)


def _without_trend(table: ChebyshevTable, mean: float, rate: float) -> ChebyshevTable:
    coefficients = table.coefficients.copy()
    middles = table.start + (np.arange(len(coefficients)) + 0.5) * table.length
    coefficients[:, 0, 0] -= mean + rate * middles
    coefficients[:, 0, 1] -= rate * table.length / 2.0
    return replace(table, coefficients=coefficients)
