"""How objects show themselves in a notebook when one line of text, or a table, says it all.

In: an object with a ``repr``, or a table. Out: HTML for ``_repr_html_``.
"""

from __future__ import annotations

import html

from astropy.table import Table

__all__ = ["as_code", "with_table"]


def as_code(text: object) -> str:
    """Text in the letters of a program, its lines kept."""
    return f"<pre>{html.escape(str(text))}</pre>"


def with_table(head: object, table: Table) -> str:
    """A line of text over a table, numbers with four digits where they have no format."""
    shown = table.copy(copy_data=False)
    for name in shown.colnames:
        if shown[name].dtype.kind == "f" and not shown[name].info.format:
            shown[name].info.format = ".4g"
    rows = "".join(shown.pformat(max_lines=-1, max_width=-1, html=True))
    return f"<p>{html.escape(str(head))}</p>{rows}"
