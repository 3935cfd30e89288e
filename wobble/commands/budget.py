"""What spoils the link: the noise budget of a scenario in numbers and two figures.

In: a scenario with a budget, and where the link is. Out: a table of contributions; figures of
contributions against the Sun-Earth-probe angle and of Allan deviations. The distance is the one
that the planet's orbit gives at the Sun angle: an inner planet has two, and two tables.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar

import click
import numpy as np
from astropy.table import QTable
from astropy.units import Quantity

from wobble.campaign.campaign import Campaign
from wobble.campaign.places import Place, greatest_elongation, places_at
from wobble.commands.output import (
    JSON,
    OUT,
    print_json,
    print_where,
    result_folder,
    say,
)
from wobble.commands.quantities import QuantityType
from wobble.commands.steps import scenario_argument
from wobble.constants import ASTRONOMICAL_UNIT
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.noise.budget_table import (
    BudgetRow,
    LinkConditions,
    ParameterRow,
    budget_table,
    parameter_table,
)
from wobble.report.figures import budget_figures
from wobble.text.ecsv import ecsv_text

__all__ = ["COMMANDS"]

F = TypeVar("F", bound=Callable[..., Any])


def _where(
    name: str, unit: str, meaning: str, default: str | None = None, told: str | bool = True
) -> Callable[[F], F]:
    """An option that says where the link is."""
    kind = QuantityType(unit)
    return click.option(name, type=kind, default=default, show_default=told, help=meaning)


@dataclass(frozen=True)
class _Link:
    """The conditions of a link, and in words how far away it is."""

    name: str
    how_far: str
    conditions: LinkConditions
    rows: list[BudgetRow]


@click.command()
@scenario_argument
@_where(
    "--sun-angle",
    "deg",
    "Sun-Earth-probe angle.",
    told="90 deg, or the greatest elongation",
)
@_where("--elevation", "deg", "At the station.", "45 deg")
@_where("--distance", "au", "Of the lander.", told="where the orbit is at the Sun angle")
@OUT
@JSON
def budget(
    campaign: Campaign,
    sun_angle: float | None,
    elevation: float,
    distance: float | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """What each contribution adds to the noise of the link.

    \b
    Example: wobble budget synthetic_passes/campaign.toml --sun-angle "20 deg" --out budget

    The distance is that of the planet at the Sun angle. An inner planet
    has two, before the Sun and beyond it: both are shown.

    Writes budget.ecsv, budget_parameters.ecsv and two figures for each
    distance.
    """
    if campaign.budget is None:
        raise InputError(
            "the scenario has no noise budget",
            source=campaign.source,
            field="noise",
            expected="[[noise]] tables",
        )
    links = [
        _Link(name, how_far, conditions, budget_table(campaign.budget, conditions))
        for name, how_far, conditions in _conditions(campaign, sun_angle, elevation, distance)
    ]
    table, parameters = _table(links), parameter_table(campaign.budget)
    with result_folder(out) as folder:
        if folder:
            meta = {"scenario": campaign.source.name}
            folder.add("budget.ecsv", ecsv_text(table, meta))
            folder.add("budget_parameters.ecsv", ecsv_text(_parameters(parameters), meta))
            for link in links:
                ending = f"-{link.name.replace(' ', '-').lower()}" if len(links) > 1 else ""
                for figure in budget_figures(campaign.budget, link.conditions):
                    folder.add(f"figures/{figure.name}{ending}.svg", figure.svg)
    if as_json:
        columns = {name: np.asarray(table[name].value).tolist() for name in table.colnames}
        print_json({**columns, "parameters": [_as_json(row) for row in parameters]})
        return
    say(f"{campaign.name}: noise of the link, 1 sigma")
    for link in links:
        for line in _lines(link):
            click.echo(line)
    for line in _parameter_lines(parameters):
        click.echo(line)
    print_where(folder, f"wobble check {campaign.source} holds these numbers against a pencil's")


def _conditions(
    campaign: Campaign, sun_angle: float | None, elevation: float, distance: float | None
) -> list[tuple[str, str, LinkConditions]]:
    """Where the link can be at a Sun angle (deg), elevation (deg) and, if given, distance (au)."""
    ephemeris, body = open_ephemeris(campaign.ephemeris), campaign.body.name
    if campaign.span:
        epoch = Epochs.from_time(campaign.span[0].reshape((1,)))
    else:
        epoch = Epochs.of(np.array([np.mean(ephemeris.span(body))]))
    if sun_angle is None:
        angle = min(math.pi / 2, greatest_elongation(ephemeris, body, epoch))
    else:
        angle = math.radians(sun_angle)
    places = places_at(ephemeris, body, epoch, angle)
    base = LinkConditions(sun_angle=angle, elevation=math.radians(elevation))
    if distance is None:
        return [(p.name, _how_far(p), replace(base, distance=p.distance)) for p in places]
    if not distance > 0.0:
        raise InputError(
            "is not positive", field="--distance", found=f"{distance:g} au", expected="such as 2 au"
        )
    orbit = " or ".join(_au(place.distance) for place in places)
    told = f"at {distance:.3g} au, as given; its orbit gives {orbit} au"
    return [("as given", told, replace(base, distance=distance * ASTRONOMICAL_UNIT))]


def _how_far(place: Place) -> str:
    return (
        f"{place.name}, at {_au(place.distance)} au "
        f"(orbit: {_au(place.nearest)} to {_au(place.farthest)})"
    )


def _au(distance: float) -> str:
    return f"{distance / ASTRONOMICAL_UNIT:.3g}"


def _table(links: list[_Link]) -> QTable:
    """A row for each contribution of each link."""
    told = [(link, row) for link in links for row in link.rows]
    au = [link.conditions.distance / ASTRONOMICAL_UNIT for link, _ in told]
    table = QTable(
        {
            "contribution": [row.name for _, row in told],
            "place": [link.name for link, _ in told],
            "distance": Quantity(au, "au"),
            "range_rate": Quantity([1e3 * row.range_rate for _, row in told], "mm/s"),
            "range": Quantity([row.range for _, row in told], "m"),
            "allan_60_s": [row.allan_60 for _, row in told],
            "allan_1000_s": [row.allan_1000 for _, row in told],
            "share_of_variance": [row.share for _, row in told],
        }
    )
    for name in table.colnames[2:]:
        table[name].info.format = ".3g"
    return table


def _lines(link: _Link) -> list[str]:
    """Conditions and table, in sixty columns."""
    conditions = link.conditions
    return [
        link.how_far,
        f"{np.degrees(conditions.sun_angle):.3g} deg from the Sun, "
        f"elevation {np.degrees(conditions.elevation):.3g} deg",
        "",
        f"{'':19}{'range rate':>10}{'range':>8}{'Allan deviation':>17}{'share':>6}",
        f"{'contribution':19}{'mm/s, ' + format(conditions.count_time, 'g') + ' s':>10}{'m':>8}"
        f"{'60 s':>8}{'1000 s':>9}{'%':>6}",
        *(
            f"{row.name:19}{_number(1e3 * row.range_rate):>10}{_number(row.range):>8}"
            f"{_power(row.allan_60):>8}{_power(row.allan_1000):>9}{_percent(row.share):>6}"
            for row in link.rows
        ),
        "",
    ]


def _parameters(rows: list[ParameterRow]) -> QTable:
    """The parameters of the contributions, as texts: they have different units."""
    told = [(r.contribution, r.name, r.text, r.source, r.meaning) for r in rows]
    return QTable(rows=told, names=("contribution", "parameter", "value", "source", "meaning"))


def _as_json(row: ParameterRow) -> dict[str, object]:
    return {
        "contribution": row.contribution,
        "parameter": row.name,
        "value": row.value,
        "unit": row.unit,
        "source": row.source,
        "meaning": row.meaning,
    }


def _parameter_lines(rows: list[ParameterRow]) -> list[str]:
    """Each contribution with its parameters, in sixty columns."""
    lines = ["parameters of the contributions"]
    before = ""
    for row in rows:
        if row.contribution != before:
            lines.append(row.contribution)
            before = row.contribution
        lines.append(f"  {row.name:<35}{row.text:>14} {row.source}")
    return [*lines, ""]


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
