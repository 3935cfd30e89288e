"""Two solutions side by side.

In: two solutions. Out: `Comparison`, the differences of the parameters that both have
estimated, in sigmas, as a table.

Differences are told against the root sum of squares of both realistic uncertainties, which
is right for solutions from different data, and against the first solution's alone, which
tells whether a change matters. The correlated distance of all parameters together is
``d^T (C_1 + C_2)^-1 d``, chi-square distributed for independent data.
"""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import Any

import numpy as np
from astropy.table import Table
from numpy.typing import NDArray
from scipy.stats import chi2

from wobble.errors import InputError
from wobble.estimation.solution import Solution
from wobble.shown import shortly

__all__ = ["Comparison", "compare"]

Array = NDArray[np.float64]
HEAD = ("parameter", "first", "second", "difference", "in sigmas", "in sigmas of the first", "unit")


@dataclass(frozen=True, eq=False)
class Comparison:
    """Differences of two solutions, second minus first.

    Attributes
    ----------
    first, second : Solution
    names : tuple of str
        Parameters that both have estimated.
    difference : ndarray, shape (p,)
        SI.
    chi_square : float
        Distance of all together, as if the data were independent.
    """

    first: Solution
    second: Solution
    names: tuple[str, ...]
    difference: Array
    chi_square: float

    @property
    def in_sigmas(self) -> Array:
        """Differences over both uncertainties together, shape (p,)."""
        return self.difference / np.hypot(
            _sigma(self.first, self.names), _sigma(self.second, self.names)
        )

    @property
    def in_first_sigmas(self) -> Array:
        """Differences over the uncertainty of the first, shape (p,)."""
        return self.difference / _sigma(self.first, self.names)

    @property
    def sigma_ratio(self) -> Array:
        """Uncertainties of the second over those of the first, shape (p,)."""
        return _sigma(self.second, self.names) / _sigma(self.first, self.names)

    @property
    def probability(self) -> float:
        """Of a distance at least as large by chance, from independent data."""
        return float(chi2.sf(self.chi_square, len(self.names)))

    def as_json(self) -> dict[str, Any]:
        """The comparison as plain JSON types, values in the parameters' own units."""
        parameters = {}
        for k, name in enumerate(self.names):
            first = self.first[name]
            second = self.second[name].to(first.unit)
            parameters[name] = {
                "first": first.value,
                "second": second.value,
                "difference": second.value - first.value,
                "unit": first.unit,
                "in_sigmas": float(self.in_sigmas[k]),
                "in_first_sigmas": float(self.in_first_sigmas[k]),
            }
        return {
            "parameters": parameters,
            "chi_square": self.chi_square,
            "probability": self.probability,
        }

    def table(self) -> Table:
        """The comparison as texts, a parameter a row."""
        head, *rows = self._cells()
        return Table(rows=rows, names=head)

    def _cells(self) -> list[tuple[str, ...]]:
        cells: list[tuple[str, ...]] = [HEAD]
        for k, name in enumerate(self.names):
            first = self.first[name]
            second = self.second[name].to(first.unit)
            cells.append(
                (
                    name,
                    first.measured,
                    second.measured,
                    shortly(second.value - first.value, 3, signed=True),
                    f"{self.in_sigmas[k]:+.2f}",
                    f"{self.in_first_sigmas[k]:+.2f}",
                    first.unit,
                )
            )
        return cells

    @property
    def summary(self) -> str:
        """What is said of all parameters together."""
        return (
            f"all together: chi-square {self.chi_square:.3g} for {len(self.names)} parameters, "
            f"probability {self.probability:.2g} if the data are independent"
        )

    def __str__(self) -> str:
        cells = self._cells()
        widths = [max(len(row[k]) for row in cells) for k in range(len(HEAD))]
        lines = [
            "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in cells
        ]
        return "\n".join([*lines, "", self.summary])

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        head, *body = self._cells()
        rows = [
            "".join(f"<td>{html.escape(cell)}</td>" for cell in row).join(("<tr>", "</tr>"))
            for row in body
        ]
        titles = "".join(f"<th>{cell}</th>" for cell in head)
        return (
            f"<table><thead><tr>{titles}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
            f"<p>{html.escape(self.summary)}</p>"
        )


def compare(first: Solution, second: Solution) -> Comparison:
    """Compare the parameters that two solutions have in common.

    Raises
    ------
    InputError
        If there are none.
    """
    names = tuple(name for name in first.names if name in second)
    if not names:
        raise InputError(
            "the two solutions have no estimated parameter in common",
            found=", ".join(second.names),
            expected=", ".join(first.names),
        )
    difference = second.values[_places(second, names)] - first.values[_places(first, names)]
    covariance = _covariance(first, names) + _covariance(second, names)
    scale = np.sqrt(np.diag(covariance))
    distance = (difference / scale) @ np.linalg.solve(
        covariance / np.outer(scale, scale), difference / scale
    )
    return Comparison(first, second, names, difference, float(distance))


def _places(solution: Solution, names: tuple[str, ...]) -> list[int]:
    return [solution.names.index(name) for name in names]


def _covariance(solution: Solution, names: tuple[str, ...]) -> Array:
    places = _places(solution, names)
    return solution.covariance_realistic[np.ix_(places, places)]


def _sigma(solution: Solution, names: tuple[str, ...]) -> Array:
    return np.sqrt(np.diag(_covariance(solution, names)))
