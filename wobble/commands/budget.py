"""What spoils the link: the noise budget of a scenario in numbers and two figures.

In: a scenario with a budget, and where the link is. Out: a table of contributions; figures of
contributions against the Sun-Earth-probe angle and of Allan deviations.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click
import numpy as np
from astropy.table import QTable
from astropy.units import Quantity

from wobble.campaign.campaign import Campaign
from wobble.commands.output import (
    JSON,
    OUT,
    print_json,
    print_where,
    result_folder,
    say,
)
from wobble.commands.steps import scenario_argument
from wobble.constants import ASTRONOMICAL_UNIT
from wobble.errors import InputError
from wobble.noise.budget_table import BudgetRow, LinkConditions, budget_table
from wobble.report.figures import budget_figures
from wobble.text.ecsv import ecsv_text
from wobble.text.toml_section import parse_quantity

__all__ = ["COMMANDS"]

F = TypeVar("F", bound=Callable[..., Any])


class _QuantityType(click.ParamType):
    """A number with its unit on the command line."""

    name = "quantity"

    def __init__(self, unit: str) -> None:
        self.unit = unit

    def convert(
        self, value: str | float, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        if isinstance(value, float):
            return value
        try:
            return parse_quantity(value, self.unit)
        except ValueError as error:
            self.fail(f"{value!r} {error}; expected such as '1 {self.unit}'", param, ctx)


def _where(name: str, unit: str, default: str, meaning: str) -> Callable[[F], F]:
    """An option that says where the link is."""
    kind = _QuantityType(unit)
    return click.option(name, type=kind, default=default, show_default=True, help=meaning)


@click.command()
@scenario_argument
@_where("--sun-angle", "rad", "90 deg", "Sun-Earth-probe angle.")
@_where("--elevation", "rad", "45 deg", "At the station.")
@_where("--distance", "m", "1 AU", "Of the lander.")
@OUT
@JSON
def budget(
    campaign: Campaign,
    sun_angle: float,
    elevation: float,
    distance: float,
    out: Path | None,
    as_json: bool,
) -> None:
    """What each contribution adds to the noise of the link.

    \b
    Example: wobble budget synthetic_passes/campaign.toml --sun-angle "20 deg" --out budget

    Writes budget.ecsv and two figures.
    """
    if campaign.budget is None:
        raise InputError(
            "the scenario has no noise budget",
            source=campaign.source,
            field="noise",
            expected="[[noise]] tables",
        )
    conditions = LinkConditions(sun_angle=sun_angle, elevation=elevation, distance=distance)
    rows = budget_table(campaign.budget, conditions)
    table = QTable(
        {
            "contribution": [row.name for row in rows],
            "range_rate": Quantity([1e3 * row.range_rate for row in rows], "mm/s"),
            "range": Quantity([row.range for row in rows], "m"),
            "allan_60_s": [row.allan_60 for row in rows],
            "allan_1000_s": [row.allan_1000 for row in rows],
            "share_of_variance": [row.share for row in rows],
        }
    )
    for name in table.colnames[1:]:
        table[name].info.format = ".3g"
    with result_folder(out) as folder:
        if folder:
            folder.add("budget.ecsv", ecsv_text(table, {"scenario": campaign.source.name}))
            for figure in budget_figures(campaign.budget, conditions):
                folder.add(f"figures/{figure.name}.svg", figure.svg)
    if as_json:
        columns = {name: np.asarray(table[name].value).tolist() for name in table.colnames[1:]}
        print_json({"contribution": list(table["contribution"]), **columns})
        return
    say(f"{campaign.name}: noise of the link, 1 sigma")
    for line in _lines(rows, conditions):
        click.echo(line)
    print_where(folder, f"wobble check {campaign.source} holds these numbers against a pencil's")


def _lines(rows: list[BudgetRow], conditions: LinkConditions) -> list[str]:
    """Conditions and table, in sixty columns."""
    return [
        f"at {conditions.distance / ASTRONOMICAL_UNIT:.3g} au, "
        f"{np.degrees(conditions.sun_angle):.3g} deg from the Sun, "
        f"elevation {np.degrees(conditions.elevation):.3g} deg",
        "",
        f"{'':19}{'range rate':>10}{'range':>8}{'Allan deviation':>17}{'share':>6}",
        f"{'contribution':19}{'mm/s, ' + format(conditions.count_time, 'g') + ' s':>10}{'m':>8}"
        f"{'60 s':>8}{'1000 s':>9}{'%':>6}",
        *(
            f"{row.name:19}{_number(1e3 * row.range_rate):>10}{_number(row.range):>8}"
            f"{_power(row.allan_60):>8}{_power(row.allan_1000):>9}{_percent(row.share):>6}"
            for row in rows
        ),
    ]


def _number(value: float) -> str:
    """Two digits, without a power of ten."""
    if value == 0.0:
        return "0"
    if value < 1e-4:
        return "<0.0001"
    return f"{value:.2g}" if value < 99.5 else f"{value:.0f}"


def _power(value: float) -> str:
    return f"{value:.1e}" if value else "0"


def _percent(share: float) -> str:
    return "<0.01" if 0.0 < share < 1e-4 else _number(100.0 * share)


COMMANDS: list[click.Command] = [budget]
