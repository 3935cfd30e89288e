"""Commands on the planet itself: its nutation, its interior, its two sets of angles.

In: the name of a ready-made body or a body file; for the interior a solution or single values.
Out: tables and figures, as every command gives them (`wobble.cli`).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import numpy as np
from astropy.table import QTable
from astropy.time import Time

from wobble.commands.output import (
    JSON,
    KEEP,
    OUT,
    add_figure,
    print_json,
    print_table,
    print_where,
    result_folder,
    say,
)
from wobble.commands.quantities import QuantityType
from wobble.constants import DAY, JULIAN_YEAR, MAS
from wobble.ephemeris import open_ephemeris
from wobble.epochs import Epochs
from wobble.errors import InputError
from wobble.estimation.core_estimate import CoreEstimate
from wobble.files.body_file import read_body, read_nutation_setup
from wobble.files.core_estimate_file import read_core_estimate
from wobble.files.interior_file import read_interior
from wobble.files.results import ResultFolder
from wobble.planet.angle_sets import AngleSeries, angle_series, angle_sets
from wobble.planet.computed_nutation import ComputedNutation
from wobble.planet.interior import PolarMoment
from wobble.planet.interior_samples import InteriorSamples
from wobble.planet.liquid_core import LiquidCore
from wobble.planet.nutation import PrecessionBudget
from wobble.planet.nutation_series import NutationSeries
from wobble.planet.parameter_units import unit_of
from wobble.planet.rotation import RotationModel, TabulatedLibration
from wobble.report import planet_figures
from wobble.report.style import offscreen
from wobble.text.ecsv import ecsv_text
from wobble.text.measured import parse_measured
from wobble.text.toml_section import parse_quantity
from wobble.version import __version__

__all__ = ["COMMANDS"]

RATE = JULIAN_YEAR / MAS
"""From rad/s to mas/yr."""
LONGEST = 1000.0
"""Years that an ephemeris covers at most."""
MODELS = ("two-layer", "three-layer")


# --------------------------------------------------------------------- nutation


@click.command()
@click.argument("body")
@click.option("--years", type=float, default=60.0, show_default=True, help="Span about J2000.")
@click.option("--harmonics", type=int, default=6, show_default=True, help="Highest multiple of l.")
@click.option("--core-factor", type=float, help="Core factor F; with --core-period.")
@click.option(
    "--core-period",
    type=QuantityType("d", bare=True),
    help='Free core nutation, "-242.3 d", negative: retrograde; days without a unit.',
)
@OUT
@JSON
def nutation(
    body: str,
    years: float,
    harmonics: int,
    core_factor: float | None,
    core_period: float | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """Precession and nutation of BODY, computed from the torque on its flattening.

    BODY is "mars" or a body file with a section [rotation.computed_nutation].

    \b
    Example: wobble nutation mars
    Example: wobble nutation mars --core-factor 0.061 --core-period -242.3 --out nutation

    Writes nutation.ecsv, with a core nutation_core.ecsv, and figures.
    """
    with result_folder(out) as folder:
        core = _core(core_factor, core_period)
        half = _half_span(years)
        setup = replace(read_nutation_setup(body), start=-half, stop=half, harmonics=harmonics)
        found = setup.compute()
        budget = found.budget()
        amplified = core.amplify(found.series) if core else None
        if folder:
            _add_nutation(folder, found, amplified, core)
    if as_json:
        print_json(_nutation_json(found, budget, core, amplified))
        return
    say(budget)
    say(repr(found.axis).strip("<>"))
    _print_series(found.series)
    if amplified is not None:
        say(f"With a {core}:")
        _print_series(amplified)
    print_where(
        folder, KEEP if folder is None else f"open the figures in {folder.path / 'figures'}"
    )


def _next_step(folder: ResultFolder | None) -> str:
    return KEEP if folder is None else f"look at the figures in {folder.path / 'figures'}"


def _print_series(series: NutationSeries) -> None:
    say(series.caption())
    print_table(series.rounded_table())


def _half_span(years: float) -> float:
    """Half of the span in seconds: from so long before J2000 to so long after."""
    if not 0.0 < years <= LONGEST:
        raise InputError(
            "no span to compute over", field="--years", found=years, expected=f"0 to {LONGEST:g}"
        )
    return 0.5 * years * JULIAN_YEAR


def _core(factor: float | None, period: float | None) -> LiquidCore | None:
    if factor is None and period is None:
        return None
    for name, value in (("--core-factor", factor), ("--core-period", period)):
        if value is None:
            raise InputError(
                "a core has a factor and a period", field=name, found="only the other one"
            )
    assert factor is not None
    assert period is not None
    return LiquidCore(factor, period * DAY)


def _add_nutation(
    folder: ResultFolder,
    found: ComputedNutation,
    amplified: NutationSeries | None,
    core: LiquidCore | None,
) -> None:
    meta = {
        "wobble": __version__,
        "ephemeris": found.ephemeris.name,
        "computed": repr(found.axis).strip("<>"),
        "secular": str(found.series).splitlines()[0],
    }
    folder.add("nutation.ecsv", ecsv_text(found.series.to_table(), meta))
    if amplified is not None:
        text = ecsv_text(amplified.to_table(), {**meta, "core": str(core)})
        folder.add("nutation_core.ecsv", text)
    body = found.setup.planet.body
    with offscreen():
        drawn = {
            "nutation-amplitudes": (
                planet_figures.nutation_amplitudes(found.series, core),
                f"Nutation amplitudes of {body}",
                "Prograde and retrograde amplitude of each term.",
            ),
            "pole-path": (
                planet_figures.pole_path(found.axis, found.series),
                f"Path of the pole of {body} on the sky",
                "Twenty years of nutation of the rigid planet, precession taken off.",
            ),
            "core-amplification": (
                planet_figures.core_amplification(found.series, core),
                f"Amplification of the nutation of {body} by a liquid core",
                "Against the period of the free core nutation.",
            ),
        }
        for name, (axes, title, text) in drawn.items():
            add_figure(folder, axes, name, title, text)


def _nutation_json(
    found: ComputedNutation,
    budget: PrecessionBudget,
    core: LiquidCore | None,
    amplified: NutationSeries | None,
) -> dict[str, Any]:
    content = {
        "body": found.setup.planet.body,
        "dynamical_flattening": found.setup.planet.dynamical_flattening,
        "ephemeris": found.ephemeris.name,
        "precession_mas_yr": {
            **{name: rate * RATE for name, rate in budget.torques.items()},
            "geodetic": budget.geodetic * RATE,
            "total": budget.total * RATE,
        },
        "rigid": _series_json(found.series),
    }
    if core is not None and amplified is not None:
        content["core"] = {"factor": core.factor, "period_d": core.period / DAY}
        content["with_core"] = _series_json(amplified)
    return content


def _series_json(series: NutationSeries) -> dict[str, Any]:
    return {
        "longitude_deg": float(np.degrees(series.longitude)),
        "obliquity_deg": float(np.degrees(series.obliquity)),
        "precession_rate_mas_yr": series.precession_rate * RATE,
        "obliquity_rate_mas_yr": series.obliquity_rate * RATE,
        "terms": _rows(series.to_table()),
    }


def _rows(table: QTable) -> list[dict[str, Any]]:
    """Rows of a table; the units stand in the names, as in ``prograde_mas``."""
    columns = {}
    for name in table.colnames:
        column = table[name]
        unit = getattr(column, "unit", None)
        suffix = "" if unit is None else "_" + str(unit).replace(" / ", "_").replace("/", "_")
        columns[name + suffix] = np.asarray(getattr(column, "value", column)).tolist()
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


# --------------------------------------------------------------------- interior


@click.command()
@click.argument("solution", required=False, type=click.Path(path_type=Path))
@click.option("--rate", help='Precession rate, "-7608.3 +- 2.1 mas/yr".')
@click.option("--core-factor", help='Core factor, "0.061 +- 0.006".')
@click.option("--core-period", help='Free core nutation, "-242.3 +- 2.7 d".')
@click.option("--model", type=click.Choice(MODELS), default=MODELS[0], show_default=True)
@click.option("--planet", default="mars", show_default=True, help="Planet, or a file of the kind.")
@click.option("--samples", type=int, default=4000, show_default=True, help="Monte Carlo samples.")
@click.option("--seed", type=int, default=1, show_default=True, help="Of the random numbers.")
@OUT
@JSON
def interior(
    solution: Path | None,
    rate: str | None,
    core_factor: str | None,
    core_period: str | None,
    model: str,
    planet: str,
    samples: int,
    seed: int,
    out: Path | None,
    as_json: bool,
) -> None:
    """Moment of inertia and core of a planet from its rotation.

    SOLUTION is the folder of a fit, its solution.ecsv, or a solution.json; single values
    take the place of its estimates, or stand alone:

    \b
    Example: wobble interior fitted --model three-layer
    Example: wobble interior --rate "-7608.3 +- 2.1 mas/yr" --core-factor "0.061 +- 0.006"
             --core-period "-242.3 +- 2.7 d" --out interior

    Without the core's parameters the moment of inertia alone comes out.

    Writes interior.ecsv, samples.ecsv and figures. An inference under assumptions: they are
    printed.
    """
    with result_folder(out) as folder:
        if samples < 2:
            raise InputError("too few", field="--samples", found=samples, expected="2 or more")
        given = {"--rate": rate, "--core-factor": core_factor, "--core-period": core_period}
        estimate = _estimate(solution, given)
        estimate.value("pole.precession_rate")
        assumed = read_interior(planet)
        if model == MODELS[1] and assumed.crust is None:
            raise InputError("a third layer needs a crust", source=planet, field="crust")
        budget = read_nutation_setup(assumed.nutation).compute().budget()
        moment = estimate.polar_moment(budget, assumed.figure)
        inferred = None
        if estimate.tells_of_the_core:
            inferred = estimate.interior(
                budget,
                assumed.figure,
                assumed.mantle,
                np.random.default_rng(seed),
                crust=assumed.crust if model == MODELS[1] else None,
                samples=samples,
            )
        if folder and inferred is not None:
            _add_interior(folder, inferred, estimate, moment, seed)
    if as_json:
        print_json(_interior_json(estimate, moment, inferred, model, seed))
        return
    say(estimate.note)
    say(f"Polar moment: {moment}")
    if inferred is None:
        say("Nothing is said of a core: its factor and period are not known.")
    else:
        print_table(inferred.to_table())
        for note in inferred.notes():
            say(note)
        say(f"seed {seed}")
    print_where(
        folder, KEEP if folder is None else f"open the figures in {folder.path / 'figures'}"
    )


_KEYS = {
    "--rate": "pole.precession_rate",
    "--core-factor": "core.factor",
    "--core-period": "core.period",
}


def _estimate(solution: Path | None, given: dict[str, str | None]) -> CoreEstimate:
    values = {}
    for option, text in given.items():
        if text is not None:
            unit = unit_of(_KEYS[option])
            measured = parse_measured(text, unit.si, field=option, user=unit.user)
            values[_KEYS[option]] = measured
    if not values and solution is None:
        raise InputError("nothing to infer from", expected="a solution, or --rate and others")
    stated = CoreEstimate.from_values(values, "independent: " + ", ".join(values) if values else "")
    return stated if solution is None else read_core_estimate(solution).replaced_by(stated)


def _add_interior(
    folder: ResultFolder,
    inferred: InteriorSamples,
    estimate: CoreEstimate,
    moment: PolarMoment,
    seed: int,
) -> None:
    meta = {
        "wobble": __version__,
        "input": estimate.note,
        "polar_moment": str(moment),
        "assumptions": list(inferred.assumptions),
        "rejected": inferred.rejected,
        "seed": seed,
    }
    folder.add("interior.ecsv", ecsv_text(inferred.to_table(), meta))
    folder.add("samples.ecsv", ecsv_text(QTable(dict(inferred.quantities)), meta | {"units": "SI"}))
    with offscreen():
        for against in ("core_density", "core_period"):
            axes = planet_figures.interior_regions(inferred, against)
            name = f"core-radius-{against.replace('_', '-')}"
            title = f"Core radius against {against.replace('_', ' ')}"
            text = "Credible regions that hold 68 and 95 % of the samples."
            add_figure(folder, axes, name, title, text)


def _interior_json(
    estimate: CoreEstimate,
    moment: PolarMoment,
    inferred: InteriorSamples | None,
    model: str,
    seed: int,
) -> dict[str, Any]:
    content: dict[str, Any] = {
        "input": estimate.note,
        "polar_moment": {
            "flattening": moment.flattening,
            "flattening_sigma": moment.flattening_sigma,
            "moment": moment.moment,
            "moment_sigma": moment.moment_sigma,
        },
    }
    if inferred is None:
        return content
    rows = _rows(inferred.to_table())
    return content | {
        "model": model,
        "interior": {row.pop("quantity"): row for row in rows},
        "samples": len(inferred),
        "rejected": inferred.rejected,
        "assumptions": list(inferred.assumptions),
        "seed": seed,
    }


# ----------------------------------------------------------------------- angles


@click.command()
@click.argument("body")
@click.option("--date", "dates", multiple=True, help="Epoch, UTC; may be given several times.")
@click.option("--series", is_flag=True, help="The angles as series instead.")
@click.option("--years", type=float, default=60.0, show_default=True, help="Span of the series.")
@click.option("--harmonics", type=int, default=6, show_default=True, help="Highest multiple of l.")
@click.option(
    "--plane",
    nargs=2,
    metavar="NODE INCLINATION",
    help='Reference plane on the equator of the ICRF, "3.379 deg" "24.677 deg".',
)
@OUT
@JSON
def angles(
    body: str,
    dates: tuple[str, ...],
    series: bool,
    years: float,
    harmonics: int,
    plane: tuple[str, str] | None,
    out: Path | None,
    as_json: bool,
) -> None:
    """Both sets of angles of BODY: on its orbit plane, and on the equator of the ICRF.

    psi, eps, phi on the reference plane; alpha, delta, W (right ascension, declination, prime
    meridian) on the equator of the ICRF. BODY is a ready-made body or a body file.

    \b
    Example: wobble angles mars --date 2031-05-01
    Example: wobble angles mars --series --out angles
    Example: wobble angles mars_iau --series --plane "3.37919183 deg" "24.67682669 deg"

    Writes angles.ecsv, or the two series of multiples of the mean anomaly l.
    """
    with result_folder(out) as folder:
        if bool(dates) == series:
            raise InputError("one of the two is needed", expected="--date or --series")
        given = read_body(body)
        reference = _plane(plane) if plane else None
        if series:
            orientation = given.orientation
            if not isinstance(orientation, RotationModel):
                raise InputError(
                    "a table of librations has no series", field=body, expected="--date"
                )
            half = _half_span(years)
            tables = {
                f"angles_{kind}": angle_series(
                    given.name,
                    orientation,
                    kind,
                    open_ephemeris(),
                    -half,
                    half,
                    plane=reference,
                    harmonics=harmonics,
                )
                for kind in ("equatorial", "orbit")
            }
            _finish_series(folder, tables, as_json)
        else:
            _finish_dates(folder, given.orientation, dates, reference, as_json)
    if not as_json:
        print_where(folder, KEEP if folder is None else f"read the tables in {folder.path}")


def _plane(plane: tuple[str, str]) -> tuple[float, float]:
    try:
        node, inclination = (parse_quantity(text, "rad") for text in plane)
    except ValueError as error:
        raise InputError(
            f"is {error}", field="--plane", found=plane, expected='two angles, such as "3.4 deg"'
        ) from error
    return node, inclination


def _finish_series(
    folder: ResultFolder | None, tables: dict[str, AngleSeries], as_json: bool
) -> None:
    if folder:
        for name, found in tables.items():
            meta = {"wobble": __version__, "body": found.body, "secular": found.secular}
            meta["left_mas"] = found.left
            folder.add(f"{name}.ecsv", ecsv_text(found.to_table(), meta))
    if as_json:
        print_json(
            {
                name: {
                    "secular_deg_mas_yr_mas_yr2": found.secular,
                    "left_mas": found.left,
                    "terms": _rows(found.to_table()),
                }
                for name, found in tables.items()
            }
        )
        return
    for found in tables.values():
        say(found)


def _finish_dates(
    folder: ResultFolder | None,
    orientation: object,
    dates: tuple[str, ...],
    plane: tuple[float, float] | None,
    as_json: bool,
) -> None:
    assert isinstance(orientation, (RotationModel, TabulatedLibration))
    try:
        epochs = Epochs.from_time(Time(list(dates), scale="utc"))
    except ValueError as error:
        raise InputError("is not a date", field="--date", found=", ".join(dates)) from error
    table = angle_sets(orientation, epochs, plane).to_table()
    table.add_column(list(dates), name="date_utc", index=0)
    if folder:
        folder.add("angles.ecsv", ecsv_text(table, {"wobble": __version__}))
    if as_json:
        print_json({"plane": dict(table.meta), "angles": _rows(table)})
        return
    print_table(table)


COMMANDS: list[click.Command] = [nutation, interior, angles]
"""What the command line adds to its group."""
