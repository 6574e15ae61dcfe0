"""Which circuit is meant: a track file, an id of the library, or the one that recordings tell."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from trackkit.cli.common import remark
from trackkit.cli.ids import known_path
from trackkit.cli.located_text import open_between, title
from trackkit.errors import TrackkitError

if TYPE_CHECKING:
    from trackkit.library.folders import Library
    from trackkit.library.known import Located
    from trackkit.recordings.recording import Recording
    from trackkit.track.model import Track

_NAMED_WITHIN_M = 50_000.0
"""A circuit farther away is no help to somebody whose own is not known."""
_TRACK_MEMBER = re.compile(rb'"track"\s*:\s*\{')
_MOST_BYTES = 1 << 26


class NoCircuitError(TrackkitError):
    """A recording was driven on no circuit that is known, or on one of several that are."""


@dataclass(frozen=True, eq=False)
class Found:
    """A circuit and the file it is in.

    Parameters
    ----------
    track
        Turned round where it was driven against the racing direction of its file.
    path
        Its track file.
    reversed
        Whether it was turned round.
    """

    track: Track
    path: str
    reversed: bool = False


def is_track(path: str) -> bool:
    """Tell whether a file is GeoJSON with a ``track`` member, though perhaps a broken one."""
    try:
        with Path(path).open("rb") as file:
            if not file.read(256).lstrip(b"\xef\xbb\xbf \t\r\n").startswith(b"{"):
                return False
            file.seek(0)
            data = file.read(_MOST_BYTES)
    except OSError:
        return False
    if not _TRACK_MEMBER.search(data):
        return False
    try:
        return isinstance(json.loads(data).get("track"), dict)
    except ValueError:
        return True


def track_and_recordings(words: Sequence[str]) -> tuple[str | None, list[str]]:
    """Tell a track, which comes first, from the recordings and folders after it.

    What exists is that file or folder; what does not is an id of the library.

    Returns
    -------
    track, recordings
        The track file, or None where the circuit has to be located.

    Raises
    ------
    TrackkitError
        When the first word is neither a file nor an id.
    """
    first, *others = words
    if not Path(first).exists():
        return known_path(first) or first, others
    if Path(first).is_file() and is_track(first):
        return first, others
    return None, list(words)


def finder() -> Callable[[Recording], Found]:
    """Make what finds the circuit of one recording after another.

    The libraries are opened once, and each track file read once.
    """
    opened: list[Library] = []
    read: dict[tuple[str, bool], Found] = {}

    def find(recording: Recording) -> Found:
        from trackkit import locate, open_library, read_track, reverse_track

        if not opened:
            opened.append(open_library(say=remark))
        located = locate(recording, opened[0])
        name = _settled(located, recording.name)
        first = located.candidates[0]
        circuit = opened[0].find(name)
        if circuit is None:
            raise NoCircuitError("its circuit is no longer in the libraries", file=recording.name)
        key = str(circuit.path), first.reversed
        if key not in read:
            track = read_track(circuit.path)
            if first.reversed:
                remark(
                    f"{recording.name}: driven against the racing direction of {track.title}, "
                    "and timed so"
                )
                track, _ = reverse_track(track)
            read[key] = Found(track, *key)
        return read[key]

    return find


def _settled(located: Located, name: str) -> str:
    """Take the id that a drive was located at.

    Raises
    ------
    NoCircuitError
        When it is on no known circuit, or not settled between layouts.
    """
    if located.answer == "at" and not located.tied and (located.unknown or 0.0) < 0.5:
        return located.candidates[0].id
    if located.answer == "at" and located.tied:
        among = [candidate for candidate in located.candidates if candidate.id in located.tied]
        raise NoCircuitError(
            f"is at {among[0].name}, {open_between(among, located.part_at_m)}",
            file=name,
            remedy=f"name the one that was driven: trackkit laps {among[0].id} {name}",
        )
    nearest = min(located.candidates, key=lambda near: near.distance_m, default=None)
    far = ""
    if nearest is not None and nearest.distance_m <= _NAMED_WITHIN_M:
        far = f"; the nearest is {title(nearest)}, {nearest.distance_m / 1000.0:.1f} km away"
    raise NoCircuitError(
        f"was driven on no known circuit{far}",
        file=name,
        remedy=f"trackkit build {name} --name NAME makes a track file of it",
    )
