"""Study files: a scenario and how it is varied, in TOML.

In: the path of a study. Out: a `Study`.

    [study]
    name = "Latitude and duration"
    scenario = "campaign.toml"                  # relative to this file
    quantities = ["pole.precession_rate", "C/MR^2"]
    planet = "mars"                             # for derived quantities; the body if left out

    [grid]                                      # every combination
    "lander.heron.latitude" = ["0 deg", "30 deg", "60 deg"]
    "campaign.stop" = [2032-05-01, 2033-05-01]

or, in the place of ``grid``, a list: ``[[variation]]`` with ``name`` and a table ``change`` of
dotted names and values. Any key of a scenario can be varied; one inside an array of tables
has the table's ``name`` or ``contribution`` in its dotted name
(``lander.heron.antenna.east.azimuth``, ``noise.thermal_phase.carrier_to_noise_density_db``).
A table can be given whole; ``false`` leaves it out and ``true`` leaves it as it is
(``"lander.wren" = [true, false]``).
"""

from __future__ import annotations

import hashlib
import itertools
import json
from collections.abc import Mapping
from datetime import date
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

from wobble.campaign.campaign import Campaign
from wobble.campaign.derived import DERIVED
from wobble.campaign.study import Study, Variation
from wobble.errors import InputError, UnknownNameError
from wobble.scenario.reader import campaign_of
from wobble.scenario.target_section import read_interior_model
from wobble.text.toml_section import Section, read_toml
from wobble.version import __version__

__all__ = ["read_study"]

DOTTED_KEYS = ("a_priori", "truth", "rotation", "target")
"""Tables whose keys have dots in them."""
ADDED = (*DOTTED_KEYS, "editing", "link", "pass_biases")
"""Tables that a scenario may lack, and that a variation of a key in them adds."""
NAMES = ("name", "contribution")
"""What tells the tables of an array apart."""
Changes = Mapping[str, Any]


def read_study(path: str | Path) -> Study:
    """Read a study file and the scenario that it varies.

    Raises
    ------
    InputError
        With file, line and key of what is missing, unknown or wrong in either file. What
        is wrong with the value of a single variation is not raised here.
    """
    top = read_toml(path)
    head = top.section("study")
    base = read_toml(head.file("scenario"))
    campaign = campaign_of(base.with_content(base.content()))
    quantities = _quantities(head, campaign)
    planet = head.text("planet", campaign.body.name)
    named = _grid(top) if "grid" in top else _list(top)
    if not named:
        raise InputError(
            "the study varies nothing",
            source=top.path,
            field="grid",
            expected="a table [grid] or tables [[variation]]",
        )
    common = [__version__, list(quantities), planet]
    tables = {k for changes in named.values() for k, v in changes.items() if isinstance(v, dict)}
    variations = tuple(
        _variation(top, base, name, changes, tables, common) for name, changes in named.items()
    )
    axes = tuple(top.section("grid").keys()) if "grid" in top else ()
    name = head.text("name")
    head.finish()
    top.finish()
    derived = any(quantity in DERIVED for quantity in quantities)
    interior = read_interior_model(planet) if derived else None
    return Study(name, axes, variations, quantities, interior)


def _quantities(head: Section, campaign: Campaign) -> tuple[str, ...]:
    quantities = head.texts("quantities")
    known = [*campaign.parameters.estimated.names, *DERIVED]
    for name in quantities:
        if name not in known:
            raise UnknownNameError(
                "estimated parameter or derived quantity",
                name,
                known,
                source=head.path,
                line=head.line("quantities"),
                field="study.quantities",
            )
    if not quantities:
        raise head.error("quantities", "asks for nothing", "none", "at least one name")
    return tuple(quantities)


def _grid(top: Section) -> dict[str, Changes]:
    """Every combination of the values, by name."""
    if "variation" in top:
        raise InputError(
            "a study has either a grid or a list",
            source=top.path,
            line=top.line("variation"),
            field="variation",
        )
    grid = top.section("grid")
    axes = grid.content()
    for name, values in axes.items():
        if not isinstance(values, list) or not values:
            raise grid.error(name, "is no list of values", values, "a list of at least one value")
        if len({_text(value) for value in values}) < len(values):
            raise grid.error(name, "has a value twice", ", ".join(map(_text, values)), "no two")
    named: dict[str, Changes] = {}
    for values in itertools.product(*axes.values()) if axes else ():
        changes = dict(zip(axes, values, strict=True))
        named[", ".join(map(_text, values))] = changes
    return named


def _list(top: Section) -> dict[str, Changes]:
    named: dict[str, Changes] = {}
    for section in top.sections("variation"):
        name = section.text("name")
        if name in named:
            raise section.error("name", "is given twice", name, "a name of its own")
        named[name] = section.section("change", {}).content()
        section.finish()
    return named


def _variation(
    top: Section,
    base: Section,
    name: str,
    changes: Changes,
    tables: set[str],
    common: list[Any],
) -> Variation:
    content = base.content()
    for dotted, value in changes.items():
        try:
            _change(content, dotted, value, tables)
        except KeyError as error:
            raise InputError(
                "cannot be varied",
                source=top.path,
                line=top.section("grid", {}).line(dotted) if "grid" in top else None,
                field=dotted,
                found=error.args[0],
                expected=f"the dotted name of a key or table of {base.path.name}",
            ) from error
    files = _digests(content, base.path.parent)
    said = json.dumps([common, content, files], sort_keys=True, default=str)
    key = hashlib.sha256(said.encode()).hexdigest()[:24]
    texts = {dotted: _text(value) for dotted, value in changes.items()}
    return Variation(name, texts, key, partial(campaign_of, base.with_content(content)))


def _change(content: dict[str, Any], dotted: str, value: Any, tables: set[str]) -> None:
    """Set, add or remove one entry of nested tables.

    True and false say of a table whether it is there: of one that stands in the scenario, or
    that another variation gives (``tables``).
    """
    table: Any = content
    rest, inside = dotted, ""
    while True:
        step, rest = _step(table, rest, inside)
        if not rest:
            break
        table, inside = _member(table, step), step
    if isinstance(table, list):
        raise KeyError("a table of an array, which cannot be replaced whole")
    if isinstance(value, bool) and (dotted in tables or isinstance(table.get(step), dict)):
        if value and step not in table:
            raise KeyError("nothing of that name")
        if not value:
            table.pop(step, None)
    else:
        table[step] = value


def _step(table: Any, dotted: str, inside: str) -> tuple[str, str]:
    """The next key of a dotted name, and what follows: the longest key that there is."""
    if isinstance(table, list):
        keys = [str(item.get(name)) for item in table for name in NAMES if name in item]
    else:
        keys = list(table)
    fitting = [key for key in keys if dotted == key or dotted.startswith(f"{key}.")]
    if fitting:
        step = max(fitting, key=len)
        return step, dotted[len(step) + 1 :]
    first, dot, after = dotted.partition(".")
    if not dot or inside in DOTTED_KEYS:
        return dotted, ""
    if first not in ADDED:
        raise KeyError(f"{first} is not there")
    return first, after


def _member(table: Any, step: str) -> Any:
    if isinstance(table, list):
        return next(item for item in table if step in (item.get(name) for name in NAMES))
    if not isinstance(table.setdefault(step, {}), dict | list):
        raise KeyError(f"{step} is no table")
    return table[step]


def _text(value: Any) -> str:
    """A value as the table of the study shows it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, dict):
        return "given"
    if isinstance(value, list):
        return " ".join(map(_text, value))
    return value.isoformat() if isinstance(value, date) else str(value)


def _digests(content: Any, folder: Path) -> dict[str, str]:
    """Digests of the files that a scenario names, by name."""
    if isinstance(content, dict | list):
        parts = content.values() if isinstance(content, dict) else content
        found: dict[str, str] = {}
        for part in parts:
            found |= _digests(part, folder)
        return found
    path = folder / content if isinstance(content, str) and 0 < len(content) < 256 else folder
    if not path.is_file():
        return {}
    return {str(content): _digest(path, path.stat().st_mtime_ns)}


@lru_cache
def _digest(path: Path, _changed: int) -> str:
    """Of a file as it was when it was last changed; an ephemeris has a hundred megabytes."""
    return hashlib.sha256(path.read_bytes()).hexdigest()
