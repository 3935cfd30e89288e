"""The command line: one command for each step of the job.

In: what the user typed. Out: what the commands in `wobble.commands` print and write.

Exit status 0 done, 2 wrong input (one message, no traceback), 1 a failure of the program.
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


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="wobble")
def main() -> None:
    """From two-way tracking of a lander to the rotation and the interior of its planet.

    \b
    The job, step by step:
      wobble new        FOLDER      a scenario of your own
      wobble check      SCENARIO    its numbers by pencil
      wobble plan       SCENARIO    when, and which passes
      wobble choose     SCENARIO    the best passes
      wobble study      STUDY       a scenario that is varied
      wobble signatures SCENARIO    what each parameter does
      wobble budget     SCENARIO    what spoils the link
      wobble simulate   SCENARIO    synthetic measurements
      wobble inspect    DATA        what is in files of data
      wobble convert    SCENARIO    files of another format
      wobble fit        SCENARIO    estimate, honestly
      wobble compare    FOLDER      two solutions, in sigmas
      wobble evidence   FOLDER      do the data want a term
      wobble noise      SCENARIO    how noisy the passes were
      wobble report     SCENARIO    the page to read
      wobble run        SCENARIO    all of it

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
