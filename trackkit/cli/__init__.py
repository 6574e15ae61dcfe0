"""The command line: it parses, prints and draws progress; all work is done by the library."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence
from typing import Any

import click

from trackkit import __version__
from trackkit.budgets import raised
from trackkit.cli import standard_output
from trackkit.cli.common import long_work_shown, say_error, traceback_wanted
from trackkit.errors import TrackkitError, UnforeseenError
from trackkit.written import written_files

_COMMANDS = {
    "demo": ("trackkit.cli.demo", "demo", "Show the whole job on an invented circuit."),
    "build": ("trackkit.cli.build", "build", "Make a track file from a recorded lap."),
    "describe": ("trackkit.cli.describe", "describe", "Print length, corners, straights, gates."),
    "gate": ("trackkit.cli.gate", "gate_commands", "List, place, move, suggest and align gates."),
    "set": ("trackkit.cli.set", "set_command", "Change a name or another fact of a track."),
    "edit": ("trackkit.cli.edit", "edit", "Place gates by hand on a page of this computer."),
    "check": ("trackkit.cli.check", "check", "Check a track file, and what its gates are worth."),
    "reverse": ("trackkit.cli.reverse", "reverse", "Make the other direction's track file."),
    "diff": ("trackkit.cli.describe", "diff", "Tell what moved between two track files."),
    "laps": ("trackkit.cli.laps", "laps", "Time the laps and sectors of recordings."),
    "locate": ("trackkit.cli.locate", "locate", "Tell which known circuit this is."),
    "map": ("trackkit.cli.output", "map_", "Draw a track on one HTML page."),
    "export": ("trackkit.cli.export", "export", "Write tracks and drives in other open formats."),
    "import": ("trackkit.cli.import_", "import_", "Make a track of what another program wrote."),
    "underlay": ("trackkit.cli.underlay", "underlay_command", "Place a plan on the ground."),
    "simulate": ("trackkit.cli.output", "simulate", "Make a practice recording, truth beside it."),
    "schema": ("trackkit.cli.schema", "schema", "Print what --json of a command looks like."),
    "library": ("trackkit.cli.library_import", "library", "List, add and remove known circuits."),
    "archive": ("trackkit.cli.archive", "archive", "Keep the laps of a season, and ask them."),
}


class _Lazy(click.Group):
    """A group that loads a command only when it is run."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """Name the commands in the order people meet them."""
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """Load one command."""
        if cmd_name not in _COMMANDS:
            return None
        module, attribute, _ = _COMMANDS[cmd_name]
        command: click.Command = getattr(importlib.import_module(module), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        """List the commands without loading them."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, text) for name, (_, _, text) in _COMMANDS.items()])


def _limits(ctx: click.Context, param: click.Parameter, value: str | None) -> dict[str, int]:  # noqa: ARG001
    limits = {}
    for part in value.split(",") if value else ():
        name, _, number = part.partition("=")
        if not number.strip().isdecimal():
            raise click.BadParameter(f"{part!r} is not NAME=NUMBER")
        limits[name.strip()] = int(number)
    return limits


@click.group(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="trackkit")
@click.option("--traceback", is_flag=True, help="Show where in trackkit an error comes from.")
@click.option(
    "--limits",
    callback=_limits,
    metavar="NAME=NUMBER,...",
    help="Take on more, or less, than usual: unpacked_bytes, fixes, gates and so on.",
)
@click.pass_context
def cli(ctx: click.Context, traceback: bool, limits: dict[str, int]) -> None:
    """Make, check and share the track files that GPS lap timing rests on.

    A PLACE along a track is a chainage such as 412m (-20m counts back from the finish), LAT,LON,
    or two surveyed ends LAT,LON/LAT,LON, left end first.
    """
    traceback_wanted.set(traceback)
    ctx.with_resource(raised(limits))
    ctx.with_resource(long_work_shown())


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command line and exit with its status."""
    sys.exit(run(arguments))


def run(arguments: Sequence[str] | None = None) -> int:
    """Run the command line.

    Returns
    -------
    int
        0 done; 1 an input could not be used, an output not written, or an error was found;
        2 the command line was wrong; 130 stopped by the user.
    """
    traceback_wanted.set(False)
    standard_output.prepare()
    with written_files() as written:
        try:
            return _status(arguments)
        except BrokenPipeError:
            # Whoever read our output needs no more of it.
            standard_output.abandon(sys.stdout)
            return 0
        except Exception as error:  # noqa: BLE001 - the last door: people are told a sentence
            if not isinstance(error, OSError) or not standard_output.failed_with(error):
                say_error(UnforeseenError(error))
            else:
                standard_output.tell_lost(error, written)
            return 1


def _status(arguments: Sequence[str] | None) -> int:
    try:
        status: Any = cli.main(
            args=None if arguments is None else list(arguments),
            prog_name="trackkit",
            standalone_mode=False,
        )
        sys.stdout.flush()
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except TrackkitError as error:
        say_error(error)
        return 1
    except (click.Abort, KeyboardInterrupt):
        click.echo("trackkit: stopped", err=True)
        return 130
    return status if isinstance(status, int) else 0
