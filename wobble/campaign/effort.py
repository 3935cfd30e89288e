"""How few well-chosen passes reach a wanted precision.

In: candidates, a target, the standard deviation wanted and, if there is one, a budget. Out:
`FewestPasses`, the smallest selection found that reaches it, and the number of passes below
which no selection can.

The second number comes first, by bisection of the bound of the relaxed problem
(`wobble.campaign.relaxation`), which need not be solved further than to decide on which
side of the wanted precision it lies. Selections are tried from that number upwards.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from wobble.campaign.candidates import CandidatePasses
from wobble.campaign.design import DesignProblem
from wobble.campaign.limits import Limits, PassBudget
from wobble.campaign.precision import UnreachableTarget, require_wanted
from wobble.campaign.relaxation import relax
from wobble.campaign.selection import TOLERANCE, Selection, search
from wobble.campaign.targets import Target

__all__ = ["FewestPasses", "fewest_passes"]


@dataclass(frozen=True, eq=False)
class FewestPasses:
    """The smallest selection found that reaches a wanted precision.

    Attributes
    ----------
    wanted : float
        Standard deviation wanted, in the target's unit.
    selection : Selection
        The passes.
    at_least : int
        No selection of fewer passes reaches it.
    """

    wanted: float
    selection: Selection
    at_least: int

    @property
    def passes(self) -> int:
        """Number of passes chosen."""
        return len(self.selection.chosen)

    def __str__(self) -> str:
        return (
            f"{self.passes} passes reach sigma({self.selection.target.label}) = {self.wanted:.4g}; "
            f"fewer than {self.at_least} cannot. {self.selection}"
        )


def fewest_passes(
    candidates: CandidatePasses,
    target: Target,
    wanted: float,
    budget: PassBudget | None = None,
    *,
    tolerance: float = TOLERANCE,
    progress: bool = False,
) -> FewestPasses:
    """Choose as few passes as possible that make a target as precise as wanted.

    Parameters
    ----------
    candidates : CandidatePasses
    target : Target
    wanted : float
        Formal standard deviation, in the target's unit.
    budget : PassBudget, optional
        What may be spent at most.
    tolerance : float
        As in `wobble.campaign.selection.select_passes`.
    progress : bool
        Show a bar.

    Raises
    ------
    UnreachableTarget
        If no selection within the budget reaches it; ``best`` is the standard deviation
        that none is below, or the one that the search found if the bound leaves it open.
    InputError
        As for `wobble.campaign.selection.select_passes`.
    """
    require_wanted(target.label, wanted)
    within = budget or PassBudget()
    most = within.passes or len(candidates)

    everything = DesignProblem.of(candidates, target, Limits.of(candidates, within))

    def limited(passes: int) -> PassBudget:
        return replace(within, passes=passes)

    def problem(passes: int) -> DesignProblem:
        return replace(everything, limits=Limits.of(candidates, limited(passes)))

    def conceivable(passes: int) -> bool:
        decided = relax(problem(passes), tolerance / 2, wanted**-2.0, progress)
        return decided.least_sigma <= wanted

    def reaching(passes: int) -> Selection | None:
        selection = search(
            problem(passes), candidates, target, limited(passes), tolerance, progress
        )
        return selection if selection.sigma <= wanted else None

    if not conceivable(most):
        best = relax(problem(most), tolerance / 2, progress=progress).least_sigma
        raise UnreachableTarget(
            "no selection of the candidate passes reaches this standard deviation",
            field=target.label,
            wanted=wanted,
            best=best,
        )
    at_least = _least_conceivable(conceivable, most)
    selection = _fewest(reaching, at_least, most)
    if selection is None:
        best = search(everything, candidates, target, within, tolerance, progress).sigma
        raise UnreachableTarget(
            "no selection was found that reaches this standard deviation",
            field=target.label,
            wanted=wanted,
            best=best,
        )
    return FewestPasses(wanted, selection, at_least)


def _least_conceivable(conceivable: Callable[[int], bool], most: int) -> int:
    """The smallest number that is conceivable; the largest is."""
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        if conceivable(middle):
            high = middle
        else:
            low = middle
    return high


def _fewest(
    reaching: Callable[[int], Selection | None], at_least: int, most: int
) -> Selection | None:
    """Selection of the smallest number that reaches: in growing steps upwards, then between."""
    low, high, step = at_least - 1, at_least, 1
    while (best := reaching(high)) is None:
        if high == most:
            return None
        low, high, step = high, min(high + step, most), 2 * step
    while high - low > 1:
        middle = (low + high) // 2
        selection = reaching(middle)
        if selection is None:
            low = middle
        else:
            best, high = selection, middle
    return best
