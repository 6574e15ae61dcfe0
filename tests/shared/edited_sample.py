"""Gates of a copy of the sample, edited by commands, and compared with those of the page."""

from __future__ import annotations

import shutil
from pathlib import Path

from editor_page import SAMPLE
from geographiclib.geodesic import Geodesic

from trackkit.cli import run
from trackkit.track.file import read_track


def assert_same_gates(file: Path, other: Path) -> None:
    """Every end of every gate within 1 cm by GeographicLib (Karney 2013)."""
    ours, theirs = ({g.id: g for g in read_track(p).gates} for p in (file, other))
    assert list(ours) == list(theirs)
    for key, gate in ours.items():
        assert (gate.name, gate.kind, gate.order) == (
            theirs[key].name,
            theirs[key].kind,
            theirs[key].order,
        )
        for a, b in ((gate.left, theirs[key].left), (gate.right, theirs[key].right)):
            assert Geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0])["s12"] < 0.01


def by_command(tmp_path, *commands: list[str]) -> Path:
    path = tmp_path / "command.geojson"
    shutil.copy(SAMPLE, path)
    for command in commands:
        words = [str(path) if word == "TRACK" else word for word in command]
        assert run(words) == 0
    return path
