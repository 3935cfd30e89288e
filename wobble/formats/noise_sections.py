"""The noise budget of a scenario.

In: the array of sections ``noise``, each a contribution by name. Out: a `Budget`.
"""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from wobble.errors import UnknownNameError
from wobble.formats.toml_section import Section
from wobble.noise.budget import Budget
from wobble.noise.contributions.registry import CONTRIBUTIONS

__all__ = ["read_budget"]


def read_budget(top: Section) -> Budget | None:
    tables = []
    for section in top.sections("noise"):
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
        table: dict[str, Any] = {
            "contribution": name,
            "enabled": section.flag("enabled", True),
        }
        for f in fields(CONTRIBUTIONS[name]):
            if f.name in section:
                unit = f.metadata.get("unit", "")
                table[f.name] = section.quantity(f.name, unit) if unit else section.number(f.name)
        section.finish()
        tables.append(table)
    return Budget.from_tables(tables, source=f"{top.path}: noise") if tables else None
