"""A link's noise budget: the one description that simulates, weights and predicts.

In: contributions, as objects or as tables of a scenario, and the geometry of a pass. Out:
the covariance of its samples in m and m/s, their standard deviations, noise drawn with
exactly that covariance, and rows whitened by it.

    budget = Budget.from_tables([{"contribution": "solar_plasma"}, ...])
    factor = budget.factor(geometry)     # once for each pass
    factor.whiten(rows)                  # as often as the fit iterates
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from astropy.table import Table
from numpy.typing import NDArray

from wobble.errors import InputError, UnknownNameError
from wobble.noise.contributions.base import Contribution
from wobble.noise.contributions.general import GeneralNoise
from wobble.noise.contributions.registry import CONTRIBUTIONS
from wobble.noise.contributions.white import WhiteRange, WhiteRangeRate
from wobble.noise.covariance import CovarianceFactor, covariance, factors
from wobble.noise.geometry import PassGeometry, PathPoints
from wobble.noise.path_covariance import Term
from wobble.shown import with_table

__all__ = ["Budget", "PassGeometry", "standard_budget", "white_budget"]

Array = NDArray[np.float64]

TOGETHER = 2**18
"""Covariances of the passes that are worked on together: two megabytes."""


@dataclass(frozen=True)
class Budget:
    """Independent contributions to the noise of a link.

    Parameters
    ----------
    contributions : tuple of Contribution
        Named contributions; a name may occur twice.
    """

    contributions: tuple[Contribution, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "contributions", tuple(self.contributions))
        if not self.contributions:
            raise InputError("a noise budget needs a contribution", field="noise")

    @classmethod
    def from_tables(cls, tables: Sequence[dict[str, Any]], source: str = "noise") -> Self:
        """From the tables of a scenario.

        Parameters
        ----------
        tables : sequence of dict
            Each with ``contribution`` (a name of `CONTRIBUTIONS`), any of that class's
            fields in SI, and ``enabled = false`` for one that is switched off.
        source : str
            What errors call the list.

        Raises
        ------
        InputError
            If a name or a parameter is unknown, a value cannot be, or nothing is enabled.
        """
        chosen = []
        for k, table in enumerate(tables):
            where = f"{source}[{k}]"
            options = dict(table)
            enabled = options.pop("enabled", True)
            if not isinstance(enabled, bool):
                raise InputError(
                    "not a switch",
                    source=where,
                    field="enabled",
                    found=enabled,
                    expected="true or false",
                )
            name = options.pop("contribution", None)
            if not isinstance(name, str):
                raise InputError(
                    "a noise contribution needs a name",
                    source=where,
                    field="contribution",
                    found=name,
                    expected=f"one of {', '.join(CONTRIBUTIONS)}",
                )
            if name not in CONTRIBUTIONS:
                raise UnknownNameError("noise contribution", name, CONTRIBUTIONS, source=where)
            contribution = CONTRIBUTIONS[name].from_table(options, where)
            if enabled:
                chosen.append(contribution)
        return cls(tuple(chosen))

    @property
    def names(self) -> list[str]:
        """Names of the contributions, repeated ones numbered from the second on."""
        names: list[str] = []
        for contribution in self.contributions:
            same = sum(c.name == contribution.name for c in self.contributions[: len(names)])
            names.append(contribution.name + (f" {same + 1}" if same else ""))
        return names

    def alone(self) -> dict[str, Budget]:
        """Each contribution as a budget of its own, by name."""
        return {
            name: Budget((contribution,))
            for name, contribution in zip(self.names, self.contributions, strict=True)
        }

    @property
    def is_white(self) -> bool:
        """Whether all samples are taken as independent of one another."""
        return all(isinstance(c, WhiteRange | WhiteRangeRate) for c in self.contributions)

    def covariance(self, geometry: PassGeometry) -> Array:
        """Covariance of the samples, shape (n, n), in m and m/s according to their kinds."""
        points = geometry.points
        return covariance(points, self._terms(points), self._extra(points))[0]

    def sigma(self, geometry: PassGeometry) -> Array:
        """Standard deviations of the samples, shape (n,), in m and m/s."""
        if self.is_white:
            return np.sqrt(self._extra(geometry.points)[0])
        return np.sqrt(np.diagonal(self.covariance(geometry)))

    def factor(self, geometry: PassGeometry) -> CovarianceFactor:
        """Cholesky factor of the covariance.

        Raises
        ------
        NotPositiveDefiniteError
            If samples are not independent; says which.
        """
        return next(self.factors([geometry]))[1]

    def factors(self, geometries: Sequence[PassGeometry]) -> Iterator[tuple[int, CovarianceFactor]]:
        """Cholesky factors of many passes, each with the number of its pass.

        Passes whose samples lie alike are worked on together and follow one another, which
        is several times faster for short ones; a few at a time are in memory.

        Raises
        ------
        NotPositiveDefiniteError
            If samples are not independent; says which.
        """
        for alike in _alike(geometries):
            points = PathPoints([geometries[k] for k in alike])
            yield from zip(
                alike, factors(points, self._terms(points), self._extra(points)), strict=True
            )

    def draw(self, geometry: PassGeometry, rng: np.random.Generator) -> Array:
        """Noise of the samples with exactly this covariance, shape (n,)."""
        return self.factor(geometry).colour(rng.standard_normal(len(geometry)))

    def whiten(self, geometry: PassGeometry, rows: Array) -> Array:
        """Rows (n,) or (n, p) transformed so that their noise is white with unit variance."""
        return self.factor(geometry).whiten(rows)

    def _terms(self, points: PathPoints) -> list[Term]:
        return [
            term if c.scale == 1.0 else term.scaled(c.scale)
            for c in self.contributions
            for term in c.terms(points)
        ]

    def _extra(self, points: PathPoints) -> Array:
        total = np.zeros((len(points.geometries), points.first.size))
        for row, geometry in zip(total, points.geometries, strict=True):
            for c in self.contributions:
                row += c.scale**2 * c.sample_variance(geometry)
        return total

    def __repr__(self) -> str:
        weights = "white" if self.is_white else "correlated"
        return f"<Budget, {weights}: {', '.join(self.names)}>"

    def _repr_html_(self) -> str:
        from wobble.noise.budget_table import LinkConditions, budget_table

        rows = budget_table(self, LinkConditions())
        table = Table(
            {
                "contribution": [row.name for row in rows],
                "range rate (mm/s)": [1e3 * row.range_rate for row in rows],
                "range (m)": [row.range for row in rows],
                "Allan 1000 s": [row.allan_1000 for row in rows],
            }
        )
        place = "at 1 au, 90 deg from the Sun, elevation 45 deg, counts of 60 s; one sigma"
        return with_table(f"{self!r} {place}", table)


def _alike(geometries: Sequence[PassGeometry]) -> Iterator[list[int]]:
    """Numbers of passes of one pattern, so many as are worked on together."""
    by_pattern: dict[bytes, list[int]] = {}
    for k, geometry in enumerate(geometries):
        by_pattern.setdefault(geometry.pattern, []).append(k)
    for members in by_pattern.values():
        size = max(TOGETHER // len(geometries[members[0]]) ** 2, 1)
        for start in range(0, len(members), size):
            yield members[start : start + size]


def white_budget(range_sigma_m: float, range_rate_sigma_mps: float) -> Budget:
    """White weights: every sample independent of every other.

    Parameters
    ----------
    range_sigma_m : float
        Standard deviation of a range, one-way, m.
    range_rate_sigma_mps : float
        Standard deviation of a range rate at a count time of 60 s, one-way, m/s. At a count
        time T it is ``sigma sqrt(60 s / T)``, as for white frequency noise.
    """
    for name, sigma in (
        ("range_sigma_m", range_sigma_m),
        ("range_rate_sigma_mps", range_rate_sigma_mps),
    ):
        if not (0.0 < sigma < np.inf):
            raise InputError(
                "not a standard deviation", field=name, found=sigma, expected="a positive number"
            )
    return Budget((WhiteRange(sigma=range_sigma_m), WhiteRangeRate(sigma=range_rate_sigma_mps)))


def standard_budget(without: Iterable[str] = ()) -> Budget:
    """A two-way X-band lander link, every contribution at its default.

    Parameters
    ----------
    without : iterable of str
        Names to leave out. The two white levels and the link's own thermal noise, which
        stand for others, and noise that has no default are always left out.
    """
    without = set(without)
    general = {name for name, kind in CONTRIBUTIONS.items() if issubclass(kind, GeneralNoise)}
    left_out = {"white_range", "white_range_rate", "link_thermal_phase", *general, *without}
    unknown = without - set(CONTRIBUTIONS)
    if unknown:
        raise UnknownNameError("noise contribution", sorted(unknown)[0], CONTRIBUTIONS)
    return Budget(tuple(kind() for name, kind in CONTRIBUTIONS.items() if name not in left_out))
