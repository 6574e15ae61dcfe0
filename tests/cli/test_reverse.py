"""``trackkit reverse``: what it writes and what it refuses."""

import json

from checkout import TRACKS

from trackkit.cli import run
from trackkit.track.file import read_track


def test_the_command_writes_a_track_file_and_refuses_to_replace_one(tmp_path, capsys):
    out = tmp_path / "other.geojson"
    source = str(TRACKS / "morrowfen.geojson")

    assert run(["reverse", source, "-o", str(out), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["direction"] == "anticlockwise"
    assert read_track(out).id == told["id"] == "morrowfen-reversed"
    assert read_track(out).history[-1]["what"] == "reversed from morrowfen"
    assert run(["reverse", source, "-o", str(out)]) == 1
