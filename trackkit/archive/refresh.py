"""Laps of an archive timed again where gates were moved, or layouts and lines revised."""

from __future__ import annotations

import os
import reprlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache, partial
from importlib.metadata import version
from typing import Any

from trackkit.archive.add import Progress, Reason, library_digest
from trackkit.archive.address import archive_address
from trackkit.archive.columns import KEY, RECORDINGS, SESSIONS
from trackkit.archive.driven_twice import count_once
from trackkit.archive.drives import KeptRows, kept_rows, read_kept
from trackkit.archive.engines import engine
from trackkit.archive.hold import held_with_others
from trackkit.archive.rows import DESCRIBED, Described
from trackkit.archive.settings import Settings, settings_of
from trackkit.archive.spread import MOST_DEATHS, spread
from trackkit.archive.store import known_recordings, put_together, rows_of
from trackkit.archive.surroundings import circuits_around, gate_names
from trackkit.archive.timed_rows import timed_rows
from trackkit.archive.work import Item, Job, Outcome, circuit_driven, time_file, timed_facts
from trackkit.archive.write import writing
from trackkit.errors import TrackkitError
from trackkit.files import sha256_of
from trackkit.library.driven_circuit import Found
from trackkit.library.folders import Library, folders, open_library
from trackkit.motion.kept_drive import drive_of_row
from trackkit.timing.kept_timing import report_of_row
from trackkit.track.digest import geometry_digest
from trackkit.track.file import read_track
from trackkit.track.model import Track
from trackkit.track.reverse import reverse_track
from trackkit.words import counted

_STAY = "its laps stay as they were"


@dataclass(frozen=True)
class _Stale:
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


_Answer = tuple[str, Outcome | str | None]
"""A recording; and what came of it, why it could not be timed, or None where its file is needed."""


@dataclass(frozen=True)
class ArchiveRefresh:
    """What came of timing an archive's laps again.

    Parameters
    ----------
    at
        Where the archive lies.
    current
        How many recordings' laps were as a fresh look would time them.
    from_drives, from_recordings
        How many recordings were timed again from the drives that were kept, and from their files.
    laps
        How many laps those have.
    left
        Recordings that would have to be timed again and could not; their laps stay as they were.
    warnings
        Sentences about the libraries.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.ArchiveRefresh("season", current=3, from_drives=2, laps=41)
    ArchiveRefresh('season', 2 recordings timed again, 3 as they were)
    """

    at: str
    current: int = 0
    from_drives: int = 0
    from_recordings: int = 0
    laps: int = 0
    left: tuple[Reason, ...] = ()
    warnings: tuple[str, ...] = ()

    def __repr__(self) -> str:
        again = counted(range(self.from_drives + self.from_recordings), "recording")
        return (
            f"ArchiveRefresh({reprlib.repr(self.at)}, {again} timed again, "
            f"{self.current:,} as they were)"
        )

    def as_row(self) -> dict[str, Any]:
        """Return it as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "archive": self.at,
            "current": self.current,
            "from_drives": self.from_drives,
            "from_recordings": self.from_recordings,
            "laps": self.laps,
            "left": [{"file": each.file, "text": each.text} for each in self.left],
        }


def refresh_archive(
    at: str | os.PathLike[str] | None = None,
    *,
    library: Iterable[str | os.PathLike[str]] = (),
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> ArchiveRefresh:
    """Time the laps of an archive again that a moved gate or a revised layout or line concerns.

    The archive knows over which geometry each recording was timed.  Where gates alone have moved,
    laps are timed again from the smoothed drives that it keeps; where the line has changed, from
    the recordings, if they lie where they lay and are the same.  Results are written as they are
    done, so that the same again goes on where it was stopped.

    Parameters
    ----------
    at
        A folder, or the address of an object store; None for what ``TRACKKIT_ARCHIVE`` names, or
        the user's own.
    library
        Folders of track files to search before the others: those that recordings were added with.
    workers
        How many processes of this machine work; as many as it has cores when None.
    scheduler
        Address of a scheduler of dask.distributed whose workers see the archive, the recordings
        and the libraries under the same paths and have trackkit installed.
    progress
        Called with how many of those recordings are done and how many there are.

    Returns
    -------
    ArchiveRefresh
        How many were timed again, and which could not be.

    Raises
    ------
    TrackkitError
        When the extra ``archive`` is not installed, there is no archive, or it or a library cannot
        be opened, or the scheduler does not answer.
    OutputError
        When the archive cannot be written, or recordings are being forgotten in it.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.refresh_archive("season")
    Traceback (most recent call last):
    trackkit.errors.TrackkitError: ...season: there is no archive with laps; name another place...
    """
    archive = archive_address(at)
    for name in ("pyarrow", "deltalake", "dask"):
        engine(name)
    searched = folders(list(library))
    opened_library = open_library(searched)
    libraries = tuple(str(folder.absolute()) for folder in searched)
    job = Job(libraries, library_digest(searched))
    # What is read here must not be forgotten before it is written again.
    with held_with_others(archive):
        rows = {
            recording: row
            for recording, row in known_recordings(archive, RECORDINGS.names[1:]).items()
            if row["state"] == "timed"
        }
        if not rows:
            raise TrackkitError(
                "there is no archive with laps",
                file=archive,
                remedy="name another place, or add recordings first",
            )
        concerned = _concerned(opened_library, job.library, rows, _sessions(archive))
        again = _Again(len(concerned), progress, {each: rows[each]["file"] for each in concerned})
        if concerned:
            with writing(archive) as write:
                again.write = write
                _time_again(archive, concerned, again, partial(_spread, job, workers, scheduler))
        # Also where nothing is left to be timed: the one before may have been killed just here.
        count_once(archive)
        if concerned:
            put_together(archive)
    return ArchiveRefresh(
        archive,
        len(rows) - len(concerned),
        again.from_drives,
        again.from_recordings,
        again.laps,
        tuple(again.left),
        (*opened_library.warnings, *again.warnings()),
    )


def _spread(
    job: Job,
    workers: int | None,
    scheduler: str | None,
    work: Callable[..., Any],
    items: Sequence[Any],
    done: Callable[[Any], None],
) -> list[int]:
    """Spread work, and list the places of items whose processes died."""
    return spread(
        partial(work, job=job),
        items,
        lambda _, answer: done(answer),
        workers=workers,
        scheduler=scheduler,
    )


def _time_again(
    archive: str,
    concerned: Mapping[str, _Stale],
    again: _Again,
    spread_over: Callable[..., list[int]],
) -> None:
    """Time from kept drives what they serve for, and the rest from the recordings."""
    items = [
        (rows, {each: concerned[each] for each in rows.recordings})
        for rows in kept_rows(archive, concerned)
    ]
    for place in spread_over(_time_kept, items, again.kept):
        again.set_aside(items[place][1].values())
    unserved = [each for each in concerned.values() if each.recording not in again.finished]
    settings = settings_of(archive, [each.recording for each in unserved])
    again.unsettled = {each for each in settings if not settings[each].kept}
    files = [replace(each, settings=settings[each.recording]) for each in unserved]
    again.set_aside(files[place] for place in spread_over(_time_file, files, again.file))


@dataclass(eq=False)
class _Again:
    """What has been timed again so far."""

    count: int
    progress: Progress | None
    files: Mapping[str, str]
    write: Callable[[Outcome], None] = lambda _: None
    from_drives: int = 0
    from_recordings: int = 0
    laps: int = 0
    left: list[Reason] = field(default_factory=list)
    finished: set[str] = field(default_factory=set)
    unsettled: set[str] = field(default_factory=set)
    taken_as_usual: int = 0

    def warnings(self) -> list[str]:
        """Say what was not known of how recordings had been timed."""
        if not self.taken_as_usual:
            return []
        recordings = counted(range(self.taken_as_usual), "recording")
        warning = (
            f"how {recordings} had been timed was not kept by the older trackkit that added them: "
            "they are timed with the antenna at the nose now, and by the usual rules"
        )
        return [warning]

    def kept(self, answers: Sequence[_Answer]) -> None:
        """Take what came of some kept drives."""
        for recording, answer in answers:
            if answer is not None:
                self.from_drives += self._take(recording, answer)

    def file(self, answer: _Answer) -> None:
        """Take what came of a file."""
        recording, outcome = answer
        if outcome is not None:
            self.from_recordings += self._take(recording, outcome)
            self.taken_as_usual += recording in self.unsettled and isinstance(outcome, Outcome)

    def set_aside(self, stale: Iterable[_Stale]) -> None:
        """Leave those as they are whose process died."""
        for each in stale:
            self._take(
                each.recording, f"the process that worked on it died {MOST_DEATHS} times; {_STAY}"
            )

    def _take(self, recording: str, answer: Outcome | str) -> bool:
        self.finished.add(recording)
        if isinstance(answer, Outcome):
            self.write(answer)
            self.laps += answer.tables["laps"].num_rows
        else:
            self.left.append(Reason(self.files[recording], answer))
        if self.progress is not None:
            self.progress(len(self.finished), self.count)
        return isinstance(answer, Outcome)


def _sessions(archive: str) -> dict[str, Mapping[str, Any]]:
    """Read what is said of each recording, and whether its track was turned round."""
    rows = rows_of(archive, SESSIONS, (KEY, *DESCRIBED, "reversed")).to_pylist()
    return {row[KEY]: row for row in rows}


def _concerned(
    library: Library,
    digest: str,
    rows: Mapping[str, Mapping[str, Any]],
    sessions: Mapping[str, Mapping[str, Any]],
) -> dict[str, _Stale]:
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
                track = _track(str(circuit.path), turned, digest)
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
        concerned[recording] = _Stale(recording, row, described, path, turned)
    return concerned


@lru_cache(maxsize=64)
def _track(path: str, turned: bool, _digest: str) -> Track:
    """Read a track once for a state of the libraries."""
    track = read_track(path)
    return reverse_track(track)[0] if turned else track


def _time_kept(item: tuple[KeptRows, Mapping[str, _Stale]], job: Job) -> list[_Answer]:
    """Time kept drives again, as far as they serve."""
    rows_kept, concerned = item
    answers: list[_Answer] = []
    for recording, kept in read_kept(rows_kept):
        try:
            answer = _of_kept(concerned[recording], kept, job)
        except TrackkitError:
            # Its file may still do; else what is wrong with that is told.
            answer = None
        answers.append((recording, answer))
    return answers


def _of_kept(stale: _Stale, kept: Mapping[str, Any], job: Job) -> Outcome | str | None:
    row = stale.row
    # Heights, which traces have, are not kept.
    if kept["traces"]:
        return None
    if stale.path is None:
        drive = drive_of_row(kept, row["file"], row["begun"])
        found, reason = circuit_driven(drive.recording, job)
        if found is None:
            return f"{reason}; {_STAY}"
    else:
        track = _track(stale.path, stale.reversed, job.library)
        found = Found(track, stale.path, stale.reversed)
    report = report_of_row(kept, found.track, row["file"], row["begun"])
    if report is None:
        return None
    tables = timed_rows(found, report, stale.recording, stale.described, traces=False)
    facts = {
        "version": version("trackkit"),
        "library": job.library,
        **timed_facts(found, row["longitude_deg"], row["latitude_deg"], job),
    }
    return Outcome(_item(stale), {**row, KEY: stale.recording, **facts}, tables)


def _item(stale: _Stale) -> Item:
    row = stale.row
    return Item(
        stale.recording,
        row["file"],
        row["size_bytes"],
        row["modified"].timestamp(),
        described=stale.described,
    )


def _time_file(stale: _Stale, job: Job) -> _Answer:
    """Time a recording again as it would be added, if it is still the same."""
    path = stale.row["file"]
    try:
        same = sha256_of(path) == stale.recording
    except OSError:
        return stale.recording, f"cannot be read where it lay when it was added; {_STAY}"
    if not same:
        return stale.recording, f"is not the file any more that it was when it was added; {_STAY}"
    outcome = time_file(_item(stale), job if stale.settings is None else stale.settings.job(job))
    if outcome.state == "timed":
        # Driving that several recordings hold goes on to count in the one that came first.
        return stale.recording, replace(outcome, row=outcome.row | {"added": stale.row["added"]})
    return stale.recording, f"{outcome.row['reason']}; {_STAY}"
