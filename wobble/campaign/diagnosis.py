"""What is wrong with data that no model describes: the usual mistakes, each tried.

In: a campaign and measurements that its fit does not describe. Out: the mistakes that, undone,
bring the residuals down to the noise; nothing if none does.

A few samples of each pass are enough. For every usual mistake (`mistakes`) observables and
partial derivatives are computed as they would be without it, for all the data it may concern, and
then for one kind, one station, one lander, one of their combinations or some passes alone; a
resistant linear fit with what is known beforehand takes up what the estimated parameters can take
up. The residuals are judged by their median absolute value in stated standard deviations, over that
of normal noise, so that outliers do not matter. A mistake is named if undoing it brings that number
from above `BAD` down to that of noise, in all of the data, and no other does much better.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from wobble.campaign.mistakes import Case, Mistake, usual_mistakes
from wobble.estimation.least_squares import ObservationModel
from wobble.estimation.parameters import ParameterSet
from wobble.estimation.variance import NORMAL_MEDIAN
from wobble.link.network import Network
from wobble.measurements.tracking import Tracking
from wobble.shown import shortly

__all__ = ["Diagnosis", "diagnosed", "thinned", "with_its_noise"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

PASSES, IN_PASS = 24, 3
"""Passes between the same ends, and samples of each kind in a pass, that are looked at."""
BAD, GOOD, BY_CHANCE = 3.0, 1.5, 3.0
"""Median residual, in that of normal noise: what needs an explanation, and what is noise; by how
much a single pass may exceed it by chance."""
NEAR = 1.3
"""A mistake that leaves so many times the residuals of the best one explains as much."""
LEAST_GAIN = 3.0
STRAINED = 2.5
"""Sigmas of strain against what was known that weigh as much as residuals as large as stated."""
FREE = 1e12
MOST_NAMED = 3
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
    search = _Search(cases, parameters)
    for scopes in _scopes(cases):
        found = search.whole(scopes)
        if found:
            return _best(found)
    return _best(search.parts())


def _best(found: list[Diagnosis]) -> tuple[Diagnosis, ...]:
    """Those that explain as much as the best of them, nearly."""
    least = min((one.after for one in found), default=0.0)
    near = [one for one in found if one.after <= NEAR * least]
    return tuple(sorted(near, key=lambda one: one.after))


class _Search:
    """Cases as they are given, and as they would be without each usual mistake."""

    def __init__(self, cases: Sequence[Case], parameters: ParameterSet) -> None:
        self.cases = cases
        self.given = [_rows([case])[0] for case in cases]
        self.before = _Left.by(self.given, parameters)
        self.undone = _all_undone(cases)
        self._tried: set[tuple[str, frozenset[int]]] = set()

    def whole(self, scopes: Mapping[str, frozenset[int]]) -> list[Diagnosis]:
        """Mistakes of all measurements of a scope."""
        found = []
        for where, scope in scopes.items():
            for name, by_case in self.undone.items():
                concerned = scope.intersection(by_case)
                if concerned and (name, concerned) not in self._tried:
                    self._tried.add((name, concerned))
                    whole = {k: np.ones(len(self.cases[k].tracking), bool) for k in concerned}
                    found += self._explained(by_case, whole, where)
        return found

    def parts(self) -> list[Diagnosis]:
        """Mistakes of some passes.

        A pass has the mistake if its residuals before any fit are smaller without it.
        """
        found = []
        for by_case in self.undone.values():
            masks: dict[int, Mask] = {}
            names: set[str] = set()
            for k, (_, undone) in by_case.items():
                wrong = self._passes_with(k, undone)
                if wrong:
                    masks[k] = np.isin(self.cases[k].tracking.pass_id, wrong)
                    names |= set(wrong)
            if masks:
                more = ", ..." if len(names) > MOST_NAMED else ""
                first = ", ".join(sorted(names)[:MOST_NAMED])
                where = f"{len(names)} of the passes looked at ({first}{more})"
                found += self._explained(by_case, masks, where)
        return found

    def _passes_with(self, k: int, undone: _Rows) -> list[str]:
        passes, given = self.cases[k].tracking.pass_id, self.given[k]
        sizes = {
            name: [np.median(np.abs(rows.residual[passes == name])) for rows in (given, undone)]
            for name in np.unique(passes).tolist()
        }
        return [name for name, (before, after) in sizes.items() if after < before]

    def _good(self, k: int) -> float:
        """What a case may reach by chance; samples of a pass share its bias."""
        return float(GOOD + BY_CHANCE / np.sqrt(len(np.unique(self.cases[k].tracking.pass_id))))

    def _explained(
        self, by_case: Mapping[int, tuple[Mistake, _Rows]], masks: Mapping[int, Mask], where: str
    ) -> list[Diagnosis]:
        """The mistake, if without it in some rows of some cases all come down to the noise."""
        mistake = next(by_case[k][0] for k in masks)
        rows = [
            given.replaced(by_case[k][1], masks[k]) if k in masks else given
            for k, given in enumerate(self.given)
        ]
        left = _Left.by(rows, mistake.undone.parameters)
        after = max(left.size(k, mask) for k, mask in masks.items())
        before = max(self.before.size(k, mask) for k, mask in masks.items())
        sound = all(left.size(k) < self._good(k) for k in range(len(rows)))
        if sound and before > max(BAD, LEAST_GAIN * after):
            return [Diagnosis(mistake.sentence, where, before, after)]
        return []


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
        alike(lambda case: case.kind.name) | alike(_station) | alike(_lander),
        alike(lambda case: f"{case.kind.name}, {_station(case)}"),
        alike(lambda case: f"{case.kind.name}, {_station(case)}, {_lander(case)}"),
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

    def replaced(self, other: _Rows, mask: Mask) -> _Rows:
        """These rows, with those of others where the mask says so."""
        return _Rows(
            np.where(mask, other.residual, self.residual),
            np.where(mask[:, None], other.partials, self.partials),
        )


@dataclass(frozen=True, eq=False)
class _Left:
    """Residuals of each case after a fit, and the largest strain on what was known, in sigmas."""

    residuals: list[Array]
    strain: float

    @classmethod
    def by(cls, rows: Sequence[_Rows], parameters: ParameterSet) -> _Left:
        """By a resistant fit to the rows of all cases."""
        known, values = parameters.a_priori_rows()
        design = np.vstack([one.partials for one in rows])
        residual = np.concatenate([one.residual for one in rows])
        off = values - known @ parameters.values
        step = _resistant_step(design, residual, known, off)
        ends = np.cumsum([len(one.residual) for one in rows])[:-1]
        strain = np.abs(off - known @ step).max(initial=0.0)
        return cls(np.split(residual - design @ step, ends), float(strain))

    def size(self, k: int, mask: Mask | slice = slice(None)) -> float:
        """Median residual of a case, or of some of its rows, in that of normal noise.

        What was known is data too: a fit that strains it by many standard deviations is no
        better than its residuals would be.
        """
        size = float(np.median(np.abs(self.residuals[k][mask])))
        return max(size / NORMAL_MEDIAN, self.strain / STRAINED)


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
