"""A solution for programs: plain JSON types.

In: a `Solution`. Out: a dictionary that `json.dumps` takes as it is. Values of parameters
are in their own units, residuals in SI; what is infinite or not a number becomes null.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

import numpy as np

from wobble.estimation.observability import Combination
from wobble.estimation.solution import Solution

__all__ = ["solution_as_json"]


def solution_as_json(solution: Solution) -> dict[str, Any]:
    """The solution, with the keys that the command line prints."""
    misfit = solution.misfit
    content = {
        "describes_data": misfit.describes_data,
        "verdict": misfit.verdict.name.lower(),
        "verdict_reasons": list(misfit.reasons),
        "explanations": list(solution.explanations),
        "n_used": solution.n_used,
        "n_rejected": solution.n_rejected,
        "rejected": _rejected(solution),
        "rms": solution.rms,
        "iterations": len(solution.iterations),
        "parameters": {name: _parameter(solution, name) for name in solution.names},
        "chi_square": misfit.chi_square,
        "degrees_of_freedom": misfit.degrees_of_freedom,
        "stated_sigmas": {
            group.kind: {
                "used": group.used,
                "rejected": group.rejected,
                "chi_square": group.chi_square,
                "degrees_of_freedom": group.degrees_of_freedom,
                "factor": group.factor,
            }
            for group in misfit.groups
        },
        "passes": misfit.passes,
        "passes_shifted": misfit.shifted,
        "largest_strain": {"parameter": misfit.strained, "sigmas": misfit.strain},
        "residual_groups": [asdict(group) for group in solution.residual_groups],
        "standing_out": [
            asdict(standing) | {"text": str(standing)} for standing in solution.standing_out
        ],
        "variance_components": {
            group: {
                "form": component.form,
                "value": component.value,
                "uncertainty": component.uncertainty,
            }
            for group, component in solution.components.items()
        },
        "jumps": [
            {
                "pass": jump.pass_name,
                "epoch": jump.epoch,
                "kind": jump.kind,
                "size": solution.pass_estimate(jump.parameter).value,
                "sigma": solution.pass_estimate(jump.parameter).sigma,
                "note": solution.pass_estimate(jump.parameter).note,
            }
            for jump in solution.jumps
        ],
        "considered": {
            name: dict(
                zip(solution.names, effect / solution.parameters.estimated.scales, strict=True)
            )
            for name, effect in zip(
                solution.parameters.considered.names, solution.consider_effects.T, strict=True
            )
        },
        "not_improved": list(solution.not_improved),
        "a_priori_limited": list(solution.a_priori_limited),
        "limited_by": {name: solution[name].limited_by for name in solution.a_priori_limited},
        "a_priori_share": dict(zip(solution.names, solution.a_priori_share, strict=True)),
        "hardly_separated": _combinations(solution.weak),
        "not_seen_by_the_data": _combinations(solution.unseen),
        "warnings": list(solution.warnings),
        "provenance": dict(solution.provenance),
    }
    return _plain(content)


def _combinations(combinations: Sequence[Combination]) -> list[dict[str, Any]]:
    return [
        {"members": dict(c.members), "units": list(c.units), "text": str(c)} for c in combinations
    ]


def _rejected(solution: Solution) -> list[dict[str, Any]]:
    samples = solution.samples
    return [
        {
            "pass": str(samples.pass_name[i]),
            "epoch": str(samples.epoch[i]),
            "kind": str(samples.kind[i]),
            "residual": float(samples.residual[i]),
            "reason": str(samples.reason[i]),
        }
        for i in np.flatnonzero(~samples.accepted)
    ]


def _parameter(solution: Solution, name: str) -> dict[str, Any]:
    estimate = solution[name]
    drawn = {}
    if solution.sigma_bootstrap is not None:
        place = solution.names.index(name)
        drawn["sigma_bootstrap"] = solution.sigma_bootstrap[place] / solution.parameters[name].scale
    return {
        "value": estimate.value,
        "unit": estimate.unit,
        "sigma_formal": estimate.sigma_formal,
        "sigma_realistic": estimate.sigma,
        "a_priori_sigma": estimate.a_priori_sigma,
        "remark": estimate.remark,
        **drawn,
    }


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _plain(content) for key, content in value.items()}
    if isinstance(value, (list, tuple, np.ndarray)):
        return [_plain(content) for content in value]
    if isinstance(value, (bool, np.bool_)):
        return bool(value)
    if isinstance(value, (int, np.integer)):
        return int(value)
    if isinstance(value, (float, np.floating)):
        return float(value) if math.isfinite(value) else None
    return value if value is None else str(value)
