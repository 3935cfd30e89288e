"""Parameters by name: what is estimated, what is considered, what stays fixed.

In: names such as ``pole.precession_rate`` or ``lander.NAME.x`` with values, a priori
standard deviations and a unit for people. Out: a `ParameterSet` that selects by
pattern (``["pole.*", "lander.*.z"]``) and gives the arrays that the estimator works on.

Inside, values are in SI units and radians; the unit of a parameter is only for the
people who read and write it. What is known beforehand is either a standard deviation of
the parameter itself, or one of the forms of `wobble.estimation.apriori`: published
combinations with their covariance, and conditions that hold exactly.
"""

from __future__ import annotations

import difflib
import fnmatch
import html
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
from astropy import units
from numpy.typing import ArrayLike, NDArray

from wobble.errors import InputError, UnknownNameError
from wobble.estimation.apriori import Apriori, Condition
from wobble.shown import shortly

__all__ = ["Parameter", "ParameterSet", "unit_scale"]

Array = NDArray[np.float64]
STATUSES = ("estimated", "considered", "fixed")
LONGEST_IN_TABLE = 16
"""Characters; longer sources stand below the table of parameters."""


def unit_scale(unit: str) -> float:
    """SI units (and radians) in one unit of that name: ``unit_scale("km")`` is 1000.

    Raises
    ------
    InputError
        If the unit is unknown.
    """
    try:
        return float(units.Unit(unit).si.scale)
    except (ValueError, TypeError, AttributeError) as error:
        raise InputError("unknown unit", found=unit, expected="a unit such as 'mas/yr'") from error


@dataclass(frozen=True)
class Parameter:
    """One number of the model, with what is known of it beforehand.

    Parameters
    ----------
    name : str
        Dotted name.
    unit : str
        Unit for people, in astropy's notation; empty for a pure number.
    value : float
        A priori value, SI.
    sigma : float
        A priori standard deviation, SI; infinite if nothing is known.
    status : {"estimated", "considered", "fixed"}
        Estimated from the data; not estimated, but its uncertainty carried into the
        estimates; or taken as exact.
    source : str
        Where the value comes from.
    sigma_source : str
        Where the standard deviation comes from.

    Raises
    ------
    InputError
        If a value is not a number, if sigma is zero or negative, if a considered
        parameter has no finite sigma, or if unit or status is unknown.
    """

    name: str
    unit: str = ""
    value: float = 0.0
    sigma: float = np.inf
    status: str = "estimated"
    source: str = ""
    sigma_source: str = ""

    def __post_init__(self) -> None:
        unit_scale(self.unit)
        if self.status not in STATUSES:
            raise InputError(
                "unknown status", field=self.name, found=self.status, expected=" or ".join(STATUSES)
            )
        if not np.isfinite(self.value):
            raise InputError("the value is not a number", field=self.name, found=self.value)
        if not self.sigma > 0:
            raise InputError(
                "the a priori standard deviation must be positive (fix the parameter instead)",
                field=self.name,
                found=self.sigma,
                expected="a positive number, or infinity",
            )
        if self.status == "considered" and not np.isfinite(self.sigma):
            raise InputError(
                "a considered parameter needs a standard deviation",
                field=self.name,
                found=self.sigma,
                expected="a finite number",
            )

    @classmethod
    def from_quantities(
        cls,
        name: str,
        value: str | units.Quantity,
        sigma: str | units.Quantity | None = None,
        *,
        status: str = "estimated",
        source: str = "",
    ) -> Self:
        """Make a parameter of values with units, shown later in the unit of ``value``.

        Parameters
        ----------
        name : str
            Dotted name.
        value, sigma : str or Quantity
            For example ``"-7608.3 mas/yr"``; sigma may be in another unit of the same
            dimension.
        status, source
            As in the class.

        Raises
        ------
        InputError
            If a text has no number and unit, or if the dimensions differ.
        """
        number = _quantity(name, value)
        spread = np.inf
        if sigma is not None:
            try:
                spread = float(_quantity(name, sigma).to_value(number.unit))
            except units.UnitConversionError as error:
                raise InputError(
                    "value and standard deviation have different dimensions",
                    field=name,
                    found=str(sigma),
                    expected=f"a quantity in {number.unit}",
                ) from error
        unit = number.unit.to_string()
        scale = unit_scale(unit)
        return cls(name, unit, float(number.value) * scale, spread * scale, status, source)

    @property
    def scale(self) -> float:
        """SI units in one of the parameter's own unit."""
        return unit_scale(self.unit)


def _quantity(name: str, value: str | units.Quantity) -> units.Quantity:
    try:
        return units.Quantity(value)
    except (TypeError, ValueError) as error:
        raise InputError(
            "not a value with its unit",
            field=name,
            found=value,
            expected="a number and a unit, such as '10 mas/yr'",
        ) from error


class ParameterSet:
    """An ordered collection of parameters, looked up by name.

    Parameters
    ----------
    parameters : iterable of Parameter
        In the order in which arrays hold them.
    apriori : iterable of Apriori
        A priori information beyond the parameters' own standard deviations.
    conditions : iterable of Condition
        Linear equations that the estimates fulfil exactly.

    Raises
    ------
    InputError
        If a name occurs twice, or if what is known concerns an unknown parameter.
    """

    def __init__(
        self,
        parameters: Iterable[Parameter],
        apriori: Iterable[Apriori] = (),
        conditions: Iterable[Condition] = (),
    ) -> None:
        self.parameters = tuple(parameters)
        self.apriori = tuple(apriori)
        self.conditions = tuple(conditions)
        self._places: dict[str, int] = {}
        for place, parameter in enumerate(self.parameters):
            if parameter.name in self._places:
                raise InputError("a parameter is given twice", field=parameter.name)
            self._places[parameter.name] = place
        for block in self.known:
            for name in block.names:
                self.place(name)

    @property
    def known(self) -> tuple[Apriori | Condition, ...]:
        """Everything that is known beforehand of several parameters together."""
        return (*self.apriori, *self.conditions)

    @property
    def names(self) -> tuple[str, ...]:
        """The names, in order."""
        return tuple(self._places)

    @property
    def values(self) -> Array:
        """The a priori values, SI, shape (p,)."""
        return np.array([parameter.value for parameter in self], float)

    @property
    def sigmas(self) -> Array:
        """The parameters' own a priori standard deviations, SI, shape (p,)."""
        return np.array([parameter.sigma for parameter in self], float)

    @property
    def scales(self) -> Array:
        """SI units in one of each parameter's own unit, shape (p,)."""
        return np.array([parameter.scale for parameter in self], float)

    @property
    def estimated(self) -> ParameterSet:
        """Those that are estimated, with the a priori information that concerns them."""
        return self._with_status("estimated")

    @property
    def considered(self) -> ParameterSet:
        """Those that are considered, with the a priori information that concerns them."""
        return self._with_status("considered")

    def _with_status(self, status: str) -> ParameterSet:
        members = [parameter for parameter in self if parameter.status == status]
        inside = {parameter.name for parameter in members}
        for block in self.known:
            if inside.intersection(block.names) and not inside.issuperset(block.names):
                raise InputError(
                    "what is known beforehand joins parameters of different status",
                    field=", ".join(block.names),
                    expected=f"all of them {status}",
                )
        return ParameterSet(
            members,
            [block for block in self.apriori if inside.issuperset(block.names)],
            [condition for condition in self.conditions if inside.issuperset(condition.names)],
        )

    def place(self, name: str) -> int:
        """Index of a parameter.

        Raises
        ------
        UnknownNameError
            If there is none of that name.
        """
        if name not in self._places:
            raise UnknownNameError("parameter", name, self.names)
        return self._places[name]

    def select(self, patterns: str | Iterable[str]) -> tuple[str, ...]:
        """Names that match any of the patterns, in the order of the set.

        Parameters
        ----------
        patterns : str or iterable of str
            Names, or patterns with ``*``, ``?`` and ``[...]``.

        Raises
        ------
        UnknownNameError
            If a pattern matches nothing.
        """
        wanted = [patterns] if isinstance(patterns, str) else list(patterns)
        chosen: set[str] = set()
        for pattern in wanted:
            found = fnmatch.filter(self.names, pattern)
            if not found:
                near = difflib.get_close_matches(pattern, self.names, n=1)
                raise UnknownNameError("parameter", pattern, near or self.names)
            chosen.update(found)
        return tuple(name for name in self.names if name in chosen)

    def with_status(self, patterns: str | Iterable[str], status: str) -> ParameterSet:
        """The same set with the chosen parameters estimated, considered or fixed."""
        return self.changed(patterns, status=status)

    def changed(self, patterns: str | Iterable[str], **fields: Any) -> ParameterSet:
        """The same set with fields of the chosen parameters replaced."""
        chosen = set(self.select(patterns))
        return ParameterSet(
            (replace(p, **fields) if p.name in chosen else p for p in self),
            self.apriori,
            self.conditions,
        )

    def with_values(self, values: ArrayLike) -> ParameterSet:
        """The same set with other values (SI, in the order of the set)."""
        numbers = np.asarray(values, float)
        if numbers.shape != (len(self),):
            raise InputError(
                "as many values as parameters are needed", found=numbers.shape, expected=len(self)
            )
        return ParameterSet(
            (replace(p, value=float(v)) for p, v in zip(self, numbers, strict=True)),
            self.apriori,
            self.conditions,
        )

    def with_apriori(self, *blocks: Apriori) -> ParameterSet:
        """The same set with further a priori information."""
        return ParameterSet(self.parameters, (*self.apriori, *blocks), self.conditions)

    def with_conditions(self, *conditions: Condition) -> ParameterSet:
        """The same set with further exact conditions."""
        return ParameterSet(self.parameters, self.apriori, (*self.conditions, *conditions))

    def a_priori_rows(self) -> tuple[Array, Array]:
        """A priori information as uncorrelated observations of unit weight.

        Returns
        -------
        rows : ndarray, shape (m, p)
            Their partial derivatives with respect to the parameters, SI.
        values : ndarray, shape (m,)
            Their values: ``values - rows @ x`` has unit covariance if ``x`` is true.
        """
        known = np.flatnonzero(np.isfinite(self.sigmas))
        own = np.zeros((known.size, len(self)))
        own[np.arange(known.size), known] = 1.0 / self.sigmas[known]
        rows, values = [own], [self.values[known] / self.sigmas[known]]
        for block in self.apriori:
            design, numbers = block.rows()
            spread = np.zeros((numbers.size, len(self)))
            spread[:, [self.place(name) for name in block.names]] = design
            rows.append(spread)
            values.append(numbers)
        return np.vstack(rows), np.concatenate(values)

    def a_priori_subjects(self) -> tuple[str, ...]:
        """What each of `a_priori_rows` is about: the (first) parameter in it."""
        known = np.flatnonzero(np.isfinite(self.sigmas))
        subjects = [self.names[k] for k in known]
        for block in self.apriori:
            subjects += [block.names[int(np.flatnonzero(row)[0])] for row in block.design]
        return tuple(subjects)

    def condition_rows(self) -> tuple[Array, Array]:
        """The exact conditions as ``rows @ x = values``, shapes (m, p) and (m,)."""
        rows, values = [np.zeros((0, len(self)))], [np.zeros(0)]
        for condition in self.conditions:
            spread = np.zeros((condition.values.size, len(self)))
            spread[:, [self.place(name) for name in condition.names]] = condition.coefficients
            rows.append(spread)
            values.append(condition.values)
        return np.vstack(rows), np.concatenate(values)

    def a_priori_information(self) -> Array:
        """Information matrix (inverse covariance) of the a priori knowledge, shape (p, p)."""
        rows, _ = self.a_priori_rows()
        return rows.T @ rows

    def __getitem__(self, name: str) -> Parameter:
        return self.parameters[self.place(name)]

    def __contains__(self, name: object) -> bool:
        return name in self._places

    def __iter__(self) -> Iterator[Parameter]:
        return iter(self.parameters)

    def __len__(self) -> int:
        return len(self.parameters)

    def _cells(self) -> list[tuple[str, ...]]:
        cells: list[tuple[str, ...]] = [
            ("parameter", "a priori value", "sigma", "unit", "status", "source", "sigma from")
        ]
        marks = {source: f"[{k}]" for k, source in enumerate(self._long_sources, 1)}
        for p in self:
            sigma = "none" if np.isinf(p.sigma) else shortly(p.sigma / p.scale, 4)
            value = f"{p.value / p.scale:.12g}"
            sources = (marks.get(text, text) for text in (p.source, p.sigma_source))
            cells.append((p.name, value, sigma, p.unit, p.status, *sources))
        return cells

    @property
    def _long_sources(self) -> list[str]:
        """Sources that stand below the table, each once."""
        texts = (text for p in self for text in (p.source, p.sigma_source))
        return list(dict.fromkeys(text for text in texts if len(text) > LONGEST_IN_TABLE))

    def _notes(self) -> list[str]:
        return [f"[{k}] {source}" for k, source in enumerate(self._long_sources, 1)]

    def __str__(self) -> str:
        cells = self._cells()
        widths = [max(len(row[k]) for row in cells) for k in range(len(cells[0]))]
        table = (
            "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
            for row in cells
        )
        return "\n".join([*table, *self._notes()])

    def __repr__(self) -> str:
        count = ", ".join(f"{sum(p.status == s for p in self)} {s}" for s in STATUSES)
        return f"<ParameterSet: {count}>"

    def _repr_html_(self) -> str:
        head, *body = self._cells()
        return (
            "<table><thead><tr>"
            + "".join(f"<th>{cell}</th>" for cell in head)
            + "</tr></thead><tbody>"
            + "".join(
                "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>"
                for row in body
            )
            + "</tbody></table>"
            + "".join(f"<p>{html.escape(note)}</p>" for note in self._notes())
        )
