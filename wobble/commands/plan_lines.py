"""A plan as lines of at most 60 columns.

In: view periods, passes. Out: lines of text: hours in view by station and what limits them;
passes with their begin, length and elevation.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

import click
import numpy as np

from wobble.campaign.schedule import Passes
from wobble.campaign.visibility import ViewPeriods

__all__ = ["pass_lines", "print_lines", "view_hours"]

SPAN = "span"


def view_hours(periods: ViewPeriods) -> list[str]:
    """Hours in view of each link and the two limits that end most of its periods."""
    columns = (periods.transmitter, periods.station, periods.lander, periods.antenna)
    links = list(zip(*(column.tolist() for column in columns), strict=True))
    rows = [("station", "lander", "antenna", "periods", "hours")]
    reasons: Counter[str] = Counter()
    for link in sorted(set(links)):
        sender, station, lander, antenna = link
        chosen = np.array([one == link for one in links])
        hours = periods.duration[chosen].sum() / 3600.0
        name = station if sender == station else f"{sender}-{station}"
        rows.append((name, lander, antenna or "any", str(chosen.sum()), f"{hours:.1f}"))
    reasons.update(periods.opened_by.tolist())
    reasons.update(periods.closed_by.tolist())
    reasons.pop(SPAN, None)
    limits = [f"{count:6d}  {name}" for name, count in reasons.most_common()]
    return [*_aligned(rows), "limits that open and close them:", *limits]


def pass_lines(passes: Passes) -> list[str]:
    """One line for each pass, under a line of names."""
    rows = [("pass", "station", "lander", "antenna", "begin (UTC)", "min")]
    minutes = (passes.stop - passes.start).to_value("min")
    for k in range(len(passes)):
        sender, station = str(passes.transmitter[k]), str(passes.station[k])
        rows.append(
            (
                str(passes.pass_id[k]),
                station if sender == station else f"{sender}-{station}",
                str(passes.lander[k]),
                str(passes.antenna[k]) or "any",
                passes.start[k].isot[:16].replace("T", " "),
                f"{minutes[k]:.0f}",
            )
        )
    return _aligned(rows)


def print_lines(lines: Sequence[str], most: int | None = None) -> None:
    """Print lines, or the first of them and how many more there are."""
    for line in lines[:most]:
        click.echo(line)
    if most is not None and len(lines) > most:
        click.echo(f"... and {len(lines) - most} more")


def _aligned(rows: Iterable[tuple[str, ...]]) -> list[str]:
    """Columns as wide as they must be; numbers, to the right, are the last ones."""
    table = list(rows)
    widths = [max(len(cell) for cell in column) for column in zip(*table, strict=True)]
    numbers = [
        all(row[k].replace(".", "").isdigit() for row in table[1:]) for k in range(len(widths))
    ]
    return [
        "  ".join(
            cell.rjust(width) if number else cell.ljust(width)
            for cell, width, number in zip(row, widths, numbers, strict=True)
        ).rstrip()
        for row in table
    ]
