"""Which data a scenario fits, what its files leave to an agreement, what its model cannot describe.

In: the section ``data``. Out: `Data`: paths of files, descriptions of tables, the agreement if
there is one, and model errors by kind of measurement.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from wobble.files.described_table import TextTable
from wobble.measurements.kinds import KINDS
from wobble.planet.lander import Lander
from wobble.scenario.agreement_section import read_agreement
from wobble.scenario.table_section import read_table
from wobble.tdm.agreement import Agreement
from wobble.text.toml_section import Section

__all__ = ["Data", "read_data"]


@dataclass(frozen=True)
class Data:
    """What a scenario says of its data.

    Attributes
    ----------
    files : tuple of Path
        All of them, described tables included.
    tables : dict
        The descriptions of tables, by their files.
    agreement : Agreement or None
    model_error : dict
        By kind of measurement, SI.
    """

    files: tuple[Path, ...]
    tables: dict[Path, TextTable]
    agreement: Agreement | None
    model_error: dict[str, float]


def read_data(section: Section, stations: Iterable[str], landers: Iterable[Lander]) -> Data:
    """Files, tables, agreement and model errors; stations are named as in the scenario."""
    stations, landers = list(stations), list(landers)
    files = [section.path.parent / name for name in section.texts("files", [])]
    described = [
        read_table(table, stations, [lander.name for lander in landers])
        for table in section.sections("table")
    ]
    agreement = None
    if "agreement" in section:
        agreement = read_agreement(section.section("agreement"), stations, landers)
    given = section.section("model_error", {})
    errors = {name: given.quantity(name, kind.si) for name, kind in KINDS.items() if name in given}
    given.finish()
    section.finish()
    tables = {table.path: table for table in described}
    return Data((*files, *tables), tables, agreement, errors)
