"""What is wrong with data that no model describes: the usual mistakes, each tried.

In: a campaign and measurements that its fit does not describe. Out: the mistakes that, undone,
bring the residuals down to the noise; nothing if none does.

A few samples of each pass are enough. For every usual mistake (`mistakes`) observables and
partial derivatives are computed as they would be without it, for all the data it may concern, and
then for one kind, one station, one lander or one of their combinations alone; a resistant linear
fit with what is known beforehand takes up what the estimated parameters can take up. The
residuals are judged by their median absolute value in stated standard deviations, over that of
normal noise, so that outliers do not matter. A mistake is named if undoing it brings that number
from above `BAD` to below `GOOD`, and no other does much better.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wobble.campaign.mistakes import Case, Mistake, usual_mistakes
from wobble.estimation.least_squares import ObservationModel
from wobble.estimation.parameters import ParameterSet
from wobble.estimation.variance import NORMAL_MEDIAN
from wobble.link.network import Network
from wobble.shown import shortly
from wobble.tracking import Tracking

__all__ = ["Diagnosis", "diagnosed", "thinned", "with_its_noise"]

Array = NDArray[np.float64]

PASSES, IN_PASS = 24, 3
"""Passes between the same ends, and samples of each kind in a pass, that are looked at."""
BAD, GOOD = 3.0, 2.0
"""Median residual, in that of normal noise: what needs an explanation, and what is noise."""
NEAR = 1.3
"""A mistake that leaves so many times the residuals of the best one explains as much."""
LEAST_GAIN = 3.0
STRAINED = 2.5
"""Sigmas of strain against what was known that weigh as much as residuals as large as stated."""
LEAST = 6
"""Samples between the same ends from which they are judged."""
FREE = 1e12
ENDS = ("kind", "transmitter", "receiver", "lander", "tag")
"""What measurements have in common that are computed together."""
ITERATIONS = 15
RESISTANT = 1.5
"""Residual in standard deviations beyond which a sample counts less."""


@dataclass(frozen=True)
class Diagnosis:
    """A mistake that would explain what no model describes.

    Attributes
    ----------
    sentence : str
        What is wrong.
    where : str
        Which of the data are concerned.
    before, after : float
        Their median residual with the mistake and without, in that of normal noise as stated.
    """

    sentence: str
    where: str
    before: float
    after: float

    def __str__(self) -> str:
        return (
            f"{self.where}: {self.sentence}; without that, residuals are {shortly(self.after)} "
            f"times as large as stated, and not {shortly(self.before)} times"
        )


def thinned(tracking: Tracking) -> Tracking:
    """A few samples of each kind from a few passes of each pair of ends."""
    rows = []
    for members in _by(tracking, ENDS):
        names, inverse = np.unique(tracking.pass_id[members], return_inverse=True)
        for k in _spread(len(names), PASSES):
            inside = members[inverse == k]
            inside = inside[np.argsort(tracking.epoch[inside].jd, kind="stable")]
            rows.append(inside[_spread(len(inside), IN_PASS)])
    return tracking[np.sort(np.concatenate(rows))]


def _spread(n: int, most: int) -> NDArray[np.intp]:
    """Places of at most so many of n things, first and last among them."""
    return np.unique(np.linspace(0, n - 1, min(n, most)).round().astype(int))


def _by(tracking: Tracking, columns: Sequence[str]) -> list[NDArray[np.intp]]:
    """Rows of the table that agree in some columns."""
    names = zip(*(getattr(tracking, column) for column in columns), strict=True)
    keys = np.array(["\0".join(key) for key in names])
    _, inverse = np.unique(keys, return_inverse=True)
    return [np.flatnonzero(inverse == k) for k in range(inverse.max() + 1)]


def with_its_noise(tracking: Tracking, model: ObservationModel, values: Array) -> Tracking:
    """The measurements with the standard deviations that their model gives them.

    Those of the biases of each pass are taken in; a bias that is free leaves its samples nothing.

    Parameters
    ----------
    tracking : Tracking
    model : ObservationModel
        Of these measurements.
    values : ndarray, shape (p,)
        Of the estimated parameters.
    """
    sigma = np.empty(len(tracking))
    rows = iter(tracking.passes())
    for equations in model.equations(values):
        _, members = next(rows)
        spread = np.where(np.isfinite(equations.local_sigma), equations.local_sigma, FREE)
        bias = equations.local_partials * spread
        sigma[members] = np.sqrt(equations.sigma**2 + (bias**2).sum(axis=1))
    return replace(tracking, sigma=sigma)


def diagnosed(
    network: Network, tracking: Tracking, parameters: ParameterSet
) -> tuple[Diagnosis, ...]:
    """The usual mistakes that would explain the residuals, the best explanation first.

    Parameters
    ----------
    network : Network
        At the a priori values.
    tracking : Tracking
        A few measurements (`thinned`), with all of their noise (`with_its_noise`).
    parameters : ParameterSet
        Those estimated.
    """
    cases = [Case(network, tracking[rows], parameters) for rows in _by(tracking, ENDS)]
    given = [_rows([case])[0] for case in cases]
    before = _judged(given, parameters)
    undone = _all_undone(cases)
    tried: set[tuple[str, frozenset[int]]] = set()
    for scopes in _scopes(cases):
        found = []
        for where, scope in scopes.items():
            for name, by_case in undone.items():
                concerned = scope.intersection(by_case)
                if not concerned or (name, concerned) in tried:
                    continue
                tried.add((name, concerned))
                mistakes = [by_case[k][0] for k in concerned]
                rows = [by_case[k][1] if k in concerned else given[k] for k in range(len(cases))]
                after = _judged(rows, mistakes[0].undone.parameters)
                worst = max(before[k] for k in concerned)
                if max(after) < GOOD and worst > max(BAD, LEAST_GAIN * max(after)):
                    found.append(Diagnosis(mistakes[0].sentence, where, worst, max(after)))
        if found:
            best = min(one.after for one in found)
            near = [one for one in found if one.after <= NEAR * best]
            return tuple(sorted(near, key=lambda one: one.after))
    return ()


def _all_undone(cases: Sequence[Case]) -> dict[str, dict[int, tuple[Mistake, _Rows]]]:
    """Every mistake by name, with the rows of each case that may suffer from it."""
    undone: dict[str, dict[int, tuple[Mistake, _Rows]]] = {}
    for k, case in enumerate(cases):
        mistakes = list(usual_mistakes(case))
        rows = _rows([mistake.undone for mistake in mistakes])
        for mistake, one in zip(mistakes, rows, strict=True):
            undone.setdefault(mistake.name, {})[k] = mistake, one
    return undone


def _rows(cases: Sequence[Case]) -> list[_Rows]:
    """Rows of cases of equal length, those of one network computed together."""
    found: dict[int, _Rows] = {}
    names = cases[0].parameters.names
    for network in {id(case.network): case.network for case in cases}.values():
        members = [k for k, case in enumerate(cases) if case.network is network]
        together = Tracking.concatenate(cases[k].tracking for k in members)
        computed = network.compute(together, names)
        residual = (together.value - computed.value) / together.sigma
        partials = computed.partials / together.sigma[:, None]
        parts = (np.split(column, len(members)) for column in (residual, partials))
        found |= dict(zip(members, map(_Rows, *parts), strict=True))
    return [found[k] for k in range(len(cases))]


def _scopes(cases: Sequence[Case]) -> list[dict[str, frozenset[int]]]:
    """Cases that may share a mistake, by name: all, then fewer and fewer."""

    def alike(name: Callable[[Case], str]) -> dict[str, frozenset[int]]:
        names = [name(case) for case in cases]
        return {n: frozenset(k for k, other in enumerate(names) if other == n) for n in names}

    return [
        {"all data": frozenset(range(len(cases)))},
        alike(lambda case: case.kind) | alike(_station) | alike(_lander),
        alike(lambda case: f"{case.kind}, {_station(case)}"),
        alike(lambda case: f"{case.kind}, {_station(case)}, {_lander(case)}"),
    ]


def _station(case: Case) -> str:
    ends = str(case.tracking.transmitter[0]), str(case.tracking.receiver[0])
    return f"station {' to '.join(dict.fromkeys(ends))}"


def _lander(case: Case) -> str:
    return f"lander {case.tracking.lander[0]}"


@dataclass(frozen=True, eq=False)
class _Rows:
    """Residuals (n,) and partial derivatives (n, p) of a case, in standard deviations."""

    residual: Array
    partials: Array


def _judged(rows: Sequence[_Rows], parameters: ParameterSet) -> list[float]:
    """Median residual of each case after a fit, in that of normal noise.

    What was known is data too: a fit that strains it by many standard deviations is no better
    than its residuals would be.
    """
    known, values = parameters.a_priori_rows()
    design = np.vstack([one.partials for one in rows])
    residual = np.concatenate([one.residual for one in rows])
    off = values - known @ parameters.values
    step = _resistant_step(design, residual, known, off)
    left = np.split(residual - design @ step, np.cumsum([len(one.residual) for one in rows])[:-1])
    strain = np.abs(off - known @ step).max(initial=0.0) / STRAINED
    return [
        max(float(np.median(np.abs(one))) / NORMAL_MEDIAN if len(one) >= LEAST else 0.0, strain)
        for one in left
    ]


def _resistant_step(design: Array, residual: Array, known: Array, off: Array) -> Array:
    """Least squares with Huber's weights for the data; what was known keeps its own."""
    scale = np.linalg.norm(np.vstack([design, known]), axis=0)
    scale[scale == 0.0] = 1.0
    step = np.zeros(len(scale))
    for _ in range(ITERATIONS):
        size = np.abs(residual - design @ (step / scale))
        root = np.sqrt(np.minimum(1.0, RESISTANT / np.maximum(size, RESISTANT)))
        rows = np.vstack([design * root[:, None], known]) / scale
        step = np.linalg.lstsq(rows, np.concatenate([residual * root, off]), rcond=1e-13)[0]
    return step / scale
