"""An archive held: by many that add to it at once, or by the one that forgets, alone.

A folder is held by locked files, which the system lets go when a process dies.  An object store has
no such locks: there a mark stands while recordings are being forgotten, and what adds heeds it.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from uuid import uuid4

from trackkit.archive.address import is_store
from trackkit.archive.engines import engine
from trackkit.archive.store import is_table
from trackkit.archive.stored_files import remove_file, stored_files
from trackkit.errors import OutputError
from trackkit.remedies import Remedy

_ALONE = ".alone.lock"
_ADDING = ".adding-"
_PATIENCE_S = 10.0
_POLL_S = 0.1
_MARK = "forgetting"
_MARKS = f"{0:020d}.json"
_HASH = re.compile(r"[0-9a-f]{64}")
_UNFINISHED = "recordings are being forgotten there, or that was broken off"
_FINISH = Remedy("run the same again when that is finished", do="finish forgetting")


@contextmanager
def held_with_others(archive: str) -> Iterator[None]:
    """Hold an archive against who forgets, while others may add to it as well.

    Raises
    ------
    OutputError
        When recordings are being forgotten there, that was broken off, or it cannot be written.
    """
    if is_store(archive):
        refuse_while_forgetting(archive)
        yield
        return
    from filelock import FileLock

    own = Path(archive) / f"{_ADDING}{uuid4().hex}.lock"
    with _alone(archive):
        refuse_while_forgetting(archive)
        lock = FileLock(own)
        lock.acquire(timeout=_PATIENCE_S)
    try:
        yield
    finally:
        lock.release()
        own.unlink(missing_ok=True)


@contextmanager
def held_alone(archive: str) -> Iterator[None]:
    """Hold an archive against all others who change it.

    Of an object store nothing is held: `mark_forgetting` keeps those away who begin to add, and
    those who do at their next batch.

    Raises
    ------
    OutputError
        When others add to it, or it cannot be written.
    """
    if is_store(archive):
        yield
        return
    with _alone(archive):
        _wait_for_others(archive)
        yield


@contextmanager
def _alone(archive: str) -> Iterator[None]:
    from filelock import FileLock, Timeout

    try:
        Path(archive).mkdir(parents=True, exist_ok=True)
        lock = FileLock(Path(archive) / _ALONE)
        lock.acquire(timeout=_PATIENCE_S)
    except Timeout as error:
        raise OutputError(
            "is held by another trackkit, which forgets recordings",
            file=archive,
            remedy="try again when that one is done",
        ) from error
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror or error})", file=archive) from error
    try:
        yield
    finally:
        lock.release()


def _wait_for_others(archive: str) -> None:
    """Wait until nobody adds; files that dead processes left are removed."""
    from filelock import FileLock, Timeout

    patient_until_s = time.monotonic() + _PATIENCE_S
    for left in Path(archive).glob(f"{_ADDING}*.lock"):
        try:
            with FileLock(left).acquire(
                timeout=max(0.0, patient_until_s - time.monotonic()), poll_interval=_POLL_S
            ):
                pass
        except Timeout as error:
            raise OutputError(
                "is being added to",
                file=archive,
                remedy="try again when that is done",
            ) from error
        left.unlink(missing_ok=True)


def refuse_while_forgetting(archive: str) -> None:
    """Stop what would add to an archive while recordings are being forgotten in it.

    Raises
    ------
    OutputError
        When they are, or that was broken off.
    """
    if unfinished(archive):
        raise OutputError(_UNFINISHED, file=archive, remedy=_FINISH)


def mark_forgetting(archive: str, recordings: Sequence[str]) -> None:
    """Write down which recordings are being forgotten, so that it is finished if it is broken off.

    The mark is a Delta table of one file, whose description tells them: made whole or not at all,
    in a folder and in an object store.

    Raises
    ------
    OutputError
        When another one forgets recordings there.
    """
    deltalake = engine("deltalake")
    pa = engine("pyarrow")
    try:
        deltalake.DeltaTable.create(
            f"{archive}/{_MARK}",
            pa.schema([("recording", pa.string())]),
            mode="error",
            name=_MARK,
            description=" ".join(sorted(recordings)),
        )
    except (OSError, deltalake.exceptions.DeltaError) as error:
        raise OutputError(
            f"no mark could be made that recordings are being forgotten ({error})", file=archive
        ) from error


def unfinished(archive: str) -> tuple[str, ...]:
    """List the recordings that are being forgotten, by SHA-256."""
    delta = _mark(archive)
    return () if delta is None else tuple(_HASH.findall(str(delta.metadata().description)))


def unmark(archive: str) -> None:
    """Take the mark away: what it tells of is forgotten."""
    place = f"{archive}/{_MARK}"
    # The file that makes it a mark is the last, after what a killed process left of others.
    names = stored_files(place)
    for name in sorted(names, key=lambda name: name.endswith(_MARKS)):
        remove_file(place, name)
    if not is_store(archive):
        for folder in (Path(place) / "_delta_log", Path(place)):
            if folder.is_dir():
                folder.rmdir()


def _mark(archive: str) -> Any:
    place = f"{archive}/{_MARK}"
    return engine("deltalake").DeltaTable(place) if is_table(place) else None
