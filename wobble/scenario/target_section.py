"""What a plan is for, as text: in a scenario's table ``target`` and on the command line.

In: ``"pole.precession_rate" = "1 mas/yr"`` in a scenario, ``"pole.precession_rate = 1 mas/yr"``
or a name alone on the command line; the planet whose interior derived quantities speak of.
Out: standard deviations in SI units, and `Goals`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from wobble.campaign.derived import DERIVED, DerivedQuantity, InteriorModel, quantity_unit
from wobble.campaign.goals import ALL, Goal, Goals
from wobble.errors import InputError, UnknownNameError
from wobble.estimation.parameters import ParameterSet
from wobble.files.body_file import read_nutation_setup
from wobble.files.interior_file import read_interior
from wobble.planet.parameter_units import ParameterUnit
from wobble.scenario.parameter_value import parameter_value
from wobble.text.toml_section import Section, parse_quantity

__all__ = ["derived_quantities", "parse_goals", "read_interior_model", "read_targets"]


def read_targets(section: Section, parameters: ParameterSet) -> dict[str, float]:
    """The table ``target`` of a scenario: standard deviations wanted, SI."""
    wanted = {}
    for key in section:
        section.require_known(key, [*parameters.estimated.names, *DERIVED])
        wanted[key] = parameter_value(section, key, quantity_unit(key))
        if not wanted[key] > 0:
            raise section.error(
                key,
                "is no standard deviation",
                section.content()[key],
                "a positive number with its unit",
            )
    section.finish()
    return wanted


def read_interior_model(planet: str) -> InteriorModel:
    """What is assumed of a ready-made planet, or of one in a file, of two layers.

    Raises
    ------
    InputError
        With what is wrong in the file, or if there is no such planet.
    """
    assumed = read_interior(planet)
    budget = read_nutation_setup(assumed.nutation).compute().budget()
    return InteriorModel(budget, assumed.figure, assumed.mantle)


def derived_quantities(
    names: Sequence[str], parameters: ParameterSet, planet: str
) -> dict[str, DerivedQuantity]:
    """Those of the names that are no parameters, about the a priori values."""
    wanted = [name for name in names if name in DERIVED]
    if not wanted:
        return {}
    model = read_interior_model(planet)
    rotation = {p.name: p.value for p in parameters}
    return {name: model.derived(name, rotation) for name in wanted}


def parse_goals(
    texts: Sequence[str],
    given: Mapping[str, float],
    parameters: ParameterSet,
    planet: str,
    option: str,
) -> Goals:
    """Goals of the command line, or those of the scenario where there are none.

    Parameters
    ----------
    texts : sequence of str
        Each a name, or ``"name = value"``.
    given : mapping of str to float
        The scenario's, SI.
    parameters : ParameterSet
        All parameters of the scenario.
    planet : str
        As for `read_interior_model`.
    option : str
        Named in complaints.

    Raises
    ------
    InputError
        If a name is unknown, a value no quantity of the right dimension, or nothing is wanted.
    """
    goals = [_parse(text, parameters.estimated, option) for text in texts]
    goals = goals or [Goal(name, sigma) for name, sigma in given.items()]
    if not goals:
        raise InputError(
            "the plan has no target",
            field=option,
            expected="a quantity, on the command line or in the scenario's table [target]",
        )
    derived = derived_quantities([goal.name for goal in goals], parameters, planet)
    try:
        return Goals(tuple(goals), derived)
    except InputError as error:
        field = f"{option}: {error.field}" if error.field else option
        raise InputError(
            error.problem, field=field, found=error.found, expected=error.expected
        ) from error


def _parse(text: str, estimated: ParameterSet, option: str) -> Goal:
    name, equals, value = (part.strip() for part in text.partition("="))
    goal = Goal(name)
    known = (ALL, *estimated.names, *DERIVED)
    if name not in known:
        raise UnknownNameError("estimated parameter or derived quantity", name, known, field=option)
    if not equals:
        return goal
    unit = ParameterUnit("", "", "") if name == ALL else quantity_unit(name)
    try:
        wanted = parse_quantity(value, unit.si, unit.user) if unit.si else float(value)
    except ValueError as error:
        raise InputError(
            f"the wanted precision is {error}",
            field=option,
            found=text,
            expected=goal.example,
        ) from error
    if not 0.0 < wanted < float("inf"):
        raise InputError(
            "the wanted precision must be positive and finite", field=option, found=text
        )
    return Goal(name, wanted)
