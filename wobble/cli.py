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
    choose,
    convert,
    fit,
    inspect,
    noise,
    plan,
    planet,
    rehearse,
    signatures,
    study,
)
from wobble.errors import InputError, WobbleError
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


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="wobble")
def main() -> None:
    """From two-way tracking of a lander to the rotation and the interior of its planet.

    \b
    The job, step by step:
      wobble plan      SCENARIO.toml                 when can whom be tracked, and which passes
      wobble choose    SCENARIO.toml --passes 60     the best passes, with their certificate
      wobble study     STUDY.toml --out study        precision of a scenario that is varied
      wobble signatures SCENARIO.toml                what each parameter does to the data
      wobble budget    SCENARIO.toml                 what spoils the link
      wobble simulate  SCENARIO.toml --out results   synthetic measurements of these passes
      wobble fit       SCENARIO.toml DATA...         estimate, with honest uncertainties
      wobble report    SCENARIO.toml results         the page to read
      wobble noise     SCENARIO.toml results         how noisy the passes were
      wobble run       SCENARIO.toml --out results   all of it
      wobble nutation  BODY                          how the body nods, from the Sun's torque
      wobble interior  ...                           what is inside
      wobble angles    ...                           between two sets of orientation angles
      wobble inspect   DATA...                       what is in files of tracking data
      wobble convert   SCENARIO.toml DATA...         from one format of file into another

    A scenario is a TOML file; synthetic_passes/campaign.toml is a commented one.
    """


MODULES = (
    plan,
    choose,
    study,
    signatures,
    budget,
    rehearse,
    inspect,
    convert,
    fit,
    noise,
    planet,
)
for module in MODULES:
    for command in module.COMMANDS:
        main.add_command(command)
