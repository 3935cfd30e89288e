"""Precision against effort: what each further pass brings.

In: candidate passes, the order in which they are taken, and derived quantities by their
gradients. Out: a `PrecisionHistory`, the standard deviation of every parameter and derived
quantity after each pass, against number of passes, date and station hours; how many passes
reach a wanted precision; and a `Precision` at any moment, which says what limits it.

Each pass costs one factorisation of a triangle on top of the pass's rows. With the rows
``[R, Z]`` of the triangle, a combination ``l`` of the parameters has

    formal variance        |R^-T l|^2
    considered effects     e_j = -l^T R^-1 Z_j sigma_j
    realistic variance     |R^-T l|^2 + sum(e_j^2)

(Bierman 1977, Factorization Methods for Discrete Sequential Estimation, ch. VIII). The
realistic one may grow with a pass: weights that follow the noise alone may lean on
data that a considered parameter spoils.

What limits a quantity is found from the parts of its realistic variance. *Formal noise* is
the variance that it would have if all the other parameters were known,
``sum(l_j^2 / |R_j|^2)`` with ``R_j`` the columns of R; *geometry* is the rest of the formal
variance, which comes from parameters that the passes hardly separate; each *considered
parameter* adds its own part. The largest part names the limit. Where a considered parameter
does not, it is *a priori knowledge* that limits a quantity if the passes improve it by less than
a twentieth, or if more than half of its formal variance comes from the errors of what was known
beforehand (`wobble.estimation.observability`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from astropy.table import Table
from numpy.typing import ArrayLike, NDArray
from tqdm import tqdm

from wobble.campaign.candidates import CandidatePasses, sigma_roots, triangle
from wobble.errors import InputError, UnknownNameError
from wobble.estimation.observability import LIMITED, NOT_IMPROVED
from wobble.shown import with_table

__all__ = [
    "Limitation",
    "Precision",
    "PrecisionHistory",
    "Reached",
    "UnreachableTarget",
    "precision_history",
    "precision_of",
]

Array = NDArray[np.float64]


class UnreachableTarget(InputError):
    """A standard deviation is wanted that cannot be reached.

    Attributes
    ----------
    best : float
        The best that can be reached, in the unit of the target.
    """

    def __init__(self, problem: str, *, field: str, wanted: float, best: float) -> None:
        self.best = best
        super().__init__(problem, field=field, found=wanted, expected=f"{best:.6g} or more")


@dataclass(frozen=True)
class Limitation:
    """What limits the precision of a quantity.

    Attributes
    ----------
    kind : str
        ``"formal noise"``, ``"geometry"``, ``"considered parameter"``, ``"a priori
        knowledge"`` or ``"undetermined"``.
    parameter : str
        The considered parameter, or the parameter whose exact knowledge would help the
        most against a bad geometry or what was known; empty otherwise.
    share : float
        Of the realistic variance.
    """

    kind: str
    parameter: str
    share: float

    def __str__(self) -> str:
        return f"{self.kind} ({self.parameter})" if self.parameter else self.kind


@dataclass(frozen=True, eq=False)
class Precision:
    """Precision of q quantities (the parameters, then derived ones) at one moment, SI.

    Attributes
    ----------
    quantities : tuple of str
    sigma : ndarray, shape (q,)
        Realistic standard deviations; infinite for what is not determined.
    formal : ndarray, shape (q,)
        From noise and a priori knowledge alone.
    alone : ndarray, shape (q,)
        The same, if every other parameter were known.
    a_priori : ndarray, shape (q,)
        Formal standard deviations without any measurement.
    a_priori_share : ndarray, shape (q,)
        Share of the formal variance that comes from the errors of what was known beforehand;
        zero as long as something is not determined at all.
    effects : ndarray, shape (q, k)
        Change of each quantity for one sigma of each considered parameter.
    considered : tuple of str
        The k considered parameters.
    entangled : tuple of str
        For each quantity the other parameter whose exact knowledge would lower its
        variance the most; empty if none would.
    """

    quantities: tuple[str, ...]
    sigma: Array
    formal: Array
    alone: Array
    a_priori: Array
    a_priori_share: Array
    effects: Array
    considered: tuple[str, ...]
    entangled: tuple[str, ...]

    def limitation(self, quantity: str) -> Limitation:
        """What limits the precision of a quantity.

        Raises
        ------
        UnknownNameError
            If there is no such quantity.
        """
        i = _place(self.quantities, quantity)
        if np.isinf(self.sigma[i]):
            return Limitation("undetermined", "", 1.0)
        noise = min(self.alone[i], self.formal[i]) ** 2
        parts = {
            ("formal noise", ""): noise,
            ("geometry", self.entangled[i]): self.formal[i] ** 2 - noise,
        }
        for name, effect in zip(self.considered, self.effects[i], strict=True):
            parts["considered parameter", name] = effect**2
        kind, parameter = max(parts, key=lambda part: parts[part])
        share = parts[kind, parameter] / self.sigma[i] ** 2
        known = self.formal[i] > NOT_IMPROVED * self.a_priori[i]
        if kind != "considered parameter" and (known or self.a_priori_share[i] > LIMITED):
            kind, parameter = "a priori knowledge", "" if known else self.entangled[i]
            share = (self.formal[i] / self.sigma[i]) ** 2
        return Limitation(kind, parameter, float(share))


@dataclass(frozen=True)
class Reached:
    """Effort after which a quantity has the wanted precision.

    Attributes
    ----------
    quantity : str
    wanted, sigma : float
        Standard deviation wanted and reached (realistic), SI.
    passes : int
        How many passes of the order it takes; zero if it is known beforehand.
    date : float
        End of the last of them, s as in the candidates (begin of the first pass if none
        is needed).
    hours : float
        Station hours.
    station_hours : dict
        The same by station.
    limitation : Limitation
        What limits the precision then.
    """

    quantity: str
    wanted: float
    sigma: float
    passes: int
    date: float
    hours: float
    station_hours: dict[str, float]
    limitation: Limitation


@dataclass(frozen=True, eq=False)
class PrecisionHistory:
    """Precision after no pass, one pass, two passes, ...: n + 1 moments.

    Attributes
    ----------
    candidates : CandidatePasses
    order : ndarray of int, shape (n,)
        Numbers of the passes in the order in which they are taken.
    derived : dict of str to ndarray
        Gradients of the derived quantities.
    sigma : ndarray, shape (n + 1, q)
        Realistic standard deviations of parameters and derived quantities, SI.
    formal : ndarray, shape (n + 1, q)
        Formal ones.
    """

    candidates: CandidatePasses
    order: NDArray[np.int_]
    derived: dict[str, Array]
    sigma: Array
    formal: Array

    @property
    def quantities(self) -> tuple[str, ...]:
        """Names of the q quantities: the parameters, then the derived ones."""
        return (*self.candidates.parameters, *self.derived)

    @property
    def hours(self) -> Array:
        """Station hours spent, shape (n + 1,)."""
        return np.concatenate([[0.0], np.cumsum(self.candidates.hours[self.order])])

    @property
    def date(self) -> Array:
        """When the passes so far are over, s, shape (n + 1,); first the begin of all."""
        begin = self.candidates.start[self.order].min()
        ends = np.maximum.accumulate(self.candidates.stop[self.order])
        return np.concatenate([[begin], ends])

    def table(self) -> Table:
        """Standard deviation of each quantity before the passes and after all of them, SI."""
        return Table(
            {
                "quantity": list(self.quantities),
                "before": self.sigma[0],
                "after": self.sigma[-1],
                "gained (times)": self.sigma[0] / self.sigma[-1],
            }
        )

    def __repr__(self) -> str:
        passes, hours = len(self.order), self.hours[-1]
        return (
            f"<PrecisionHistory: {len(self.quantities)} quantities after each of {passes} passes, "
            f"{hours:.1f} station hours>"
        )

    def _repr_html_(self) -> str:
        return with_table(repr(self) + "; standard deviations, SI", self.table())

    def of(self, quantity: str) -> Array:
        """Realistic standard deviation of one quantity at each moment, SI, shape (n + 1,).

        Raises
        ------
        UnknownNameError
            If there is no such quantity.
        """
        return np.asarray(self.sigma[:, _place(self.quantities, quantity)], float)

    def after(self, passes: int) -> Precision:
        """Everything about the precision after that many passes."""
        return precision_of(self.candidates, self.order[:passes], self.derived)

    def passes_needed(self, quantity: str, wanted: float) -> Reached:
        """The fewest passes, in this order, that reach a standard deviation.

        Parameters
        ----------
        quantity : str
        wanted : float
            Realistic standard deviation, SI.

        Raises
        ------
        UnreachableTarget
            If the passes never reach it; with the best that they reach.
        UnknownNameError
            If there is no such quantity.
        InputError
            If the wanted standard deviation is not positive and finite.
        """
        require_wanted(quantity, wanted)
        sigma = self.of(quantity)
        reached = np.flatnonzero(sigma <= wanted)
        if not reached.size:
            best = int(sigma.argmin())
            raise UnreachableTarget(
                f"the passes never reach this standard deviation; they come nearest after "
                f"{best} of {len(self.order)} passes",
                field=quantity,
                wanted=wanted,
                best=float(sigma[best]),
            )
        passes = int(reached[0])
        return Reached(
            quantity,
            wanted,
            float(sigma[passes]),
            passes,
            float(self.date[passes]),
            float(self.hours[passes]),
            self.candidates.hours_by_station(self.order[:passes]),
            self.after(passes).limitation(quantity),
        )


def precision_history(
    candidates: CandidatePasses,
    order: ArrayLike | None = None,
    derived: Mapping[str, ArrayLike] | None = None,
    progress: bool = False,
) -> PrecisionHistory:
    """Take passes in one after the other.

    Parameters
    ----------
    candidates : CandidatePasses
    order : array_like of int, optional
        Numbers of the passes in the order in which they are taken; all, by their begin, if
        left out.
    derived : mapping of str to array_like, shape (p,), optional
        Gradients of derived quantities with respect to the parameters, SI.
    progress : bool
        Show a bar.

    Raises
    ------
    InputError
        If the order names a pass twice or one that does not exist, if a derived quantity
        has the name of a parameter, or if its gradient does not fit.
    """
    chosen = _checked_order(candidates, order)
    gradients = _checked_gradients(candidates, derived)
    combinations = _combinations(candidates, gradients)
    sigma = np.empty((len(chosen) + 1, len(combinations)))
    formal = np.empty_like(sigma)
    root = candidates.first_triangle
    sigma[0], formal[0], _ = _spread(candidates, root, combinations)
    for k, i in enumerate(tqdm(chosen, desc="precision", disable=not progress, leave=False), 1):
        root = triangle([root, candidates.blocks[i]])
        sigma[k], formal[k], _ = _spread(candidates, root, combinations)
    return PrecisionHistory(candidates, chosen, gradients, sigma, formal)


def precision_of(
    candidates: CandidatePasses,
    chosen: ArrayLike,
    derived: Mapping[str, ArrayLike] | None = None,
) -> Precision:
    """Precision with the chosen passes.

    Parameters
    ----------
    candidates : CandidatePasses
    chosen : array_like of int
        Their numbers, in any order; may be empty.
    derived : mapping of str to array_like, shape (p,), optional
        Gradients of derived quantities.

    Raises
    ------
    InputError
        As for `precision_history`.
    """
    gradients = _checked_gradients(candidates, derived)
    combinations, p = _combinations(candidates, gradients), len(candidates.parameters)
    root = candidates.triangle_of(_checked_order(candidates, chosen))
    sigma, formal, effects = _spread(candidates, root, combinations)
    _, a_priori, _ = _spread(candidates, candidates.a_priori_triangle, combinations)
    return Precision(
        (*candidates.parameters, *gradients),
        sigma,
        formal,
        _alone(root, combinations),
        a_priori,
        _a_priori_share(candidates.a_priori_triangle[:p, :p], root[:p, :p], combinations),
        effects,
        candidates.considered,
        _entangled(candidates.parameters, root, combinations),
    )


def require_wanted(name: str, wanted: float) -> None:
    """See that a wanted standard deviation is one.

    Raises
    ------
    InputError
        If it is not positive and finite.
    """
    if not (np.isfinite(wanted) and wanted > 0):
        raise InputError(
            "the wanted standard deviation must be positive and finite", field=name, found=wanted
        )


def _spread(
    candidates: CandidatePasses, root: Array, combinations: Array
) -> tuple[Array, Array, Array]:
    """Realistic and formal standard deviations (q,), and considered effects (q, k)."""
    p = len(candidates.parameters)
    roots = sigma_roots(root[:p, :p], combinations)
    determined = np.isfinite(roots).all(axis=1)
    formal = np.linalg.norm(roots, axis=1)
    effects = np.zeros((len(combinations), len(candidates.considered)))
    effects[determined] = -(roots[determined] @ root[:p, p:]) * candidates.considered_sigma
    return np.sqrt(formal**2 + (effects**2).sum(axis=1)), formal, effects


def _alone(root: Array, combinations: Array) -> Array:
    """Standard deviations if all parameters but one at a time were known."""
    p = combinations.shape[1]
    length = np.linalg.norm(root[:p, :p], axis=0)
    sigma = np.divide(1.0, length, out=np.full(p, np.inf), where=length > 0)
    parts = np.multiply(
        combinations, sigma, out=np.zeros_like(combinations), where=combinations != 0
    )
    return np.asarray(np.linalg.norm(parts, axis=1), float)


def _a_priori_share(known: Array, root: Array, combinations: Array) -> Array:
    """Share of the variances that comes from the errors of what was known beforehand."""
    own = sigma_roots(root, np.eye(len(root)))
    if not np.isfinite(own).all():
        return np.zeros(len(combinations))
    roots = combinations @ own
    # The covariance P weights the a priori values by P B^T, with B the rows of what is known.
    known_part = (known @ own @ roots.T) ** 2
    return np.asarray(known_part.sum(axis=0) / (roots**2).sum(axis=1), float)


def _entangled(names: Sequence[str], root: Array, combinations: Array) -> tuple[str, ...]:
    """The parameter, not part of the combination, that takes most of its variance away.

    Exact knowledge of parameter j lowers a variance by ``cov_j^2 / var_j``.
    """
    p = len(names)
    roots = sigma_roots(root[:p, :p], combinations)
    own = sigma_roots(root[:p, :p], np.eye(p))
    roots, own = (np.where(np.isfinite(values), values, 0.0) for values in (roots, own))
    variance = (own**2).sum(axis=1)
    gain = np.divide(
        (roots @ own.T) ** 2,
        variance,
        out=np.zeros((len(combinations), p)),
        where=(combinations == 0) & (variance > 0),
    )
    return tuple(names[row.argmax()] if row.any() else "" for row in gain)


def _combinations(candidates: CandidatePasses, gradients: Mapping[str, Array]) -> Array:
    return np.vstack([np.eye(len(candidates.parameters)), *gradients.values()])


def _checked_order(candidates: CandidatePasses, order: ArrayLike | None) -> NDArray[np.int_]:
    if order is None:
        return np.argsort(candidates.start, kind="stable")
    numbers = np.asarray(order, int).reshape(-1)
    wrong = (numbers < 0) | (numbers >= len(candidates))
    if wrong.any():
        raise InputError(
            "there is no such pass",
            field="order",
            found=numbers[wrong].tolist(),
            expected=f"numbers from 0 to {len(candidates) - 1}",
        )
    values, counts = np.unique(numbers, return_counts=True)
    if (counts > 1).any():
        raise InputError(
            "a pass can be taken only once", field="order", found=values[counts > 1].tolist()
        )
    return numbers


def _checked_gradients(
    candidates: CandidatePasses, derived: Mapping[str, ArrayLike] | None
) -> dict[str, Array]:
    gradients = {}
    for name, gradient in (derived or {}).items():
        if name in candidates.parameters:
            raise InputError("a derived quantity has the name of a parameter", field=name)
        gradients[name] = candidates.checked_gradient(name, gradient)
    return gradients


def _place(quantities: Sequence[str], quantity: str) -> int:
    if quantity not in quantities:
        raise UnknownNameError("parameter or derived quantity", quantity, quantities)
    return quantities.index(quantity)
