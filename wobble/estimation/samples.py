"""The samples of a fit: what was left of each, and what became of it.

In: what a fit says of each of its samples. Out: `Samples`, columns of equal length.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

__all__ = ["Samples"]

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Samples:
    """All samples after the fit, each array of shape (n,).

    Attributes
    ----------
    pass_name, kind, epoch : ndarray of str
    residual : ndarray
        Observed minus computed, SI.
    sigma : ndarray
        Standard deviation that came with the sample, SI.
    factor : ndarray
        By what it was multiplied for the weights (the variance components).
    predicted : ndarray
        Standard deviation that the residual should have, variance components and
        leverage included, SI; zero where a sample determines a parameter alone.
    accepted : ndarray of bool
    reason : ndarray of str
        Why it was rejected; empty if it was not.
    before : ndarray
        Observed minus computed before the fit, with the a priori values, SI.
    labels : mapping of str to ndarray of str
        What a sample has in common with those of other passes: its ``station``, ``lander``,
        ``antenna``, as far as the observation model says so.
    """

    pass_name: NDArray[np.str_]
    kind: NDArray[np.str_]
    epoch: NDArray[np.str_]
    residual: Array
    sigma: Array
    factor: Array
    predicted: Array
    accepted: NDArray[np.bool_]
    reason: NDArray[np.str_]
    before: Array
    labels: Mapping[str, NDArray[np.str_]] = field(default_factory=dict)

    def __len__(self) -> int:
        return int(self.residual.size)

    def __repr__(self) -> str:
        passes = len(np.unique(self.pass_name))
        rejected = int((~self.accepted).sum())
        return f"<Samples: {len(self)} in {passes} passes, {rejected} rejected>"
