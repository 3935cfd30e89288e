"""What is in files of tracking data, before anything is made of them.

In: files, and a scenario if its agreement is to be held against them. Out: a text or JSON; with
``--out`` a figure of the coverage.
"""

from __future__ import annotations

from pathlib import Path

import click

from wobble.commands.output import JSON, OUT, add_figure, print_json, print_where, result_folder
from wobble.constants import DAY
from wobble.files.file_inspection import inspect_file
from wobble.files.inspection import Inspection, Series
from wobble.report.coverage_figures import data_coverage
from wobble.report.style import offscreen
from wobble.scenario.reader import read_scenario

__all__ = ["COMMANDS"]

HOUR = 3600.0
COLUMNS = 76


@click.command("inspect")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option(
    "--scenario", type=click.Path(path_type=Path), help="Whose agreement is held against the files."
)
@OUT
@JSON
def inspect_command(
    files: tuple[Path, ...], scenario: Path | None, out: Path | None, as_json: bool
) -> None:
    """What is in FILES of tracking data, and what is missing for a fit.

    Participants, spans, kinds, bands, gaps, repetitions, quality flags, what the reader does
    with each keyword, and what a scenario's [data.agreement] must say.

    \b
    Example: wobble inspect passes.kvn --scenario campaign.toml --out inspected

    Writes figures/coverage.svg: stations against time.
    """
    agreement = read_scenario(scenario).agreement if scenario else None
    with result_folder(out) as folder:
        found = [inspect_file(path, agreement) for path in files]
        if folder:
            with offscreen():
                axes = data_coverage(found)
            text = "Stretches of data without a gap, by the path of the signal and kind of data."
            add_figure(folder, axes, "coverage", "Coverage of the data", text)
    if as_json:
        print_json({"files": [inspection.as_json() for inspection in found]})
        return
    for inspection in found:
        _print(inspection)
    print_where(folder, "wobble fit SCENARIO.toml with these files")


def _print(inspection: Inspection) -> None:
    click.echo(f"{inspection.source}: {inspection.format}")
    click.echo(f"  participants: {', '.join(inspection.participants)}")
    for series in inspection.series:
        for line in _series_lines(series):
            click.echo(f"  {line}")
    for station, n in inspection.ramps.items():
        click.echo(f"  {station} transmits {n} frequenc{'y' if n == 1 else 'ies'}")
    for flag, n in inspection.quality.items():
        click.echo(f"  quality {flag}: {n} segment{'s' if n > 1 else ''}")
    click.echo("  what the reader does:")
    for name, (n, fate) in inspection.fates.items():
        click.echo(f"    {name} ({n}): {fate}")
    for heading, texts in (
        ("look at", inspection.warnings),
        ("missing for a fit", inspection.missing),
    ):
        click.echo(f"  {heading}:" + ("" if texts else " nothing"))
        for text in texts:
            # The file is named above, its lines are not.
            here = text.removeprefix(f"{inspection.source}: ").removeprefix(
                f"{inspection.source}, "
            )
            click.echo(click.wrap_text(here, COLUMNS, "    ", "      "))


def _series_lines(series: Series) -> list[str]:
    found = series.as_json()
    band = f", {series.band}" if series.band else ""
    step = found["step_s"]
    gaps = [(stop - start).to_value("s") for start, stop in series.gaps]
    longest = f", the longest {_duration(max(gaps))}" if gaps else ""
    return [
        f"{series.kind} {' > '.join(series.path)}{band}: {found['count']}",
        f"  {found['first_utc'][:19]} to {found['last_utc'][:19]}",
        f"  step {step:g} s, {len(gaps)} gap{'' if len(gaps) == 1 else 's'}{longest}"
        if step is not None
        else "  one time",
    ]


def _duration(seconds: float) -> str:
    for name, size in (("d", DAY), ("h", HOUR), ("min", 60.0)):
        if seconds >= 2.0 * size:
            return f"{seconds / size:.1f} {name}"
    return f"{seconds:.1f} s"


COMMANDS: list[click.Command] = [inspect_command]
