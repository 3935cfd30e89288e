"""The section of a report that holds each headline number beside a pencil's.

In: a `HandCheck`. Out: a section with a table of formula, pencil, program and ratio. What lies a
factor of two apart is named before the table, in words and in the colour of what needs attention.
"""

from __future__ import annotations

from wobble.check.lines import HandCheck, HandLine
from wobble.report.content import ATTENTION, Section, Table
from wobble.report.text import sized

__all__ = ["hand_section"]


def hand_section(check: HandCheck | None) -> Section:
    """Quantity, formula with the numbers put in, pencil, program, ratio."""
    section = Section("hand-check", "Check by hand")
    if check is None or not len(check):
        return section
    section.text.append(
        f"{check.summary}. The formulas neglect on purpose what the model has: a ratio near one is "
        "a success, a factor of two is a fault of scenario, program or formula."
    )
    section.points.extend(_warning(line) for line in check.lines if line.flagged)
    section.points.extend(
        f"{line.quantity}: {line.verdict}; the formula leaves out: {line.neglects}."
        for line in check.lines
        if not line.flagged and not line.as_expected
    )
    section.tables.append(
        Table(
            "First-order formula and full model",
            ("quantity", "pencil", "program", "unit", "ratio", "formula"),
            [_row(line) for line in check.lines],
            (1, 2),
            stacked=True,
            wrapped=True,
        )
    )
    return section


def _warning(line: HandLine) -> str:
    return (
        f"{ATTENTION}{line.quantity}: {line.verdict}; pencil {sized(line.pencil, 3)}, program "
        f"{sized(line.program, 3)} {line.unit}. The formula leaves out: {line.neglects}."
    )


def _row(line: HandLine) -> tuple[str, ...]:
    ratio = sized(line.ratio, 3) + ("" if line.as_expected else ", apart")
    return (
        line.quantity,
        sized(line.pencil, 4),
        sized(line.program, 4),
        line.unit,
        f"{ATTENTION}{ratio}" if line.flagged else ratio,
        line.formula,
    )
