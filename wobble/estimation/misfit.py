"""How well a fit describes its data, by the standard deviations that were stated.

In: the accepted samples of a fit with their noise as it was stated, before any variance component
widened it. Out: `Misfit`: chi-square of each kind of data and of what was known before, how many
samples were rejected and passes shifted, and a verdict in words.

The degrees of freedom are those of the data alone: samples less the sum of their leverages, which
is what the parameters have taken from them. What was known beforehand takes a part of the
parameters for itself, so the number need not be whole; if noise and knowledge are as stated
the mean of chi-square is equal to it (``cov(v) = R - A P A^T`` for the residuals v; Koch 1999,
Parameter Estimation and Hypothesis Testing in Linear Models, sect. 3.2). The same holds for what
was known: a row of it has the residual variance ``1 - leverage``.

Three things hide a misfit, so all three count: weights that were scaled until the residuals fit
(the *factor* here is that on the stated standard deviations), samples that were thrown away, and
passes that were shifted. The limits are the program's own choice:

=========================================  =========  =====================
of the worst kind of data, or of all       a warning  the model does not
                                                      describe the data
=========================================  =========  =====================
root of chi-square per degree of freedom   3          10
samples rejected                           10 %       50 %
passes shifted, of 4 or more               25 %       67 %
what was known, off by so many sigmas      5          30
=========================================  =========  =====================

A factor counts only where chance makes it in less than one of a thousand fits.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from enum import IntEnum
from typing import Any, Self

import numpy as np
from scipy.special import chdtrc

from wobble.shown import shortly

__all__ = ["GroupMisfit", "Misfit", "Verdict"]

FACTORS = (3.0, 10.0)
REJECTED = (0.1, 0.5)
SHIFTED = (0.25, 0.67)
LEAST_SHIFTED = 4
STRAINS = (5.0, 30.0)
BY_CHANCE = 1e-3


class Verdict(IntEnum):
    """What a fit is worth."""

    FITS = 0
    DOUBTFUL = 1
    FAILS = 2


@dataclass(frozen=True)
class GroupMisfit:
    """Residuals of one kind of data against their stated standard deviations.

    Attributes
    ----------
    kind : str
    used, rejected : int
        Samples.
    chi_square : float
        Sum of squares of the used samples, whitened by their stated noise.
    degrees_of_freedom : float
        See the module's text.
    """

    kind: str
    used: int
    rejected: int
    chi_square: float
    degrees_of_freedom: float

    @property
    def per_degree(self) -> float:
        """Chi-square per degree of freedom; NaN if there is none."""
        return self.chi_square / self.degrees_of_freedom if self.degrees_of_freedom > 0 else np.nan

    @property
    def factor(self) -> float:
        """By how much the residuals exceed the stated standard deviations."""
        return float(np.sqrt(self.per_degree))

    @property
    def counts(self) -> bool:
        """Whether chance alone seldom makes so large a factor."""
        return bool(chdtrc(self.degrees_of_freedom, self.chi_square) < BY_CHANCE)


@dataclass(frozen=True)
class Misfit:
    """What residuals, rejections and shifts of a fit say together.

    Attributes
    ----------
    groups : tuple of GroupMisfit
        One for each kind of data.
    passes, shifted : int
        All passes, and those in which samples had to be shifted.
    strain : float
        Largest deviation of an estimate from what was known before, in its own expected sigmas.
    strained : str
        Of which parameter; empty if nothing was known.
    """

    groups: tuple[GroupMisfit, ...]
    passes: int
    shifted: int
    strain: float
    strained: str

    @classmethod
    def from_json(cls, content: Mapping[str, Any]) -> Self:
        """As `as_json` gave it."""
        groups = tuple(GroupMisfit(**group) for group in content["groups"])
        return cls(**{**content, "groups": groups})

    def as_json(self) -> dict[str, Any]:
        """The attributes as plain JSON types."""
        return asdict(self)

    @property
    def chi_square(self) -> float:
        """Of all data against their stated standard deviations."""
        return sum(group.chi_square for group in self.groups)

    @property
    def degrees_of_freedom(self) -> float:
        """Of the data alone."""
        return sum(group.degrees_of_freedom for group in self.groups)

    @property
    def factor(self) -> float:
        """That of the worst kind of data."""
        return max((g.factor for g in self.groups if g.counts), default=1.0)

    @property
    def rejected(self) -> float:
        """Share of the samples that were rejected, of the worst kind."""
        return max(g.rejected / max(g.used + g.rejected, 1) for g in self.groups)

    @property
    def verdict(self) -> Verdict:
        """The worst of what the limits in the module's text say."""
        return max(verdict for verdict, _ in self._findings())

    @property
    def describes_data(self) -> bool:
        """Whether the estimates may be used."""
        return self.verdict < Verdict.FAILS

    @property
    def reasons(self) -> tuple[str, ...]:
        """What speaks against the fit, in words."""
        return tuple(text for verdict, text in self._findings() if verdict > Verdict.FITS)

    def _findings(self) -> list[tuple[Verdict, str]]:
        shifted = self.shifted / max(self.passes, 1) if self.shifted >= LEAST_SHIFTED else 0.0
        known = f"{self.strained} is {shortly(self.strain)} sigmas from what was known before"
        rejected = max(self.groups, key=lambda g: g.rejected / max(g.used + g.rejected, 1))
        total = rejected.used + rejected.rejected
        findings = [
            (
                _grade(g.factor if g.counts else 0.0, FACTORS),
                f"residuals of {g.kind} are {shortly(g.factor)} times as large as their stated "
                "standard deviations",
            )
            for g in self.groups
        ]
        return [
            *findings,
            (
                _grade(self.rejected, REJECTED),
                f"{rejected.rejected} of {total} samples of {rejected.kind} were rejected",
            ),
            (
                _grade(shifted, SHIFTED),
                f"samples of {self.shifted} of {self.passes} passes are shifted",
            ),
            (_grade(self.strain, STRAINS), known),
        ]

    @property
    def headline(self) -> str:
        """What must be read before anything else; empty if the fit describes its data."""
        if self.verdict == Verdict.FITS:
            return ""
        said = "; ".join(self.reasons)
        if self.verdict == Verdict.DOUBTFUL:
            return f"WARNING: the fit is doubtful: {said}"
        return (
            f"THE MODEL DOES NOT DESCRIBE THE DATA: {said}. The estimates below are not to be used."
        )


def _grade(value: float, limits: tuple[float, float]) -> Verdict:
    return Verdict(sum(value > limit for limit in limits))
