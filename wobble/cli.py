"""The command line: one command for each step of the job.

In: what the user typed. Out: what the commands in `wobble.commands` print and write.

Exit status 0 done, 2 wrong input (one message, no traceback), 3 a fit whose model does not
describe the data (its results are written, and not to be used), 1 a failure of the program.
With ``--json`` standard output carries one JSON object and nothing else; progress bars
go to standard error and only to a terminal.
"""

from __future__ import annotations

import sys
from typing import Any

import click

from wobble.commands import (
    budget,
    check,
    choose,
    compare,
    convert,
    fit,
    inspect,
    new,
    noise,
    plan,
    planet,
    rehearse,
    signatures,
    study,
)
from wobble.errors import InputError, UnknownNameError, WobbleError
from wobble.version import __version__

__all__ = ["main"]

SECTIONS = {
    "The job, step by step": {
        "new": "a scenario of your own",
        "check": "its numbers by pencil",
        "plan": "when, which passes, how many more",
        "choose": "the best passes",
        "study": "a scenario that is varied",
        "signatures": "what each parameter does",
        "budget": "what spoils the link",
        "simulate": "synthetic measurements",
        "inspect": "what is in files of data",
        "convert": "files of another format",
        "fit": "estimate, honestly",
        "compare": "two solutions, in sigmas",
        "evidence": "do the data want a term",
        "noise": "how noisy the passes were",
        "report": "the page to read",
        "run": "plan, simulate, fit and report in one",
    },
    "The planet": {
        "angles": "its orientation at a date, in both conventions",
        "nutation": "precession and nutation from the torque",
        "interior": "moment of inertia and core from the rotation",
    },
    "The shell": {"completion": "a script that completes commands and options"},
}
"""The commands as ``wobble --help`` lists them."""


class _Commands(click.Group):
    """Turns the package's errors into one message and an exit status."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except InputError as error:
            click.echo(f"wobble: {error}", err=True)
            sys.exit(2)
        except WobbleError as error:
            click.echo(f"wobble: {error}", err=True)
            sys.exit(1)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and self.get_command(ctx, args[0]) is None:
            raise UnknownNameError("command", args[0], self.list_commands(ctx))
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for section, commands in SECTIONS.items():
            with formatter.section(section):
                formatter.write_dl(list(commands.items()))


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="wobble")
def main() -> None:
    """From two-way tracking of a lander to the rotation and the interior of its planet.

    \b
    Example: wobble new mine
             wobble run mine/campaign.toml --out results
    A scenario is a TOML file; "wobble new" writes a commented one.
    wobble COMMAND --help shows an example of each command.
    """


MODULES = (
    new,
    check,
    plan,
    choose,
    study,
    signatures,
    budget,
    rehearse,
    inspect,
    convert,
    fit,
    compare,
    noise,
    planet,
)
for module in MODULES:
    for command in module.COMMANDS:
        main.add_command(command)
