"""Residuals of what belongs together: by station, lander, antenna, frequency, season.

In: the samples of a solution with their labels. Out: for each kind of data and each group how
large the residuals were before and after the fit, where they lie, and what happened to their
passes.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.estimation.samples import Samples

__all__ = ["SEASON", "ResidualGroup", "residual_groups", "seasons"]

Array = NDArray[np.float64]

SEASON = "season"
QUARTER = 3
"""Months of a season."""


@dataclass(frozen=True)
class ResidualGroup:
    """The residuals of one kind that have one thing in common.

    Attributes
    ----------
    kind, of, name : str
        Kind of data; what they have in common, such as ``"station"``, and which.
    passes, shifted : int
        All of its passes, and those whose samples were shifted.
    used, rejected : int
        Samples.
    before, after : float
        Root mean square of the used samples before and after the fit, SI; NaN if there are none.
    mean : float
        Their mean after the fit, SI.
    factor : float
        Root mean square of what they are in their expected standard deviations (stated ones,
        with what the fit takes from a residual).
    """

    kind: str
    of: str
    name: str
    passes: int
    shifted: int
    used: int
    rejected: int
    before: float
    after: float
    mean: float
    factor: float


def seasons(epoch: NDArray[np.str_]) -> NDArray[np.str_]:
    """The quarter of a year of each time tag in ISO form, such as ``2031-04 to 2031-06``."""
    month = epoch.astype("U7").astype("datetime64[M]").astype(int)
    first = month // QUARTER * QUARTER
    names = {
        start: f"{np.datetime64(start, 'M')} to {np.datetime64(start + QUARTER - 1, 'M')}"
        for start in np.unique(first).tolist()
    }
    return np.array([names[start] for start in first.tolist()], str)


def residual_groups(samples: Samples, shifted: Collection[tuple[str, str]]) -> list[ResidualGroup]:
    """Every group of every kind, by station first.

    Parameters
    ----------
    samples : Samples
    shifted : collection of (str, str)
        Pass and kind whose samples were shifted.
    """
    found = []
    labels = {**samples.labels, SEASON: seasons(samples.epoch)}
    for kind in np.unique(samples.kind).tolist():
        of_kind = samples.kind == kind
        for of, column in labels.items():
            for name in np.unique(column[of_kind]).tolist():
                group = of_kind & (column == name)
                found.append(_group(samples, group, (kind, of, name), shifted))
    return found


def _group(
    samples: Samples,
    group: NDArray[np.bool_],
    names: tuple[str, str, str],
    shifted: Collection[tuple[str, str]],
) -> ResidualGroup:
    passes = np.unique(samples.pass_name[group]).tolist()
    used = group & samples.accepted
    residual = samples.residual[used]
    expected = samples.predicted[used] / samples.factor[used]
    seen = expected > 0
    return ResidualGroup(
        *names,
        passes=len(passes),
        shifted=sum((name, names[0]) in shifted for name in passes),
        used=int(used.sum()),
        rejected=int((group & ~samples.accepted).sum()),
        before=_rms(samples.before[used]),
        after=_rms(residual),
        mean=float(residual.mean()) if residual.size else np.nan,
        factor=_rms(residual[seen] / expected[seen]),
    )


def _rms(values: Array) -> float:
    return float(np.sqrt((values**2).mean())) if values.size else np.nan
