"""Passes that are wrong as a whole, and jumps within a pass.

In: residuals of the samples of a pass and their predicted standard deviations. Out: where
the level jumps, and what is wrong with a pass that cannot be used, in words.

A wrong constant, a range ambiguity that was resolved wrongly, or a lost cycle shifts all
samples from some epoch on by the same amount. The samples are still good: the shift is
estimated as one more parameter of the pass (`Jump`), and only passes whose samples do not
agree with one another even then are rejected whole.

A jump is where the medians of the windows before and after differ by more than the
windows can by chance, and where most samples of both windows agree with their median; no
single wild sample can make one. Slope and noise of a pass are judged against those of the
other passes of the same kind, so that noise with a long correlation is not taken for a fault.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

__all__ = [
    "Jump",
    "PassCharacter",
    "describe_pass",
    "find_jumps",
    "is_shifted",
    "levels",
    "unusual_passes",
]

from wobble.estimation.variance import NORMAL_MEDIAN
from wobble.measurements.kinds import kind_named

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Samples on each side of a jump that must agree.
WINDOW = 7
# Median of seven normal samples has a standard deviation of 0.46, the difference of two
# 0.65: a difference of five happens by chance in one of 1e14 cases.
LEAST_JUMP = 5.0
# Share of the samples of a window that must lie within the limit about its median.
AGREEMENT = 0.7
# The same for slopes and noise of whole passes, in robust standard deviations over passes.
UNUSUAL = 6.0
LOUD = 3.0
LEAST_SAMPLES = 8
LEAST_PASSES = 8


@dataclass(frozen=True)
class Jump:
    """A constant that is added to the samples of one kind in a pass from an epoch on.

    Attributes
    ----------
    pass_name, kind : str
    epoch : str
        Of the first sample that is shifted; empty if the whole pass is.
    """

    pass_name: str
    kind: str
    epoch: str

    @property
    def parameter(self) -> str:
        """Name of the pass-local parameter."""
        ending = f"jump.{self.epoch}" if self.epoch else "offset"
        return f"pass.{self.pass_name}.{self.kind}_{ending}"

    def column(self, kind: NDArray[np.str_], epoch: NDArray[np.str_]) -> Array:
        """Partial derivatives of the samples of the pass, shape (n,)."""
        return ((kind == self.kind) & (epoch >= self.epoch)).astype(float)


def find_jumps(residual: Array, sigma: Array, limit: float) -> list[int]:
    """Where the level of a series of residuals jumps.

    Parameters
    ----------
    residual, sigma : ndarray, shape (n,)
        Residuals of one kind in one pass, in order of time, and their standard deviations.
    limit : float
        Number of standard deviations beyond which a sample disagrees.

    Returns
    -------
    starts : list of int
        First samples of the shifted parts.
    """
    if residual.size < 2 * WINDOW:
        return []
    medians = np.median(sliding_window_view(residual, WINDOW), axis=1)
    usual = np.median(sliding_window_view(sigma, WINDOW), axis=1)
    difference = np.abs(medians[WINDOW:] - medians[:-WINDOW])
    jumping = difference > LEAST_JUMP * np.maximum(usual[WINDOW:], usual[:-WINDOW])
    starts: list[int] = []
    for run in _runs(jumping):
        places = range(int(run[0]) + WINDOW, int(run[-1]) + WINDOW + 1)
        near = slice(places[0] - WINDOW, places[-1] + WINDOW)
        costs = [_cost(residual[near], sigma[near], i - near.start, limit) for i in places]
        best = places[int(np.argmin(costs))]
        sides = slice(best - WINDOW, best), slice(best, best + WINDOW)
        if all(_agree(residual[side], sigma[side], limit) for side in sides):
            starts.append(best)
    return starts


def is_shifted(
    residual: Array, sigma: Array, limit: float, bias: float = 0.0, expected: float = 0.0
) -> bool:
    """Whether the samples agree with one another on a constant that should not be.

    Parameters
    ----------
    residual, sigma, limit
        As for `find_jumps`.
    bias, expected : float
        Constant that has been taken off the residuals already, and how large the constant
        of a pass is expected to be (one standard deviation).
    """
    level = abs(float(np.median(residual)) + bias)
    allowed = limit * float(np.hypot(np.median(sigma), expected))
    return level > allowed and _agree(residual, sigma, limit)


def _runs(mask: Mask) -> list[NDArray[np.intp]]:
    """Indices of each unbroken run of true values."""
    where = np.flatnonzero(mask)
    if not where.size:
        return []
    return np.split(where, np.flatnonzero(np.diff(where) > 1) + 1)


def _cost(residual: Array, sigma: Array, split: int, limit: float) -> float:
    """How badly two levels describe a stretch of residuals."""
    sides = slice(0, split), slice(split, None)
    off = [np.abs(residual[side] - np.median(residual[side])) / sigma[side] for side in sides]
    return float(sum(np.minimum(part, limit).sum() for part in off))


def _agree(residual: Array, sigma: Array, limit: float) -> bool:
    return bool((np.abs(residual - np.median(residual)) <= limit * sigma).mean() >= AGREEMENT)


def levels(residual: Array, starts: Sequence[int]) -> Array:
    """Medians of the parts between jumps, for each sample."""
    level = np.empty_like(residual)
    for first, last in zip([0, *starts], [*starts, residual.size], strict=True):
        level[first:last] = np.median(residual[first:last])
    return level


@dataclass(frozen=True)
class PassCharacter:
    """What the residuals of one kind in one pass look like.

    Attributes
    ----------
    pass_name, kind : str
    samples : int
    slope : float
        In standard deviations.
    noise : float
        Scatter over the predicted.
    """

    pass_name: str
    kind: str
    samples: int
    slope: float
    noise: float

    @classmethod
    def of(cls, pass_name: str, kind: str, ratio: Array) -> PassCharacter:
        """From the accepted residuals in standard deviations, in order of time."""
        place = np.arange(ratio.size) - (ratio.size - 1) / 2.0
        slope = float(ratio @ place / max(np.linalg.norm(place), 1.0))
        return cls(pass_name, kind, ratio.size, slope, float(np.sqrt((ratio**2).mean())))


def unusual_passes(characters: Sequence[PassCharacter]) -> dict[tuple[str, str], str]:
    """Passes whose slope or noise stands out among those of their kind, with the reason."""
    found = {}
    for kind in {character.kind for character in characters}:
        group = [c for c in characters if c.kind == kind and c.samples >= LEAST_SAMPLES]
        if len(group) < LEAST_PASSES:
            continue
        slopes = np.array([c.slope for c in group])
        spread = max(1.0, float(np.median(np.abs(slopes))) / NORMAL_MEDIAN)
        usual = max(1.0, float(np.median([c.noise for c in group])))
        for character in group:
            if abs(character.slope) > UNUSUAL * spread:
                text = f"slope of {character.slope:+.2g} standard deviations"
            elif character.noise > LOUD * usual:
                text = f"noise of {character.noise:.2g} times the predicted"
            else:
                continue
            found[character.pass_name, kind] = f"whole pass: {text}, unlike the other passes"
    return found


def describe_pass(kind: str, residual: Array, predicted: Array) -> str:
    """Offset, slope or noise: what the residuals of a pass that cannot be used look like."""
    unit = kind_named(kind).si_text
    middle = float(np.median(residual))
    first, second = np.array_split(residual, 2)
    rise = float(np.median(second) - np.median(first))
    # The middles of the two halves are half the length of the pass apart.
    line = rise * np.linspace(-1.0, 1.0, residual.size)
    noise = float(np.median(np.abs(residual - middle - line))) / NORMAL_MEDIAN
    if abs(rise) > 3.0 * noise and abs(rise) > abs(middle):
        return f"slope, {rise:+.3g} {unit} from the first half to the second"
    if abs(middle) > 2.0 * noise:
        return f"constant offset of {middle:+.3g} {unit}"
    return f"noise of {noise / float(np.median(predicted)):.2g} times the predicted"
