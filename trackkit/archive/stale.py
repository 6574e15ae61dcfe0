"""Recordings of an archive that would not be timed as they were, since circuits have changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from trackkit.archive.columns import KEY, SESSIONS
from trackkit.archive.rows import DESCRIBED, Described
from trackkit.archive.settings import Settings
from trackkit.archive.store import rows_of
from trackkit.archive.surroundings import circuits_around, gate_names
from trackkit.library.folders import Library
from trackkit.track.digest import geometry_digest
from trackkit.track.file import read_track
from trackkit.track.model import Track
from trackkit.track.reverse import reverse_track


@dataclass(frozen=True)
class Stale:
    """A recording whose laps are to be timed again.

    Parameters
    ----------
    recording
        Its SHA-256.
    row
        Of the table of recordings, as it was.
    described
        Who drove, and what else people say of it.
    path, reversed
        The track file, and whether it was driven the other way; None where it has to be located
        again.
    settings
        How it was timed.
    """

    recording: str
    row: Mapping[str, Any]
    described: Described
    path: str | None = None
    reversed: bool = False
    settings: Settings | None = None


def sessions_said(archive: str) -> dict[str, Mapping[str, Any]]:
    """Read what is said of each recording, and whether its track was turned round."""
    rows = rows_of(archive, SESSIONS, (KEY, *DESCRIBED, "reversed")).to_pylist()
    return {row[KEY]: row for row in rows}


def stale_recordings(
    library: Library,
    digest: str,
    rows: Mapping[str, Mapping[str, Any]],
    sessions: Mapping[str, Mapping[str, Any]],
) -> dict[str, Stale]:
    """Find the recordings that would not be timed as they were."""
    around = circuits_around(library)
    tracks: dict[tuple[str, bool], tuple[str, str, str] | None] = {}

    def track_now(track_id: str, *, turned: bool) -> tuple[str, str, str] | None:
        key = track_id, turned
        if key not in tracks:
            circuit = library.find(track_id)
            if circuit is None:
                tracks[key] = None
            else:
                track = track_of(str(circuit.path), turned, digest)
                tracks[key] = str(circuit.path), geometry_digest(track), gate_names(track)
        return tracks[key]

    concerned = {}
    for recording, row in rows.items():
        session = sessions.get(recording, {})
        turned = bool(session.get("reversed"))
        now = track_now(row["track"], turned=turned)
        located = row["circuits_around"] == around(row["longitude_deg"], row["latitude_deg"])
        if located and now is not None and now[1:] == (row["geometry"], row["gate_names"]):
            continue
        described = Described.of_row(session)
        path = now[0] if located and now is not None else None
        concerned[recording] = Stale(recording, row, described, path, turned)
    return concerned


@lru_cache(maxsize=64)
def track_of(path: str, turned: bool, _digest: str) -> Track:
    """Read a track once for a state of the libraries, whose indexes have read it before."""
    track = read_track(path, validate=False)
    return reverse_track(track)[0] if turned else track
