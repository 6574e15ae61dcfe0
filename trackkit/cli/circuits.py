"""Which circuit is meant: a track file, an id of the library, or the one that recordings tell."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trackkit.cli.common import remark
from trackkit.cli.ids import known_path
from trackkit.cli.located_text import open_between, title
from trackkit.errors import TrackkitError
from trackkit.track.recognise import is_track

if TYPE_CHECKING:
    from trackkit.library.driven_circuit import Found
    from trackkit.library.folders import Library
    from trackkit.library.known import Candidate, Located
    from trackkit.recordings.recording import Recording

_NAMED_WITHIN_M = 50_000.0
"""A circuit farther away is no help to somebody whose own is not known."""


class NoCircuitError(TrackkitError):
    """A recording was driven on no circuit that is known, or on one of several that are."""


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
    opened: list[tuple[Library, Callable[[Candidate], Found | None]]] = []
    turned: set[str] = set()

    def find(recording: Recording) -> Found:
        from trackkit import locate, open_library
        from trackkit.library.driven_circuit import tracks_driven

        if not opened:
            library = open_library(say=remark)
            opened.append((library, tracks_driven(library)))
        library, track_driven = opened[0]
        circuit = track_driven(_settled(locate(recording, library), recording.name))
        if circuit is None:
            raise NoCircuitError("its circuit is no longer in the libraries", file=recording.name)
        if circuit.reversed and circuit.path not in turned:
            turned.add(circuit.path)
            remark(
                f"{recording.name}: driven against the racing direction of {circuit.track.title}, "
                "and timed so"
            )
        return circuit

    return find


def _settled(located: Located, name: str) -> Candidate:
    """Take the circuit that a drive was located at.

    Raises
    ------
    NoCircuitError
        When it is on no known circuit, or not settled between layouts.
    """
    from trackkit.library.driven_circuit import settled

    candidate = settled(located)
    if candidate is not None:
        return candidate
    if located.answer == "at" and located.tied:
        among = [candidate for candidate in located.candidates if candidate.id in located.tied]
        raise NoCircuitError(
            f"is at {among[0].name}, {open_between(among, located.part_at_m)}",
            file=name,
            remedy=f"name the one that was driven: {_command()}{among[0].id} {name}",
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


def _command() -> str:
    """Write how the command that is run begins; nothing in a process that runs no command."""
    context = click.get_current_context(silent=True)
    names: list[str] = []
    while context is not None and context.parent is not None:
        names.insert(0, context.info_name or "")
        context = context.parent
    return "".join(f"{name} " for name in ("trackkit", *names)) if names else ""
