"""Which data a scenario fits, and what its model cannot describe.

In: the section ``data``. Out: paths of files, and model errors by kind of measurement, SI.
"""

from __future__ import annotations

from pathlib import Path

from wobble.formats.toml_section import Section

__all__ = ["read_data"]


def read_data(section: Section) -> tuple[tuple[Path, ...], dict[str, float]]:
    names = section.texts("files", [])
    given = section.section("model_error", {})
    units = {"range": "m", "range_rate": "m / s"}
    errors = {kind: given.quantity(kind, unit) for kind, unit in units.items() if kind in given}
    given.finish()
    section.finish()
    return tuple(section.path.parent / name for name in names), errors
