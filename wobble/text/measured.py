"""Values with their uncertainty, as people write them: ``"-7608.3 +- 2.1 mas/yr"``.

In: text. Out: value and standard deviation in SI.
"""

from __future__ import annotations

import re

from wobble.errors import InputError
from wobble.text.toml_section import parse_quantity, usual_unit

__all__ = ["parse_measured"]

_MEASURED = re.compile(r"\s*([^\s±]+?)\s*(?:\+-|\+/-|±)\s*(\S+)\s*(.*?)\s*")


def parse_measured(text: str, unit: str, *, field: str, user: str = "") -> tuple[float, float]:
    """A value and its standard deviation, in ``unit``.

    Parameters
    ----------
    text : str
        ``"VALUE +- SIGMA UNIT"``; ``+/-`` and ``±`` are understood too.
    unit : str
        The unit of the result, as astropy reads it; empty for none.
    field : str
        What the value is, for messages.
    user : str, optional
        The unit that messages name; the usual one if left out.

    Raises
    ------
    InputError
        If it is not of this form, the unit has another dimension, or the uncertainty is
        negative.
    """
    example = f"1.0 +- 0.1 {user or usual_unit(unit)}".rstrip()
    expected = f'a value with its uncertainty, such as "{example}"'
    match = _MEASURED.fullmatch(text)
    if match is None:
        raise InputError("no value with an uncertainty", field=field, found=text, expected=expected)
    try:
        value, sigma = (parse_quantity(f"{match[k]} {match[3]}", unit, user) for k in (1, 2))
    except ValueError as error:
        raise InputError(f"is {error}", field=field, found=text, expected=expected) from error
    if sigma < 0.0:
        raise InputError("the uncertainty is negative", field=field, found=text)
    return value, sigma
