"""Recordings added to an archive: found, told apart from those it has, timed, and written."""

from __future__ import annotations

import hashlib
import os
import reprlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from trackkit.archive.address import archive_address
from trackkit.archive.driven_twice import count_once
from trackkit.archive.engines import engine
from trackkit.archive.facts import take_up_facts
from trackkit.archive.hold import held_with_others
from trackkit.archive.rows import Described
from trackkit.archive.spread import MOST_DEATHS, spread
from trackkit.archive.store import known_recordings, put_together
from trackkit.archive.work import Item, Job, Outcome, failed, time_file
from trackkit.archive.write import writing
from trackkit.cores import cores
from trackkit.errors import reading_failed
from trackkit.files import sha256_of
from trackkit.library.folders import folders, open_library
from trackkit.timing.driven_files import entries_of, files_of
from trackkit.timing.rules import USUAL_RULES, LapRules
from trackkit.words import counted

_KNOWN = ("state", "file", "size_bytes", "modified", "library")
_MOMENT_OFF = timedelta(microseconds=2)
"""Times of files are kept to a microsecond."""

Progress = Callable[[int, int], None]
"""Takes how many recordings are done, and how many there are."""


@dataclass(frozen=True)
class Reason:
    """A file, and why it was not timed."""

    file: str
    text: str


@dataclass(frozen=True)
class ArchiveAddition:
    """What came of adding recordings to an archive.

    Parameters
    ----------
    at
        Where the archive lies.
    timed, laps
        How many recordings were timed, and how many laps they have.
    known
        How many files the archive had already, by content, copies among them included.
    unplaced
        Recordings that no known circuit matches, or several.
    unusable
        Files that could not be used.
    other
        Files of folders that are no recordings.
    warnings
        Sentences about the libraries.
    described
        Of how many recordings that the archive had already something else is said now, such as who
        drove.
    elsewhere
        How many laps count no more, since another recording holds them as well.

    Examples
    --------
    >>> import trackkit
    >>> added = trackkit.ArchiveAddition("season", timed=2, laps=41)
    >>> added
    ArchiveAddition('season', 2 recordings of 41 laps)
    """

    at: str
    timed: int = 0
    laps: int = 0
    known: int = 0
    unplaced: tuple[Reason, ...] = ()
    unusable: tuple[Reason, ...] = ()
    other: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    described: int = 0
    elsewhere: int = 0

    def __repr__(self) -> str:
        recordings = counted(range(self.timed), "recording")
        laps = counted(range(self.laps), "lap")
        return f"ArchiveAddition({reprlib.repr(self.at)}, {recordings} of {laps})"

    def as_row(self) -> dict[str, Any]:
        """Return it as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "archive": self.at,
            "timed": self.timed,
            "laps": self.laps,
            "known": self.known,
            "unplaced": [{"file": each.file, "text": each.text} for each in self.unplaced],
            "unusable": [{"file": each.file, "text": each.text} for each in self.unusable],
            "skipped": list(self.other),
            "described": self.described,
            "elsewhere": self.elsewhere,
        }


@dataclass(eq=False)
class _Tally:
    """What has come of the files so far."""

    timed: int = 0
    laps: int = 0
    known: int = 0
    unplaced: list[Reason] = field(default_factory=list)
    unusable: list[Reason] = field(default_factory=list)
    other: list[str] = field(default_factory=list)

    def count(self, outcome: Outcome) -> None:
        """Count one more."""
        path = outcome.item.path
        reason = Reason(path, str(outcome.row["reason"]))
        if outcome.state == "timed":
            self.timed += 1
            self.laps += outcome.tables["laps"].num_rows
        elif outcome.state == "unplaced":
            self.unplaced.append(reason)
        elif outcome.state == "unusable":
            self.unusable.append(reason)
        else:
            self.other.append(path)


def add_to_archive(
    paths: Iterable[str | os.PathLike[str]],
    at: str | os.PathLike[str] | None = None,
    *,
    library: Iterable[str | os.PathLike[str]] = (),
    driver: str | None = None,
    vehicle: str | None = None,
    class_: str | None = None,
    notes: str | None = None,
    weather: str | None = None,
    temperature_degc: float | None = None,
    traces: bool = False,
    columns: Mapping[str, str] | None = None,
    rules: LapRules = USUAL_RULES,
    antenna_ahead_m: float = 0.0,
    workers: int | None = None,
    scheduler: str | None = None,
    progress: Progress | None = None,
) -> ArchiveAddition:
    """Time recordings and keep their laps in an archive.

    Each recording's circuit, layout (the one of its day) and direction are located.  What the
    archive has already, by content, is passed over, but for recordings that no circuit matched,
    which are tried again when the libraries have changed.  Recordings are written as they are done,
    so that the same again goes on where it was stopped.

    Parameters
    ----------
    paths
        Recordings, and folders of them; a table ``drivers.csv`` beside them (columns file, driver,
        vehicle, class, notes, weather, temperature) tells what the following parameters do not.
    at
        A folder, or the address of an object store; None for what ``TRACKKIT_ARCHIVE`` names, or
        the user's own.
    library
        Folders of track files to search before the others.
    driver, vehicle, class_, notes, weather
        Of all recordings that the table says nothing else of.
    temperature_degc
        Of the air, degrees Celsius; likewise.
    traces
        Whether laps along the track are kept too, a row a metre.
    columns
        Which columns of CSV recordings hold what.
    rules
        What parts sessions, and which laps count.
    antenna_ahead_m
        How far the antenna is ahead of what crosses the line, metres; negative if it is behind.
    workers
        How many processes of this machine work; as many as it has cores when None.
    scheduler
        Address of a scheduler of dask.distributed whose workers see the files under the same paths
        and have trackkit installed.
    progress
        Called after each recording with how many are done and how many there are.

    Returns
    -------
    ArchiveAddition
        How many were timed, and what was wrong with others.

    Raises
    ------
    TrackkitError
        When the extra ``archive`` is not installed, the archive cannot be opened, a folder or a
        table of drivers cannot be read, or the scheduler does not answer.
    OutputError
        When the archive cannot be written, or recordings are being forgotten in it.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.add_to_archive([], "season")
    ArchiveAddition('...season', 0 recordings of 0 laps)
    """
    archive = archive_address(at)
    listed = files_of([os.fspath(path) for path in paths])
    if not listed:
        return ArchiveAddition(archive)
    for name in ("pyarrow", "deltalake", "dask"):
        engine(name)
    searched = folders(list(library))
    warnings = open_library(searched).warnings
    job = Job(
        libraries=tuple(str(folder.absolute()) for folder in searched),
        library=library_digest(searched),
        columns=columns,
        rules=rules,
        antenna_ahead_m=antenna_ahead_m,
        traces=traces,
    )
    said = Described(driver, vehicle, class_, notes, weather, temperature_degc)
    entries = entries_of(listed)
    named = {
        os.path.abspath(file.path): (  # noqa: PTH100 - as it was named, links not followed
            file.in_folder,
            said.with_entry(entries[file.path]) if file.path in entries else said,
        )
        for file in listed
    }
    tally = _Tally()
    with held_with_others(archive):
        items, known = _new_items(archive, named, job, tally)
        with writing(archive) as write:

            def keep(outcome: Outcome) -> None:
                write(outcome)
                tally.count(outcome)

            _time(items, job, keep, workers, scheduler, progress)
        described = take_up_facts(archive, known)
        elsewhere = count_once(archive, {*known, *(item.recording for item in items)})
        put_together(archive)
    return ArchiveAddition(
        archive,
        tally.timed,
        tally.laps,
        tally.known,
        tuple(tally.unplaced),
        tuple(tally.unusable),
        tuple(tally.other),
        tuple(warnings),
        described,
        elsewhere,
    )


def _time(
    items: Sequence[Item],
    job: Job,
    write: Callable[[Outcome], None],
    workers: int | None,
    scheduler: str | None,
    progress: Progress | None,
) -> None:
    finished = 0

    def done(_: int, outcome: Outcome) -> None:
        nonlocal finished
        write(outcome)
        finished += 1
        if progress is not None:
            progress(finished, len(items))

    work = partial(time_file, job=job)
    for place in spread(work, items, done, workers=workers, scheduler=scheduler):
        reason = f"set aside: the process that worked on it died {MOST_DEATHS} times"
        done(place, failed(items[place], job, "unusable", reason))


def _new_items(
    archive: str, named: Mapping[str, tuple[bool, Described]], job: Job, tally: _Tally
) -> tuple[list[Item], dict[str, Described]]:
    """Tell files that the archive does not have from those it has, with what is said of these."""
    known = known_recordings(archive, _KNOWN)
    by_file = {row["file"]: recording for recording, row in known.items()}
    sizes: dict[str, tuple[int, float]] = {}
    for path in named:
        try:
            status = Path(path).stat()
        except OSError as error:
            tally.unusable.append(Reason(path, reading_failed(path, error)))
            continue
        sizes[path] = status.st_size, status.st_mtime
    unlike = [path for path in sizes if not _is_as_it_was(known, by_file.get(path), sizes[path])]
    hashes = {path: by_file[path] for path in sizes if path not in set(unlike)}
    with ThreadPoolExecutor(cores()) as pool:
        hashes |= {
            path: recording
            for path, recording in zip(unlike, pool.map(_hash, unlike), strict=True)
            if recording is not None
        }
    tally.unusable += [
        Reason(path, "may not be read by this user") for path in unlike if path not in hashes
    ]
    items: dict[str, Item] = {}
    descriptions: dict[str, Described] = {}
    for path in sizes:
        recording = hashes.get(path)
        if recording is None:
            continue
        in_folder, described = named[path]
        if recording in items:
            tally.known += 1
        elif _is_done(known.get(recording), job):
            tally.known += 1
            # What is said of a copy goes for the recording, where nothing is said of that.
            descriptions[recording] = described.with_other(descriptions.get(recording))
        else:
            items[recording] = Item(recording, path, *sizes[path], in_folder, described)
    return list(items.values()), descriptions


def _is_as_it_was(
    known: Mapping[str, Mapping[str, Any]], recording: str | None, size: tuple[int, float]
) -> bool:
    """Tell whether a file has the size and the time that it had when it was added."""
    if recording is None:
        return False
    row = known[recording]
    modified = datetime.fromtimestamp(size[1], UTC)
    return bool(row["size_bytes"] == size[0] and abs(row["modified"] - modified) < _MOMENT_OFF)


def _is_done(row: Mapping[str, Any] | None, job: Job) -> bool:
    if row is None:
        return False
    return bool(row["state"] != "unplaced" or row["library"] == job.library)


def _hash(path: str) -> str | None:
    try:
        return sha256_of(path)
    except OSError:
        return None


def library_digest(searched: Sequence[Path]) -> str:
    """Digest what the libraries hold, by names, sizes and times of their files."""
    parts = []
    for folder in searched:
        for file in sorted(folder.glob("*.geojson")):
            status = file.stat()
            parts.append(f"{file.name} {status.st_size} {status.st_mtime_ns}")
    return hashlib.sha256("\n".join(parts).encode("utf-8", "surrogateescape")).hexdigest()
