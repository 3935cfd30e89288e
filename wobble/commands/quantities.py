"""Quantities on the command line.

In: text such as ``"20 deg"``. Out: a number in the unit of the option; a complaint names the
option, what was found and what is expected.
"""

from __future__ import annotations

import click

from wobble.text.toml_section import parse_quantity

__all__ = ["QuantityType", "parse_in"]


class QuantityType(click.ParamType):
    """A number with its unit.

    Parameters
    ----------
    unit : str
        Of the value.
    bare : bool
        Whether a number without a unit is one in this unit.
    """

    name = "quantity"

    def __init__(self, unit: str, *, bare: bool = False) -> None:
        self.unit = unit
        self.bare = bare

    def convert(
        self, value: str | float, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        if isinstance(value, float):
            return value
        try:
            return parse_in(value, self.unit) if self.bare else parse_quantity(value, self.unit)
        except ValueError as error:
            self.fail(f"{value!r} is {error}; expected such as '1 {self.unit}'", param, ctx)


def parse_in(text: str, unit: str) -> float:
    """A number with its unit, or one in ``unit``.

    Raises
    ------
    ValueError
        As `wobble.text.toml_section.parse_quantity`.
    """
    try:
        float(text)
    except ValueError:
        return parse_quantity(text, unit)
    return parse_quantity(f"{text} {unit}", unit)
