"""Which gates of a track are timed, and in which order."""

from __future__ import annotations

from trackkit.track.features import Gate
from trackkit.track.model import Track


def crossed_gates(track: Track) -> list[Gate]:
    """List the gates that laps are told by, and those that tell a speed."""
    pit_gates = track.gates_of_kind("pit-entry", "pit-exit")
    return [*timed_gates(track), *pit_gates, *track.gates_of_kind("speed")]


def timed_gates(track: Track) -> list[Gate]:
    """Gates in the order a lap crosses them, beginning with the one it begins at.

    A point-to-point course ends with its finish gate; on a closed track the lap ends where it
    began.
    """
    sectors = track.gates_of_kind("sector")
    if track.closed:
        return [track.finish, *sectors]
    return [track.timed_from, *sectors, track.finish]
