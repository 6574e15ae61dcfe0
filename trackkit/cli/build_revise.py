"""``trackkit build --revise``: a track file and more laps."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from trackkit.cli.build_explained import Explained, explain_build, ground_of, judged
from trackkit.cli.buildreport import report
from trackkit.cli.common import held_for_change, read_recordings, refuse_outputs, remark
from trackkit.track.names import names_in
from trackkit.units import as_read


def revise_with(
    ctx: click.Context,
    path: str,
    recordings: tuple[str, ...],
    columns: str | None,
    output: str | None,
    explained: Explained,
    new_layout: str | None,
    *,
    force: bool,
    as_json: bool,
    details: bool,
) -> None:
    """Make the track of a file better with more laps, or a layout of its own."""
    from trackkit import as_new_layout, compare_tracks, read_track, revise_track, write_track
    from trackkit.track.ids import slug

    held = held_for_change(path) if output is None and new_layout is None else None
    old = read_track(path)
    if output is None and new_layout is not None:
        # The track before stays as it is, and is replaced beside it.
        output = str(Path(path).with_name(f"{slug(f'{old.name} {new_layout}')}.geojson"))
    # Before the file is changed: revised again, it would count the same laps twice.
    refuse_outputs({"--output": output, "--explain": explained.path}, force=force)
    read, failed = read_recordings(recordings, columns)
    if not read:
        ctx.exit(1)
    revision = revise_track(old, read)
    if new_layout is not None:
        revision = as_new_layout(old, revision, new_layout, read)
    elif revision.changed:
        remark(
            "the layout has changed: its times are no longer those of before; --as-new-layout NAME "
            "makes it a layout of its own, so that records do not mix"
        )
    track, judgement = judged(revision.build.track, recorded=True)
    ground = ground_of(explained, track)
    if output is None:
        track = write_track(track, path, held=held)
    else:
        track = write_track(track, output, force=force)
    moved = compare_tracks(old, track)
    more = {
        "changed": [
            {
                "begin_m": round(s.begin_m, 1),
                "end_m": round(s.end_m, 1),
                "most_m": round(s.most_m, 2),
            }
            for s in revision.changed
        ],
        "moved": moved.as_row(),
    }
    built = replace(revision.build, track=track)
    explain_build(built, judgement, explained.path, ground, force=force)
    report(
        built,
        judgement,
        output or path,
        as_json=as_json,
        details=details,
        more=more,
        moved=tuple(as_read(line, (*names_in(old), *names_in(track))) for line in moved.lines()),
    )
    if failed:
        ctx.exit(1)
