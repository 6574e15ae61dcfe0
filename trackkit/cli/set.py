"""``trackkit set``: names and other facts of a track."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import Command, held_for_change, json_option, print_json, remarks

if TYPE_CHECKING:
    from trackkit.track.model import Track


@click.command("set", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("key", metavar="KEY")
@click.argument("words", metavar="VALUE...", nargs=-1, required=True)
@click.option("--by", metavar="NAME", help="Who says so; stored with the change.")
@json_option
def set_command(
    track_path: str, key: str, words: tuple[str, ...], by: str | None, as_json: bool
) -> None:
    """Change what a track file says: a name, or another fact.

    KEY is name, layout, country, timezone, licence, valid-from, valid-until or notes; corner:3 for
    the name of corner 3, gate:GATE for the name of a gate, by its id or name. VALUE '' takes away
    what is there. The track's id stays, and so does everything on the ground; the previous file is
    left beside it as TRACK~.
    """
    from trackkit import read_track, write_track

    held = held_for_change(track_path)
    track = read_track(track_path)
    changed, row, texts = _changed(track, key, " ".join(words), by)
    write_track(changed, track_path, held=held)
    if as_json:
        print_json({**row, "remarks": list(texts)})
    else:
        click.echo(row["done"])
    remarks(texts)


def _changed(
    track: Track, key: str, value: str, by: str | None
) -> tuple[Track, dict[str, Any], tuple[str, ...]]:
    """Make the change that a key asks for, and describe it as JSON."""
    from trackkit import rename_corner, rename_gate, set_fact

    kind, colon, which = key.partition(":")
    if colon and kind == "gate":
        before = track.gate(which).name
        renamed = rename_gate(track, which, value, by=by)
        row = {
            "id": track.id,
            "key": f"gate:{renamed.gate.id}",
            "before": before or None,
            "after": renamed.gate.name,
            "done": renamed.what,
        }
        return renamed.track, row, renamed.remarks
    if colon and kind == "corner":
        change = rename_corner(track, which, value, by=by)
    else:
        change = set_fact(track, key, value, by=by)
    return change.track, change.as_row(), ()
