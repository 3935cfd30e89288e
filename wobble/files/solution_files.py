"""Solutions on disk, as tables that people and programs read.

In: a `Solution`. Out: the texts of its files, and the solution again, exactly: numbers are
written with all their digits.

    solution.ecsv             parameters, in their own units and in SI; how the fit went
    covariance.ecsv           realistic covariance, SI
    covariance_formal.ecsv    formal covariance, SI
    information.ecsv          square-root information of the data, to go on from
    earlier_information.ecsv  the part of it that an earlier one had brought in, if one had
    residuals.ecsv            every sample, with the reason if it was rejected
    pass_parameters.ecsv      biases and jumps of single passes, SI
    solution.json             a summary for programs

Covariance and information carry the names of their parameters, and are refused for others.
"""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from astropy.table import Table
from numpy.typing import NDArray

from wobble.errors import InputError
from wobble.estimation.apriori import Apriori, Condition
from wobble.estimation.least_squares import SquareRootInformation
from wobble.estimation.misfit import Misfit
from wobble.estimation.observability import Combination, UnseenCombination, WeakCombination
from wobble.estimation.parameters import Parameter, ParameterSet
from wobble.estimation.passes import Jump
from wobble.estimation.samples import Samples
from wobble.estimation.solution import Iteration, PassEstimate, Solution
from wobble.estimation.solution_json import solution_as_json
from wobble.estimation.variance import VarianceComponent
from wobble.text.atomic import write_atomically
from wobble.text.ecsv import ecsv_text, read_ecsv
from wobble.version import __version__

__all__ = [
    "information_as_text",
    "read_information",
    "read_solution",
    "solution_as_texts",
    "write_solution",
]

Array = NDArray[np.float64]
Kind = TypeVar("Kind", bound=Combination)
Told = TypeVar("Told")
FILES = (
    "solution.ecsv",
    "covariance.ecsv",
    "covariance_formal.ecsv",
    "information.ecsv",
    "residuals.ecsv",
    "pass_parameters.ecsv",
)
"""Without which a solution is not whole."""
EARLIER = "earlier_information"
"""Whether there was any, and the name of its file."""
BROKEN = (KeyError, TypeError, IndexError, AttributeError, ValueError, OverflowError)
"""What a table with other content provokes."""
SENSITIVITY = "change_by:"
BOOTSTRAP = "sigma_bootstrap_si"
SAMPLE_COLUMNS = (
    "pass_name",
    "kind",
    "epoch",
    "residual",
    "sigma",
    "factor",
    "predicted",
    "accepted",
    "reason",
    "before",
)
"""Further columns of residuals.ecsv are labels."""


def solution_as_texts(solution: Solution) -> dict[str, str]:
    """The files of a solution: name and text."""
    names = solution.names
    tables = {
        "solution.ecsv": _parameter_table(solution),
        "covariance.ecsv": _square_table(names, names, solution.covariance_realistic),
        "covariance_formal.ecsv": _square_table(names, names, solution.covariance_formal),
        "information.ecsv": _information_table(solution.information),
        "residuals.ecsv": _sample_table(solution.samples),
        "pass_parameters.ecsv": _pass_table(solution.pass_estimates),
    }
    if solution.earlier is not None:
        tables[f"{EARLIER}.ecsv"] = _information_table(solution.earlier)
    texts = {name: ecsv_text(table) for name, table in tables.items()}
    texts["solution.json"] = json.dumps(solution_as_json(solution), indent=1, allow_nan=False)
    return texts


def write_solution(folder: str | os.PathLike[str], solution: Solution) -> None:
    """Write the files of a solution into a folder that exists.

    Raises
    ------
    InputError
        If the folder cannot be written.
    """
    for name, text in solution_as_texts(solution).items():
        write_atomically(Path(folder) / name, text)


def information_as_text(information: SquareRootInformation) -> str:
    """Square-root information as the text of a file, for `read_information`."""
    return ecsv_text(_information_table(information))


def _parameter_table(solution: Solution) -> Table:
    parameters, estimated = solution.parameters, solution.parameters.estimated
    values, realistic, formal = parameters.values.copy(), parameters.sigmas, parameters.sigmas
    a_priori = parameters.sigmas
    a_priori_share = np.full(len(parameters), np.nan)
    sensitivity = np.full((len(parameters), len(parameters.considered)), np.nan)
    places = [parameters.place(name) for name in estimated.names]
    limited_by = np.full(len(parameters), "", dtype=object)
    limited_by[places] = solution.limited_by
    values[places] = solution.values
    realistic[places], formal[places] = solution.sigma_realistic, solution.sigma_formal
    a_priori[places], a_priori_share[places] = solution.a_priori_sigma, solution.a_priori_share
    sensitivity[places] = solution.sensitivity
    scale = parameters.scales
    table = Table(
        {
            "parameter": parameters.names,
            "value": values / scale,
            "sigma_realistic": realistic / scale,
            "sigma_formal": formal / scale,
            "a_priori_sigma": a_priori / scale,
            "a_priori_share": a_priori_share,
            "limited_by": limited_by.astype(str),
            "unit": [p.unit for p in parameters],
            "status": [p.status for p in parameters],
            "source": [p.source for p in parameters],
            "sigma_source": [p.sigma_source for p in parameters],
            "value_si": values,
            "a_priori_value_si": parameters.values,
            "own_a_priori_sigma_si": parameters.sigmas,
        }
    )
    if solution.sigma_bootstrap is not None:
        drawn = np.full(len(parameters), np.nan)
        drawn[places] = solution.sigma_bootstrap
        table[BOOTSTRAP] = drawn
    for name, column in zip(parameters.considered.names, sensitivity.T, strict=True):
        table[SENSITIVITY + name] = column
    table.meta = _meta(solution)
    return table


def _meta(solution: Solution) -> dict[str, Any]:
    return {
        "misfit": solution.misfit.as_json(),
        "describes_data": solution.misfit.describes_data,
        "explanations": list(solution.explanations),
        EARLIER: solution.earlier is not None,
        "iterations": [asdict(iteration) for iteration in solution.iterations],
        "variance_components": [asdict(c) for c in solution.components.values()],
        "jumps": [asdict(jump) for jump in solution.jumps],
        "hardly_separated": _combinations(solution.weak),
        "not_seen_by_the_data": _combinations(solution.unseen),
        "warnings": list(solution.warnings),
        "provenance": dict(solution.provenance),
        "apriori": [
            {
                "names": list(block.names),
                "values": block.values.tolist(),
                "covariance": block.covariance.tolist(),
                "design": block.design.tolist(),
                "source": block.source,
            }
            for block in solution.parameters.apriori
        ],
        "conditions": [
            {
                "names": list(condition.names),
                "coefficients": condition.coefficients.tolist(),
                "values": condition.values.tolist(),
            }
            for condition in solution.parameters.conditions
        ],
    }


def _combinations(combinations: Sequence[Combination]) -> list[dict[str, Any]]:
    return [
        {
            "strength": combination.strength,
            "names": list(combination.names),
            "amounts": [amount for _, amount in combination.members],
            "units": list(combination.units),
        }
        for combination in combinations
    ]


def _square_table(rows: Sequence[str], columns: Sequence[str], matrix: Array) -> Table:
    content: dict[str, Any] = {"parameter": list(rows)}
    content |= {name: matrix[:, k] for k, name in enumerate(columns)}
    return Table(content)


def _information_table(information: SquareRootInformation) -> Table:
    columns = (*information.names, *information.considered, "right_side")
    table = _square_table(columns, columns, information.factor)
    table.meta = {
        "considered": list(information.considered),
        "reference": information.reference.tolist(),
        "samples": int(information.samples),
    }
    return table


def _pass_table(estimates: Sequence[PassEstimate]) -> Table:
    return Table(
        {
            "pass_name": np.array([e.pass_name for e in estimates], str),
            "parameter": np.array([e.name for e in estimates], str),
            "value_si": np.array([e.value for e in estimates], float),
            "sigma_si": np.array([e.sigma for e in estimates], float),
            "note": np.array([e.note for e in estimates], str),
        }
    )


def read_solution(folder: str | os.PathLike[str]) -> Solution:
    """Read what `write_solution` wrote.

    Raises
    ------
    InputError
        If a file is missing, cannot be read, does not belong to the others, or is not as this
        version writes it.
    """
    path = Path(folder)
    _require_all(path)
    try:
        return _assembled(path)
    except InputError as error:
        raise error.of(path / "solution.ecsv") from error
    except BROKEN as error:
        raise InputError(
            f"the results are not as this version writes them ({error!r})",
            source=path,
            found=f"results of wobble {_version_of(path)}",
            expected=f"results of wobble {__version__}: fit again",
        ) from error


def _require_all(path: Path) -> None:
    missing = [name for name in FILES if not (path / name).is_file()]
    if not missing:
        return
    if not path.is_dir():
        problem = "there is no such folder"
    elif len(missing) == len(FILES):
        problem = "the folder has no results of a fit"
    else:
        problem = f"the results are not whole, without {', '.join(missing)}"
    raise InputError(
        problem, source=path, expected="a folder that wobble fit or wobble run has written"
    )


def _version_of(path: Path) -> str:
    try:
        return str(_read(path / "solution.ecsv", ()).meta["provenance"]["wobble"])
    except (KeyError, TypeError, InputError):
        return "of an unknown version"


def _assembled(path: Path) -> Solution:
    table = _read(path / "solution.ecsv", ("parameter", "value_si", "a_priori_value_si", "status"))
    meta = table.meta
    parameters = ParameterSet(
        (
            Parameter(
                str(row["parameter"]),
                str(row["unit"]),
                float(row["a_priori_value_si"]),
                float(row["own_a_priori_sigma_si"]),
                str(row["status"]),
                str(row["source"]),
                str(row["sigma_source"]),
            )
            for row in table
        ),
        (Apriori(**block) for block in meta["apriori"]),
        (Condition(**condition) for condition in meta["conditions"]),
    )
    names = parameters.estimated.names
    places = [parameters.place(name) for name in names]
    considered = [SENSITIVITY + name for name in parameters.considered.names]
    samples = _read(path / "residuals.ecsv", SAMPLE_COLUMNS)
    return Solution(
        parameters=parameters,
        values=np.array(table["value_si"], float)[places],
        covariance_formal=_read_covariance(path / "covariance_formal.ecsv", names),
        covariance_realistic=_read_covariance(path / "covariance.ecsv", names),
        sensitivity=np.array([table[c] for c in considered], float)
        .reshape(-1, len(table))
        .T[places],
        samples=_samples_from(samples),
        components={c["group"]: VarianceComponent(**c) for c in meta["variance_components"]},
        pass_estimates=_read_pass_estimates(path / "pass_parameters.ecsv"),
        jumps=tuple(Jump(**jump) for jump in meta["jumps"]),
        iterations=tuple(Iteration(**iteration) for iteration in meta["iterations"]),
        misfit=Misfit.from_json(meta["misfit"]),
        weak=_read_combinations(WeakCombination, meta["hardly_separated"]),
        unseen=_read_combinations(UnseenCombination, meta["not_seen_by_the_data"]),
        a_priori_share=np.array(table["a_priori_share"], float)[places],
        limited_by=tuple(str(table["limited_by"][place]) for place in places),
        warnings=tuple(meta["warnings"]),
        explanations=tuple(meta["explanations"]),
        information=read_information(path / "information.ecsv"),
        provenance=meta["provenance"],
        earlier=read_information(path / f"{EARLIER}.ecsv") if meta[EARLIER] else None,
        sigma_bootstrap=np.array(table[BOOTSTRAP], float)[places]
        if BOOTSTRAP in table.colnames
        else None,
    )


def _sample_table(samples: Samples) -> Table:
    columns = {name: getattr(samples, name) for name in SAMPLE_COLUMNS}
    return Table({**columns, **samples.labels})


def _samples_from(table: Table) -> Samples:
    labels = [name for name in table.colnames if name not in SAMPLE_COLUMNS]
    return Samples(
        **{name: np.asarray(table[name]) for name in SAMPLE_COLUMNS},
        labels={name: np.asarray(table[name], str) for name in labels},
    )


def _read_combinations(kind: type[Kind], entries: Sequence[dict[str, Any]]) -> tuple[Kind, ...]:
    return tuple(
        kind(
            entry["strength"],
            tuple(zip(entry["names"], entry["amounts"], strict=True)),
            tuple(entry["units"]),
        )
        for entry in entries
    )


def read_information(path: str | os.PathLike[str]) -> SquareRootInformation:
    """Read square-root information, to be given to `fit` as ``earlier``.

    Raises
    ------
    InputError
        If the file cannot be read, or rows and columns do not belong together.
    """
    table = _read(path, ("parameter", "right_side"))
    columns = [str(name) for name in table["parameter"]]
    matrix = _square(path, table, columns)
    considered = [str(name) for name in _told(path, table, "considered", list)]
    names = columns[: len(columns) - 1 - len(considered)]
    told = _told(path, table, "reference", list)
    try:
        reference = np.array(told, float)
    except (TypeError, ValueError):
        reference = np.array([np.nan])
    if reference.shape != (len(names),) or not np.isfinite(reference).all():
        raise InputError(
            "the reference values do not match the parameters",
            source=path,
            field="reference",
            found=f"{len(told)} values",
            expected=f"{len(names)} finite numbers",
        )
    samples = _told(path, table, "samples", int)
    return SquareRootInformation(tuple(names), tuple(considered), reference, matrix, samples)


def _told(path: str | os.PathLike[str], table: Table, key: str, kind: type[Told]) -> Told:
    """What the head of a table says under a key."""
    value = table.meta.get(key)
    if not isinstance(value, kind):
        raise InputError(
            "the head of the table does not say this",
            source=path,
            field=key,
            found=value,
            expected=kind.__name__,
        )
    return value


def _read_covariance(path: Path, names: tuple[str, ...]) -> Array:
    table = _read(path, ("parameter",))
    found = tuple(str(name) for name in table["parameter"])
    if found != names:
        raise InputError(
            "the covariance does not match the estimated parameters",
            source=path,
            found=", ".join(found),
            expected=", ".join(names),
        )
    return _square(path, table, list(names))


def _square(path: str | os.PathLike[str], table: Table, columns: list[str]) -> Array:
    if table.colnames[1:] != columns:
        raise InputError(
            "rows and columns of the matrix are not the same parameters",
            source=path,
            found=", ".join(table.colnames[1:]),
            expected=", ".join(columns),
        )
    matrix = np.array([table[name] for name in columns], float).reshape(len(columns), -1).T
    if not np.isfinite(matrix).all():
        raise InputError("the matrix has a number that is not finite", source=path)
    return matrix


def _read_pass_estimates(path: Path) -> tuple[PassEstimate, ...]:
    table = _read(path, ("pass_name", "parameter", "value_si", "sigma_si", "note"))
    return tuple(
        PassEstimate(str(row[0]), str(row[1]), float(row[2]), float(row[3]), str(row[4]))
        for row in table
    )


def _read(path: str | os.PathLike[str], columns: Sequence[str]) -> Table:
    table = read_ecsv(path, columns)
    for column in table.itercols():
        if not hasattr(column, "mask"):
            continue
        if column.dtype.kind != "U":
            raise InputError("an entry is missing", source=path, field=column.name)
        # An empty text is read back as masked.
        table[column.name] = column.filled("")
    return table
