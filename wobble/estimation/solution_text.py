"""How a solution shows itself: as text on one screen, and as tables in a notebook.

In: a `Solution`. Out: text or HTML. Values are given to the digits that their realistic
standard deviation leaves.
"""

from __future__ import annotations

import html
from collections import Counter
from collections.abc import Sequence

import numpy as np

from wobble.estimation.default_knowledge import default_knowledge
from wobble.estimation.residual_groups import SEASON
from wobble.estimation.solution import Estimate, Solution
from wobble.estimation.variance import VarianceComponent
from wobble.measurements.kinds import kind_named
from wobble.shown import shortly, with_the_digits_of

__all__ = ["solution_as_html", "solution_as_text", "verdict"]

MOST_REJECTED = 8
HEAD = ("parameter", "value", "sigma", "formal", "a priori", "unit", "")
NUMERIC = (
    *("value", "sigma", "formal", "bootstrap", "a priori"),
    *("samples", "chi-square", "degrees of freedom", "ratio", "sigmas times"),
    *("passes", "shifted", "rejected", "rms before", "rms after", "mean", "rms / expected"),
)
LEFT_OUT = (
    (),
    ("formal", "a priori", "degrees of freedom", "passes", "mean"),
    (
        *("formal", "a priori", "bootstrap", "", "degrees of freedom", "chi-square", "samples"),
        *("passes", "mean", "shifted", "rejected", "rms / expected"),
    ),
)
"""Which columns are left out, the more the less room there is."""


def solution_as_text(solution: Solution, width: int | None = None) -> str:
    """The solution for a terminal; what of its table has no room in the width is left out.

    Parameters
    ----------
    solution : Solution
    width : int, optional
        Columns of the terminal; room enough if left out.
    """
    table, left_out = _fitting(_cells(solution), width)
    quality, _ = _fitting(misfit_cells(solution), width)
    remarks = _remarks(solution) if "" in left_out else []
    said = verdict(solution)
    first = [*said, ""] if said else []
    against = "against the stated standard deviations:"
    parts = [*first, _headline(solution), "", against, *quality]
    ends, _ = _fitting(residual_cells(solution), width)
    parts += ["", "residuals before and after the fit:", *ends] if len(ends) > 1 else []
    parts += ["", *table, "", *remarks]
    return "\n".join([*parts, *notes(solution)])


def _remarks(solution: Solution) -> list[str]:
    """What the table's last column says, where there is no room for it."""
    by_remark: dict[str, list[str]] = {}
    for name in solution.names:
        by_remark.setdefault(solution[name].remark, []).append(name)
    return [f"{remark}: {', '.join(names)}" for remark, names in by_remark.items() if remark]


def _fitting(
    cells: Sequence[Sequence[str]], width: int | None
) -> tuple[list[str], tuple[str, ...]]:
    """The lines of a table, and which of its columns the width has no room for."""
    for left_out in LEFT_OUT:
        kept = [k for k, heading in enumerate(cells[0]) if heading not in left_out]
        table = _text_table([[row[k] for k in kept] for row in cells])
        if width is None or max(map(len, table)) <= width:
            break
    return table, left_out


def _text_table(cells: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    return ["  ".join(_aligned(row, widths, cells[0])).rstrip() for row in cells]


def solution_as_html(solution: Solution) -> str:
    """The solution for a notebook."""
    remarks = "".join(f"<li>{html.escape(note.strip())}</li>" for note in notes(solution))
    first = "".join(f"<p><strong>{html.escape(line)}</strong></p>" for line in verdict(solution))
    return (
        f"{first}<p>{html.escape(_headline(solution))}</p>"
        f"{_html_table(misfit_cells(solution))}{_html_table(residual_cells(solution))}"
        f"{_html_table(_cells(solution))}<ul>{remarks}</ul>"
    )


def _html_table(cells: Sequence[Sequence[str]]) -> str:
    """A table, or nothing if it has a head alone."""
    if len(cells) == 1:
        return ""
    first, *rows = cells
    head = "".join(f"<th>{cell}</th>" for cell in first)
    body = "".join(
        "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def verdict(solution: Solution) -> list[str]:
    """What must be read before the numbers, and what would explain it; empty if nothing."""
    if not solution.misfit.headline:
        return []
    return [
        solution.misfit.headline,
        *(f"a usual mistake would explain it: {text}" for text in solution.explanations),
    ]


def _headline(solution: Solution) -> str:
    return (
        f"Solution from {solution.n_used} samples ({solution.n_rejected} rejected) in "
        f"{solution.misfit.passes} passes, {len(solution.iterations)} iterations"
    )


MISFIT_HEAD = ("kind", "samples", "chi-square", "degrees of freedom", "ratio", "sigmas times")


def misfit_cells(solution: Solution) -> list[tuple[str, ...]]:
    """Chi-square by the stated standard deviations, of each kind of data and of all together.

    Beside it what the standard deviations were multiplied by for the weights, as far as that
    is one number for the kind.
    """
    misfit, components = solution.misfit, solution.components
    rows = [
        (g.kind, str(g.used), g.chi_square, g.degrees_of_freedom, _found(components.get(g.kind)))
        for g in misfit.groups
    ]
    if len(rows) > 1:
        rows.append(("all", str(solution.n_used), misfit.chi_square, misfit.degrees_of_freedom, ""))
    return [
        MISFIT_HEAD,
        *(
            (
                kind,
                used,
                f"{chi:.4g}" if chi >= 1e6 else f"{chi:.1f}",
                f"{free:.1f}",
                f"{chi / free:.3g}" if free > 0 else "none",
                found,
            )
            for kind, used, chi, free, found in rows
        ),
    ]


RESIDUAL_HEAD = (
    *("residuals of", "passes", "shifted", "samples", "rejected"),
    *("rms before", "rms after", "mean", "unit", "rms / expected"),
)


def residual_cells(solution: Solution) -> list[tuple[str, ...]]:
    """Residuals of each kind by station and lander, and by what else differs but the season."""
    groups = [group for group in solution.residual_groups if group.of != SEASON]
    number = Counter((group.kind, group.of) for group in groups)
    rows = []
    for group in groups:
        if group.of not in ("station", "lander") and number[group.kind, group.of] == 1:
            continue
        kind = kind_named(group.kind)
        sizes = (group.before / kind.scale, group.after / kind.scale, group.mean / kind.scale)
        rows.append(
            (
                f"{group.kind}, {group.of} {group.name}",
                *map(str, (group.passes, group.shifted, group.used, group.rejected)),
                *(shortly(size, 3) for size in sizes),
                kind.user,
                shortly(group.factor, 3),
            )
        )
    return [RESIDUAL_HEAD, *rows]


def _found(component: VarianceComponent | None) -> str:
    if component is None:
        return ""
    if component.form == "excess":
        return f"and {shortly(component.value)} (SI) in squares"
    return f"{shortly(component.value, 3)} +- {shortly(component.uncertainty, 1)}"


def _cells(solution: Solution) -> list[tuple[str, ...]]:
    """Head and rows of the table of parameters."""
    cells = [HEAD, *(_row(solution[name]) for name in solution.names)]
    if solution.sigma_bootstrap is None:
        return cells
    drawn = solution.sigma_bootstrap / solution.parameters.estimated.scales
    column = ["bootstrap", *map(shortly, drawn.tolist())]
    return [(*row[:4], more, *row[4:]) for row, more in zip(cells, column, strict=True)]


def _row(estimate: Estimate) -> tuple[str, ...]:
    a_priori = "none" if np.isinf(estimate.a_priori_sigma) else shortly(estimate.a_priori_sigma, 3)
    return (
        estimate.name,
        with_the_digits_of(estimate.sigma, estimate.value),
        shortly(estimate.sigma),
        shortly(estimate.sigma_formal),
        a_priori,
        estimate.unit,
        estimate.remark,
    )


def _aligned(row: Sequence[str], widths: Sequence[int], head: Sequence[str]) -> list[str]:
    return [
        cell.rjust(width) if heading in NUMERIC else cell.ljust(width)
        for heading, cell, width in zip(head, row, widths, strict=True)
    ]


def notes(solution: Solution) -> list[str]:
    """What must be known beside the numbers, one sentence a line."""
    lines = [str(standing) for standing in solution.standing_out]
    weights = solution.provenance.get("weights")
    lines += [] if weights is None else [f"weights: {weights}"]
    for key, size in solution.rms.items():
        lines.append(f"rms {key}: " + ("no accepted sample" if size is None else f"{size:.4g}"))
    kinds = {group.kind for group in solution.misfit.groups}
    lines += [
        f"variance component of {c}" for c in solution.components.values() if c.group not in kinds
    ]
    lines += _frame(solution)
    lines += _by_default(solution)
    lines += _considered(solution)
    lines += _jumps(solution)
    lines += _rejected(solution)
    lines += [f"hardly separated: {combination}" for combination in solution.weak]
    lines += [f"not seen by the data: {combination}" for combination in solution.unseen]
    lines += [f"warning: {warning}" for warning in solution.warnings]
    return lines


def _frame(solution: Solution) -> list[str]:
    """In which axes the estimated places of landers stand."""
    frame = solution.provenance.get("body_frame")
    if not frame or not any(_is_place(name) for name in solution.names):
        return []
    orbit = solution.provenance["ephemeris"]
    return [f"places of landers are in the axes of: {frame}; orbit of {orbit}"]


def _is_place(name: str) -> bool:
    return name.startswith("lander.") and name.endswith((".x", ".y", ".z"))


def _by_default(solution: Solution) -> list[str]:
    """What was taken to be known because nobody said otherwise."""
    groups: dict[tuple[str, str], list[str]] = {}
    for parameter in (*solution.parameters.estimated, *solution.parameters.considered):
        default = default_knowledge(parameter.name)
        if default and parameter.sigma_source == default.source:
            size = f"{shortly(parameter.sigma / parameter.scale)} {parameter.unit}".rstrip()
            groups.setdefault((size, parameter.sigma_source), []).append(parameter.name)
    return [
        f"known beforehand by default to {size}: {', '.join(names)} ({source})"
        for (size, source), names in groups.items()
    ]


def _considered(solution: Solution) -> list[str]:
    """The estimate that suffers most from each considered parameter."""
    lines = []
    considered = solution.parameters.considered.names
    for name, effect in zip(considered, solution.consider_effects.T, strict=True):
        k = int(np.argmax(np.abs(effect) / solution.sigma_formal))
        share = abs(effect[k]) / solution.sigma_formal[k]
        lines.append(
            f"considered {name}: one sigma of it moves {solution.names[k]} by {share:.2g} of its "
            "formal sigma, the others by less"
        )
    return lines


def _jumps(solution: Solution) -> list[str]:
    lines = []
    for jump in solution.jumps:
        size = solution.pass_estimate(jump.parameter)
        where = f"from {jump.epoch} on" if jump.epoch else "in the whole pass"
        lines.append(
            f"shifted: {jump.pass_name} {jump.kind} {where} by {size.value:+.4g} "
            f"{kind_named(jump.kind).si_text}, estimated with the pass"
            + (f": {size.note}" if size.note else "")
        )
    return lines


def _rejected(solution: Solution) -> list[str]:
    samples = solution.samples
    out = np.flatnonzero(~samples.accepted)
    groups: dict[str, int] = {}
    for i in out:
        reason = str(samples.reason[i])
        place = f"{samples.pass_name[i]} {samples.kind[i]}"
        if not reason.startswith("whole pass"):
            place = f"{samples.pass_name[i]} {samples.epoch[i]} {samples.kind[i]}"
        text = f"rejected: {place}: {reason}"
        groups[text] = groups.get(text, 0) + 1
    lines = list(groups)
    if len(lines) > MOST_REJECTED:
        left = len(lines) - MOST_REJECTED
        lines = [*lines[:MOST_REJECTED], f"rejected: {left} more; all are in the residuals"]
    return lines
