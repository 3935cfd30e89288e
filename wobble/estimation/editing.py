"""Which samples count, and why the others do not.

In: a linearisation, and what is known of the samples from the iteration before. Out: the
accepted samples, the variance components, the solution that belongs to them, and a
reason in words for everything that was rejected.

A sample is judged by its own predicted residual: with standard deviation ``sigma`` and
leverage ``h`` (see `linearisation`) a used sample has a residual of standard deviation
``sigma sqrt(1 - h)``, one left out ``sigma sqrt(1 + h)`` (Baarda 1968, A testing
procedure for use in geodetic networks). It is rejected beyond ``threshold`` times that,
whether it was used or not; both ways of asking give the same answer, so that decisions do
not swing. Samples that are shifted together get a parameter of their own (`passes`). A pass
of which more than half is rejected even so, or whose slope or noise is unlike that of the
others, is rejected whole, and described. Nothing is deleted: every round judges all anew. A
sample that the observation model itself excludes (rain, wind, low elevation) never counts, nor
does it count against its pass.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.least_squares import LinearEstimate, LocalFactor, SquareRootInformation
from wobble.estimation.linearisation import Linearisation, NoiseWeights
from wobble.estimation.passes import (
    Jump,
    PassCharacter,
    describe_pass,
    find_jumps,
    is_shifted,
    levels,
    unusual_passes,
)
from wobble.estimation.robust import ResistantStart, inflation, resistant_start
from wobble.estimation.slips import whole_steps
from wobble.estimation.variance import VarianceComponent, estimate_component
from wobble.measurements.kinds import kind_named

__all__ = [
    "EditedSolution",
    "EditingRules",
    "Judgement",
    "edit",
    "first_judgement",
    "reasons",
]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

# Below this share of its own a sample determines a parameter alone: nothing can be said of it.
TESTABLE = 1e-6
# The variance components have settled when they change by less than this, relatively.
SETTLED = 1e-3


GROUPS = ("kind", "station", "pass")


@dataclass(frozen=True)
class EditingRules:
    """When a sample is rejected.

    Parameters
    ----------
    threshold : float
        Rejected if the residual exceeds so many of its predicted standard deviations;
        infinite for a fit that takes every sample.
    pass_share : float
        A pass is rejected whole if more than this share of its samples (of one kind) is.
    pass_least : int
        ... and if it has at least so many samples.
    jumps : int
        At most so many jumps of one kind in one pass are estimated; a pass with more of
        them is left to the other rules.
    reweight : bool
        Whether the variance components enter the weights.
    rounds : int
        At most so many solutions within one linearisation.
    group : {"kind", "station", "pass"}
        What samples of one kind must have in common to share a variance component.
    range_ambiguity : float
        After which the ranging code repeats itself, one-way, m; NaN if not known. Range errors
        that are a whole number of it are named so.

    Raises
    ------
    InputError
        If a number makes no sense.
    """

    threshold: float = 4.0
    pass_share: float = 0.5
    pass_least: int = 3
    jumps: int = 3
    reweight: bool = True
    rounds: int = 30
    group: str = "kind"
    range_ambiguity: float = np.nan

    def __post_init__(self) -> None:
        if not self.threshold > 0:
            raise InputError(
                "the threshold must be positive", field="editing.threshold", found=self.threshold
            )
        if not 0 < self.pass_share <= 1:
            raise InputError(
                "not a share", field="editing.pass_share", found=self.pass_share, expected="0 to 1"
            )

        if self.group not in GROUPS:
            raise UnknownNameError("group of samples", self.group, GROUPS, field="editing.group")


@dataclass(frozen=True, eq=False)
class Judgement:
    """What the editing has decided; it can be handed to the next iteration.

    Attributes
    ----------
    accepted : ndarray of bool, shape (n,)
    components : dict
        Variance component of each group of samples.
    whole : dict
        Description of each pass that was rejected whole, by (pass, kind).
    jumps : tuple of Jump
        Shifts that are estimated with the pass.
    """

    accepted: Mask
    components: dict[str, VarianceComponent]
    whole: dict[tuple[str, str], str] = field(default_factory=dict)
    jumps: tuple[Jump, ...] = ()


@dataclass(frozen=True, eq=False)
class EditedSolution:
    """The solution of the accepted samples.

    Attributes
    ----------
    judgement : Judgement
    data, information : SquareRootInformation
        Of the accepted samples; and with the a priori knowledge.
    factors : list of LocalFactor
    estimate : LinearEstimate
    factor : ndarray, shape (n,)
        Factor on the standard deviations that went into the weights.
    residual : ndarray, shape (n,)
        Residuals of all samples, SI.
    redundancy : ndarray, shape (n,)
        Variance that the residual should have, over that of the sample.
    wider : ndarray, shape (n,)
        Factor on the standard deviations by the variance components.
    settled : bool
        Whether the last round changed nothing.
    """

    judgement: Judgement
    data: SquareRootInformation
    information: SquareRootInformation
    factors: list[LocalFactor]
    estimate: LinearEstimate
    factor: Array
    residual: Array
    redundancy: Array
    wider: Array
    settled: bool

    def predicted(self, sigma: Array) -> Array:
        """Standard deviation of each residual, SI; zero where a sample cannot be judged."""
        testable = self.redundancy > TESTABLE
        return np.where(testable, sigma * self.wider * np.sqrt(self.redundancy), 0.0)


def first_judgement(linearisation: Linearisation, rules: EditingRules) -> Judgement:
    """Decide from a resistant start, without anything known before."""
    if np.isinf(rules.threshold):
        groups = np.unique(linearisation.group).tolist()
        return Judgement(
            _usable(linearisation), {group: VarianceComponent(group) for group in groups}
        )
    start = resistant_start(linearisation)
    spread = linearisation.sigma * inflation(linearisation, start.components)
    jumps, shifts = _jumps(linearisation, rules, start, spread)
    rest = start.residual - shifts
    accepted = (np.abs(rest) <= rules.threshold * spread) & _usable(linearisation)
    whole = _bad_passes(linearisation, rules, accepted, rest, spread)
    accepted &= ~_members(linearisation, whole)
    return Judgement(accepted, start.components, whole, jumps)


def _jumps(
    linearisation: Linearisation, rules: EditingRules, start: ResistantStart, spread: Array
) -> tuple[tuple[Jump, ...], Array]:
    """Jumps in all passes, wrong constants among them, and their size for each sample, SI."""
    jumps: list[Jump] = []
    shifts = np.zeros(len(linearisation))
    biases = _biases(linearisation, start)
    epoch = linearisation.epoch
    for name, kind, members in linearisation.groups:
        indices = members[linearisation.excluded[members] == ""]
        residual, sigma = start.residual[indices], spread[indices]
        bias, expected = biases.get((name, kind), (0.0, 0.0))
        starts: list[int] = []
        if (np.abs(residual) > rules.threshold * sigma).sum() >= rules.pass_least:
            starts = find_jumps(residual, sigma, rules.threshold)
        first = slice(0, starts[0] if starts else None)
        constant = indices.size >= rules.pass_least and is_shifted(
            residual[first], sigma[first], rules.threshold, bias, expected
        )
        if not 0 < len(starts) + constant <= rules.jumps:
            continue
        shifts[indices] = levels(residual, starts)
        jumps += [Jump(name, kind, "")] * constant
        jumps += [Jump(name, kind, str(epoch[indices[i]])) for i in starts]
    return tuple(jumps), shifts


def _biases(
    linearisation: Linearisation, start: ResistantStart
) -> dict[tuple[str, str], tuple[float, float]]:
    """The constant found for each kind in each pass, and how large it is expected to be, SI."""
    expected = np.hypot(linearisation.local_sigma, start.local_sigma)
    found = {}
    for header in linearisation.headers:
        places = range(header.local_places.start, header.local_places.stop)
        for place, kind in zip(places, header.local_kinds, strict=True):
            if kind:
                found[header.name, kind] = float(start.local[place]), float(expected[place])
    return found


def edit(linearisation: Linearisation, rules: EditingRules, judgement: Judgement) -> EditedSolution:
    """Solve and judge in turn until nothing changes.

    Parameters
    ----------
    linearisation : Linearisation
        The problem.
    rules : EditingRules
        When to reject.
    judgement : Judgement
        Where to begin: of `first_judgement`, or of the iteration before.
    """
    solution = _solve(linearisation, rules, judgement)
    dropped = np.zeros(len(linearisation), int)
    for _ in range(rules.rounds):
        after = _judge(linearisation, rules, solution)
        # With correlated noise a sample near the threshold may fail while it is used and pass
        # while it is not: one that has been dropped twice stays out.
        dropped += judgement.accepted & ~after.accepted
        after = replace(after, accepted=after.accepted & (dropped < 2))
        if _same(judgement, after):
            return replace(solution, settled=True)
        judgement = after
        solution = _solve(linearisation, rules, judgement)
    return solution


def _solve(
    linearisation: Linearisation, rules: EditingRules, judgement: Judgement
) -> EditedSolution:
    wider = inflation(linearisation, judgement.components)
    factor = wider if rules.reweight else np.ones(len(linearisation))
    linearisation = linearisation.with_jumps(judgement.jumps)
    data, factors = linearisation.data(NoiseWeights(judgement.accepted, factor))
    information = data.combine(linearisation.a_priori())
    estimate = linearisation.solve(information)
    residual, leverage = linearisation.residuals(estimate, factors)
    share = leverage / factor**2
    left = np.where(judgement.accepted, np.maximum(1.0 - share, 0.0), 1.0 + share)
    return EditedSolution(
        judgement,
        data,
        information,
        factors,
        estimate,
        factor,
        residual,
        left,
        wider,
        settled=False,
    )


def _judge(
    linearisation: Linearisation, rules: EditingRules, solution: EditedSolution
) -> Judgement:
    used = solution.judgement.accepted
    components = {}
    for group, before in solution.judgement.components.items():
        members = used & (linearisation.group == group)
        components[group] = estimate_component(
            group,
            solution.residual[members],
            linearisation.sigma[members],
            solution.redundancy[members],
            before.form,
        )
    predicted = solution.predicted(linearisation.sigma)
    ratio = np.abs(solution.residual) / np.where(predicted > 0, predicted, np.inf)
    accepted = (ratio <= rules.threshold) & _usable(linearisation)
    whole = _bad_passes(linearisation, rules, accepted, solution.residual, predicted)
    accepted &= ~_members(linearisation, whole)
    return Judgement(accepted, components, whole, solution.judgement.jumps)


def _same(before: Judgement, after: Judgement) -> bool:
    return bool((before.accepted == after.accepted).all()) and all(
        abs(new.value - before.components[group].value) <= SETTLED * (new.value + new.uncertainty)
        for group, new in after.components.items()
    )


def _usable(linearisation: Linearisation) -> Mask:
    """Samples that the observation model does not exclude."""
    return np.asarray(linearisation.excluded == "")


def _members(linearisation: Linearisation, whole: dict[tuple[str, str], str]) -> Mask:
    mask = np.zeros(len(linearisation), bool)
    if whole:
        for name, kind, indices in linearisation.groups:
            mask[indices] = (name, kind) in whole
    return mask


def _bad_passes(
    linearisation: Linearisation,
    rules: EditingRules,
    accepted: Mask,
    residual: Array,
    predicted: Array,
) -> dict[tuple[str, str], str]:
    """Passes to be rejected whole, with what is wrong with them."""
    bad: dict[tuple[str, str], str] = {}
    characters = []
    ratio = residual / np.where(predicted > 0, predicted, np.inf)
    for name, kind, members in linearisation.groups:
        indices = members[linearisation.excluded[members] == ""]
        good = indices[accepted[indices]]
        out = indices.size - good.size
        if indices.size >= rules.pass_least and out > rules.pass_share * indices.size:
            text = describe_pass(kind, residual[indices], predicted[indices])
            bad[name, kind] = f"whole pass, {out} of {indices.size} samples too far: {text}"
        elif good.size:
            characters.append(PassCharacter.of(name, kind, ratio[good]))
    return {**unusual_passes(characters), **bad}


def reasons(
    linearisation: Linearisation, rules: EditingRules, solution: EditedSolution
) -> list[str]:
    """Why each rejected sample was rejected, in the order of the samples; empty if it was not."""
    texts = [""] * len(linearisation)
    predicted = solution.predicted(linearisation.sigma)
    for i in np.flatnonzero(~solution.judgement.accepted):
        if linearisation.excluded[i]:
            texts[i] = str(linearisation.excluded[i])
            continue
        kind = str(linearisation.kind[i])
        name = linearisation.headers[linearisation.pass_index[i]].name
        ratio = abs(solution.residual[i]) / predicted[i]
        within = ", which it keeps only while it is left out" if ratio <= rules.threshold else ""
        known = kind_named(kind)
        slip = known.slip_text(
            whole_steps(solution.residual[i], predicted[i], linearisation.step[i])
        )
        texts[i] = solution.judgement.whole.get((name, kind)) or (
            f"residual of {solution.residual[i]:+.4g} {known.si_text} is "
            f"{ratio:.3g} times its predicted uncertainty (limit {rules.threshold:g}{within})"
            + (f": {slip}" if slip else "")
        )
    return texts
