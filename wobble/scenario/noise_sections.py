"""The noise budget of a scenario.

In: the array of sections ``noise``, each a contribution by name; or a budget. Out: a
`Budget`; or the sections that give it, to be pasted into a scenario.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import Field, fields, replace
from typing import Any

from wobble.errors import InputError, UnknownNameError
from wobble.noise.budget import Budget
from wobble.noise.contributions.base import Contribution
from wobble.noise.contributions.registry import CONTRIBUTIONS
from wobble.noise.contributions.white import WhiteRange, WhiteRangeRate
from wobble.text.toml_section import Section

__all__ = ["budget_as_toml", "read_budget"]


def read_budget(top: Section) -> Budget | None:
    """The budget of a scenario; None where it has no noise section.

    Raises
    ------
    InputError
        If a contribution or a parameter is unknown, a value cannot be, or nothing is
        enabled; with file, line and key.
    """
    sections = top.sections("noise")
    if not sections:
        return None
    found = [(_contribution(section), section) for section in sections]
    enabled = [noise for noise, section in found if section.flag("enabled", True)]
    for _, section in found:
        section.finish()
    try:
        return Budget(tuple(enabled))
    except InputError as error:
        raise sections[0].located(error, "enabled") from error


def _contribution(section: Section) -> Contribution:
    name = section.text("contribution")
    if name not in CONTRIBUTIONS:
        raise UnknownNameError(
            "noise contribution",
            name,
            CONTRIBUTIONS,
            source=section.path,
            line=section.line("contribution"),
            field=section.name,
        )
    kind = CONTRIBUTIONS[name]
    given: dict[str, Any] = {f.name: _value(section, f) for f in fields(kind) if f.name in section}
    try:
        return kind.stating(given)
    except InputError as error:
        raise section.located(error) from error


def _value(section: Section, f: Field[Any]) -> float | tuple[float, ...]:
    unit = f.metadata["unit"]
    if not f.metadata.get("is_list"):
        return section.quantity(f.name, unit) if unit else section.number(f.name)
    if unit:
        return tuple(section.quantities(f.name, unit).tolist())
    return tuple(section.numbers(f.name).tolist())


def budget_as_toml(budget: Budget, remarks: Sequence[str] = ()) -> str:
    """A budget as ``[[noise]]`` tables; parameters that have their defaults are left out.

    Parameters
    ----------
    budget : Budget
    remarks : sequence of str, optional
        A comment for each contribution.
    """
    texts = []
    for k, contribution in enumerate(map(_without_scale, budget.contributions)):
        lines = ["[[noise]]" + (f"    # {remarks[k]}" if remarks else "")]
        lines.append(f'contribution = "{contribution.name}"')
        for f in fields(contribution):
            value = getattr(contribution, f.name)
            if value != f.default:
                lines.append(f"{f.name} = {_toml(value, f.metadata['unit'])}")
        texts.append("\n".join(lines) + "\n")
    return "\n".join(texts)


def _without_scale(contribution: Contribution) -> Contribution:
    """White levels are standard deviations themselves: they need no factor beside."""
    if isinstance(contribution, WhiteRange | WhiteRangeRate):
        return replace(contribution, sigma=contribution.sigma * contribution.scale, scale=1.0)
    return contribution


def _toml(value: float | tuple[float, ...], unit: str) -> str:
    if isinstance(value, tuple):
        return "[" + ", ".join(_toml(one, unit) for one in value) + "]"
    return f'"{value:.6g} {unit}"' if unit else f"{value:.6g}"
