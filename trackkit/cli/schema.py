"""``trackkit schema``: what ``--json`` of a command prints."""

from __future__ import annotations

import click

from trackkit.cli.common import Command, print_json


@click.command(cls=Command)
@click.argument("command", nargs=-1, metavar="[COMMAND]")
def schema(command: tuple[str, ...]) -> None:
    """Print the JSON Schema of what a command prints with --json.

    COMMAND is as it is typed: laps, gate list. Without one, the commands that have a schema are
    listed.
    """
    from trackkit import output_schema
    from trackkit.schemas.read import schema_names

    if not command:
        for name in schema_names():
            click.echo(name)
        return
    name = " ".join(command)
    if name not in schema_names():
        raise click.BadParameter(
            f"no command {name!r} prints JSON; those that do are {', '.join(schema_names())}",
            param_hint="COMMAND",
        )
    print_json(output_schema(name))
