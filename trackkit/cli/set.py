"""``trackkit set``: names and other facts of a track."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trackkit.cli.common import (
    Command,
    held_for_change,
    json_option,
    print_json,
    remarks,
    units_option,
)
from trackkit.track.names import names_in
from trackkit.units import as_read

if TYPE_CHECKING:
    from trackkit.recordings.drawn_lines import DrawnLine
    from trackkit.recordings.recording import Recording
    from trackkit.track.model import Track


@click.command("set", cls=Command)
@click.argument("track_path", metavar="TRACK")
@click.argument("key", metavar="KEY")
@click.argument("words", metavar="VALUE...", nargs=-1, required=True)
@click.option("--by", metavar="NAME", help="Who says so; stored with the change.")
@units_option
@json_option
def set_command(
    track_path: str, key: str, words: tuple[str, ...], by: str | None, as_json: bool
) -> None:
    """Change what a track file says: a name, or another fact.

    KEY is name, layout, country, timezone, licence, valid-from, valid-until or notes; corner:3 for
    the name of corner 3, gate:GATE for the name of a gate, by its id or name; pit-lane for the
    pit lane, and VALUE then a recording of a visit of it, or the file of a line drawn through it.
    VALUE '' takes away what is there. The track's id stays, and so does everything on the ground
    but a pit lane; the previous file is left beside it as TRACK~.
    """
    from trackkit import read_track, write_track

    held = held_for_change(track_path)
    track = read_track(track_path)
    changed, row, texts = _changed(track, key, " ".join(words), by)
    write_track(changed, track_path, held=held)
    names = (track_path, *words, *names_in(track), *names_in(changed))
    if as_json:
        print_json({**row, "remarks": list(texts)})
    else:
        click.echo(as_read(row["done"], names))
    remarks(texts, names=names)


def _changed(
    track: Track, key: str, value: str, by: str | None
) -> tuple[Track, dict[str, Any], tuple[str, ...]]:
    """Make the change that a key asks for, and describe it as JSON."""
    from trackkit import rename_corner, rename_gate, set_fact

    if key == "pit-lane":
        return _with_pit_lane(track, value, by)
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


def _with_pit_lane(
    track: Track, path: str, by: str | None
) -> tuple[Track, dict[str, Any], tuple[str, ...]]:
    """Take the pit lane from a recording of a visit, or from a line drawn through it."""
    from trackkit import Recording as Recorded
    from trackkit import remove_pit_lane, set_driven_pit_lane, set_pit_lane

    given = _recording_or_line(path) if path else None
    if given is None:
        changed, texts = remove_pit_lane(track, by=by)
    elif isinstance(given, Recorded):
        changed, texts = set_driven_pit_lane(track, [given], by=by)
    else:
        place = (given.longitude_deg, given.latitude_deg)
        source = f"the line in {Path(path).name}"
        changed, texts = set_pit_lane(track, *place, by=by, source=source)
    row = {
        "id": track.id,
        "key": "pit-lane",
        "before": track.pit_lanes[0].id if track.pit_lanes else None,
        "after": changed.pit_lanes[0].id if changed.pit_lanes else None,
        "done": changed.history[-1]["what"],
    }
    return changed, row, (*(given.remarks if given is not None else ()), *texts)


def _recording_or_line(path: str) -> Recording | DrawnLine:
    from trackkit import read_line, read_recording
    from trackkit.errors import RecordingError

    try:
        return read_recording(path)
    except RecordingError as no_recording:
        try:
            return read_line(path)
        except RecordingError as no_line:
            # Of what can only be a recording, the reader of recordings says what is wrong.
            only_recording = no_line.remedy is not None and no_line.remedy.do == "read as recording"
            raise (no_recording if only_recording else no_line) from None
