"""The noise of real passes, from the residuals of a fit.

In: a campaign, a solution, and the measurements that it was made from. Out: the levels of
chosen contributions over all passes and in each of them, with their uncertainties, and a
budget with these levels.

    noise = residual_noise(campaign, solution, tracking)
    print(noise.table())

The fit has taken a bias from each pass, and so does the likelihood (`noise.from_residuals`);
what the global parameters have taken is left out of account: with thousands of samples it
is small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from astropy.table import QTable
from astropy.units import Quantity
from numpy.typing import NDArray
from tqdm import tqdm

from wobble.campaign.campaign import Campaign
from wobble.errors import InputError, UnknownNameError
from wobble.estimation.sample_order import sample_order
from wobble.estimation.solution import Solution
from wobble.estimation.tracking_model import pass_geometry
from wobble.measurements.tracking import Tracking
from wobble.noise.budget import Budget
from wobble.noise.budget_table import BudgetRow, LinkConditions, budget_table
from wobble.noise.contributions.base import Contribution
from wobble.noise.contributions.registry import CONTRIBUTIONS
from wobble.noise.from_residuals import NoiseEstimate, estimate_levels
from wobble.noise.geometry import PassGeometry
from wobble.noise.pooled import mean_conditions

__all__ = ["ResidualNoise", "ResidualPass", "residual_noise", "residual_passes"]

Array = NDArray[np.float64]

WHITE_AND_PLASMA = ("white_range", "white_range_rate", "solar_plasma")
LEAST_SAMPLES = 8
"""A pass of fewer samples says nothing of its own levels; in the whole it counts."""


@dataclass(frozen=True, eq=False)
class ResidualPass:
    """Accepted samples of a pass: residuals (n,) in m and m/s, and where the link was."""

    name: str
    begin: str
    residual: Array
    geometry: PassGeometry

    @property
    def pair(self) -> tuple[Array, PassGeometry]:
        """What the functions of `wobble.noise` take."""
        return self.residual, self.geometry


@dataclass(frozen=True, eq=False)
class ResidualNoise:
    """Levels of noise in the residuals of a fit.

    Attributes
    ----------
    passes : list of ResidualPass
    assumed : Budget
        The contributions as they were before; levels are factors on these.
    overall : NoiseEstimate
        From all passes together.
    single : list of NoiseEstimate or None
        From each pass; None where it has too few samples.
    conditions : LinkConditions
        Of the median pass, to which the levels in `table` refer.
    """

    passes: list[ResidualPass]
    assumed: Budget
    overall: NoiseEstimate
    single: list[NoiseEstimate | None]
    conditions: LinkConditions

    @property
    def budget(self) -> Budget:
        """The contributions with the levels found."""
        return self.overall.budget

    @property
    def samples(self) -> int:
        """Accepted samples of all passes."""
        return sum(len(one.residual) for one in self.passes)

    def table(self) -> QTable:
        """A row for each contribution: factor on what was assumed, and level."""
        rows = budget_table(self.budget, self.conditions)[:-1]
        relative = self.overall.sigmas / self.overall.scales
        return QTable(
            {
                "contribution": self.overall.names,
                "factor": self.overall.scales,
                "factor_sigma": self.overall.sigmas,
                "range_rate": Quantity([1e3 * row.range_rate for row in rows], "mm/s"),
                "range_rate_sigma": Quantity(_spread(rows, relative, "range_rate", 1e3), "mm/s"),
                "range": Quantity([row.range for row in rows], "m"),
                "range_sigma": Quantity(_spread(rows, relative, "range", 1.0), "m"),
                "allan_1000_s": [row.allan_1000 for row in rows],
            }
        )

    def pass_table(self) -> QTable:
        """A row for each pass: factors on the assumed contributions with their sigmas."""
        nothing = np.full(len(self.overall.names), np.nan)
        scales = [nothing if one is None else one.scales for one in self.single]
        sigmas = [nothing if one is None else one.sigmas for one in self.single]
        angle = [float(one.geometry.sun_angle.mean()) for one in self.passes]
        table = QTable(
            {
                "pass": [one.name for one in self.passes],
                "begin": [one.begin for one in self.passes],
                "samples": [len(one.residual) for one in self.passes],
                "sun_angle": Quantity(np.degrees(angle), "deg"),
            }
        )
        for k, name in enumerate(self.overall.names):
            table[name] = np.array(scales)[:, k]
            table[f"{name}_sigma"] = np.array(sigmas)[:, k]
        return table


def _spread(rows: list[BudgetRow], relative: Array, name: str, scale: float) -> Array:
    """Standard deviation of a level; zero where the contribution has no part in it."""
    levels = scale * np.array([getattr(row, name) for row in rows])
    spread = np.zeros(len(rows))
    # Zero times infinity, of a level that the data cannot show, is no number.
    return np.multiply(levels, relative, out=spread, where=levels > 0.0)


def residual_passes(
    campaign: Campaign, solution: Solution, tracking: Tracking
) -> list[ResidualPass]:
    """Accepted residuals pass by pass with the geometry on which noise depends.

    Raises
    ------
    InputError
        If the solution was not made from these measurements.
    """
    order = sample_order(solution.samples, tracking)
    place = np.empty(len(order), np.intp)
    place[order] = np.arange(len(order))
    computed = campaign.network(tracking).compute(tracking)
    found = []
    for name, rows in tracking.passes():
        kept = rows[solution.samples.accepted[place[rows]]]
        if kept.size:
            geometry = pass_geometry(tracking, computed, kept)
            residual = solution.samples.residual[place[kept]]
            begin = tracking.epoch[kept].min().isot
            found.append(ResidualPass(name, str(begin), residual, geometry))
    return found


def residual_noise(
    campaign: Campaign,
    solution: Solution,
    tracking: Tracking,
    contributions: Sequence[str] | None = None,
    *,
    degree: int = 0,
    progress: bool = False,
) -> ResidualNoise:
    """Levels of chosen contributions from the residuals of a fit.

    Parameters
    ----------
    campaign : Campaign
    solution : Solution
    tracking : Tracking
        The measurements that were fitted.
    contributions : sequence of str, optional
        Names, as in a scenario's ``[[noise]]``, with the scenario's parameters where it has
        them; white noise of each kind of measurement and solar plasma if left out.
    degree : int
        Degree of the polynomial in time that the fit has taken from each kind in each pass:
        0 for a bias, 1 where short passes have lost their slope to other parameters too.
    progress : bool
        Show a progress bar.

    Raises
    ------
    InputError
        If a name is unknown, the solution was not made from these measurements, or no pass
        has enough samples.
    NotPositiveDefiniteError
        If the contributions leave samples without noise of their own.
    """
    passes = residual_passes(campaign, solution, tracking)
    least = 2 * (degree + 1) + 1
    usable = [one for one in passes if len(one.residual) >= max(least, 2)]
    if not usable:
        raise InputError(
            "no pass has enough samples to tell its noise",
            found=f"{len(passes)} passes",
            expected=f"one of {least} accepted samples or more",
        )
    assumed = _chosen(campaign, contributions, usable)
    overall = estimate_levels([one.pair for one in usable], assumed, degree=degree)
    bar = tqdm(usable, desc="passes", disable=not progress, leave=False)
    single = [
        estimate_levels([one.pair], assumed, degree=degree)
        if len(one.residual) >= LEAST_SAMPLES + least
        else None
        for one in bar
    ]
    return ResidualNoise(usable, assumed, overall, single, _median(usable))


def _chosen(
    campaign: Campaign, names: Sequence[str] | None, passes: Sequence[ResidualPass]
) -> Budget:
    own = campaign.budget.alone() if campaign.budget else {}
    if names is None:
        ranges = {bool(flag) for one in passes for flag in one.geometry.is_range}
        silent = {True: "white_range", False: "white_range_rate"}
        left_out = {name for kind, name in silent.items() if kind not in ranges}
        if False not in ranges:
            left_out.add("solar_plasma")
        names = [name for name in WHITE_AND_PLASMA if name not in left_out]
    chosen: list[Contribution] = []
    for name in names:
        if name not in CONTRIBUTIONS and name not in own:
            raise UnknownNameError("noise contribution", name, CONTRIBUTIONS, field="contribution")
        chosen.append(own[name].contributions[0] if name in own else CONTRIBUTIONS[name]())
    return Budget(tuple(chosen))


def _median(passes: Sequence[ResidualPass]) -> LinkConditions:
    places = [mean_conditions(one.geometry) for one in passes]
    middle = {
        name: float(np.median([getattr(place, name) for place in places]))
        for name in ("sun_angle", "elevation", "distance")
    }
    return LinkConditions(**middle, ways=passes[0].geometry.ways)
