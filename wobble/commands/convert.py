"""Measurements from one format of file into another.

In: a scenario, whose agreement says what a Tracking Data Message leaves to the parties, and files
of data. Out: one file with all of their measurements.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import click
from astropy.time import Time

from wobble.campaign.campaign import SIMULATED, Campaign
from wobble.commands.output import JSON, print_json, say
from wobble.commands.steps import DATA, read_data, scenario_argument
from wobble.errors import InputError
from wobble.files.measurement_table import passes_text
from wobble.measurements.tracking import Tracking
from wobble.scenario.agreement_section import EXAMPLE
from wobble.tdm.kvn import kvn_text
from wobble.tdm.message import TrackingDataMessage
from wobble.tdm.writing import message_from
from wobble.tdm.xml import xml_text
from wobble.text.atomic import write_atomically

__all__ = ["COMMANDS"]

NOTATIONS: dict[str, Callable[[TrackingDataMessage], str]] = {
    ".kvn": kvn_text,
    ".tdm": kvn_text,
    ".xml": xml_text,
}
NOT_REAL = "Simulated measurements of a rehearsal: nothing was transmitted or received."
NO_SIGMA = (
    "standard deviations have no place in a tracking data message: whoever reads it takes those "
    "of the agreement"
)


@click.command()
@scenario_argument
@DATA
@click.option(
    "--out", type=click.Path(path_type=Path), required=True, help="File: .kvn, .tdm, .xml or .ecsv."
)
@click.option("--originator", default="UNKNOWN", show_default=True, help="Who makes the message.")
@click.option("--range-units", type=click.Choice(["km", "s"]), default="km", show_default=True)
@JSON
def convert(
    campaign: Campaign,
    data: tuple[Path, ...],
    out: Path,
    originator: str,
    range_units: str,
    as_json: bool,
) -> None:
    """Write the measurements of DATA as a CCSDS Tracking Data Message, or as a table.

    The ending of --out decides: .kvn or .tdm (keyword = value), .xml, or .ecsv (the package's
    own table). A message needs the table [data.agreement] of the scenario, and is read again
    under it to the last bit, but for standard deviations, which are the agreement's.

    \b
    Example: wobble convert campaign.toml rehearsal/measurements.ecsv --out passes.kvn
    """
    if out.suffix != ".ecsv" and out.suffix not in NOTATIONS:
        raise InputError(
            "no format of tracking data that is written",
            source=out,
            found=out.suffix or "no extension",
            expected=", ".join([*NOTATIONS, ".ecsv"]),
        )
    tracking, notes = read_data(campaign, data)
    if out.suffix == ".ecsv":
        text = passes_text(tracking)
    else:
        message = _message(campaign, tracking, originator, range_units)
        text = NOTATIONS[out.suffix](message)
        notes = [*notes, NO_SIGMA]
    write_atomically(out, text)
    if as_json:
        print_json({"written": str(out), "measurements": len(tracking), "notes": notes})
        return
    for note in notes:
        say(f"data: {note}")
    say(f"{len(tracking)} measurements written to {out}")
    say(f"next: wobble inspect {out} --scenario {campaign.source}")


def _message(
    campaign: Campaign, tracking: Tracking, originator: str, range_units: str
) -> TrackingDataMessage:
    if campaign.agreement is None:
        raise InputError(
            "the scenario does not say under which agreement a message is to be read",
            source=campaign.source,
            field="data.agreement",
            expected=EXAMPLE,
        )
    message = message_from(
        tracking, campaign.agreement, originator, Time.now(), range_units=range_units
    )
    if tracking.meta.get(SIMULATED):
        message.comments.append(NOT_REAL)
    return message


COMMANDS: list[click.Command] = [convert]
