"""What may be spent on passes, as linear inequalities.

In: a budget (so many passes, so many a week, so many hours, of which station) and the
candidates with their exclusive groups. Out: `Limits`, rows ``B w <= b`` on the shares
``0 <= w <= 1`` with which the passes are taken, that answer two questions: which passes still
fit, and which shares gather the most of a signal that each pass offers.

The second is a linear programme. With nothing but a number of passes it is a sorting;
otherwise it is solved by the HiGHS simplex (Huangfu & Hall 2018, Math. Prog. Comput. 10,
119). Its prices ``y >= 0`` of the limits bound every choice by weak duality,

    c w <= b y + sum(max(0, c - B^T y)),

which holds for any prices, so that no tolerance of the solver touches the certificate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import csr_array

from wobble.campaign.candidates import CandidatePasses, SharedLimit
from wobble.errors import ConvergenceError, InputError, UnknownNameError

__all__ = ["Gathering", "Limits", "PassBudget"]

Array = NDArray[np.float64]
# Hours are sums of floats: a budget of 3 h holds three passes of an hour.
ROUNDING = 1e-9
WEEK = 7 * 86_400.0


@dataclass(frozen=True)
class PassBudget:
    """What may be spent at most.

    Parameters
    ----------
    passes : int, optional
        Number of passes.
    hours : float, optional
        Station hours in all.
    station_hours : mapping of str to float, optional
        Hours of each station. Every station of the candidates must be named, with
        ``math.inf`` if its hours are not limited.
    per_week : int, optional
        Passes in each week, counted from the begin of the first candidate.
    """

    passes: int | None = None
    hours: float | None = None
    station_hours: Mapping[str, float] | None = None
    per_week: int | None = None


@dataclass(frozen=True, eq=False)
class Gathering:
    """Shares that gather the most of a signal.

    Attributes
    ----------
    shares : ndarray, shape (n,)
        The share of each pass, from 0 to 1.
    most : float
        What no choice can exceed.
    price : ndarray, shape (n,)
        What each pass takes of the limits, ``B^T y``, in units of the signal.
    """

    shares: Array
    most: float
    price: Array


@dataclass(frozen=True, eq=False)
class Limits:
    """Inequalities ``B w <= b``.

    Parameters
    ----------
    matrix : sparse array, shape (c, n)
        ``B``, nothing negative.
    bound : ndarray, shape (c,)
        ``b``.
    """

    matrix: csr_array
    bound: Array

    @classmethod
    def of(cls, candidates: CandidatePasses, budget: PassBudget) -> Limits:
        """The limits that a budget and the exclusive groups set.

        Raises
        ------
        InputError
            If there are fewer candidates than passes to be chosen, if a budget is zero,
            negative or not a number, if it buys no pass at all, or if a station is unknown
            or has no budget.
        """
        n = len(candidates)
        rows = [*_budget_rows(candidates, budget), *_group_rows(candidates)]
        if not rows:
            rows = [SharedLimit(np.arange(n), np.ones(n), float(n))]
        passes = np.concatenate([row.passes for row in rows])
        taken = np.concatenate([row.taken for row in rows])
        number = np.repeat(np.arange(len(rows)), [len(row.passes) for row in rows])
        matrix = csr_array((taken, (number, passes)), shape=(len(rows), n))
        limits = cls(matrix, np.array([row.bound for row in rows]))
        if not limits.fitting(np.zeros(n)).any():
            raise InputError(
                "the budget is shorter than every candidate pass",
                field="budget",
                found=budget,
                expected=f"at least {candidates.hours.min():.3g} h",
            )
        return limits

    def part(self, passes: NDArray[np.int_]) -> Limits:
        """The same limits when only some passes are to be had."""
        return Limits(csr_array(self.matrix[:, passes]), self.bound)

    def fitting(self, taken: Array) -> NDArray[np.bool_]:
        """Which passes fit beside those taken (ones in an array (n,)), and are not taken."""
        entries = self._entries
        too_much = entries.data > self._room(taken)[entries.row]
        fits = taken == 0.0
        fits[entries.col[too_much]] = False
        return np.asarray(fits, bool)

    def overdrawing(self, taken: Array) -> NDArray[np.bool_]:
        """Which of the passes taken have a part in a limit that is exceeded."""
        exceeded = self._room(taken) < 0.0
        return np.asarray((self.matrix.T @ exceeded > 0) & (taken > 0.0), bool)

    def level(self) -> float:
        """The largest share that all passes can have alike."""
        needed = np.asarray(self.matrix.sum(axis=1), float)
        return float(min(1.0, np.min(self.bound[needed > 0] / needed[needed > 0], initial=1.0)))

    def gather(self, signal: Array) -> Gathering:
        """Shares with the largest sum of the signal, shape (n,), nothing negative.

        Raises
        ------
        ConvergenceError
            If the linear programme is not solved.
        """
        if self._counts_only:
            shares, prices = _largest(signal, int(self.bound[0]))
        else:
            shares, prices = self._linear_programme(signal)
        price = self.matrix.T @ prices
        most = float(self.bound @ prices + np.maximum(signal - price, 0.0).sum())
        return Gathering(shares, most, price)

    def _linear_programme(self, signal: Array) -> tuple[Array, Array]:
        # The solver's tolerances are absolute, so the signal is brought to the size of one.
        size = signal.max(initial=0.0) or 1.0
        solved = linprog(
            -signal / size,
            A_ub=self.matrix,
            b_ub=self.bound,
            bounds=(0.0, 1.0),
            method="highs-ds",
            options={"presolve": False},  # takes three times as long as the simplex steps
        )
        if solved.status != 0:
            raise ConvergenceError(f"the linear programme of the budget failed: {solved.message}")
        prices = size * np.maximum(-solved.ineqlin.marginals, 0.0)
        return np.clip(solved.x, 0.0, 1.0), np.asarray(prices, float)

    def _room(self, taken: Array) -> Array:
        left = self.bound - self.matrix @ taken
        return np.asarray(left + ROUNDING * (1.0 + self.bound), float)

    @cached_property
    def _entries(self) -> csr_array:
        return self.matrix.tocoo()

    @cached_property
    def _counts_only(self) -> bool:
        return len(self.bound) == 1 and bool((self.matrix.toarray() == 1.0).all())


def _largest(signal: Array, count: int) -> tuple[Array, Array]:
    """Ones at the largest entries, and the price of a place: the smallest of these."""
    taken = np.argpartition(-signal, count - 1)[:count]
    shares = np.zeros(len(signal))
    shares[taken] = 1.0
    return shares, signal[taken].min(keepdims=True)


def _group_rows(candidates: CandidatePasses) -> list[SharedLimit]:
    groups = [np.array(group, int) for group in candidates.exclusive]
    one_of_each = [SharedLimit(group, np.ones(len(group)), 1.0) for group in groups]
    return [*one_of_each, *candidates.shared]


def _budget_rows(candidates: CandidatePasses, budget: PassBudget) -> list[SharedLimit]:
    n = len(candidates)
    rows: list[SharedLimit] = []
    if budget.passes is not None:
        if not 1 <= budget.passes <= n:
            raise InputError(
                "this number of passes cannot be chosen",
                field="budget.passes",
                found=budget.passes,
                expected=f"from 1 to {n}, the number of candidates",
            )
        rows.append(SharedLimit(np.arange(n), np.ones(n), float(budget.passes)))
    stations = _station_hours(candidates, budget)
    if budget.hours is not None:
        stations = [("budget.hours", np.arange(n), budget.hours), *stations]
    for name, passes, hours in stations:
        if not hours > 0:
            raise InputError(
                "a budget must be positive (leave out the candidates of a station without hours)",
                field=name,
                found=hours,
            )
        if np.isfinite(hours):
            rows.append(SharedLimit(passes, candidates.hours[passes], float(hours)))
    return rows + _weekly_rows(candidates, budget)


def _weekly_rows(candidates: CandidatePasses, budget: PassBudget) -> list[SharedLimit]:
    if budget.per_week is None:
        return []
    if budget.per_week < 1:
        raise InputError(
            "a week without passes leaves nothing to choose",
            field="budget.per_week",
            found=budget.per_week,
            expected="1 or more",
        )
    week = ((candidates.start - candidates.start.min()) // WEEK).astype(int)
    groups = [np.flatnonzero(week == w) for w in np.unique(week)]
    return [SharedLimit(group, np.ones(len(group)), float(budget.per_week)) for group in groups]


def _station_hours(
    candidates: CandidatePasses, budget: PassBudget
) -> Sequence[tuple[str, NDArray[np.int_], float]]:
    if budget.station_hours is None:
        return []
    known = {str(s) for s in np.unique(candidates.station)}
    for name in budget.station_hours:
        if name not in known:
            raise UnknownNameError("station", name, known, field="budget.station_hours")
    missing = known.difference(budget.station_hours)
    if missing:
        raise InputError(
            "stations of the candidates have no hours in the budget",
            field="budget.station_hours",
            found=", ".join(sorted(missing)),
            expected="hours of every station, math.inf if they are not limited",
        )
    return [
        (f"budget.station_hours, {name}", np.flatnonzero(candidates.station == name), hours)
        for name, hours in budget.station_hours.items()
    ]
