"""A first scenario of one's own, and completion of what is typed in the shell.

In: a folder that is empty or not there; the name of a shell. Out: ``campaign.toml`` with a comment
beside every value, which runs as it is; the script that the shell reads.
"""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import click
from astropy.time import Time, TimeDelta
from click.shell_completion import get_completion_class

from wobble.commands.output import JSON, print_json, print_where
from wobble.errors import InputError
from wobble.files.results import ResultFolder

__all__ = ["COMMANDS"]

TEMPLATE = "new_campaign.toml"
HALF_A_YEAR = TimeDelta(182.0, format="jd")
SHELLS = ("bash", "zsh", "fish")


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--lander", default="finch", show_default=True, help="Name of the lander.")
@click.option("--start", default="2031-05-01", show_default=True, help="First day of tracking.")
@JSON
def new(folder: Path, lander: str, start: str, as_json: bool) -> None:
    """A commented scenario of your own in FOLDER, which runs as it is.

    \b
    Example: wobble new mine
    Example: wobble new mine --lander finch --start 2033-01-15

    Writes campaign.toml: half a year of a lander on Mars with three invented
    stations. FOLDER must be empty, or not there.
    """
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_-]*", lander):
        raise InputError(
            "cannot be a lander's name",
            field="--lander",
            found=lander,
            expected="a letter, then letters, digits, _ or -",
        )
    try:
        first = Time(start, scale="utc")
    except ValueError as error:
        raise InputError(
            "is not a date", field="--start", found=start, expected="such as 2031-05-01"
        ) from error
    if folder.is_dir() and any(folder.iterdir()):
        raise InputError(
            "the folder is not empty", source=folder, expected="a new folder, or an empty one"
        )
    text = (files("wobble.commands") / TEMPLATE).read_text(encoding="utf-8")
    for mark, value in {
        "LANDER": lander,
        "START": first.isot[:19],
        "STOP": (first + HALF_A_YEAR).isot[:19],
    }.items():
        text = text.replace(f"@{mark}@", value)
    with ResultFolder(folder) as results:
        results.add("campaign.toml", text)
    scenario = folder / "campaign.toml"
    if as_json:
        print_json({"scenario": str(scenario)})
        return
    print_where(
        results,
        f"wobble run {scenario} --out {folder / 'results'}",
        f"change {scenario}, in which the meaning stands beside every value",
    )


@click.command()
@click.argument("shell", type=click.Choice(SHELLS))
@click.pass_context
def completion(context: click.Context, shell: str) -> None:
    """The script that completes commands and options in SHELL.

    \b
    Example: wobble completion bash >> ~/.bashrc
    Example: wobble completion zsh >> ~/.zshrc
    Example: wobble completion fish > ~/.config/fish/completions/wobble.fish

    It takes effect in a new shell.
    """
    make = get_completion_class(shell)
    assert make is not None  # the three are built in
    click.echo(make(context.find_root().command, {}, "wobble", "_WOBBLE_COMPLETE").source())


COMMANDS: list[click.Command] = [new, completion]
"""What the command line adds to its group."""
