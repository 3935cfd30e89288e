"""Which data a scenario fits, what its files leave to an agreement, what its model cannot describe.

In: the section ``data``. Out: paths of files, the agreement if there is one, and model errors
by kind of measurement, SI.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from wobble.measurements.kinds import KINDS
from wobble.planet.lander import Lander
from wobble.scenario.agreement_section import read_agreement
from wobble.tdm.agreement import Agreement
from wobble.text.toml_section import Section

__all__ = ["read_data"]


def read_data(
    section: Section, stations: Iterable[str], landers: Iterable[Lander]
) -> tuple[tuple[Path, ...], Agreement | None, dict[str, float]]:
    """Files, agreement and model errors; stations are named as in the scenario."""
    names = section.texts("files", [])
    agreement = None
    if "agreement" in section:
        agreement = read_agreement(section.section("agreement"), stations, landers)
    given = section.section("model_error", {})
    errors = {name: given.quantity(name, kind.si) for name, kind in KINDS.items() if name in given}
    given.finish()
    section.finish()
    return tuple(section.path.parent / name for name in names), agreement, errors
