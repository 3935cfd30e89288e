"""Where a misfit lives: groups of passes whose residuals are unlike those of the others.

In: the samples of a solution with their labels, and what was estimated for single passes. Out:
the smallest groups that explain what is unlike, each with its size and its significance.

A pass with its samples of one kind is the unit, as errors within a pass are correlated. Two
numbers tell of it, both with the shifts and the biases of the pass put back: its *level*, the
median residual, and its *scatter*, the median square of the residuals in their expected standard
deviations. Groups are the passes of a station, a lander, an antenna, a frequency or a season, and
of two of these together, each within one kind of data. A group is compared with all others of
the kind by Wilcoxon's rank sums (Lehmann 1975, Nonparametrics: Statistical Methods Based on Ranks,
sect. 1.2), so that no wild pass makes a group stand out.

Many groups are asked, so chance has many occasions: passes change their labels at random, and
a group counts only if its rank sum exceeds the largest of all groups in nearly all of these
permutations (Westfall & Young 1993, Resampling-Based Multiple Testing, sect. 2.6). What is
tested is that labels do not matter; it needs no distribution of the noise, only that passes are
independent of one another. Once a group is found its passes are left out, and the others are
asked anew. A small difference may be significant where passes are many, so it must also be larger
than a limit, the program's own choice.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from wobble.estimation.passes import Jump
from wobble.estimation.residual_groups import SEASON, seasons
from wobble.estimation.samples import Samples
from wobble.measurements.kinds import kind_named
from wobble.shown import shortly

__all__ = ["StandingOut", "groups_standing_out"]

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]

BY_CHANCE = 0.002
"""Share of sound sets of data in which some group may stand out."""
PERMUTATIONS = 2000
LEAST_PASSES = 3
MOST_GROUPS = 3
LEAST_FACTOR = 1.25
LEAST_LEVEL = 0.5
"""In median standard deviations of the levels of single passes."""
SEED = 1


@dataclass(frozen=True)
class StandingOut:
    """A group of passes whose residuals are unlike those of the others.

    Attributes
    ----------
    kind : str
        Of the data.
    groups : tuple of str
        What the passes have in common, such as ``"station North"``; several if these are the
        same passes.
    passes, others : int
        Passes of the group, and of the kind outside of it.
    shifted : int
        Passes of the group in which samples were shifted.
    factor : float
        By how much its residuals scatter more than those of the others.
    level : float
        Median of its residuals less that of the others, SI.
    by_level : bool
        Whether it is the level that stands out rather than the scatter.
    chance : float
        In what share of sound sets of data some group would stand out as much.
    """

    kind: str
    groups: tuple[str, ...]
    passes: int
    others: int
    shifted: int
    factor: float
    level: float
    by_level: bool
    chance: float

    def __str__(self) -> str:
        size = f"{shortly(self.factor)} times as large as those of the other {self.others} passes"
        if self.by_level:
            kind = kind_named(self.kind)
            off = shortly(self.level / kind.scale, signed=True)
            size = f"off by {off} {kind.user} from those of the other {self.others} passes"
        shifted = f", {self.shifted} of them shifted" if self.shifted else ""
        return (
            f"{self.kind} of {' or '.join(self.groups)} stands out: residuals of its {self.passes} "
            f"passes{shifted} are {size}; chance makes as much in {self._rarely} of sound sets"
        )

    @property
    def _rarely(self) -> str:
        least = 1.0 / PERMUTATIONS
        return f"less than {100 * 2 * least:g} %" if self.chance <= least else f"{self.chance:.1%}"


def groups_standing_out(
    samples: Samples, jumps: Sequence[Jump], shifts: Mapping[str, float]
) -> tuple[StandingOut, ...]:
    """The groups of all kinds that stand out, what is least by chance first.

    Parameters
    ----------
    samples : Samples
    jumps : sequence of Jump
        Shifts that were estimated with single passes.
    shifts : mapping of str to float
        Estimates of the parameters of single passes, SI, by name.
    """
    found: list[StandingOut] = []
    rng = np.random.default_rng(SEED)
    for kind in np.unique(samples.kind).tolist():
        units = _Units.of(samples, kind, jumps, shifts)
        for _ in range(MOST_GROUPS):
            one = _most_unlike(units, kind, rng)
            if one is None:
                break
            group, standing = one
            found.append(standing)
            units = units.without(group)
    return tuple(sorted(found, key=lambda standing: standing.chance))


@dataclass(frozen=True, eq=False)
class _Units:
    """Passes of one kind: level (SI) and scatter of each, shape (n,), and their labels."""

    level: Array
    scatter: Array
    shifted: Mask
    labels: Mapping[str, NDArray[np.str_]]

    @classmethod
    def of(
        cls, samples: Samples, kind: str, jumps: Sequence[Jump], shifts: Mapping[str, float]
    ) -> _Units:
        rows = np.flatnonzero((samples.kind == kind) & (samples.predicted > 0))
        names, first, inverse = np.unique(
            samples.pass_name[rows], return_index=True, return_inverse=True
        )
        put_back = samples.residual[rows].copy()
        bias = np.array([shifts.get(f"pass.{name}.{kind}_bias", 0.0) for name in names])
        put_back += bias[inverse]
        shifted = np.zeros(len(names), bool)
        for jump in jumps:
            here = rows[samples.pass_name[rows] == jump.pass_name]
            column = jump.column(samples.kind[here], samples.epoch[here])
            put_back[np.isin(rows, here)] += shifts.get(jump.parameter, 0.0) * column
            shifted |= (names == jump.pass_name) & (jump.kind == kind)
        square = (put_back * samples.factor[rows] / samples.predicted[rows]) ** 2
        labels = {**samples.labels, SEASON: seasons(samples.epoch)}
        return cls(
            _medians(put_back, inverse, len(names)),
            _medians(square, inverse, len(names)),
            shifted,
            {label: column[rows][first] for label, column in labels.items()},
        )

    def without(self, group: Mask) -> _Units:
        kept = ~group
        return _Units(
            self.level[kept],
            self.scatter[kept],
            self.shifted[kept],
            {label: column[kept] for label, column in self.labels.items()},
        )

    def groups(self) -> Iterator[tuple[str, Mask]]:
        """Name and members of each group: of one label, and of two together."""
        single = [
            (label, f"{label} {name}".replace("season ", "season from "), column == name)
            for label, column in self.labels.items()
            for name in np.unique(column).tolist()
        ]
        for _, name, members in single:
            yield name, members
        for (label, name, members), (other, more, also) in combinations(single, 2):
            if label != other:
                yield f"{name}, {more}", members & also


def _medians(values: Array, group: NDArray[np.intp], number: int) -> Array:
    order = np.argsort(group, kind="stable")
    parts = np.split(values[order], np.cumsum(np.bincount(group, minlength=number))[:-1])
    return np.array([np.median(part) for part in parts])


def _most_unlike(
    units: _Units, kind: str, rng: np.random.Generator
) -> tuple[Mask, StandingOut] | None:
    """The group that is least like the others, if that is not by chance."""
    names, masks = _distinct(units)
    if not masks:
        return None
    members = np.array(masks, float)
    # A level may be high or low; a scatter that is low is that of the others, too high.
    ranks = np.stack([_ranks(units.level), _ranks(units.scatter)])
    sums = _standard(members, ranks)
    sums[:, 0] = np.abs(sums[:, 0])
    chance = _chance(members, ranks, float(sums.max()), rng)
    # Of groups that are alike unlike, the smallest explains as much.
    best = min(
        np.argwhere(sums >= sums.max() - 1e-9).tolist(), key=lambda place: members[place[0]].sum()
    )
    group, by_level = members[best[0]].astype(bool), best[1] == 0
    standing = _described(units, kind, names[best[0]], group, by_level, chance)
    spread = 1.4826 * np.median(np.abs(units.level - np.median(units.level)))
    large = (
        abs(standing.level) > LEAST_LEVEL * spread if by_level else standing.factor > LEAST_FACTOR
    )
    return (group, standing) if chance < BY_CHANCE and large else None


def _chance(members: Array, ranks: Array, largest: float, rng: np.random.Generator) -> float:
    """In what share of permutations of the passes some group is as unlike as the largest.

    Counting ends where it is clear that the share is no small one.
    """
    exceeded = 0
    done = 0
    while done < PERMUTATIONS and exceeded <= 5 * BY_CHANCE * PERMUTATIONS:
        done += 1
        drawn = _standard(members, ranks[:, rng.permutation(ranks.shape[1])])
        exceeded += max(np.abs(drawn[:, 0]).max(), drawn[:, 1].max()) >= largest - 1e-9
    return (1 + exceeded) / (1 + done)


def _ranks(values: Array) -> Array:
    """Ranks from 1; those of equal values are their mean."""
    _, place, count = np.unique(values, return_inverse=True, return_counts=True)
    return np.asarray((np.cumsum(count) - (count - 1) / 2.0)[place])


def _distinct(units: _Units) -> tuple[list[tuple[str, ...]], list[Mask]]:
    """Groups of enough passes with enough others, those of the same passes together."""
    by_members: dict[bytes, tuple[list[str], Mask]] = {}
    for name, members in units.groups():
        if LEAST_PASSES <= members.sum() <= len(members) - LEAST_PASSES:
            names, _ = by_members.setdefault(members.tobytes(), ([], members))
            # Two labels say nothing more where one of them has the same passes.
            if not any(part in names for part in name.split(", ")):
                names.append(name)
    return [tuple(names) for names, _ in by_members.values()], [m for _, m in by_members.values()]


def _standard(members: Array, ranks: Array) -> Array:
    """Rank sums less their mean, in their standard deviations, shape (groups, statistics)."""
    n = ranks.shape[1]
    size = members.sum(axis=1, keepdims=True)
    centred = ranks - ranks.mean(axis=1, keepdims=True)
    variance = size * (n - size) / n * centred.var(axis=1, ddof=1)
    # Without noise all passes may be alike.
    return np.asarray(members @ centred.T / np.sqrt(np.maximum(variance, 1e-12)))


def _described(
    units: _Units, kind: str, names: tuple[str, ...], group: Mask, by_level: bool, chance: float
) -> StandingOut:
    others = ~group
    return StandingOut(
        kind,
        names,
        int(group.sum()),
        int(others.sum()),
        int(units.shifted[group].sum()),
        float(np.sqrt(np.median(units.scatter[group]) / np.median(units.scatter[others]))),
        float(np.median(units.level[group]) - np.median(units.level[others])),
        by_level,
        chance,
    )
