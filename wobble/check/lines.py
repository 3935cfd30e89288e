"""What a check by hand is made of: one line for each headline number.

In: a formula with the numbers put in, what it gives, what the program gives, and how far the two
may differ. Out: `HandLine` and `HandCheck`, which say where pencil and program disagree.

Two verdicts beside agreement. *Apart*: the ratio lies outside the range that the formula's own
neglects allow. *A factor of two apart* (or more, or another sign): something is wrong, with the
scenario, the program, or the formula's assumptions.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass

from astropy.table import Table

from wobble.errors import UnknownNameError

__all__ = ["FACTOR", "HandCheck", "HandLine"]

FACTOR = 2.0
"""From here on pencil and program contradict each other."""


@dataclass(frozen=True)
class HandLine:
    """One number by pencil and by the program.

    Parameters
    ----------
    quantity : str
        What it is, in a few words.
    formula : str
        The first-order formula with the numbers put in.
    pencil, program : float
        What the formula and what the full model give, in ``unit``.
    unit : str
    expected : (float, float)
        Between which values the ratio of program to pencil should lie.
    neglects : str
        What the formula leaves out, which makes the ratio differ from one.
    """

    quantity: str
    formula: str
    pencil: float
    program: float
    unit: str
    expected: tuple[float, float]
    neglects: str

    @property
    def ratio(self) -> float:
        """Program over pencil."""
        return self.program / self.pencil if self.pencil else math.nan

    @property
    def flagged(self) -> bool:
        """Whether pencil and program lie a factor of two apart, or more."""
        return not 1.0 / FACTOR < self.ratio < FACTOR

    @property
    def as_expected(self) -> bool:
        """Whether the ratio lies in its stated range."""
        return self.expected[0] <= self.ratio <= self.expected[1]

    @property
    def verdict(self) -> str:
        """The comparison in words."""
        low, high = self.expected
        if self.flagged:
            return f"{self._distance} apart, expected {low:g} to {high:g}"
        if not self.as_expected:
            return f"apart, expected {low:g} to {high:g}"
        return "agrees"

    @property
    def _distance(self) -> str:
        if not math.isfinite(self.ratio):
            return "infinitely far"
        if self.ratio <= 0.0:
            return "A SIGN"
        return f"A FACTOR OF {max(self.ratio, 1.0 / self.ratio):.3g}"


@dataclass(frozen=True)
class HandCheck:
    """The check by hand of a campaign: shows itself as a table.

    Parameters
    ----------
    campaign : str
        Its name.
    lines : tuple of HandLine
    """

    campaign: str
    lines: tuple[HandLine, ...]

    @property
    def flagged(self) -> list[HandLine]:
        """Where pencil and program lie a factor of two apart, or more."""
        return [line for line in self.lines if line.flagged]

    @property
    def summary(self) -> str:
        """How many lines agree, in a sentence."""
        n, bad = len(self.lines), len(self.flagged)
        apart = sum(not line.as_expected for line in self.lines) - bad
        said = f"{n - bad - apart} of {n} numbers agree with a first-order formula"
        if apart:
            said += f"; {apart} outside the formula's range"
        if bad:
            said += f"; {bad} A FACTOR OF TWO APART OR MORE"
        return said

    def __len__(self) -> int:
        return len(self.lines)

    def __getitem__(self, quantity: str) -> HandLine:
        for line in self.lines:
            if line.quantity == quantity:
                return line
        raise UnknownNameError("quantity", quantity, [line.quantity for line in self.lines])

    def table(self) -> Table:
        """One row a line: quantity, formula, pencil, program, unit, ratio, verdict."""
        return Table(
            {
                "quantity": [line.quantity for line in self.lines],
                "formula": [line.formula for line in self.lines],
                "pencil": [line.pencil for line in self.lines],
                "program": [line.program for line in self.lines],
                "unit": [line.unit for line in self.lines],
                "ratio": [line.ratio for line in self.lines],
                "verdict": [line.verdict for line in self.lines],
            }
        )

    def as_json(self) -> dict[str, object]:
        """Plain content for programs; a ratio that does not exist is None."""
        return {
            "campaign": self.campaign,
            "flagged": [line.quantity for line in self.flagged],
            "lines": [
                {
                    "quantity": line.quantity,
                    "formula": line.formula,
                    "pencil": line.pencil,
                    "program": line.program,
                    "unit": line.unit,
                    "ratio": line.ratio if math.isfinite(line.ratio) else None,
                    "expected": list(line.expected),
                    "neglects": line.neglects,
                    "flagged": line.flagged,
                    "verdict": line.verdict,
                }
                for line in self.lines
            ],
        }

    def __repr__(self) -> str:
        return f"<HandCheck of {self.campaign!r}: {self.summary}>"

    def _repr_html_(self) -> str:
        head = ("quantity", "formula", "pencil", "program", "unit", "ratio", "verdict")
        rows = "".join(_html_row(line) for line in self.lines)
        titles = "".join(f"<th>{title}</th>" for title in head)
        return (
            f"<p>{html.escape(self.campaign)}: {html.escape(self.summary)}</p>"
            f"<table><thead><tr>{titles}</tr></thead><tbody>{rows}</tbody></table>"
        )


def _html_row(line: HandLine) -> str:
    cells: Sequence[str] = (
        line.quantity,
        line.formula,
        f"{line.pencil:.4g}",
        f"{line.program:.4g}",
        line.unit,
        f"{line.ratio:.3f}",
        line.verdict,
    )
    style = ' style="color:#c04a00;font-weight:bold"' if line.flagged else ""
    return f"<tr{style}>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in cells) + "</tr>"
