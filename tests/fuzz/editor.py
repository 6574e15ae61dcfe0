"""What a page asks of the editor, sound and not, and what the editor must make of it."""

from __future__ import annotations

import json
from pathlib import Path
from random import Random
from typing import Any

from trackkit.editor.desk import Desk
from trackkit.errors import TrackkitError
from trackkit.recordings.read import read_recording
from trackkit.track.file import read_track
from trackkit.track.model import Track

MOST_EDITS = 6
_KINDS = ("sector", "finish", "start", "speed", "pit-entry", "pit-exit", "", "gate", None)
_KEYS = ("name", "layout", "country", "timezone", "licence", "valid-from", "corner:1", "corner:99")
_TEXTS = (
    *("", "A", "Zwölf", "x" * 300, "DE", "Etc/UTC", "2026-02-30", "2026-05-01"),
    *("\x1b[2J", "\u2028"),
)
_ODD: tuple[Any, ...] = (
    None,
    "",
    "12",
    True,
    [],
    {},
    -1,
    1e300,
    float("nan"),
    10**400,
    [1],
    "\x00",
)


def edit_on_page(path: Path, recording: Path | None, rng: Random) -> str:
    """Open a track file as the page does, edit it, save it, and read it again.

    Raises
    ------
    AssertionError
        When what was saved is not what was shown.
    """
    recordings = () if recording is None else (read_recording(recording),)
    desk = Desk(str(path), recordings, [str(path) for _ in recordings])
    _shown(desk)
    made = 0
    for _ in range(rng.randint(1, MOST_EDITS)):
        before = desk.editing.step
        try:
            desk.editing.apply(request_for(desk.editing.step.track, rng), rng.choice("ab"))
            made += 1
        except TrackkitError:
            assert desk.editing.step is before, "a refused edit changed something"
    _shown(desk)
    desk.save()
    saved, shown = read_track(path), desk.editing.step.track
    assert [gate.id for gate in saved.gates] == [gate.id for gate in shown.gates], "gates differ"
    assert saved.name == shown.name, "names differ"
    return "edited" if made else "opened"


def request_for(track: Track, rng: Random) -> dict[str, Any]:
    """Make up one edit; one in five has a member of the wrong kind."""
    gates = [gate.id for gate in track.gates] or [""]
    longitude, latitude = track.centreline.longitude_deg, track.centreline.latitude_deg
    at = rng.randrange(len(longitude))
    near = [float(longitude[at]) + rng.gauss(0, 2e-4), float(latitude[at]) + rng.gauss(0, 2e-4)]
    place = rng.uniform(-0.5, 1.5) * track.length_m
    request = rng.choice(
        (
            {"do": "place", "kind": rng.choice(_KINDS), "at_m": place},
            {"do": "place", "kind": "sector", "at": near, "name": rng.choice(_TEXTS)},
            {"do": "move", "gate": rng.choice(gates), "to_m": place, "merge": rng.choice("pq")},
            {"do": "move", "gate": rng.choice(gates), "at": near, "datum_m": place},
            {"do": "move", "gate": rng.choice(gates), "left": near, "right": near[::-1]},
            {"do": "width", "gate": rng.choice(gates), "width_m": rng.uniform(-5.0, 90.0)},
            {"do": "rename", "gate": rng.choice(gates), "name": rng.choice(_TEXTS)},
            {"do": "remove", "gate": rng.choice(gates)},
            {"do": "set", "key": rng.choice(_KEYS), "value": rng.choice(_TEXTS)},
            {"do": "undo"},
            {"do": "redo"},
        )
    )
    if rng.random() < 0.2:
        request[rng.choice(sorted(request))] = rng.choice(_ODD)
    return request


def _shown(desk: Desk) -> None:
    """Make what the page is given, which is JSON without what JSON has not."""
    json.dumps([desk.base(), desk.state()], allow_nan=False)
