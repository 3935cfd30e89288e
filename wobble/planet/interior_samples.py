"""Samples of a planet's interior and how they show themselves.

In: arrays of n samples of each quantity, made by `wobble.planet.interior`. Out: medians,
credible intervals, tables in text and HTML.

An interval of content p is central: (1 - p)/2 of the samples lie below and above it.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from astropy.table import QTable
from numpy.typing import NDArray

from wobble.constants import DAY
from wobble.errors import UnknownNameError

__all__ = ["InteriorSamples"]

Array = NDArray[np.float64]

# Unit in which a quantity is shown: its size in SI and its name; all others have no unit.
SHOWN = {
    "core_period": (DAY, "d"),
    "core_radius": (1e3, "km"),
    "core_density": (1.0, "kg/m3"),
    "mantle_density": (1.0, "kg/m3"),
}
ONE_SIGMA, TWO_SIGMA = 0.6827, 0.9545


@dataclass(frozen=True, eq=False)
class InteriorSamples:
    """What the inside is like, n times.

    Parameters
    ----------
    flattening, polar_moment : ndarray, shape (n,)
        H_D and C/(M R^2).
    core_factor, core_period : ndarray, shape (n,)
        The input: F and the period (s).
    core_moment : ndarray, shape (n,)
        A_c / A, share of the core in the equatorial moment.
    core_flattening, hydrostatic_flattening : ndarray, shape (n,)
        e_c from the period, and what it were in a fluid planet.
    core_radius : ndarray, shape (n,)
        m.
    core_density, mantle_density : ndarray, shape (n,)
        kg/m^3.
    gamma, beta : ndarray, shape (n,)
        Compliances of the mantle.
    assumptions : tuple of str
        What went in beside the data.
    rejected : int
        Samples taken out because no planet of this kind exists for them.
    """

    flattening: Array
    polar_moment: Array
    core_factor: Array
    core_period: Array
    core_moment: Array
    core_flattening: Array
    hydrostatic_flattening: Array
    core_radius: Array
    core_density: Array
    mantle_density: Array
    gamma: Array
    beta: Array
    assumptions: tuple[str, ...] = ()
    rejected: int = 0

    @property
    def quantities(self) -> dict[str, Array]:
        """All samples by name, with the core's departure from hydrostatic shape."""
        found = {f.name: getattr(self, f.name) for f in fields(self)}
        arrays = {name: value for name, value in found.items() if isinstance(value, np.ndarray)}
        departure = self.core_flattening - self.hydrostatic_flattening
        return {**arrays, "flattening_departure": departure}

    def only(self, kept: NDArray[np.bool_]) -> InteriorSamples:
        """The samples of a selection; the others are counted as rejected."""
        arrays = {f.name: getattr(self, f.name) for f in fields(self)}
        chosen: dict[str, Any] = {
            n: v[kept] for n, v in arrays.items() if isinstance(v, np.ndarray)
        }
        rejected = self.rejected + int(kept.size - kept.sum())
        return replace(self, **chosen, rejected=rejected)

    def __len__(self) -> int:
        return len(self.core_radius)

    def _samples(self, quantity: str) -> Array:
        if quantity not in self.quantities:
            raise UnknownNameError("quantity of the interior", quantity, self.quantities)
        return self.quantities[quantity]

    def median(self, quantity: str) -> float:
        """Median of a quantity, SI units."""
        return float(np.median(self._samples(quantity)))

    def interval(self, quantity: str, content: float = ONE_SIGMA) -> tuple[float, float]:
        """Central credible interval of a quantity, SI units."""
        tail = 50.0 * (1.0 - content)
        low, high = np.percentile(self._samples(quantity), [tail, 100.0 - tail])
        return float(low), float(high)

    def to_table(self) -> QTable:
        """Median and central 68 % and 95 % intervals of each quantity, in the unit shown."""
        rows = []
        for name in self.quantities:
            size, unit = SHOWN.get(name, (1.0, ""))
            values = [
                self.median(name),
                *self.interval(name, ONE_SIGMA),
                *self.interval(name, TWO_SIGMA),
            ]
            rows.append((name, unit, *(value / size for value in values)))
        names = ("quantity", "unit", "median", "low_68", "high_68", "low_95", "high_95")
        table = QTable(rows=rows, names=names)
        for column in names[2:]:
            table[column].info.format = ".6g"
        return table

    def notes(self) -> list[str]:
        """How many samples were rejected, and every assumption, one sentence each."""
        count = len(self)
        return [
            f"{count} samples, {self.rejected} of {count + self.rejected} rejected "
            "(no such planet exists)",
            *(f"assumed: {text}" for text in self.assumptions),
        ]

    def __str__(self) -> str:
        table = self.to_table().pformat(max_lines=-1, max_width=-1)
        return "\n".join([*table, *self.notes()])

    def __repr__(self) -> str:
        return f"<InteriorSamples: {len(self)} samples, {self.rejected} rejected>"

    def _repr_html_(self) -> str:
        table = "".join(self.to_table().pformat(max_lines=-1, max_width=-1, html=True))
        return table + "".join(f"<p>{line}</p>" for line in self.notes())
