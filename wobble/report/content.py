"""What a report is made of: sections of sentences, tables and figures.

In: nothing. Out: the plain objects that the other modules fill and the template sets.
A further section of the report is one more function that returns a `Section`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

__all__ = ["ATTENTION", "HeadlineNumber", "ReportFigure", "Section", "Table"]

ATTENTION = "Attention: "
"""Begins a sentence or a cell that must not be overlooked; the page sets it in colour."""


@dataclass(frozen=True)
class ReportFigure:
    """A figure with the words that go with it.

    Parameters
    ----------
    name : str
        Unique in a report, of letters, digits and hyphens; also the name of its file.
    section : str
        Name of the section to which it belongs.
    title : str
        What it is, in a few words.
    caption : str
        How it is to be read.
    description : str
        What it shows, for a reader who does not see it.
    svg : str
        The figure as an SVG document.
    """

    name: str
    section: str
    title: str
    caption: str
    description: str
    svg: str = field(repr=False)


@dataclass(frozen=True)
class Table:
    """A table of texts.

    Parameters
    ----------
    caption : str
    head : tuple of str
    rows : sequence of tuple of str
    numeric : tuple of int
        Columns that are set flush right.
    folded : bool
        Long tables open on demand.
    stacked : bool
        Whether on a narrow screen each row becomes a block of its own.
    wrapped : bool
        Whether the first column is of many words and may be broken.
    """

    caption: str
    head: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]
    numeric: tuple[int, ...] = ()
    folded: bool = False
    stacked: bool = False
    wrapped: bool = False


@dataclass(frozen=True)
class Section:
    """A part of the report with a heading.

    Parameters
    ----------
    name : str
        Anchor within the page.
    title : str
    text : list of str
        Paragraphs before everything else.
    points : list of str
        A list after them.
    tables : list of Table
    figures : list of ReportFigure
    """

    name: str
    title: str
    text: list[str] = field(default_factory=list)
    points: list[str] = field(default_factory=list)
    tables: list[Table] = field(default_factory=list)
    figures: list[ReportFigure] = field(default_factory=list)

    @property
    def empty(self) -> bool:
        """Whether there is nothing to set."""
        return not (self.text or self.points or self.tables or self.figures)


@dataclass(frozen=True)
class HeadlineNumber:
    """One of the few numbers that stand at the top of a report."""

    meaning: str
    name: str
    value: str
    sigma: str
    unit: str
