"""How objects and numbers show themselves.

In: an object with a ``repr``, or a table. Out: HTML for ``_repr_html_``. In: a number. Out: its
text, with the digits that mean something.
"""

from __future__ import annotations

import html
import math
from collections.abc import Sequence

from astropy.table import Table

__all__ = ["as_code", "fitting_unit", "shortly", "with_table", "with_the_digits_of"]

LARGEST_PLAIN = 1e6


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


def fitting_unit(units: Sequence[tuple[str, float, float]], size: float) -> tuple[str, float]:
    """Name and SI value of the unit in which values of this size (SI) are written.

    Parameters
    ----------
    units : sequence of (str, float, float)
        Name, SI value, and size (SI) from which it is used, the largest first; the last one
        serves whatever is smaller.
    size : float
    """
    *larger, (name, scale, _) = units
    return next(((n, s) for n, s, least in larger if size >= least), (name, scale))


def shortly(value: float, digits: int = 2, *, signed: bool = False) -> str:
    """A number with some significant digits, without a power of ten where it needs none.

    >>> shortly(112.3), shortly(0.00022), shortly(1.87e-8), shortly(9.3, 3, signed=True)
    ('110', '0.00022', '1.9e-08', '+9.3')
    """
    sign = "+" if signed else ""
    text = f"{value:{sign}.{digits}g}"
    return f"{float(text):{sign}.0f}" if "e+" in text and abs(value) < LARGEST_PLAIN else text


def with_the_digits_of(sigma: float, value: float) -> str:
    """A value to the second digit of its standard deviation.

    >>> with_the_digits_of(25.5, -7651.274), with_the_digits_of(1.9e-8, 350.8919855134)
    ('-7651', '350.891985513')
    """
    if not math.isfinite(sigma) or sigma <= 0:
        return f"{value:.6g}"
    decimals = 1 - math.floor(math.log10(sigma))
    if not -6 < decimals < 12:
        return f"{value:.12g}"
    return f"{value:.{max(decimals, 0)}f}"
