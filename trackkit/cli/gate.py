"""``trackkit gate``: list, place, move and remove gates."""

from __future__ import annotations

import shlex
from collections.abc import Callable

import click

from trackkit.cli.common import (
    Command,
    crs_option,
    gate_rows,
    gate_table,
    json_option,
    place_from,
    print_json,
    remarks,
)
from trackkit.errors import PlaceError
from trackkit.track import GATE_KINDS, Gate, GateKind, Track

width_option = click.option(
    "--width", type=click.FloatRange(0.5, 500), metavar="M", help="Width of the gate, metres."
)


@click.group()
def gate() -> None:
    """List, place, move and remove gates.

    Commands that change TRACK leave the previous file beside it as TRACK~.
    """


@gate.command("list", cls=Command)
@click.argument("track_path", metavar="TRACK")
@json_option
def list_gates(track_path: str, as_json: bool) -> None:
    """List the gates in racing order."""
    from trackkit.trackfile import read_track

    gates = read_track(track_path).gates
    if as_json:
        print_json({"gates": gate_rows(gates)})
    elif gates:
        gate_table(gates)
    else:
        click.echo("the track has no gates")


@gate.command("place", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("kind", type=click.Choice(GATE_KINDS))
@click.argument("place", metavar="PLACE")
@width_option
@click.option("--name", metavar="TEXT", help="What to call it.")
@crs_option
@json_option
def place_gate_command(
    track_path: str,
    kind: GateKind,
    place: str,
    width: float | None,
    name: str | None,
    crs: str | None,
    as_json: bool,
) -> None:
    """Place a new gate.

    PLACE is a chainage such as 412m (-20m counts back from the finish), LAT,LON, or two surveyed
    ends LAT,LON/LAT,LON, left end first.  The gate is square to the track, or exactly at the ends.
    """
    from trackkit.gates import place_gate

    where = place_from(place, crs)

    def change(track: Track) -> tuple[Track, Gate, tuple[str, ...], str]:
        changed, placed, said = place_gate(track, kind, where, width_m=width, name=name)
        return changed, placed, said, f"placed {kind} gate {placed.id} at {placed.chainage_m:.1f} m"

    _change(track_path, change, as_json=as_json)


@gate.command("move", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("gate_name", metavar="GATE")
@click.argument("place", metavar="PLACE")
@width_option
@crs_option
@json_option
def move_gate_command(
    track_path: str,
    gate_name: str,
    place: str,
    width: float | None,
    crs: str | None,
    as_json: bool,
) -> None:
    """Move a gate.

    GATE is an id or a name; PLACE is a chainage such as 412m (-20m counts back from the finish),
    LAT,LON, or two surveyed ends LAT,LON/LAT,LON.  Every other gate stays on the ground.
    """
    from trackkit.gates import move_gate

    where = place_from(place, crs)

    def change(track: Track) -> tuple[Track, Gate, tuple[str, ...], str]:
        before = track.gate(gate_name)
        changed, moved, said = move_gate(track, gate_name, where, width_m=width)
        told = f"moved gate {moved.id} from {before.chainage_m:.1f} m"
        if moved.kind == "finish" and track.closed:
            told += ", which made its new place chainage 0"
        else:
            told += f" to {moved.chainage_m:.1f} m"
        return changed, moved, said, told

    _change(track_path, change, as_json=as_json)


@gate.command("remove", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("gate_name", metavar="GATE")
@json_option
def remove_gate_command(track_path: str, gate_name: str, as_json: bool) -> None:
    """Remove a gate.

    GATE is an id or a name.
    """
    from trackkit.gates import remove_gate

    def change(track: Track) -> tuple[Track, Gate, tuple[str, ...], str]:
        changed, removed = remove_gate(track, gate_name)
        told = f"removed gate {removed.id} ({removed.name}) at {removed.chainage_m:.1f} m"
        return changed, removed, (), told

    _change(track_path, change, as_json=as_json)


def _change(
    track_path: str,
    change: Callable[[Track], tuple[Track, Gate, tuple[str, ...], str]],
    *,
    as_json: bool,
) -> None:
    """Change a track file in place and say what was done, and what check has to say about it."""
    from trackkit.building import now
    from trackkit.checks import check_track
    from trackkit.trackfile import read_track, stored, write_track

    try:
        changed, touched, said, told = change(read_track(track_path))
    except PlaceError as error:
        if error.remedy is None:
            raise
        error.remedy = error.remedy.replace(" TRACK ", f" {shlex.quote(track_path)} ")
        raise
    changed = stored(changed.revised_by(told, now()))
    write_track(changed, track_path, force=True, keep_previous=True)
    found = [f for f in check_track(changed) if f.feature == touched.id and not f.accepted]
    said = (*said, *(f"{f.severity}: {f.message}; {f.remedy}" for f in found))
    said = tuple(text.replace(" TRACK ", f" {shlex.quote(track_path)} ") for text in said)
    if as_json:
        print_json({"done": told, "gates": gate_rows(changed.gates), "remarks": list(said)})
    else:
        click.echo(told)
        gate_table(changed.gates)
    remarks(said)
