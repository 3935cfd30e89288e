"""The sections of a report that a solution fills.

In: a `Solution`, the truth of a rehearsal. Out: sections with their tables: parameters, what
cannot be separated, correlations, residuals with everything that was rejected and why.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

from wobble.estimation.observability import Combination
from wobble.estimation.solution import Solution
from wobble.measurements.kinds import kind_named
from wobble.measurements.tracking import Tracking
from wobble.report.content import Section, Table
from wobble.report.solution_figures import errors_in_sigmas
from wobble.report.summary import component_text
from wobble.report.text import MINUS, fixed, rounded, sized, unit_text, utc

__all__ = [
    "considered_section",
    "correlations_section",
    "parameters_section",
    "rehearsal_section",
    "residuals_section",
    "separation_section",
]

LARGE_CORRELATION = 0.9
MOST_CORRELATIONS = 15
MOST_REJECTED = 100
FOLDED_FROM = 20
"""Rows from which a table is folded."""


def parameters_section(solution: Solution, truth: Mapping[str, float] | None) -> Section:
    """Values with their three uncertainties."""
    estimates = [solution[name] for name in solution.names]
    columns = {
        "parameter": [e.name for e in estimates],
        "value": [rounded(e.value, e.sigma)[0] for e in estimates],
        "sigma": [rounded(e.value, e.sigma)[1] for e in estimates],
        "unit": [unit_text(e.unit) for e in estimates],
        "formal": [sized(e.sigma_formal) for e in estimates],
        "a priori": [
            sized(e.a_priori_sigma) if np.isfinite(e.a_priori_sigma) else "none" for e in estimates
        ],
    }
    if truth is not None:
        errors = errors_in_sigmas(solution, truth).tolist()
        columns["error / sigma"] = [fixed(error, 2) for error in errors]
    if solution.sigma_bootstrap is not None:
        drawn = solution.sigma_bootstrap / solution.parameters.estimated.scales
        columns["bootstrap"] = [sized(sigma) for sigma in drawn.tolist()]
    if any(e.remark for e in estimates):
        columns["remark"] = [e.remark for e in estimates]
    head = tuple(columns)
    rows = list(zip(*columns.values(), strict=True))
    numeric = tuple(k for k, name in enumerate(head) if name not in ("parameter", "unit", "remark"))
    text = (
        "Sigma is the realistic standard deviation: the noise as the residuals show it, with the "
        "uncertainty of whatever was considered. Formal is that of the weights alone, a priori "
        "what was known before the data."
    )
    if solution.a_priori_limited:
        text += (
            " Limited a priori: more than half of the variance is that of what was known before, "
            "and not of the noise."
        )
    return Section(
        "parameters",
        "Parameters",
        text=[text],
        points=[
            f"Considered, not estimated: {p.name}, known to {sized(p.sigma / p.scale)} "
            f"{unit_text(p.unit)}".rstrip()
            for p in solution.parameters.considered
        ],
        tables=[Table("Estimated parameters", head, rows, numeric, stacked=True)],
    )


def considered_section(solution: Solution) -> Section:
    """What the considered parameters do to the estimates."""
    considered = solution.parameters.considered.names
    if not considered:
        return Section("considered", "Considered parameters")
    scales = solution.parameters.estimated.scales
    effects = solution.consider_effects / scales[:, None]
    rows = []
    for k, name in enumerate(solution.names):
        estimate = solution[name]
        moved = [sized(effect, 2, signed=True) for effect in effects[k].tolist()]
        rows.append((name, unit_text(estimate.unit), *moved, sized(estimate.sigma_formal)))
    numeric = tuple(range(2, 3 + len(considered)))
    return Section(
        "considered",
        "Considered parameters",
        text=[
            "By how much each estimate moves if a considered parameter is off by one of its "
            "standard deviations. The squares of all of these are in sigma, not in the formal one."
        ],
        tables=[
            Table(
                "Sensitivity to the considered parameters",
                ("parameter", "unit", *considered, "formal"),
                rows,
                numeric,
                folded=len(rows) > FOLDED_FROM,
                stacked=True,
            )
        ],
    )


def separation_section(solution: Solution) -> Section:
    """What the data cannot tell, in words."""
    points = [_combination(combination) for combination in solution.weak]
    points += [
        f"Not seen by the data, known from before alone: {_combination(combination)}"
        for combination in solution.unseen
    ]
    points += [
        f"{name}: not improved by the data; only the a priori value speaks."
        for name in solution.not_improved
    ]
    text = (
        "Along each of these combinations the parameters can move together, by the amounts given, "
        "before data or a priori knowledge notice (one sigma)."
        if solution.weak or solution.unseen
        else "Every parameter is well separated from the others."
    )
    return Section("separation", "What cannot be separated", text=[text], points=points)


def _combination(combination: Combination) -> str:
    moves = [
        f"{name} by {sized(amount, 2, signed=True)} {unit_text(unit)}".rstrip()
        for (name, amount), unit in zip(combination.members, combination.units, strict=True)
    ]
    return "; ".join(moves) + "."


def correlations_section(solution: Solution) -> Section:
    """The largest correlations as a table; the matrix is a figure."""
    i, j = np.tril_indices(len(solution.names), -1)
    values = solution.correlation[i, j]
    order = [k for k in np.argsort(-np.abs(values)) if abs(values[k]) >= LARGE_CORRELATION]
    rows = [
        (correlation_text(float(values[k])), solution.names[i[k]], solution.names[j[k]])
        for k in order[:MOST_CORRELATIONS]
    ]
    section = Section("correlations", "Correlations")
    if rows:
        caption = f"Correlations from {LARGE_CORRELATION} on"
        if len(order) > len(rows):
            caption += f": the largest {len(rows)} of {len(order)}"
        section.tables.append(Table(caption, ("correlation", "of", "with"), rows))
    else:
        section.text.append(f"No correlation reaches {LARGE_CORRELATION}.")
    return section


def correlation_text(correlation: float) -> str:
    """A correlation with as many decimals as tell it from one, three at least and six at most."""
    decimals = min(max(3, 1 - math.floor(math.log10(max(1.0 - abs(correlation), 1e-9)))), 6)
    # Cut off, not rounded: one is never written.
    cut = math.floor(abs(correlation) * 10**decimals) / 10**decimals
    return f"{'+' if correlation > 0 else MINUS}{cut:.{decimals}f}"


def rehearsal_section(solution: Solution, truth: Mapping[str, float] | None) -> Section:
    """How well a rehearsal's truth was recovered."""
    if truth is None:
        return Section("rehearsal", "Rehearsal")
    errors = errors_in_sigmas(solution, truth)
    inside = int((np.abs(errors) <= 1.0).sum())
    return Section(
        "rehearsal",
        "Rehearsal: the truth recovered",
        text=[
            f"Of {len(errors)} errors {inside} lie within one realistic sigma, where two thirds "
            "are expected if the model and the weights are right. Parameters that are hardly "
            "separated err together."
        ],
    )


def residuals_section(solution: Solution, tracking: Tracking | None) -> Section:
    """Residuals by kind and by pass, what was rejected and what was shifted, with reasons."""
    tables = [_kinds(solution), _noise(solution), _groups(solution)]
    tables += [t for t in (_rejected(solution), _jumps(solution)) if t.rows]
    tables.append(_passes(solution, tracking))
    text = [] if solution.n_rejected else ["No sample was rejected."]
    points = [f"{standing}." for standing in solution.standing_out]
    return Section("residuals", "Residuals", text=text, points=points, tables=tables)


def _kinds(solution: Solution) -> Table:
    samples = solution.samples
    factors = {group.kind: group.factor for group in solution.misfit.groups}
    rows = []
    for kind in np.unique(samples.kind).tolist():
        of_kind = samples.kind == kind
        used = of_kind & samples.accepted
        rows.append(
            (
                kind_named(kind).label,
                str(used.sum()),
                str((of_kind & ~samples.accepted).sum()),
                _size(kind, samples.residual[used]),
                sized(factors[kind], 3),
            )
        )
    head = ("kind", "used", "rejected", "rms", "in stated sigmas")
    return Table("Residuals by kind", head, rows, (1, 2, 3, 4))


def _groups(solution: Solution) -> Table:
    """Residuals before and after the fit, by what they have in common."""
    rows = []
    for group in solution.residual_groups:
        unit, scale = kind_named(group.kind).fitting_unit(group.after)
        sizes = (sized(size / scale, 3) for size in (group.before, group.after))
        rows.append(
            (
                kind_named(group.kind).label,
                f"{group.of} {group.name}",
                *map(str, (group.passes, group.shifted, group.used, group.rejected)),
                *sizes,
                sized(group.mean / scale, 2, signed=True),
                unit,
                sized(group.factor, 3),
            )
        )
    head = (
        *("kind", "of", "passes", "shifted", "used", "rejected", "before", "after"),
        *("mean", "unit", "in sigmas"),
    )
    caption = (
        "Residuals by what passes have in common: rms before and after the fit, their mean, and "
        "their rms in the standard deviations that are expected"
    )
    return Table(caption, head, rows, (2, 3, 4, 5, 6, 7, 8, 10), folded=len(rows) > FOLDED_FROM)


def _noise(solution: Solution) -> Table:
    """What the residuals say of the standard deviations that came with the data."""
    rows = [
        (kind_named(group).label, component_text(component))
        for group, component in solution.components.items()
    ]
    return Table("Noise found", ("group", "standard deviations"), rows)


def _size(kind: str, residual: np.ndarray) -> str:
    if not residual.size:
        return "none"
    size = float(np.sqrt((residual**2).mean()))
    unit, scale = kind_named(kind).fitting_unit(size)
    return f"{sized(size / scale, 3)} {unit}"


def _with_unit(kind: str, value: float) -> str:
    unit, scale = kind_named(kind).fitting_unit(abs(value))
    return f"{sized(value / scale, 3, signed=True)} {unit}"


def _rejected(solution: Solution) -> Table:
    samples = solution.samples
    out = np.flatnonzero(~samples.accepted)
    rows = [
        (
            str(samples.pass_name[k]),
            utc(str(samples.epoch[k])),
            kind_named(str(samples.kind[k])).label,
            _with_unit(str(samples.kind[k]), float(samples.residual[k])),
            str(samples.reason[k]),
        )
        for k in out[:MOST_REJECTED]
    ]
    caption = "Editing log: rejected samples"
    if len(out) > len(rows):
        caption += f", the first {len(rows)} of {len(out)}; all are in the file of residuals"
    head = ("pass", "epoch (UTC)", "kind", "residual", "reason")
    return Table(caption, head, rows, (3,), folded=len(rows) > FOLDED_FROM, stacked=True)


def _jumps(solution: Solution) -> Table:
    rows = []
    for jump in solution.jumps:
        found = solution.pass_estimate(jump.parameter)
        rows.append(
            (
                jump.pass_name,
                kind_named(jump.kind).label,
                f"from {utc(jump.epoch)} on" if jump.epoch else "the whole pass",
                _with_unit(jump.kind, found.value),
                sized(found.sigma / kind_named(jump.kind).fitting_unit(abs(found.value))[1]),
                found.note,
            )
        )
    head = ("pass", "kind", "where", "shift", "sigma", "what it is")
    caption = "Editing log: samples that are shifted together, the shift estimated with the pass"
    return Table(caption, head, rows, (3, 4))


def _passes(solution: Solution, tracking: Tracking | None) -> Table:
    """Samples and residuals of each pass."""
    samples = solution.samples
    kinds = np.unique(samples.kind).tolist()
    station = (
        {}
        if tracking is None
        else dict(zip(tracking.pass_id.tolist(), tracking.receiver.tolist(), strict=True))
    )
    _, first, inverse = np.unique(samples.pass_name, return_index=True, return_inverse=True)
    rows = []
    for k in np.argsort(first):
        inside = inverse == k
        name = str(samples.pass_name[first[k]])
        row = [name, station.get(name, ""), utc(str(np.sort(samples.epoch[inside])[0]))]
        row.append(str((inside & ~samples.accepted).sum()))
        for kind in kinds:
            used = inside & samples.accepted & (samples.kind == kind)
            row += [str(used.sum()), _size(kind, samples.residual[used])]
        rows.append(tuple(row))
    columns = [text for kind in kinds for text in (kind_named(kind).label, "rms")]
    head = ("pass", "station", "begin (UTC)", "rejected", *columns)
    numeric = tuple(range(3, len(head)))
    return Table("Residuals of each pass", head, rows, numeric, folded=len(rows) > FOLDED_FROM)
