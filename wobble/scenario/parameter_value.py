"""The value of a parameter in a scenario.

In: a section and a key. Out: the value, SI; what is wrong with it is told in the unit in which
people write the parameter.
"""

from __future__ import annotations

from wobble.planet.parameter_units import ParameterUnit, unit_of
from wobble.text.toml_section import Section

__all__ = ["parameter_value"]


def parameter_value(section: Section, key: str, unit: ParameterUnit | None = None) -> float:
    """A number with its unit, or without one where the parameter has none.

    Parameters
    ----------
    section : Section
    key : str
    unit : ParameterUnit, optional
        That of the parameter whose name is the key, if left out.
    """
    unit = unit or unit_of(key)
    return section.quantity(key, unit.si, user=unit.user) if unit.si else section.number(key)
