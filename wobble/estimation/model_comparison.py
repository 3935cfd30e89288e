"""Does the data want a term?

In: a solution in which the terms in question were estimated. Out: `Evidence`: by how much
chi-square would grow without them, how likely that is by chance, what the information criteria
say, and the words that belong to these numbers; and the spectrum of the residuals, to be compared
before and after.

Two models are nested if the smaller one is the larger with some parameters held at fixed
values. In a problem that is as good as linear the increase of chi-square follows from the
larger solution alone,

    gain = d^T C^-1 d,   d = estimate - fixed value,   C = their covariance,

so that both models are compared on the same samples with the same weights, which two fits
with editings of their own are not. Under the smaller model the gain is chi-square
distributed with as many degrees of freedom as there are terms (Wilks 1938, Ann. Math.
Statist. 9, 60). Criteria: Akaike (1974, IEEE Trans. Autom. Control 19, 716), gain - 2 m;
Schwarz (1978, Ann. Statist. 6, 461), gain - m ln n; above zero they prefer the terms.

Schwarz's criterion approximates twice the logarithm of the Bayes factor, and is put into words by
the scale of Kass & Raftery (1995, J. Am. Stat. Assoc. 90, 773, sect. 3.2 and 4.1.3): from 0 to 2
not worth more than a bare mention, to 6 positive, to 10 strong, beyond very strong; the same below
zero for the model without the terms. The probability answers another question, how often the noise
alone does as much, and the two may disagree (Lindley 1957, Biometrika 44, 187): between them,
nothing is decided.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from astropy.time import Time
from astropy.timeseries import LombScargle
from numpy.typing import NDArray
from scipy.stats import chi2

from wobble.errors import InputError
from wobble.estimation.conditions import solve_under
from wobble.estimation.least_squares import SquareRootInformation
from wobble.estimation.parameters import ParameterSet
from wobble.estimation.solution import Solution

__all__ = ["Evidence", "evidence_for", "residual_spectrum"]

Array = NDArray[np.float64]

SCALE = ((10.0, "very strong"), (6.0, "strong"), (2.0, "positive"))
"""Words for twice the logarithm of a Bayes factor above so much (Kass & Raftery 1995)."""
SCALE_SOURCE = "scale of Kass & Raftery 1995"
BARE_MENTION = "evidence that is not worth more than a bare mention"
RARE = 0.05
"""A probability below which chance is not a good explanation (common practice, no source)."""


@dataclass(frozen=True)
class Evidence:
    """What the data say for some terms.

    Attributes
    ----------
    names : tuple of str
        The parameters in question.
    gain : float
        Decrease of chi-square by estimating them.
    samples : int
        Accepted samples.
    """

    names: tuple[str, ...]
    gain: float
    samples: int

    @property
    def probability(self) -> float:
        """Of such a gain by chance, if the terms are not there."""
        return float(chi2.sf(self.gain, len(self.names)))

    @property
    def akaike(self) -> float:
        """Akaike's criterion, without the terms minus with them."""
        return self.gain - 2.0 * len(self.names)

    @property
    def schwarz(self) -> float:
        """Schwarz's criterion, without the terms minus with them."""
        return float(self.gain - len(self.names) * np.log(self.samples))

    @property
    def strength(self) -> str:
        """The evidence for the terms, or against them, in the words of Kass & Raftery (1995)."""
        for above, word in SCALE:
            if abs(self.schwarz) > above:
                return f"{word} evidence {'for' if self.schwarz > 0 else 'against'} them"
        return BARE_MENTION

    @property
    def verdict(self) -> str:
        """``"for"`` or ``"against"`` the terms if both measures say so, else ``"undecided"``."""
        if self.strength == BARE_MENTION or (self.schwarz > 0) != (self.probability < RARE):
            return "undecided"
        return "for" if self.schwarz > 0 else "against"

    def as_json(self) -> dict[str, Any]:
        """The evidence as plain JSON types."""
        return {
            "terms": list(self.names),
            "chi_square_gain": self.gain,
            "log_likelihood_ratio": 0.5 * self.gain,
            "probability_by_chance": self.probability,
            "akaike": self.akaike,
            "schwarz": self.schwarz,
            "strength": self.strength,
            "scale": SCALE_SOURCE,
            "verdict": self.verdict,
            "samples": self.samples,
        }

    def __str__(self) -> str:
        said = {
            "for": "the data want",
            "against": "the data do not need",
            "undecided": "the data do not decide on",
        }
        count = len(self.names)
        return (
            f"{said[self.verdict]} {', '.join(self.names)}: chi-square less by {self.gain:.3g} for "
            f"{count} parameter{'s' if count > 1 else ''}, or more by noise alone with probability "
            f"{self.probability:.2g}; criterion of Akaike {self.akaike:+.3g}, of Schwarz "
            f"{self.schwarz:+.3g} = 2 ln(Bayes factor): {self.strength} ({SCALE_SOURCE})"
        )


def evidence_for(solution: Solution, patterns: str | Iterable[str]) -> Evidence:
    """What the data say for parameters, against their a priori values.

    Parameters
    ----------
    solution : Solution
        In which they were estimated. What was known of them beforehand is set aside;
        what was known of the others is kept.
    patterns : str or iterable of str
        Names or patterns of the parameters in question.

    Raises
    ------
    UnknownNameError
        If nothing of that name was estimated.
    InputError
        If the data do not determine them, or if something joins them to other parameters.
    """
    estimated = solution.parameters.estimated
    names = estimated.select(patterns)
    for block in estimated.known:
        if set(names).intersection(block.names):
            raise InputError(
                "what is known beforehand joins the terms to others", field=", ".join(block.names)
            )
    free = estimated.changed(names, sigma=np.inf)
    information = solution.information.combine(_a_priori(free, solution))
    estimate = solve_under(information, *free.condition_rows())
    places = [estimated.place(name) for name in names]
    root = estimate.root[places]
    scale = np.linalg.norm(root, axis=1)
    found = solution.values[places] + estimate.step[places] - estimated.values[places]
    covariance = (root / scale[:, None]) @ (root / scale[:, None]).T
    gain = (found / scale) @ np.linalg.solve(covariance, found / scale)
    return Evidence(names, float(gain), solution.n_used)


def _a_priori(parameters: ParameterSet, solution: Solution) -> SquareRootInformation:
    rows, numbers = parameters.a_priori_rows()
    known = SquareRootInformation.nothing(
        parameters.names, solution.parameters.considered.names, solution.values
    )
    nothing = np.zeros((len(rows), len(known.considered)))
    known.absorb(np.column_stack([rows, nothing, numbers - rows @ solution.values]))
    return known


def residual_spectrum(solution: Solution, kind: str, periods: Array) -> Array:
    """Amplitudes of sines fitted to the accepted residuals, one period at a time.

    Parameters
    ----------
    solution : Solution
        Whose residuals.
    kind : str
        Kind of data.
    periods : ndarray, shape (m,)
        Periods, days.

    Returns
    -------
    ndarray, shape (m,)
        Amplitudes, SI (generalised periodogram with floating mean; Zechmeister &
        Kuerster 2009, Astron. Astrophys. 496, 577).

    Raises
    ------
    InputError
        If there are fewer than four accepted samples of that kind.
    """
    samples = solution.samples
    chosen = samples.accepted & (samples.kind == kind)
    if chosen.sum() < 4:
        raise InputError(
            "too few residuals for a spectrum", field=kind, found=int(chosen.sum()), expected="four"
        )
    # A leap second more or less is nothing to a spectrum, and in the future none is known.
    days = Time(samples.epoch[chosen].tolist(), scale="tai").jd
    series = LombScargle(days - days[0], samples.residual[chosen])
    power = series.power(1.0 / periods, normalization="psd", assume_regular_frequency=False)
    return np.sqrt(np.maximum(4.0 * power / chosen.sum(), 0.0))
