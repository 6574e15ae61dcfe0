"""Track files for a library, added and listed by its commands."""

import json
from dataclasses import replace

from drives import stadium, track_of

from trackkit.cli import run
from trackkit.track.file import write_track


def track_file(folder, track_id, *, road=None, at=(161.0, 47.0), name="Invented", **more):
    track = track_of(
        road or stadium(), gates=[("finish", "finish", 10.0)], at=at, name=name, spacing_m=10.0
    )
    folder.mkdir(exist_ok=True)
    path = folder / f"{track_id}.geojson"
    track = replace(track, id=track_id, revised="2024-01-01T00:00:00Z", **more)
    write_track(track, path, force=True)
    return path


def added(capsys, *words, status=0):
    assert run(["library", "add", *map(str, words), "--json"]) == status
    said = capsys.readouterr()
    return json.loads(said.out)["added"], said.err


def listed(capsys, *words):
    assert run(["library", "list", *words, "--json"]) == 0
    return [row["id"] for row in json.loads(capsys.readouterr().out)["tracks"]]
