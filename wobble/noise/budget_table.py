"""A budget in numbers: the table of its contributions, and the data of its two figures.

In: a budget and the conditions of a link. Out: rows of Allan deviation, range rate, range
and share of variance; rows of the contributions' parameters; contributions against the
Sun-Earth-probe angle; Allan deviations against averaging time.

All of it comes from the covariance of two contiguous counts, by the same code that weights
a fit: with C their covariance matrix, ``sigma_y^2 = (C_11 + C_22 - 2 C_12) / 2 (k / c)^2``,
where ``y = k v / c`` with k = 1 one-way and 2 two- and three-way.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wobble.constants import ASTRONOMICAL_UNIT, SPEED_OF_LIGHT
from wobble.noise.budget import Budget
from wobble.noise.geometry import PassGeometry

__all__ = [
    "BudgetRow",
    "LinkConditions",
    "ParameterRow",
    "allan_against_averaging_time",
    "allan_deviation",
    "budget_table",
    "contributions_against_sun_angle",
    "parameter_table",
]

Array = NDArray[np.float64]

TOTAL = "total"


@dataclass(frozen=True)
class LinkConditions:
    """Where the link is and how it is used, for one line of numbers.

    Parameters
    ----------
    sun_angle, elevation : float
        Sun-Earth-probe angle and elevation, rad.
    distance : float
        Distance, m; the round trip is twice its light time.
    count_time : float
        Count time of the range rates, s.
    ways : {1, 2, 3}
        As in `PassGeometry`.
    """

    sun_angle: float = math.pi / 2
    elevation: float = math.radians(45.0)
    distance: float = ASTRONOMICAL_UNIT
    count_time: float = 60.0
    ways: int = 2

    def contiguous_counts(self, count_time: float) -> PassGeometry:
        """Two range rates, the second count starting where the first ends."""
        return self._samples([0.5 * count_time, 1.5 * count_time], count_time, "range_rate")

    def single_range(self) -> PassGeometry:
        """One range."""
        return self._samples([0.0], math.nan, "range")

    def _samples(self, time: list[float], count_time: float, kind: str) -> PassGeometry:
        n = len(time)
        return PassGeometry(
            time=np.array(time),
            count_time=np.full(n, count_time),
            kind=np.full(n, kind),
            elevation=np.full(n, self.elevation),
            sun_angle=np.full(n, self.sun_angle),
            round_trip=np.full(n, 2.0 * self.distance / SPEED_OF_LIGHT),
            distance=np.full(n, self.distance),
            ways=self.ways,
        )


@dataclass(frozen=True)
class BudgetRow:
    """One line of the table: a contribution, or the total.

    Parameters
    ----------
    name : str
        Name of the contribution.
    allan_60, allan_1000 : float
        Allan deviation of the received fractional frequency at 60 s and 1000 s.
    range_rate : float
        Standard deviation of a range rate at the conditions' count time, m/s.
    range : float
        Standard deviation of a range, m.
    share : float
        Part of the variance of the range rate.
    """

    name: str
    allan_60: float
    allan_1000: float
    range_rate: float
    range: float
    share: float


@dataclass(frozen=True)
class ParameterRow:
    """A parameter of a contribution.

    Parameters
    ----------
    contribution, name : str
    value : float or tuple of float
        In ``unit``.
    unit : str
        Empty for none.
    meaning : str
    stated : bool
        Whether it was stated, or is the default.
    """

    contribution: str
    name: str
    value: float | tuple[float, ...]
    unit: str
    meaning: str
    stated: bool

    @property
    def text(self) -> str:
        """The value with its unit."""
        values = self.value if isinstance(self.value, tuple) else (self.value,)
        return f"{', '.join(f'{value:.6g}' for value in values)} {self.unit}".rstrip()

    @property
    def source(self) -> str:
        """Where the value is from, in a word."""
        return "stated" if self.stated else "default"


def parameter_table(budget: Budget) -> list[ParameterRow]:
    """A row for each parameter of each contribution."""
    return [
        ParameterRow(
            contribution=name,
            name=f.name,
            value=getattr(contribution, f.name),
            unit=f.metadata["shown"],
            meaning=f.metadata["meaning"],
            stated=f.name in contribution.stated,
        )
        for name, contribution in zip(budget.names, budget.contributions, strict=True)
        for f in fields(contribution)
    ]


def allan_deviation(
    budget: Budget, conditions: LinkConditions, averaging_times: ArrayLike
) -> Array:
    """Allan deviation of the received fractional frequency, shape (k,), at times in s."""
    per_range_rate = (1.0 if conditions.ways == 1 else 2.0) / SPEED_OF_LIGHT
    result = []
    for tau in np.atleast_1d(np.asarray(averaging_times, float)):
        c = budget.covariance(conditions.contiguous_counts(float(tau)))
        variance = (c[0, 0] + c[1, 1] - 2.0 * c[0, 1]) / 2.0
        result.append(per_range_rate * math.sqrt(max(variance, 0.0)))
    return np.array(result)


def range_rate_sigma(budget: Budget, conditions: LinkConditions) -> float:
    """Standard deviation of one range rate at the conditions' count time, m/s."""
    return float(budget.sigma(conditions.contiguous_counts(conditions.count_time))[0])


def budget_table(budget: Budget, conditions: LinkConditions) -> list[BudgetRow]:
    """A row for each contribution, and the total as the last."""
    total = range_rate_sigma(budget, conditions)
    rows = []
    for name, part in {**budget.alone(), TOTAL: budget}.items():
        allan_60, allan_1000 = allan_deviation(part, conditions, [60.0, 1000.0])
        range_rate = range_rate_sigma(part, conditions)
        rows.append(
            BudgetRow(
                name=name,
                allan_60=float(allan_60),
                allan_1000=float(allan_1000),
                range_rate=range_rate,
                range=float(part.sigma(conditions.single_range())[0]),
                share=(range_rate / total) ** 2 if total > 0.0 else 0.0,
            )
        )
    return rows


def contributions_against_sun_angle(
    budget: Budget, conditions: LinkConditions, sun_angles: ArrayLike
) -> dict[str, Array]:
    """Range-rate sigma (m/s) of each contribution and the total, shape (k,), by name.

    Parameters
    ----------
    budget : Budget
        Whose contributions.
    conditions : LinkConditions
        All but the Sun-Earth-probe angle.
    sun_angles : array_like, shape (k,)
        Sun-Earth-probe angles, rad.
    """
    angles = np.atleast_1d(np.asarray(sun_angles, float))
    places = [replace(conditions, sun_angle=float(angle)) for angle in angles]
    return {
        name: np.array([range_rate_sigma(part, place) for place in places])
        for name, part in {**budget.alone(), TOTAL: budget}.items()
    }


def allan_against_averaging_time(
    budget: Budget, conditions: LinkConditions, averaging_times: ArrayLike
) -> dict[str, Array]:
    """Allan deviation of each contribution and the total, shape (k,), by name; times in s."""
    return {
        name: allan_deviation(part, conditions, averaging_times)
        for name, part in {**budget.alone(), TOTAL: budget}.items()
    }
