"""What the files of a solution say of precession and core.

In: a folder of results, or its summary in JSON. Out: a `CoreEstimate`, for an inference of the
interior.
"""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from wobble.errors import InputError
from wobble.estimation.core_estimate import NAMES, CoreEstimate
from wobble.estimation.parameters import unit_scale
from wobble.files.solution_files import read_solution
from wobble.text.lines import why_unreadable

__all__ = ["read_core_estimate"]


def read_core_estimate(path: str | Path) -> CoreEstimate:
    """Read the estimates from a solution's files.

    Parameters
    ----------
    path : str or Path
        The folder of a solution, the ``solution.ecsv`` in it, or a ``solution.json`` (which
        has no correlations: the three are then taken as independent).

    Raises
    ------
    InputError
        If the files cannot be read or hold none of the parameters.
    """
    path = Path(path)
    if path.suffix == ".json":
        found = _from_json(path)
    else:
        found = CoreEstimate.of(read_solution(path.parent if path.suffix else path))
        found = replace(found, note=f"{path}: {found.note}")
    if not found.names:
        raise InputError(
            "has no parameter that tells of the interior", source=path, expected=", ".join(NAMES)
        )
    return found


def _from_json(path: Path) -> CoreEstimate:
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        parameters = content["parameters"]
        values = {}
        for name in NAMES:
            if name in parameters:
                scale = unit_scale(parameters[name]["unit"])
                value, sigma = (float(parameters[name][k]) for k in ("value", "sigma_realistic"))
                values[name] = (value * scale, sigma * scale)
    except InputError as error:
        raise error.of(path) from error
    except OSError as error:
        raise InputError(why_unreadable(error), source=path) from error
    except (UnicodeDecodeError, ValueError, KeyError, TypeError) as error:
        raise InputError(
            f"is not a solution in JSON ({error!r})",
            source=path,
            expected="parameters with value, unit and sigma_realistic",
        ) from error
    return CoreEstimate.from_values(values, f"{path}: no correlations given, taken as zero")
