"""How noisy the passes really were: levels of noise from the residuals of a fit.

In: a scenario, the folder of a fit, the measurements. Out: a table of levels with their
uncertainties, a budget to be pasted into a scenario, figures of spectrum and Allan deviation.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Any

import click
import numpy as np

from wobble.campaign.campaign import Campaign
from wobble.campaign.residual_noise import ResidualNoise, residual_noise
from wobble.commands.output import (
    JSON,
    KEEP,
    OUT,
    add_figure,
    print_json,
    print_where,
    read_fit,
    result_folder,
    say,
)
from wobble.commands.steps import DATA, read_fitted, scenario_argument
from wobble.constants import ASTRONOMICAL_UNIT
from wobble.files.results import ResultFolder
from wobble.report.noise_figures import residual_allan_deviation, residual_spectrum
from wobble.report.style import offscreen
from wobble.report.text import rounded
from wobble.scenario.noise_sections import budget_as_toml
from wobble.text.ecsv import ecsv_text

__all__ = ["COMMANDS"]


@click.command()
@scenario_argument
@click.argument("results", type=click.Path(path_type=Path))
@DATA
@click.option(
    "--contribution",
    "contributions",
    multiple=True,
    help="Whose level is sought; may be repeated. White noise and solar plasma if left out.",
)
@click.option(
    "--degree",
    type=click.IntRange(0, 3),
    default=0,
    show_default=True,
    help="Of the polynomial that the fit has taken from each pass: 0 for a bias.",
)
@OUT
@JSON
def noise(
    campaign: Campaign,
    results: Path,
    data: tuple[Path, ...],
    contributions: tuple[str, ...],
    degree: int,
    out: Path | None,
    as_json: bool,
) -> None:
    """How noisy the passes were, from the residuals of a fit in the folder RESULTS.

    DATA are the measurements that were fitted: if left out, those that the folder keeps, or the
    scenario's own files.

    \b
    Example: wobble noise synthetic_passes/campaign.toml results --out noise

    Writes noise.ecsv, noise_by_pass.ecsv, noise.toml (for a scenario) and two figures.
    """
    solution = read_fit(results)
    tracking, _ = read_fitted(campaign, results, data)
    with result_folder(out) as folder:
        found = residual_noise(
            campaign,
            solution,
            tracking,
            contributions or None,
            degree=degree,
            progress=sys.stderr.isatty(),
        )
        if folder:
            _add(folder, campaign, found)
    if as_json:
        print_json(_as_json(found))
        return
    for line in _lines(campaign, found):
        say(line)
    print_where(folder, "paste the [[noise]] tables into a scenario" if folder else KEEP)


def _toml(found: ResidualNoise) -> str:
    remarks = [
        f"factor {scale:.3g} +- {sigma:.2g} of what was assumed"
        for scale, sigma in zip(found.overall.scales, found.overall.sigmas, strict=True)
    ]
    return budget_as_toml(found.budget, remarks)


def _add(folder: ResultFolder, campaign: Campaign, found: ResidualNoise) -> None:
    meta = {"scenario": campaign.source.name, "passes": len(found.passes)}
    folder.add("noise.ecsv", ecsv_text(found.table(), meta))
    folder.add("noise_by_pass.ecsv", ecsv_text(found.pass_table(), meta))
    folder.add("noise.toml", _toml(found))
    if all(one.geometry.is_range.all() for one in found.passes):
        return
    with offscreen():
        for draw, name, title in (
            (residual_spectrum, "residual-spectrum", "Spectrum of range-rate residuals"),
            (residual_allan_deviation, "residual-allan", "Allan deviation of residuals"),
        ):
            axes = draw(found, campaign.budget)
            text = f"{title}, with what budgets expect; bars hold the scatter between passes."
            add_figure(folder, axes, name, title, text)


def _lines(campaign: Campaign, found: ResidualNoise) -> list[str]:
    place = found.conditions
    lines = [
        f"{campaign.name}: noise of {len(found.passes)} passes, {found.samples} samples",
        f"levels at 60 s, {np.degrees(place.sun_angle):.3g} deg from the Sun, "
        f"{place.distance / ASTRONOMICAL_UNIT:.3g} au",
        "+-: standard errors, the scatter between passes included",
        "",
        f"{'contribution':<20}{'factor':>15}{'level':>25}",
    ]
    for row in found.table():
        factor = _with_sigma(float(row["factor"]), float(row["factor_sigma"]))
        key, unit = ("range_rate", "mm/s") if row["range_rate"].value > 0.0 else ("range", "m")
        level = _with_sigma(float(row[key].value), float(row[f"{key}_sigma"].value))
        lines.append(f"{row['contribution']:<20}{factor:>15}{level + ' ' + unit:>25}")
    unseen = [
        name
        for name, sigma in zip(found.overall.names, found.overall.sigmas, strict=True)
        if not math.isfinite(sigma)
    ]
    if unseen:
        lines.append(f"not seen by these residuals: {', '.join(unseen)}")
    return [*lines, "", "for a scenario:", "", _toml(found)]


def _with_sigma(value: float, sigma: float) -> str:
    if not math.isfinite(sigma):
        return "not seen"
    if sigma <= 0.0:
        return f"{value:.3g}"
    return " +- ".join(rounded(value, sigma))


def _as_json(found: ResidualNoise) -> dict[str, Any]:
    def number(value: Any) -> float | None:
        plain = float(getattr(value, "value", value))
        return plain if math.isfinite(plain) else None

    table = found.table()
    return {
        "passes": len(found.passes),
        "samples": found.samples,
        "log_likelihood": found.overall.log_likelihood,
        "contributions": {
            str(row["contribution"]): {
                name: number(row[name]) for name in table.colnames if name != "contribution"
            }
            for row in table
        },
        "noise_toml": _toml(found),
    }


COMMANDS: list[click.Command] = [noise]
