"""Precision against the number of passes: the passes chosen one by one, and the bound.

In: a `Selection`. Out: an `EffortCurve`: the standard deviation of the target after each of
the passes chosen, the most useful first, and for some numbers of passes the one that no
choice of so many is below.

The order is the greedy one, each time the pass that adds most to those before it, so that
fewer of the same passes are a good plan too; not the best one of so many, which may consist
of other passes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from tqdm import tqdm

from wobble.campaign.candidates import triangle
from wobble.campaign.design import DesignProblem
from wobble.campaign.limits import Limits
from wobble.campaign.relaxation import relax
from wobble.campaign.selection import Selection

__all__ = ["EffortCurve", "effort_curve"]

Array = NDArray[np.float64]
BOUNDS = 8
"""Numbers of passes for which the bound is computed."""
SMALLEST = 0.05
"""The smallest of them, as a fraction of the passes chosen."""
TOLERANCE = 0.01


@dataclass(frozen=True, eq=False)
class EffortCurve:
    """Precision of a target against effort.

    Attributes
    ----------
    order : ndarray of int, shape (k,)
        Numbers of the passes chosen, the most useful first.
    hours : ndarray, shape (k,)
        Station hours after each.
    sigma : ndarray, shape (k,)
        Formal standard deviation of the target after each, in its unit; infinite while it
        is not determined.
    bounded : ndarray of int, shape (m,)
        Numbers of passes for which there is a bound.
    least_sigma : ndarray, shape (m,)
        No choice of so many passes within the budget is below.
    """

    order: NDArray[np.int_]
    hours: Array
    sigma: Array
    bounded: NDArray[np.int_]
    least_sigma: Array


def effort_curve(selection: Selection, *, progress: bool = False) -> EffortCurve:
    """The curve of a selection.

    Parameters
    ----------
    selection : Selection
    progress : bool
        Show a bar.
    """
    candidates, target = selection.candidates, selection.target
    problem = DesignProblem.of(candidates, target, Limits.of(candidates, selection.budget))
    order = _most_useful_first(problem, selection.chosen)
    p = len(candidates.parameters)
    root, sigma = candidates.first_triangle, np.empty(len(order))
    for k, i in enumerate(order):
        root = triangle([root, candidates.blocks[i]])
        sigma[k] = target.sigma(root[:p, :p])
    sizes = np.geomspace(max(1.0, SMALLEST * len(order)), len(order), BOUNDS)
    bounded = np.unique(np.round(sizes).astype(int))
    least = np.empty(len(bounded))
    for k, passes in enumerate(tqdm(bounded, desc="bounds", disable=not progress, leave=False)):
        limits = Limits.of(candidates, replace(selection.budget, passes=int(passes)))
        least[k] = relax(replace(problem, limits=limits), TOLERANCE).least_sigma
    # The selection's own bound is the sharper one, and with every pass there is no other.
    least[-1] = selection.least_sigma
    hours = np.cumsum(candidates.hours[order])
    return EffortCurve(order, hours, sigma, bounded, least)


def _most_useful_first(problem: DesignProblem, chosen: NDArray[np.int_]) -> NDArray[np.int_]:
    left = list(chosen)
    order = []
    root = problem.triangle(np.zeros(len(problem)))
    while left:
        best = int(problem.target.with_each(root, problem.rows[left]).argmax())
        root = triangle([root, problem.rows[left[best]]])
        order.append(left.pop(best))
    return np.array(order)
