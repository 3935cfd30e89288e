"""What a plan is for: quantities, their units, and how well they are wanted.

In: names of estimated parameters or derived quantities, with or without a standard deviation
that is wanted; ``all`` stands for every parameter together. Out: `Goals`, from which the
search for passes takes its target, and in whose units results are told.

Several goals make one target, the root mean square of each standard deviation over the one
that is wanted: one says that they are reached on the average.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wobble.campaign.candidates import CandidatePasses
from wobble.campaign.derived import DerivedQuantity, quantity_unit
from wobble.campaign.targets import LinearTarget, Target, VolumeTarget
from wobble.errors import InputError
from wobble.estimation.parameters import unit_scale

__all__ = ["ALL", "Goal", "Goals"]

Array = NDArray[np.float64]

ALL = "all"
"""The name that stands for every estimated parameter together."""


@dataclass(frozen=True)
class Goal:
    """One quantity, and how well it is wanted.

    Parameters
    ----------
    name : str
    wanted : float or None
        Standard deviation, SI.
    """

    name: str
    wanted: float | None = None

    @property
    def unit(self) -> str:
        """Unit in which people write it."""
        return "" if self.name == ALL else quantity_unit(self.name).user

    @property
    def scale(self) -> float:
        """SI units in that unit."""
        return unit_scale(self.unit)

    def told(self, sigma: float) -> str:
        """A standard deviation with its unit."""
        return f"{sigma / self.scale:.4g} {self.unit.replace(' / ', '/')}".strip()

    @property
    def example(self) -> str:
        """How one writes it with a wanted standard deviation."""
        return f'"{self.name} = {self.told(self.scale)}"'


@dataclass(frozen=True)
class Goals:
    """One or several goals.

    Parameters
    ----------
    goals : tuple of Goal
    derived : mapping of str to DerivedQuantity
        Those among them that are no parameters.

    Raises
    ------
    InputError
        If there is none, if one is named twice, if several have no wanted standard
        deviation to be weighed by, or if ``all`` is not alone.
    """

    goals: tuple[Goal, ...]
    derived: Mapping[str, DerivedQuantity]

    def __post_init__(self) -> None:
        names = [goal.name for goal in self.goals]
        if not names:
            raise InputError("the plan has no target", expected="at least one quantity")
        if len(set(names)) < len(names):
            raise InputError("a target is named twice", found=", ".join(names))
        if len(names) > 1 and ALL in names:
            raise InputError(f"the target {ALL!r} stands alone", found=", ".join(names))
        if ALL in names and self.goals[0].wanted is not None:
            raise InputError(
                "all parameters together have no standard deviation in a unit",
                field=ALL,
                expected=f"{ALL!r} without a value",
            )
        if len(names) > 1:
            for goal in self.goals:
                if goal.wanted is None:
                    raise InputError(
                        "one of several targets needs the standard deviation wanted",
                        field=goal.name,
                        expected=goal.example,
                    )

    @property
    def wanted(self) -> float | None:
        """Value of the target (see `target`) that is wanted; of several goals, one."""
        return self.goals[0].wanted if len(self.goals) == 1 else 1.0

    def gradients(self, candidates: CandidatePasses) -> dict[str, Array]:
        """Derivatives of the derived quantities by the estimated parameters."""
        return {n: d.gradient(candidates.parameters) for n, d in self.derived.items()}

    def target(self, candidates: CandidatePasses) -> Target:
        """What the search for passes makes small: for one goal its standard deviation, SI."""
        if self.goals[0].name == ALL:
            return VolumeTarget()
        gradients = self.gradients(candidates)
        rows = {
            goal.name: gradients[goal.name]
            if goal.name in gradients
            else candidates.gradient(goal.name)
            for goal in self.goals
        }
        if len(self.goals) == 1:
            return LinearTarget.derived(candidates, self.label, rows[self.label])
        weighed = [rows[goal.name] / (goal.wanted or 1.0) for goal in self.goals]
        return LinearTarget(self.label, np.array(weighed) / np.sqrt(len(weighed)))

    @property
    def unit(self) -> str:
        """Unit in which the target's value is told; empty for a number."""
        return self.goals[0].unit if len(self.goals) == 1 else ""

    @property
    def scale(self) -> float:
        """The target's own units in that unit."""
        return unit_scale(self.unit)

    @property
    def label(self) -> str:
        """All names."""
        return ", ".join(goal.name for goal in self.goals)

    def told(self, value: float) -> str:
        """A value of the target, with its unit or as what it is."""
        if len(self.goals) == 1 and self.goals[0].name != ALL:
            return self.goals[0].told(value)
        return f"{value:.4g}" + (" of what is wanted" if len(self.goals) > 1 else "")
