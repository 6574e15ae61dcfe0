"""Recordings taken out of an archive for good."""

from __future__ import annotations

import os
import re
import reprlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from trackkit.archive.address import archive_address
from trackkit.archive.columns import KEY, LAPS, RECORDINGS, SESSIONS, TABLES
from trackkit.archive.driven_twice import count_once
from trackkit.archive.engines import engine
from trackkit.archive.hold import held_alone, mark_forgetting, unfinished, unmark
from trackkit.archive.purge import delete_rows, purge
from trackkit.archive.store import opened, rows_of
from trackkit.errors import TrackkitError
from trackkit.files import sha256_of
from trackkit.remedies import Remedy
from trackkit.words import counted

_PREFIX = re.compile(r"[0-9a-f]{6,64}")
"""How a recording is named by its SHA-256, or as much of it as tells it from others."""
_IN_WORDS = ("file", "driver", "vehicle", "class", "notes", "weather", "reason", "remarks")


@dataclass(frozen=True)
class ArchiveForgetting:
    """What is taken out of an archive, or was.

    Parameters
    ----------
    at
        Where the archive lies.
    recordings
        SHA-256 of each.
    files
        Where they lay when they were added, as far as it is known.
    sessions, laps
        How many the archive held of them.
    drivers
        Who drove in them.
    finished
        Whether it is recordings of an earlier forgetting that was broken off, and of no other.
    mentions
        Files of other recordings with which the driver's name stands still, such as in notes.
    untimed
        How many recordings were not timed, such as on unknown circuits; of those the archive does
        not know who drove.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.ArchiveForgetting("season", ("0" * 64,), ("a.nmea",), sessions=1, laps=12)
    ArchiveForgetting('season', 1 recording of 12 laps)
    """

    at: str
    recordings: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    sessions: int = 0
    laps: int = 0
    drivers: tuple[str, ...] = ()
    finished: bool = False
    mentions: tuple[str, ...] = ()
    untimed: int = 0

    def __repr__(self) -> str:
        recordings = counted(self.recordings, "recording")
        laps = counted(range(self.laps), "lap")
        return f"ArchiveForgetting({reprlib.repr(self.at)}, {recordings} of {laps})"

    def as_row(self) -> dict[str, Any]:
        """Return it as JSON.

        Returns
        -------
        dict
            Of the types JSON has.
        """
        return {
            "archive": self.at,
            "recordings": list(self.recordings),
            "files": list(self.files),
            "sessions": self.sessions,
            "laps": self.laps,
            "drivers": list(self.drivers),
            "finished": self.finished,
            "mentions": list(self.mentions),
            "untimed": self.untimed,
        }


def forget_in_archive(
    recordings: Iterable[str | os.PathLike[str]] = (),
    at: str | os.PathLike[str] | None = None,
    *,
    driver: str | None = None,
    agreed: Callable[[ArchiveForgetting], object] | None = None,
) -> ArchiveForgetting:
    """Take recordings out of an archive for good.

    Their rows are deleted from all tables, and so are all old versions of the tables, files that
    no table needs, and entries of the logs: nothing in the archive tells of them any more, nor does
    it tell how it was before.  Nobody else can add to an archive in a folder meanwhile; that of an
    object store must be left alone by all others.  Broken off at any moment, it is finished by the
    next call, whatever that names.

    The files of the recordings, copies and backups of the archive are not touched.

    Parameters
    ----------
    recordings
        Files, by what they hold and by where they lay when they were added, or at least six
        characters of their SHA-256.
    at
        A folder, or the address of an object store; None for what ``TRACKKIT_ARCHIVE`` names, or
        the user's own.
    driver
        All recordings with a session of this driver, whatever the case; also where others drove in
        the same recording.
    agreed
        Is called with what will be taken out before anything is; it raises what it likes where that
        is not wanted.

    Returns
    -------
    ArchiveForgetting
        What was taken out.

    Raises
    ------
    TrackkitError
        When there is no archive, it holds nothing of that kind, a SHA-256 is of several recordings,
        or the extra ``archive`` is not installed.
    OutputError
        When others add to it, or it cannot be written.

    Examples
    --------
    >>> import trackkit
    >>> trackkit.forget_in_archive(at="season", driver="Ada")
    Traceback (most recent call last):
    trackkit.errors.TrackkitError: ...season: is no archive yet; add recordings to it first
    """
    archive = archive_address(at)
    for name in ("pyarrow", "deltalake"):
        engine(name)
    if opened(archive, RECORDINGS) is None and not unfinished(archive):
        raise TrackkitError("is no archive yet", file=archive, remedy="add recordings to it first")
    words = [os.fspath(recording) for recording in recordings]
    with held_alone(archive):
        left = unfinished(archive)
        if left:
            # Agreed to when it was begun.
            _forget(archive, left)
        rows = rows_of(archive, RECORDINGS, (KEY, "file", "state")).to_pylist()
        sessions = rows_of(archive, SESSIONS, (KEY, "driver")).to_pylist()
        chosen = _of_driver(driver, sessions)
        nothing = [] if chosen or driver is None else [f"no session of a driver {driver!r}"]
        for word in words:
            matching = _named(word, rows, sessions)
            chosen |= matching
            nothing += [] if matching else [f"no recording {word}"]
        if not chosen and not left and not nothing:
            raise TrackkitError("nothing is named to forget", remedy="name recordings or a driver")
        if nothing and not left:
            raise TrackkitError(
                f"holds {', '.join(nothing)}",
                file=archive,
                remedy=Remedy(
                    "name files as they were added, or drivers as a summary does",
                    do="list drivers",
                ),
            )
        if not chosen:
            return ArchiveForgetting(archive, left, finished=True)
        plan = _plan(archive, chosen, rows, sessions, driver)
        if agreed is not None:
            agreed(plan)
        mark_forgetting(archive, plan.recordings)
        _forget(archive, plan.recordings)
        return plan


def _forget(archive: str, recordings: Sequence[str]) -> None:
    """Delete rows, those that make all others count first, then everything that is past."""
    for table in TABLES:
        delete_rows(archive, table, recordings)
    # Laps that counted in them count in another recording, whose rows still name them.
    count_once(archive)
    for table in TABLES:
        purge(archive, table)
    unmark(archive)


def _of_driver(driver: str | None, sessions: Sequence[Mapping[str, Any]]) -> set[str]:
    if driver is None:
        return set()
    return {row[KEY] for row in sessions if _folded(row["driver"]) == _folded(driver)}


def _named(
    word: str, rows: Sequence[Mapping[str, Any]], sessions: Sequence[Mapping[str, Any]]
) -> set[str]:
    """Find the recordings that a word names, also rows of such as were never wholly written."""
    every = {row[KEY] for row in (*rows, *sessions)}
    path = os.path.abspath(word)  # noqa: PTH100 - as it was added, links not followed
    matching = {row[KEY] for row in rows if row["file"] == path}
    if Path(path).is_file():
        matching |= {sha256_of(path)} & every
    if matching or not _PREFIX.fullmatch(word.casefold()):
        return matching
    matching = {recording for recording in every if recording.startswith(word.casefold())}
    if len(matching) > 1:
        raise TrackkitError(
            f"{word} begins the SHA-256 of {len(matching)} recordings", remedy="give more of it"
        )
    return matching


def _plan(
    archive: str,
    chosen: set[str],
    rows: Sequence[Mapping[str, Any]],
    sessions: Sequence[Mapping[str, Any]],
    driver: str | None,
) -> ArchiveForgetting:
    laps = rows_of(archive, LAPS, (KEY,)).column(KEY)
    among = engine("pyarrow.compute").is_in(laps, engine("pyarrow").array(sorted(chosen)))
    own = [row for row in sessions if row[KEY] in chosen]
    drivers = dict.fromkeys(row["driver"] for row in own if row["driver"])
    return ArchiveForgetting(
        archive,
        tuple(sorted(chosen)),
        tuple(sorted(row["file"] for row in rows if row[KEY] in chosen and row["file"])),
        len(own),
        among.to_pylist().count(True),
        tuple(sorted(drivers)),
        mentions=_mentions(archive, chosen, driver),
        untimed=sum(row["state"] in ("unplaced", "unusable") for row in rows if driver),
    )


def _mentions(archive: str, chosen: set[str], driver: str | None) -> tuple[str, ...]:
    """List files of other recordings of which some text holds the name."""
    if driver is None:
        return ()
    files: dict[str, str] = {}
    naming = set()
    name_in_it = re.compile(rf"(?<!\w){re.escape(_folded(driver))}(?!\w)")
    for table in (RECORDINGS, SESSIONS):
        texts = [name for name in table.names if name in _IN_WORDS]
        for row in rows_of(archive, table, (KEY, *texts)).to_pylist():
            files.setdefault(row[KEY], row.get("file") or row[KEY])
            if any(name_in_it.search(_folded(row[name])) for name in texts):
                naming.add(row[KEY])
    return tuple(sorted(files[recording] for recording in naming - chosen))


def _folded(text: str | None) -> str:
    return (text or "").strip().casefold()
