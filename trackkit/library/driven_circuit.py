"""The track file of the circuit that a drive was located at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from trackkit.library.folders import Library
from trackkit.library.known import Candidate, Located
from trackkit.track.file import read_track
from trackkit.track.model import Track
from trackkit.track.reverse import reverse_track


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


def settled(located: Located) -> Candidate | None:
    """Take the circuit that a drive was located at.

    Returns
    -------
    Candidate or None
        None where it is on no known circuit, or still open between several.
    """
    if located.answer == "at" and not located.tied and (located.unknown or 0.0) < 0.5:
        return located.candidates[0]
    return None


def tracks_driven(library: Library) -> Callable[[Candidate], Found | None]:
    """Make what reads the track of one candidate after another, each track file once.

    It gives None where a candidate is no longer in the library.
    """
    read: dict[tuple[str, bool], Found] = {}

    def track_driven(candidate: Candidate) -> Found | None:
        circuit = library.find(candidate.id)
        if circuit is None:
            return None
        key = str(circuit.path), candidate.reversed
        if key not in read:
            track = read_track(circuit.path)
            if candidate.reversed:
                track, _ = reverse_track(track)
            read[key] = Found(track, *key)
        return read[key]

    return track_driven
