"""One recording, read, located and timed: rows for the tables of an archive."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache, lru_cache
from importlib.metadata import version
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from trackkit.archive.columns import DRIVES, KEY, RECORDINGS
from trackkit.archive.rows import Described, table_of_rows
from trackkit.archive.surroundings import circuits_around, gate_names
from trackkit.archive.timed_rows import timed_rows
from trackkit.errors import RecordingError, TrackkitError, UnforeseenError
from trackkit.library.driven_circuit import Found, settled, tracks_driven
from trackkit.library.folders import Library, open_library
from trackkit.library.known import Candidate, Located
from trackkit.library.locate import locate
from trackkit.recordings.detect import is_surely_recording
from trackkit.recordings.read import read_recording
from trackkit.timing.kept_timing import timing_row
from trackkit.timing.lap_times import TimedRecording, held_together
from trackkit.timing.rules import USUAL_RULES, LapRules
from trackkit.track.digest import geometry_digest
from trackkit.track.model import Track

if TYPE_CHECKING:
    import pyarrow as pa

    from trackkit.recordings.recording import Recording
    from trackkit.timing.report import LapReport

State = Literal["timed", "unplaced", "unusable", "other"]
"""A recording was timed, lies on no known circuit or on one of several, cannot be used, or is a
file of a folder and no recording."""
_FAR_M = 50_000.0
"""A circuit farther away is no help to somebody whose own is not known."""


@dataclass(frozen=True)
class Item:
    """A file to be timed.

    Parameters
    ----------
    recording
        SHA-256 of its content.
    path
        Absolute.
    size_bytes, modified_s
        Its size, and when it was last changed, seconds since 1970.
    in_folder
        Whether it was found in a folder rather than named.
    described
        Who drove, and what else people say of it.
    """

    recording: str
    path: str
    size_bytes: int
    modified_s: float
    in_folder: bool = False
    described: Described = field(default_factory=Described)


@dataclass(frozen=True)
class Job:
    """What is done with each file.

    Parameters
    ----------
    libraries
        Folders of track files, in the order they are searched.
    library
        Digest of the circuits that are known.
    columns
        Of CSV recordings.
    rules
        What parts sessions, and which laps count.
    antenna_ahead_m
        How far the antenna is ahead of the nose.
    traces
        Whether traces are wanted.
    """

    libraries: tuple[str, ...]
    library: str
    columns: Mapping[str, str] | None = None
    rules: LapRules = USUAL_RULES
    antenna_ahead_m: float = 0.0
    traces: bool = False


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of one file.

    Parameters
    ----------
    item
        The file.
    row
        Of the table of recordings.
    tables
        Rows of the other tables, by their names.
    """

    item: Item
    row: dict[str, Any]
    tables: dict[str, pa.Table] = field(default_factory=dict)

    @property
    def state(self) -> State:
        """What it is."""
        state: State = self.row["state"]
        return state


def time_file(item: Item, job: Job) -> Outcome:
    """Read, locate and time one file; whatever is wrong with it is told in its row."""
    try:
        return _timed(item, job)
    except TrackkitError as error:
        return failed(item, job, "unusable", error.fault)
    except Exception as error:  # noqa: BLE001 - what nobody foresaw in one file is told of it
        return failed(item, job, "unusable", UnforeseenError(error, item.path).fault)


def failed(item: Item, job: Job, state: State, reason: str) -> Outcome:
    """Make the row of a file that was not timed."""
    return Outcome(item, _row(item, job, state=state, reason=_without_path(reason, item.path)))


def _without_path(reason: str, path: str) -> str:
    """Leave the file's name out of what is said about it: it stands beside that."""
    return reason.removeprefix(f"{path}: ").removeprefix(f"{path}, ")


def _timed(item: Item, job: Job) -> Outcome:
    try:
        recording = read_recording(item.path, columns=job.columns)
    except RecordingError as error:
        other = item.in_folder and not is_surely_recording(item.path)
        return failed(item, job, "other" if other else "unusable", error.fault)
    found, reason = circuit_driven(recording, job)
    facts = _facts(recording)
    if found is None:
        return Outcome(item, _row(item, job, state="unplaced", reason=reason, **facts))
    timed = TimedRecording.smoothed(recording, found.track.plane, job.antenna_ahead_m)
    # Which laps are the best, and elapsed times, are many sums over few crossings.
    report = held_together(timed.report(found.track, rules=job.rules))
    about = timed_facts(found, facts["longitude_deg"], facts["latitude_deg"], job)
    same = {name: about[name] for name in ("track", "geometry")} | {KEY: item.recording}
    tables = timed_rows(found, report, same, item.described, traces=job.traces)
    tables["drives"] = table_of_rows(
        DRIVES,
        [
            timing_row(timed, found.track, job.rules)
            | same
            | {
                "begun": recording.start,
                "csv_columns": None if job.columns is None else json.dumps(dict(job.columns)),
                "traces": job.traces,
            }
        ],
    )
    facts |= _levels(report) | about
    return Outcome(item, _row(item, job, state="timed", **facts), tables)


_Opened = tuple[Library, Callable[[Candidate], Found | None], Callable[[float, float], str]]


@lru_cache(maxsize=2)
def _opened(libraries: tuple[str, ...], _digest: str) -> _Opened:
    """Remember, in a process that works on many files, what was opened and read of libraries.

    Workers of a cluster live on after a gate was moved: the digest tells that.
    """
    library = open_library(libraries)
    return library, tracks_driven(library), circuits_around(library)


def circuit_driven(recording: Recording, job: Job) -> tuple[Found | None, str]:
    """Locate a recording in libraries: its circuit, or why it is on none."""
    library, track_driven, _ = _opened(job.libraries, job.library)
    located = locate(recording, library)
    candidate = settled(located)
    if candidate is None:
        return None, _unsettled(located)
    found = track_driven(candidate)
    return found, "" if found is not None else "its circuit is no longer in the libraries"


def timed_facts(
    found: Found, longitude_deg: float, latitude_deg: float, job: Job
) -> dict[str, str]:
    """Tell over what a recording that begins at a place was timed."""
    around = _opened(job.libraries, job.library)[2]
    return {
        "track": found.track.id,
        "geometry": _digests(found.track)[0],
        "circuits_around": around(longitude_deg, latitude_deg),
        "gate_names": _digests(found.track)[1],
    }


@lru_cache(maxsize=64)
def _digests(track: Track) -> tuple[str, str]:
    """Digest the geometry and the names of gates of a track that many recordings are of."""
    return geometry_digest(track), gate_names(track)


def _unsettled(located: Located) -> str:
    if located.answer == "at" and located.tied:
        return f"still open between {' and '.join(located.tied)}"
    nearest = min(located.candidates, key=lambda near: near.distance_m, default=None)
    if nearest is None or nearest.distance_m > _FAR_M:
        return "driven on no known circuit"
    return (
        f"driven on no known circuit; the nearest is {nearest.id}, "
        f"{nearest.distance_m / 1000.0:.1f} km away"
    )


def _facts(recording: Recording) -> dict[str, Any]:
    """Tell what the receiver wrote."""
    accuracy = recording.accuracy_m
    known = accuracy is not None and bool(np.isfinite(accuracy).any())
    interval_s = recording.interval_s
    return {
        "begun": recording.start,
        "duration_s": recording.duration_s,
        "interval_s": interval_s if np.isfinite(interval_s) else None,
        "fixes": len(recording),
        "fixes_left_out": sum(recording.removed.values()),
        "has_speed": recording.speed_mps is not None,
        "has_course": recording.course_deg is not None,
        "accuracy_m": float(np.nanmedian(accuracy)) if known and accuracy is not None else None,
        "longitude_deg": float((recording.longitude_deg[0] + 180.0) % 360.0 - 180.0),
        "latitude_deg": float(recording.latitude_deg[0]),
        "remarks": "; ".join(recording.remarks),
    }


def _levels(report: LapReport) -> dict[str, float]:
    levels = report.drive.levels
    return {
        "white_m": levels.white_m,
        "wander_m": levels.wander_m,
        "wander_time_s": levels.wander_time_s,
        "doppler_mps": levels.doppler_mps,
        "slow_doppler_mps": levels.slow_doppler_mps,
        "slow_doppler_time_s": levels.slow_doppler_time_s,
        "jerk_m2ps5": levels.jerk,
    }


@cache
def own_version() -> str:
    """Tell the version of trackkit, whose metadata take long to read."""
    return version("trackkit")


def _row(item: Item, job: Job, **values: Any) -> dict[str, Any]:
    row: dict[str, Any] = dict.fromkeys(RECORDINGS.names)
    return row | {
        KEY: item.recording,
        "file": item.path,
        "size_bytes": item.size_bytes,
        "modified": datetime.fromtimestamp(item.modified_s, UTC),
        "added": datetime.now(UTC),
        "version": own_version(),
        "library": job.library,
        **values,
    }
