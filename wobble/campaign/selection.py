"""The best passes within a budget, and how far from the best possible they are.

In: candidates, a target and a budget. Out: a `Selection`, the passes chosen, the standard
deviation that they give, and one that no selection whatever within the budget is below.

First the relaxed problem is solved (`wobble.campaign.relaxation`), which gives the bound
and tells which passes matter. The passes that its optimum takes whole are taken; the others
are added one at a time, each time the one that with all those taken gives the target the
most information for its price (exact rank update). Then passes are exchanged: each in turn,
the weakest first, is left out and the best one put in its place (Fedorov 1972, Theory of
Optimal Experiments, sect. 3.1), until little is gained or the bound is close. If it is not,
the other way is tried too: from all passes that the relaxed optimum uses, the least missed
are dropped until the rest fits. It is the better way to few passes, where one is worth
little without its counterpart, and the worse one where passes differ in length.

Adding and exchanging use the tangent bound of `wobble.campaign.targets`: a pass cannot add
more information than its signal at the present displacement, so most need no rank update.

What is made small is the formal standard deviation. A considered parameter has no part in
it; to let the selection guard against one, estimate it with its a priori value. The bound
holds then for the realistic standard deviation too, as no treatment of an uncertain
parameter does better than estimating it (Gauss-Markov theorem).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cholesky
from tqdm import tqdm

from wobble.campaign.candidates import CandidatePasses, triangle
from wobble.campaign.design import DesignProblem
from wobble.campaign.limits import Limits, PassBudget
from wobble.campaign.relaxation import Relaxation, relax
from wobble.campaign.targets import Target
from wobble.errors import InputError

__all__ = ["TOLERANCE", "Selection", "search", "select_passes"]

Array = NDArray[np.float64]
TOLERANCE = 5e-3
"""Gap at which the search ends: half a percent of a standard deviation."""
WHOLE = 1.0 - 1e-3
"""Share of a pass that counts as taken whole."""
UNUSED = 1e-6
"""Share of a pass that counts as left."""
SPARE = 50
"""So many passes, and twice the number chosen, are tried beyond those chosen."""
AT_A_TIME = 64
"""Passes for which the rank update is computed together."""
LEAST_PRICE = 1e-3
"""Of a pass that takes nothing scarce, as a fraction of the largest price."""
GAIN = 1e-9
"""Least relative gain of an exchange, above rounding."""


@dataclass(frozen=True, eq=False)
class Selection:
    """Passes chosen, with the certificate.

    Attributes
    ----------
    candidates : CandidatePasses
    target : Target
    budget : PassBudget
    chosen : ndarray of int
        Numbers of the passes chosen, in order of their begin.
    sigma : float
        Formal standard deviation of the target with them, in the target's unit.
    least_sigma : float
        No selection within the budget has a smaller one.
    relaxation : Relaxation
        From which this is known.
    """

    candidates: CandidatePasses
    target: Target
    budget: PassBudget
    chosen: NDArray[np.int_]
    sigma: float
    least_sigma: float
    relaxation: Relaxation

    @property
    def gap(self) -> float:
        """By how much sigma may be above the best possible, as a fraction of it."""
        return self.sigma / self.least_sigma - 1.0

    @property
    def hours(self) -> float:
        """Station hours in all."""
        return float(self.candidates.hours[self.chosen].sum())

    def __str__(self) -> str:
        return (
            f"{len(self.chosen)} of {len(self.candidates)} passes, {self.hours:.1f} station "
            f"hours: sigma({self.target.label}) = {self.sigma:.4g}; no selection is below "
            f"{self.least_sigma:.4g}; within {100 * self.gap:.2g} % of the best possible"
        )


def select_passes(
    candidates: CandidatePasses,
    target: Target,
    budget: PassBudget,
    *,
    tolerance: float = TOLERANCE,
    progress: bool = False,
) -> Selection:
    """Choose the passes that make a target most precise.

    Parameters
    ----------
    candidates : CandidatePasses
    target : Target
    budget : PassBudget
    tolerance : float
        The search ends when the standard deviation is within this fraction of the best
        possible, or when going through all passes once improves it by less than a
        twentieth of this fraction.
    progress : bool
        Show a bar.

    Raises
    ------
    InputError
        If the budget is wrong (see `wobble.campaign.limits.Limits.of`), if all candidates
        together do not determine the target, or if no selection found determines it.
    """
    problem = DesignProblem.of(candidates, target, Limits.of(candidates, budget))
    selection = search(problem, candidates, target, budget, tolerance, progress)
    if np.isinf(selection.sigma):
        raise InputError(
            "the passes that fit in the budget do not determine the target",
            field=target.label,
            found=f"{len(selection.chosen)} passes",
            expected="more passes, or a priori knowledge",
        )
    return selection


def search(
    problem: DesignProblem,
    candidates: CandidatePasses,
    target: Target,
    budget: PassBudget,
    tolerance: float,
    progress: bool = False,
) -> Selection:
    """As `select_passes`, for a problem already set up; sigma is infinite if undetermined."""
    relaxation = relax(problem, tolerance / 2, progress=progress)
    price = _usable(relaxation.price)
    pool = _promising(relaxation)
    enough = relaxation.bound / (1.0 + tolerance) ** 2
    with tqdm(desc="passes", unit="", disable=not progress, leave=False) as bar:
        tried: list[_Choice] = []
        for start in (_Choice.grow, _Choice.thin):
            choice = _Choice(problem.part(pool), bar)
            start(choice, relaxation.shares[pool], price[pool])
            choice.fill(price[pool])
            choice.exchange(enough, tolerance / 10)
            tried.append(choice)
            if choice.information >= enough:
                break
        best = max(tried, key=lambda choice: choice.information)
        # What the promising passes left of the budget goes to the others.
        whole = _Choice(problem, bar, pool[best.numbers])
        whole.fill(price)
    chosen = whole.numbers[np.argsort(candidates.start[whole.numbers], kind="stable")]
    # In the parameters' own coordinates, without anything that was added for the search.
    p = len(candidates.parameters)
    sigma = target.sigma(candidates.triangle_of(chosen)[:p, :p])
    # With every pass chosen the two are the same number but for rounding.
    least = min(relaxation.least_sigma, sigma)
    return Selection(candidates, target, budget, chosen, sigma, least, relaxation)


def _promising(relaxation: Relaxation) -> NDArray[np.int_]:
    """Numbers of the passes that a good selection is made of, in ascending order."""
    number = 3 * int(np.ceil(relaxation.shares.sum())) + SPARE
    worth = relaxation.signal - relaxation.price
    return np.sort(np.lexsort((worth, relaxation.shares))[::-1][:number])


def _usable(price: Array) -> Array:
    """Prices by which one can divide."""
    most = price.max()
    return np.maximum(price, LEAST_PRICE * most) if most > 0 else np.ones_like(price)


class _Choice:
    """Passes taken so far, with the triangle of their information."""

    def __init__(
        self, problem: DesignProblem, bar: tqdm, numbers: NDArray[np.int_] | None = None
    ) -> None:
        self.problem = problem
        self.bar = bar
        self.taken = np.zeros(len(problem))
        if numbers is not None:
            self.taken[numbers] = 1.0
        self._settle(problem.triangle(self.taken))

    @property
    def numbers(self) -> NDArray[np.int_]:
        """Numbers of the passes taken, in ascending order."""
        return np.flatnonzero(self.taken)

    def grow(self, shares: Array, price: Array) -> None:
        """Take the passes that the relaxed optimum takes whole."""
        for i in np.flatnonzero(shares >= WHOLE):
            # Shares just below one may exceed a limit when they are rounded up.
            if self.problem.limits.fitting(self.taken)[i]:
                self.taken[i] = 1.0
        self._settle(self.problem.triangle(self.taken))

    def thin(self, shares: Array, price: Array) -> None:
        """Take all passes that it uses, and drop the least missed for its price until they fit."""
        target, limits, rows = self.problem.target, self.problem.limits, self.problem.rows
        self.taken = (shares > UNUSED).astype(float)
        root = self.problem.triangle(self.taken)
        while (involved := np.flatnonzero(limits.overdrawing(self.taken))).size:
            loss = target.information(root) - target.without_each(root, rows[involved])
            dropped = involved[np.argmin(loss / price[involved])]
            self.taken[dropped] = 0.0
            root = _less(root, rows[dropped])
        self._settle(self.problem.triangle(self.taken))

    def fill(self, price: Array) -> None:
        """Take the pass that fits and gains most for its price, until none fits."""
        while (fits := self.problem.limits.fitting(self.taken)).any():
            best = _best_addition(self.problem, self.root, fits, price)
            if best is None:
                return
            self.taken[best] = 1.0
            self._settle(triangle([self.root, self.problem.rows[best]]))

    def exchange(self, enough: float, gain: float) -> None:
        """Replace passes by better ones, until that is enough or gains too little a sweep."""
        before = 0.0
        while self.information > before * (1.0 + gain):
            before = self.information
            signals = self._signals()
            for i in self.numbers[np.argsort(signals[self.numbers])]:
                if self.information >= enough:
                    return
                if self._replace(int(i), signals):
                    signals = self._signals()

    def _replace(self, i: int, signals: Array) -> bool:
        """Put a better pass in the place of pass i, if there is one."""
        rest = self.taken.copy()
        rest[i] = 0.0
        fits = self.problem.limits.fitting(rest) & (self.taken == 0.0)
        # By the tangent bound a pass with a smaller signal is no better in its place.
        fits &= signals > signals[i]
        if not fits.any():
            return False
        least = self.information * (1.0 + GAIN)
        left = _less(self.root, self.problem.rows[i])
        best = _best_addition(self.problem, left, fits, np.ones(len(fits)), least)
        if best is None:
            return False
        rest[best] = 1.0
        # Subtracting has cost digits; the exchange is made only if it is good without that.
        root = self.problem.triangle(rest)
        if self.problem.target.information(root) <= least:
            return False
        self.taken = rest
        self._settle(root)
        return True

    def _signals(self) -> Array:
        target = self.problem.target
        return self.problem.signals(target.displacement(self.root))

    def _settle(self, root: Array) -> None:
        self.root = root
        self.information = self.problem.target.information(root)
        self.bar.set_postfix(taken=int(self.taken.sum()), sigma=f"{self.information**-0.5:.4g}")
        self.bar.update()


def _less(root: Array, rows: Array) -> Array:
    """Triangle without a pass; digits are lost, of which the coordinates leave enough."""
    return np.asarray(cholesky(root.T @ root - rows.T @ rows), float)


def _best_addition(
    problem: DesignProblem,
    root: Array,
    fits: NDArray[np.bool_],
    price: Array,
    least: float = 0.0,
) -> int | None:
    """The pass that gains most for its price, of those that make the information exceed least."""
    target = problem.target
    now = target.information(root)
    signals = problem.signals(target.displacement(root))
    order = np.flatnonzero(fits & (now + signals > least))
    order = order[np.argsort(-signals[order] / price[order])]
    best, rate = None, 0.0
    for first in range(0, len(order), AT_A_TIME):
        few = order[first : first + AT_A_TIME]
        few = few[signals[few] > rate * price[few]]
        if not few.size:
            break
        reached = target.with_each(root, problem.rows[few])
        rates = np.where(reached > least, (reached - now) / price[few], 0.0)
        if rates.max() > rate:
            best, rate = int(few[rates.argmax()]), float(rates.max())
    return best
