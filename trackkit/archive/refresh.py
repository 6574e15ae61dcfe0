"""Laps of an archive timed again where gates were moved, or layouts and lines revised."""

from __future__ import annotations

import os
import reprlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from trackkit.archive.add import Progress, Reason, library_digest
from trackkit.archive.address import archive_address
from trackkit.archive.columns import RECORDINGS
from trackkit.archive.driven_twice import count_once
from trackkit.archive.drives import kept_rows
from trackkit.archive.engines import engine
from trackkit.archive.hold import held_with_others
from trackkit.archive.settings import settings_of
from trackkit.archive.spread import MOST_DEATHS, spread
from trackkit.archive.stale import Stale, sessions_said, stale_recordings
from trackkit.archive.store import known_recordings, put_together
from trackkit.archive.time_again import STAY, Answer, time_file_again, time_kept
from trackkit.archive.work import Job, Outcome
from trackkit.archive.write import writing
from trackkit.errors import TrackkitError
from trackkit.library.folders import folders, open_library
from trackkit.words import counted

_FEW_DRIVES = 64
"""So few kept drives are timed before another process has started."""


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
    for name in ("pyarrow", "deltalake"):
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
        concerned = stale_recordings(opened_library, job.library, rows, sessions_said(archive))
        again = _Again(len(concerned), progress, {each: rows[each]["file"] for each in concerned})
        if concerned:
            with writing(archive) as write:
                again.write = write
                _time_again(archive, concerned, again, _Spreading(job, workers, scheduler))
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


@dataclass(frozen=True)
class _Spreading:
    """Where work is done, and what with."""

    job: Job
    workers: int | None
    scheduler: str | None

    def over_processes(
        self, work: Callable[..., Any], items: Sequence[Any], done: Callable[[Any], None]
    ) -> list[int]:
        """Spread work, and list the places of items whose processes died."""
        return spread(
            partial(work, job=self.job),
            items,
            lambda _, answer: done(answer),
            workers=self.workers,
            scheduler=self.scheduler,
        )

    def is_here(self, drives: int) -> bool:
        """Tell whether so many kept drives are timed sooner in this process than in others."""
        return self.scheduler is None and (self.workers == 1 or drives <= _FEW_DRIVES)


def _time_again(
    archive: str, concerned: Mapping[str, Stale], again: _Again, spreading: _Spreading
) -> None:
    """Time from kept drives what they serve for, and the rest from the recordings."""
    items = [
        (rows, {each: concerned[each] for each in rows.recordings})
        for rows in kept_rows(archive, concerned)
    ]
    if spreading.is_here(len(concerned)):
        for item in items:
            again.kept(time_kept(item, spreading.job))
    else:
        for place in spreading.over_processes(time_kept, items, again.kept):
            again.set_aside(items[place][1].values())
    unserved = [each for each in concerned.values() if each.recording not in again.finished]
    if not unserved:
        return
    settings = settings_of(archive, [each.recording for each in unserved])
    again.unsettled = {each for each in settings if not settings[each].kept}
    files = [replace(each, settings=settings[each.recording]) for each in unserved]
    dead = spreading.over_processes(time_file_again, files, again.file)
    again.set_aside(files[place] for place in dead)


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

    def kept(self, answers: Sequence[Answer]) -> None:
        """Take what came of some kept drives."""
        for recording, answer in answers:
            if answer is not None:
                self.from_drives += self._take(recording, answer)

    def file(self, answer: Answer) -> None:
        """Take what came of a file."""
        recording, outcome = answer
        if outcome is not None:
            self.from_recordings += self._take(recording, outcome)
            self.taken_as_usual += recording in self.unsettled and isinstance(outcome, Outcome)

    def set_aside(self, stale: Iterable[Stale]) -> None:
        """Leave those as they are whose process died."""
        for each in stale:
            self._take(
                each.recording, f"the process that worked on it died {MOST_DEATHS} times; {STAY}"
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
