"""Circuits whose line an archive's recordings would better, since it was made from fewer laps."""

from __future__ import annotations

import os
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from trackkit.archive.address import archive_address
from trackkit.archive.columns import DRIVES, KEY, LAPS, RECORDINGS, SESSIONS
from trackkit.archive.store import rows_of
from trackkit.library.folders import folders, open_library, shipped_folder
from trackkit.library.known import origin_of
from trackkit.track.file import read_track
from trackkit.track.model import Track
from trackkit.track.title import title_of

FEWEST_LAPS = 3
"""Fewer laps than these tell little of a line."""
MOST_RECORDINGS = 12
"""So many are offered at most, those with most laps: more of them hardly move a line."""


@dataclass(frozen=True)
class BetterLine:
    """A track whose line recordings of an archive would better.

    Parameters
    ----------
    track
        Its file.
    title
        Of circuit and layout.
    made_from
        From how many laps its line was made; 0 where it was drawn.
    laps
        How many laps that count the recordings hold.
    recordings
        Files that it was not made from, those with most laps first.
    """

    track: str
    title: str
    made_from: int
    laps: int
    recordings: tuple[str, ...]


def better_lines(
    at: str | os.PathLike[str] | None,
    library: Sequence[str | os.PathLike[str]],
    since: datetime,
) -> list[BetterLine]:
    """List tracks that the archive holds more laps of than their line was made from.

    Laps are those that count, of recordings that the line was not made from; a line that was
    surveyed is left alone, and so are the circuits that come with trackkit.

    Parameters
    ----------
    at
        Where the archive lies, as `trackkit.add_to_archive` takes it.
    library
        Folders of track files to search before the others.
    since
        Only tracks of which a recording was added since then.

    Returns
    -------
    list of BetterLine
        In the order of their ids.
    """
    archive = archive_address(at)
    rows = rows_of(archive, RECORDINGS, (KEY, "state", "track", "file", "geometry", "added"))
    timed = {row[KEY]: row for row in rows.to_pylist() if row["state"] == "timed"}
    tracks = {row["track"] for row in timed.values() if row["added"] >= since}
    if not tracks:
        return []
    usable = _usable(archive, {each for each in timed if timed[each]["track"] in tracks})
    laps = _laps(archive, timed, usable)
    by_track: defaultdict[str, list[str]] = defaultdict(list)
    for recording in sorted(laps, key=lambda each: (-laps[each], timed[each]["file"])):
        by_track[timed[recording]["track"]].append(recording)
    opened = open_library(folders(list(library)))
    listed = []
    for track_id in sorted(by_track):
        circuit = opened.find(track_id)
        if circuit is None or Path(circuit.path).parent == shipped_folder():
            continue
        track = read_track(circuit.path)
        used = {source.get("sha256") for source in track.sources}
        others = [
            recording
            for recording in by_track[track_id]
            if recording not in used and Path(timed[recording]["file"]).is_file()
        ][:MOST_RECORDINGS]
        count = sum(laps[recording] for recording in others)
        if origin_of(track) != "surveyed" and count >= FEWEST_LAPS and count > _made_from(track):
            listed.append(
                BetterLine(
                    str(circuit.path),
                    title_of(track.name, track.layout),
                    _made_from(track),
                    count,
                    tuple(timed[recording]["file"] for recording in others),
                )
            )
    return listed


def _usable(archive: str, recordings: set[str]) -> set[str]:
    """Leave out what was driven against the track's direction, and CSV whose columns were named."""
    turned = rows_of(archive, SESSIONS, (KEY, "reversed")).to_pylist()
    kept = rows_of(archive, DRIVES, (KEY, "csv_columns")).to_pylist()
    return (
        recordings
        - {row[KEY] for row in turned if row["reversed"]}
        - {row[KEY] for row in kept if row["csv_columns"] is not None}
    )


def _laps(archive: str, timed: Mapping[str, Mapping[str, Any]], usable: set[str]) -> Counter[str]:
    laps = rows_of(archive, LAPS, (KEY, "geometry", "counts"))
    columns = (laps[name].to_pylist() for name in (KEY, "geometry", "counts"))
    return Counter(
        recording
        for recording, geometry, counts in zip(*columns, strict=True)
        if counts and recording in usable and geometry == timed[recording]["geometry"]
    )


def _made_from(track: Track) -> int:
    return sum(int(source.get("laps") or 0) for source in track.sources)
