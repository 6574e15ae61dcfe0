"""``trackkit import``: a track that was edited, or laid out, in another program."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackkit.cli.common import (
    Command,
    check_crs,
    force_option,
    gate_rows,
    gate_table,
    held_for_change,
    json_option,
    print_json,
    refuse_outputs,
    remark,
    remarks,
)

if TYPE_CHECKING:
    from trackkit.track.diff_report import Comparison


def _pairs(
    ctx: click.Context,  # noqa: ARG001
    param: click.Parameter,
    value: tuple[str, ...],
) -> dict[str, list[str]]:
    """Read ``WHAT=NAME``, several times."""
    pairs: dict[str, list[str]] = {}
    for text in value:
        what, equals, name = text.partition("=")
        if not equals or not what.strip() or not name.strip():
            raise click.BadParameter(f"{text!r} is not {param.metavar}")
        pairs.setdefault(what.strip(), []).append(name.strip())
    return pairs


@click.command("import", cls=Command)
@click.argument("file", metavar="FILE")
@click.option(
    "-o",
    "--output",
    metavar="TRACK",
    help="Track file to write.  [default with --onto: that one]",
)
@click.option(
    "--onto",
    metavar="TRACK",
    help="The track that FILE was before it was edited: what differs is shown before anything is "
    "written, and what FILE cannot hold is carried over.",
)
@click.option("--yes", is_flag=True, help="Do not ask before the track of --onto is replaced.")
@click.option("--name", metavar="TEXT", help="Name of the circuit.  [default: what FILE says]")
@click.option(
    "--crs",
    metavar="EPSG:CODE",
    help="Coordinate system of FILE.  [default: what FILE says]",
)
@click.option(
    "--layer",
    "layers",
    multiple=True,
    callback=_pairs,
    metavar="ROLE=NAME",
    help="Which layer holds centreline, gates, pit_lane or corners, where its name does not tell.",
)
@click.option(
    "--field",
    "fields",
    multiple=True,
    callback=_pairs,
    metavar="MEMBER=NAME",
    help="Which field, or column, holds id, name, kind and so on, where its name does not tell.",
)
@force_option
@json_option
def import_(
    file: str,
    output: str | None,
    onto: str | None,
    yes: bool,
    name: str | None,
    crs: str | None,
    layers: dict[str, list[str]],
    fields: dict[str, list[str]],
    force: bool,
    as_json: bool,
) -> None:
    """Make a track file of FILE, which another program wrote.

    FILE is a GeoPackage, GeoJSON, KML, KMZ, Shapefile, FlatGeobuf, GeoParquet, DXF, GPX or CSV with
    WKT, a folder or ZIP archive of several, or a table of gate ends (CSV): an export of trackkit
    after an edit, or what a surveyor laid out.  Order, chainage and width follow from the
    positions.
    """
    from trackkit import import_track, read_track, write_track

    target = output or onto
    if target is None:
        raise click.UsageError("Give -o TRACK to write, or --onto TRACK to change.")
    several = [member for member, names in fields.items() if len(names) > 1]
    if several:
        raise click.UsageError(f"--field {several[0]}=NAME was given more than once.")
    _refuse_unknown(layers, fields)
    if crs is not None:
        check_crs(crs)
    in_place = onto is not None and _is_same(target, onto)
    if not in_place:
        refuse_outputs({"--output": target}, force=force)
    held = held_for_change(target) if in_place else None
    before = None if onto is None else read_track(onto)
    imported = import_track(
        file,
        onto=before,
        name=name,
        crs=crs,
        layers=layers,
        fields={member: names[0] for member, names in fields.items()},
    )
    remarks(imported.remarks, file)
    written = True
    if imported.moved is not None:
        _show(imported.moved, as_json=as_json)
        written = not (in_place and imported.moved.same)
        if in_place and written and not yes and sys.stdin.isatty():
            click.confirm(f"Change {target}?", abort=True, err=True)
    track = imported.track
    if written:
        track = write_track(track, target, force=force, held=held)
    if as_json:
        moved = imported.moved
        print_json(
            {
                "track": target,
                "written": written,
                **track.as_row(),
                "gates": gate_rows(track.gates),
                "moved": None if moved is None else moved.as_row(),
                "remarks": list(imported.remarks),
            }
        )
        return
    if not written:
        click.echo(f"{target} stays as it is")
        return
    way = f", {track.direction}" if track.direction else ""
    click.echo(f"wrote {target}: {track.id}{way}")
    gate_table(track.gates)


def _refuse_unknown(layers: Iterable[str], fields: Iterable[str]) -> None:
    """Refuse parts and members that no track has, as a fault of the command line."""
    from trackkit.importing.fields import ALL_MEMBERS
    from trackkit.importing.roles import ROLES, role_of

    for role in layers:
        if role_of(role) is None:
            raise click.BadParameter(
                f"{role!r} is no part of a track; the parts are: {', '.join(ROLES)}",
                param_hint="--layer",
            )
    for member in fields:
        if member not in ALL_MEMBERS:
            raise click.BadParameter(
                f"{member!r} is no member of a track's features; the members are: "
                f"{', '.join(ALL_MEMBERS)}",
                param_hint="--field",
            )


def _is_same(first: str, second: str) -> bool:
    """Tell whether two names are of one file."""
    if Path(first).exists() and Path(second).exists():
        return Path(first).samefile(second)
    return os.path.realpath(first) == os.path.realpath(second)


def _show(moved: Comparison, *, as_json: bool) -> None:
    for line in moved.lines():
        if as_json:
            remark(line)
        else:
            click.echo(line)
