"""What one unit of each parameter does to the measurements of a pass and of a season.

In: a scenario and parameters of its model. Out: a table of metres and mm/s, beside the
first-order formulas that one can check by hand, and figures.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import numpy as np
from astropy.table import QTable
from astropy.time import Time, TimeDelta
from numpy.typing import NDArray

from wobble.campaign.campaign import Campaign
from wobble.campaign.sensitivity import (
    Signatures,
    first_order,
    formula_names,
    signature_names,
    signatures,
)
from wobble.campaign.visibility import ViewPeriods
from wobble.commands.output import (
    JSON,
    KEEP,
    OUT,
    add_figure,
    print_json,
    print_where,
    result_folder,
    say,
)
from wobble.commands.steps import scenario_argument
from wobble.errors import InputError, UnknownNameError
from wobble.files.results import ResultFolder
from wobble.link.observables import Link
from wobble.report.signature_figures import MOST, signature_figure
from wobble.report.style import offscreen
from wobble.report.text import sized, unit_text
from wobble.text.ecsv import ecsv_text

__all__ = ["COMMANDS"]

Array = NDArray[np.float64]
COUNT_TIME = 60.0
SAMPLES = 60
"""Of a pass."""


@click.command("signatures")
@scenario_argument
@click.option(
    "--parameter",
    "patterns",
    multiple=True,
    help="Name or pattern; the estimated parameters if left out.",
)
@click.option("--station", help="The scenario's first one if left out.")
@click.option("--lander", help="The scenario's first one if left out.")
@OUT
@JSON
def signatures_command(
    campaign: Campaign,
    patterns: tuple[str, ...],
    station: str | None,
    lander: str | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """What one unit of each parameter does to a pass and a season.

    The pass is the longest view period, the season the middles of all of them.

    \b
    Example: wobble signatures synthetic_passes/campaign.toml --parameter "spin.*"

    Writes signatures.ecsv and figures, a panel for each antenna; dots are the first-order formulas
    (Yseboodt, Dehant & Peters 2017), beside the lines of the full model.
    """
    station = _one("station", station, [s.name for s in campaign.stations])
    lander = _one("lander", lander, [x.name for x in campaign.landers])
    chosen = patterns or campaign.parameters.estimated.names
    asked = campaign.parameters.select(chosen)
    with result_folder(out) as folder:
        periods = campaign.view_periods(progress=sys.stderr.isatty())
        found, names = {}, asked
        for what, (tags, antenna) in _spans(periods, station, lander).items():
            frequency = np.full(len(tags), campaign.frequency)
            link = campaign.plan_network.link(station, lander, station, frequency)
            names = signature_names(link, tags, asked)
            if not names:
                raise InputError(
                    "the link's measurements depend on none of these",
                    field="--parameter",
                    found=", ".join(chosen),
                )
            found[what] = _compared(link, tags, names, antenna)
        table = _table(found)
        if folder:
            meta = campaign.provenance(campaign.plan_network)
            meta |= {"station": station, "lander": lander}
            folder.add("signatures.ecsv", ecsv_text(table, meta))
            _add_figures(folder, found)
    left_out = [name for name in asked if name not in names]
    if as_json:
        print_json(_json(table, station, lander, left_out))
        return
    say(f"{station} to {lander}, largest change by one unit, one-way")
    for row in table:
        say(_told(row))
    if left_out:
        say(f"no part in this link: {', '.join(left_out)}")
    print_where(folder, f"wobble check {campaign.source}" if folder else KEEP)


def _one(kind: str, name: str | None, known: list[str]) -> str:
    if name is None:
        return known[0]
    if name not in known:
        raise UnknownNameError(kind, name, known, field=f"--{kind}")
    return name


def _spans(
    periods: ViewPeriods, station: str, lander: str
) -> dict[str, tuple[Time, NDArray[np.str_]]]:
    """Tags of the longest view period, and of the middles of all, with the antenna of each."""
    own = np.flatnonzero((periods.station == station) & (periods.lander == lander))
    if not own.size:
        raise InputError("never sees the lander", field=station, found=lander)
    longest = own[periods.duration[own].argmax()]
    share = np.linspace(0.0, 1.0, SAMPLES + 2)[1:-1] * periods.duration[longest]
    middles = periods.start[own] + TimeDelta(0.5 * periods.duration[own], format="sec")
    return {
        "pass": (
            periods.start[longest] + TimeDelta(share, format="sec"),
            np.repeat(periods.antenna[longest], SAMPLES),
        ),
        "season": (middles, periods.antenna[own]),
    }


@dataclass(frozen=True)
class Compared:
    """Signatures of the full model, those that have a formula by it, and the antennas (n,)."""

    exact: Signatures
    formula: Signatures | None
    antenna: NDArray[np.str_]


def _compared(
    link: Link, tags: Time, names: tuple[str, ...], antenna: NDArray[np.str_]
) -> Compared:
    simple = tuple(name for name in names if name in formula_names(link))
    full = signatures(link, tags, names, COUNT_TIME)
    return Compared(full, first_order(link, tags, simple, COUNT_TIME) if simple else None, antenna)


def _table(found: dict[str, Compared]) -> QTable:
    """Largest change by one unit, and the ratio of the formulas' rms to that of the model."""
    full = found["pass"].exact
    table = QTable({"parameter": full.names, "unit": full.units})
    for what, one in found.items():
        sizes = one.exact.table()
        for kind in ("range", "range rate"):
            label = f"{what}_{kind.replace(' ', '_')}"
            table[label] = sizes[f"{kind}, largest"]
            table[f"{label}_formula_ratio"] = _ratio(one.exact, one.formula, kind.replace(" ", "_"))
    return table


def _ratio(exact: Signatures, formula: Signatures | None, kind: str) -> Array:
    ratio = np.full(len(exact.names), np.nan)
    for k, name in enumerate(formula.names if formula else ()):
        assert formula is not None
        i = exact.names.index(name)
        size = np.linalg.norm(getattr(exact, kind)[:, i])
        if size > 0:
            ratio[i] = np.linalg.norm(getattr(formula, kind)[:, k]) / size
    return ratio


def _told(row: Any) -> str:
    unit = f"1 {unit_text(row['unit'])}" if row["unit"] else "1"
    lines = [f"{row['parameter']}, by {unit}:"]
    for what in ("pass", "season"):
        parts = []
        for kind, shown in (("range", "m"), ("range_rate", "mm/s")):
            ratio = row[f"{what}_{kind}_formula_ratio"]
            beside = f" (formula {ratio:.4f} of it)" if np.isfinite(ratio) else ""
            parts.append(f"{sized(float(row[f'{what}_{kind}'].value), 3)} {shown}{beside}")
        lines.append(f"  {what}: {', '.join(parts)}")
    return "\n".join(lines)


def _json(table: QTable, station: str, lander: str, left_out: list[str]) -> dict[str, Any]:
    rows = []
    for row in table:
        values = {
            name: float(getattr(row[name], "value", row[name])) for name in table.colnames[2:]
        }
        numbers = {name: v if np.isfinite(v) else None for name, v in values.items()}
        rows.append({"parameter": str(row["parameter"]), "unit": str(row["unit"]), **numbers})
    units = {"range": "m", "range_rate": "mm/s"}
    return {
        "station": station,
        "lander": lander,
        "units": units,
        "signatures": rows,
        "no_part": left_out,
    }


def _add_figures(folder: ResultFolder, found: dict[str, Compared]) -> None:
    """Parameters of one family and unit together, so that their sizes compare."""
    full = found["pass"].exact
    families: dict[tuple[str, str], list[str]] = defaultdict(list)
    for name, unit in zip(full.names, full.units, strict=True):
        families[name.rpartition(".")[0], unit].append(name)
    parts = [
        names[first : first + MOST]
        for names in families.values()
        for first in range(0, len(names), MOST)
    ]
    with offscreen():
        for what, one in found.items():
            for k, names in enumerate(parts, start=1):
                formula = one.formula
                has_all = formula is not None and set(names) <= set(formula.names)
                beside = formula.only(names) if formula is not None and has_all else None
                axes = signature_figure(one.exact.only(names), beside, one.antenna)
                title = f"Signatures over a {what}: {', '.join(names)}"
                text = "Range and range rate per unit of each parameter; dots: first order."
                add_figure(folder, axes[0], f"{what}_{k}", title, text)


COMMANDS: list[click.Command] = [signatures_command]
