"""What a noise contribution is: named parameters in, terms along the link out.

In: parameters in SI units, each with its default, unit and limits. Out: for the points of
a pass the processes that the contribution lays on the path, or the variance that it adds
to each sample on its own.

Conventions, for one-way equivalent path ``x`` (m) and range rate ``v = dx/dt`` (m/s):

    one-way      x = z_down                      y = v / c
    two-way      x = (z_up + z_down) / 2         y = 2 v / c
    three-way    as two-way, the stations' own noise independent on the two legs

with ``z`` the excess path of a leg and ``y`` the fractional frequency received; the uplink
of what is received at t passed the station one round trip earlier.
"""

from __future__ import annotations

import math
from abc import ABC
from collections.abc import Mapping
from dataclasses import Field, dataclass, field, fields
from typing import Any, ClassVar, Self

import numpy as np
from numpy.typing import NDArray

from wobble.errors import InputError, UnknownNameError
from wobble.noise.geometry import PassGeometry, PathPoints
from wobble.noise.path_covariance import Leg, Term
from wobble.noise.processes import Process

__all__ = [
    "KOLMOGOROV",
    "REFERENCE_COUNT",
    "X_DOWNLINK",
    "X_UPLINK",
    "Contribution",
    "column",
    "parameter",
    "path_factor",
    "station_terms",
]

Array = NDArray[np.float64]

KOLMOGOROV = -8.0 / 3.0
"""Exponent of the path spectrum of Kolmogorov turbulence carried past the ray."""
X_UPLINK, X_DOWNLINK = 7.17e9, 8.42e9
"""Carriers of a deep-space X-band link, Hz; their ratio is near 749/880."""
REFERENCE_COUNT = 60.0
"""Count time to which levels of range rate refer, s."""


def parameter(
    default: float, unit: str, meaning: str, *, least: float = -math.inf, level: str = ""
) -> Any:
    """A field of a contribution: default in SI, SI unit ("" for none), meaning, least value.

    A ``level`` is the unit of a number in decibel, which is written without it.
    """
    told = {"unit": unit, "shown": unit or level, "meaning": meaning, "least": least}
    return field(default=default, metadata=told)


def column(unit: str, meaning: str) -> Any:
    """A field that is a list of numbers, which has to be given: SI unit, meaning."""
    told = {"unit": unit, "shown": unit, "meaning": meaning, "is_list": True}
    return field(default=(), metadata=told)


@dataclass(frozen=True)
class Contribution(ABC):
    """Base of all contributions: a frozen set of numbers with a name.

    Parameters
    ----------
    scale : float
        Factor on the standard deviation of the whole contribution.
    """

    name: ClassVar[str]

    scale: float = parameter(1.0, "", "factor on the standard deviation", least=0.0)

    def __post_init__(self) -> None:
        for f in fields(self):
            check = self._check_list if f.metadata.get("is_list") else self._check_number
            check(f)

    def _check_number(self, f: Field[Any]) -> None:
        value, least = getattr(self, f.name), f.metadata["least"]
        number = isinstance(value, int | float) and not isinstance(value, bool)
        if not number or not math.isfinite(value) or value < least:
            bound = f" from {least:g}" if least > -math.inf else ""
            raise self._impossible(f, value, f"a finite number{bound}")

    def _check_list(self, f: Field[Any]) -> None:
        try:
            values = tuple(float(value) for value in getattr(self, f.name))
        except (TypeError, ValueError):
            raise self._impossible(f, getattr(self, f.name), "a list of numbers") from None
        if not values or not all(map(math.isfinite, values)):
            raise self._impossible(f, list(values), "a list of finite numbers")
        object.__setattr__(self, f.name, values)

    def _impossible(self, f: Field[Any], found: object, expected: str) -> InputError:
        problem = f"not a possible value for the noise contribution {self.name}"
        if getattr(self, f.name) is f.default:  # one that stands for what has to be given
            problem, found = f"has to be given for the noise contribution {self.name}", None
        return InputError(problem, field=f.name, found=found, expected=expected)

    @classmethod
    def from_table(cls, table: dict[str, Any], source: str) -> Self:
        """From a table of a scenario, values in SI; ``source`` names it in errors."""
        known = [f.name for f in fields(cls)]
        for key in table:
            if key not in known:
                raise UnknownNameError(f"parameter of {cls.name}", key, known, source=source)
        try:
            return cls.stating(table)
        except InputError as error:
            error.source = source
            error.args = (str(error),)
            raise

    @classmethod
    def stating(cls, given: Mapping[str, Any]) -> Self:
        """With some parameters given by name, in SI, which count as stated whatever they are."""
        made = cls(**given)
        object.__setattr__(made, "_stated", frozenset(given))
        return made

    @property
    def stated(self) -> frozenset[str]:
        """Names of the parameters that were stated, or differ from their defaults."""
        other = {f.name for f in fields(self) if getattr(self, f.name) != f.default}
        return frozenset(other | getattr(self, "_stated", frozenset()))

    def terms(self, points: PathPoints) -> list[Term]:
        """Processes that the contribution lays on the path, before ``scale``."""
        return []

    def sample_variance(self, geometry: PassGeometry) -> Array | float:
        """Variance independent from sample to sample, before ``scale``, shape (n,) or 0."""
        return 0.0


def path_factor(points: PathPoints) -> float:
    """Weight of a leg in the one-way equivalent path: 1 for one-way, otherwise 1/2."""
    return 1.0 if points.ways == 1 else 0.5


def station_terms(
    process: Process,
    points: PathPoints,
    *,
    down: Array | None = None,
    up: Array | None = None,
    down_gain: float = 1.0,
    up_gain: float = 1.0,
    on_range: float = 1.0,
    on_range_rate: float = 1.0,
) -> list[Term]:
    """Terms of a process that stands at the station and is passed by each leg there.

    Two-way, the same process is met a round trip apart; three-way, each station has its own.

    Parameters
    ----------
    process : Process
        Path of one leg, m.
    points : PathPoints
        Where the path enters the samples.
    down, up : ndarray, shape (m,), optional
        Modulations of the legs along the pass.
    down_gain, up_gain : float
        Constant factors of the legs, before the factor 1/2 of the one-way equivalent.
    on_range, on_range_rate : float
        As for `Term`.
    """
    half = path_factor(points)
    receiving = Leg(half * down_gain, 0.0, down)
    sending = Leg(half * up_gain, points.round_trip, up)
    if points.ways == 1 or up_gain == 0.0:
        groups: list[tuple[Leg, ...]] = [(receiving,)]
    elif points.ways == 2:
        groups = [(receiving, sending)]
    else:
        groups = [(receiving,), (sending,)]
    return [Term(process, legs, on_range, on_range_rate) for legs in groups]
