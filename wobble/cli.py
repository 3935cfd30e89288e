"""The command line: one command for each step of the job.

In: what the user typed. Out: what the commands in `wobble.commands` print and write.

Exit status 0 done, 2 wrong input (one message, no traceback), 3 a fit whose model does not
describe the data (its results are written, and not to be used), 1 a failure of the program.
With ``--json`` standard output carries one JSON object and nothing else; progress bars
go to standard error and only to a terminal.
"""

from __future__ import annotations

import importlib
import sys
from typing import Any

import click

from wobble.errors import InputError, UnknownNameError, WobbleError
from wobble.version import __version__

__all__ = ["main"]

SECTIONS = {
    "The job, step by step": {
        "new": ("new", "a scenario of your own"),
        "check": ("check", "its numbers by pencil"),
        "plan": ("plan", "when, which passes, how many more"),
        "choose": ("choose", "the best passes"),
        "study": ("study", "a scenario that is varied"),
        "signatures": ("signatures", "what each parameter does"),
        "budget": ("budget", "what spoils the link"),
        "simulate": ("rehearse", "synthetic measurements"),
        "inspect": ("inspect", "what is in files of data"),
        "convert": ("convert", "files of another format"),
        "fit": ("fit", "estimate, honestly"),
        "compare": ("compare", "two solutions, in sigmas"),
        "evidence": ("compare", "do the data want a term"),
        "noise": ("noise", "how noisy the passes were"),
        "report": ("fit", "the page to read"),
        "run": ("rehearse", "plan, simulate, fit and report in one"),
    },
    "The planet": {
        "angles": ("planet", "its orientation at a date, in both conventions"),
        "nutation": ("planet", "precession and nutation from the torque"),
        "interior": ("planet", "moment of inertia and core from the rotation"),
    },
    "The shell": {"completion": ("new", "a script that completes commands and options")},
}
"""The commands as ``wobble --help`` lists them, with the module of `wobble.commands` that has each.

A module is loaded when its command is asked for: the physics takes seconds, of which help and
completion need nothing.
"""
MODULES = {name: module for part in SECTIONS.values() for name, (module, _) in part.items()}


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

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(MODULES)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in MODULES:
            return None
        module = importlib.import_module(f"wobble.commands.{MODULES[cmd_name]}")
        return {command.name: command for command in module.COMMANDS}[cmd_name]

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and not args[0].startswith("-") and args[0] not in MODULES:
            raise UnknownNameError("command", args[0], self.list_commands(ctx))
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        for section, commands in SECTIONS.items():
            with formatter.section(section):
                formatter.write_dl([(name, text) for name, (_, text) in commands.items()])


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
