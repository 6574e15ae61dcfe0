"""Libraries, which are folders of track files, and which known circuit a fix is at."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from trackkit.errors import TrackFileError, TrackkitError
from trackkit.geodesy import distance_to_polyline, geodesic_distance
from trackkit.recording import Recording
from trackkit.track import Track
from trackkit.trackfile import read_track

ENVIRONMENT_VARIABLE = "TRACKKIT_LIBRARY"
AT_WITHIN_M = 30.0
"""A fix this close to the centreline, or within the band, is at the circuit."""
DEFAULT_RADIUS_M = 5000.0
FIRST_FIXES = 10
"""A recording is located by the median of its first fixes, as many as these."""
_LONGEST_DEGREE_M = 111_700.0

Answer = Literal["at", "near", "none"]


@dataclass(frozen=True, eq=False)
class Entry:
    """One track of a library and the file it came from."""

    path: Path
    track: Track


@dataclass(frozen=True)
class Candidate:
    """A known circuit and how far its centreline is."""

    id: str
    name: str
    layout: str
    direction: str | None
    distance_m: float


@dataclass(frozen=True)
class Located:
    """Which known circuit a place is at.

    Parameters
    ----------
    answer
        "at" within the band or 30 m of a centreline, "near" within the radius asked for, or
        "none".
    candidates
        The nearest few tracks, nearest first, however far.
    tied
        Ids of the tracks between which a single fix cannot tell: all that it is at.
    """

    answer: Answer
    candidates: tuple[Candidate, ...]
    tied: tuple[str, ...]


def shipped_folder() -> Path:
    """Folder of the invented sample circuits that come with trackkit."""
    packaged = Path(__file__).parent / "tracks"
    return packaged if packaged.is_dir() else Path(__file__).parent.parent / "tracks"


def user_folder() -> Path:
    """Folder of the user's own track files, as the platform has it; it may not exist yet."""
    from platformdirs import user_data_path

    return user_data_path("trackkit", appauthor=False) / "tracks"


def folders(given: Sequence[str | os.PathLike[str]] = ()) -> list[Path]:
    """List the folders to search: those given, TRACKKIT_LIBRARY's, the user's, the shipped one.

    Raises
    ------
    TrackkitError
        When a folder given, or named by the environment variable, is none.
    """
    named = [Path(folder) for folder in given]
    from_environment = os.environ.get(ENVIRONMENT_VARIABLE, "")
    named += [Path(part) for part in from_environment.split(os.pathsep) if part]
    for folder in named:
        if not folder.is_dir():
            raise TrackkitError(
                "is no folder", file=folder, remedy="name a folder of track files as the library"
            )
    return [*named, *(f for f in (user_folder(), shipped_folder()) if f.is_dir())]


def read_library(paths: Iterable[Path]) -> tuple[list[Entry], list[str]]:
    """Read every track file (``*.geojson``) in some folders.

    Returns
    -------
    entries, warnings
        Of two tracks with one id the first found counts.  A file that cannot be read is left out
        with a warning.
    """
    entries: dict[str, Entry] = {}
    warnings: list[str] = []
    for folder in paths:
        for path in sorted(folder.glob("*.geojson")):
            try:
                track = read_track(path, validate=False)
            except TrackFileError as error:
                warnings.append(f"{error} (left out)")
                continue
            entries.setdefault(track.id, Entry(path, track))
    return list(entries.values()), warnings


def locate(
    entries: Sequence[Entry],
    longitude_deg: float,
    latitude_deg: float,
    *,
    radius_m: float = DEFAULT_RADIUS_M,
    most: int = 3,
) -> Located:
    """Find the known circuits nearest to a position.

    Distances are geodesic, to the nearest point of each centreline.  Tracks are first ranked by
    a lower bound, the distance to one vertex less how far the line can reach from it, so that only
    those that can be among the nearest are measured in full.

    Parameters
    ----------
    entries
        From `read_library`.
    longitude_deg, latitude_deg
        The position.
    radius_m
        Within this of the nearest centreline the answer is "near".
    most
        How many candidates to name; every tied track is named in any case.
    """
    if not entries:
        return Located("none", (), ())
    first = np.array(
        [(e.track.centreline.longitude_deg[0], e.track.centreline.latitude_deg[0]) for e in entries]
    )
    reach = np.array([_reach_m(e.track) for e in entries])
    bound = geodesic_distance(longitude_deg, latitude_deg, first[:, 0], first[:, 1]) - reach
    measured: list[tuple[float, Entry]] = []
    for index in np.argsort(bound, kind="stable").tolist():
        if len(measured) >= most:
            worst = sorted(d for d, _ in measured)[most - 1]
            if bound[index] > max(worst, AT_WITHIN_M):
                break
        line = entries[index].track.centreline
        distance = distance_to_polyline(
            longitude_deg, latitude_deg, line.longitude_deg, line.latitude_deg
        )
        measured.append((distance, entries[index]))
    measured.sort(key=lambda pair: (pair[0], pair[1].track.id))
    at = [e.track.id for d, e in measured if d <= max(AT_WITHIN_M, 0.5 * e.track.band_m)]
    answer: Answer = "at" if at else "near" if measured[0][0] <= radius_m else "none"
    named = measured[: max(most, len(at))]
    return Located(
        answer,
        tuple(
            Candidate(e.track.id, e.track.name, e.track.layout, e.track.direction, d)
            for d, e in named
        ),
        tuple(at) if len(at) > 1 else (),
    )


def _reach_m(track: Track) -> float:
    """How far a line can be from any of its vertices: along a meridian, then along a parallel.

    From the positions themselves, since a file may declare any length.
    """
    line = track.centreline
    widest = float(np.cos(np.radians(line.latitude_deg)).max())
    return _LONGEST_DEGREE_M * float(
        np.ptp(line.latitude_deg) + widest * np.ptp(line.longitude_deg)
    )


def first_position(recording: Recording) -> tuple[float, float]:
    """Median longitude and latitude, degrees, of a recording's first fixes."""
    return (
        float(np.median(recording.longitude_deg[:FIRST_FIXES])),
        float(np.median(recording.latitude_deg[:FIRST_FIXES])),
    )
