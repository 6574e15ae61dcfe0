"""Files written whole or not at all, CSV that spreadsheets run nothing of, and digests."""

from __future__ import annotations

import csv
import errno
import hashlib
import io
import math
import os
import shutil
import stat
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from trackkit.errors import OutputError
from trackkit.remedies import Remedy
from trackkit.written import note_written

_SCRATCH = ".trackkit-"
_PART_BYTES = 1 << 24
_HELD = "held"
_FRESH_S = 5.0
"""A scratch folder younger than this may belong to a process that is about to hold it."""


@contextmanager
def whole_file(
    path: str | os.PathLike[str], *, force: bool = False, keep_previous: bool = False
) -> Iterator[Path]:
    """Give a scratch path to write to, and put it in place only when all went well.

    The new file is synced to the disk before it takes the place of the old one, and so is the
    folder afterwards: a power cut leaves one of the two, whole (rename and fsync, POSIX.1-2017).
    Scratch folders that a killed process left in the same folder are swept.

    Parameters
    ----------
    path
        Where the file shall stand.  A symbolic link is followed, not replaced; a pipe or a device
        is written to.
    force
        Whether a file that exists may be replaced.
    keep_previous
        Leave the file that is replaced beside the new one, under its name with ``~`` appended.

    Raises
    ------
    OutputError
        When the file exists and `force` is false, or cannot be written.
    """
    shown = os.fspath(path)
    if is_stream(path):
        with _stream(path) as scratch:
            yield scratch
        return
    target = _followed(path)
    if target.is_dir():
        raise OutputError("is a folder, not a file", file=shown, remedy="name a file in it")
    if target.exists() and not force:
        raise OutputError(
            "exists already",
            file=shown,
            remedy=Remedy("choose another name, or replace it", do="replace file"),
        )
    try:
        sweep_scratch_folders(target.parent)
        with _scratch_folder(target.parent) as folder:
            scratch = folder / target.name
            yield scratch
            _sync(scratch)
            if target.exists():
                shutil.copymode(target, scratch)
                if keep_previous:
                    previous = folder / "previous"
                    shutil.copy2(target, previous)
                    _sync(previous)
                    previous.replace(target.with_name(target.name + "~"))
            scratch.replace(target)
            note_written(shown)
            _sync(target.parent)
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror or error})", file=shown) from error


def is_stream(path: str | os.PathLike[str]) -> bool:
    """Tell whether a path is a pipe, a device or an open file of this process.

    Such a path is written to; there is nothing to replace.
    """
    if Path(path).absolute().as_posix().startswith(("/dev/", "/proc/")):
        return True
    try:
        mode = Path(path).stat().st_mode
    except OSError:
        return False
    return not (stat.S_ISREG(mode) or stat.S_ISDIR(mode))


@contextmanager
def _stream(path: str | os.PathLike[str]) -> Iterator[Path]:
    """Give a scratch path whose content goes to a pipe or a device in the end."""
    try:
        with tempfile.TemporaryDirectory(prefix="trackkit-") as folder:
            scratch = Path(folder) / "content"
            yield scratch
            with _opened(path) as stream:
                stream.write(scratch.read_bytes())
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror or error})", file=path) from error


def _opened(path: str | os.PathLike[str]) -> BinaryIO:
    """Open a stream for writing; standard output goes on where it is, though it may be a file."""
    where = os.stat(path)  # noqa: PTH116 - of what /dev/stdout leads to
    for descriptor in (1, 2):
        try:
            same = os.path.samestat(where, os.fstat(descriptor))
        except OSError:
            continue
        if same:
            sys.stdout.flush()
            return os.fdopen(os.dup(descriptor), "wb")
    return Path(path).open("wb")


def _followed(path: str | os.PathLike[str]) -> Path:
    """Follow links to where a file is, or would be made.

    Raises
    ------
    OutputError
        When the links lead back to themselves.
    """
    try:
        return Path(os.path.realpath(path, strict=True))
    except OSError as error:
        if error.errno == errno.ELOOP:
            raise OutputError(
                "is a symbolic link that leads back to itself", file=path, remedy="remove it"
            ) from error
    return Path(os.path.realpath(path))


@contextmanager
def _scratch_folder(beside: Path) -> Iterator[Path]:
    """Make a folder for a file that is being written, held while this process uses it."""
    from filelock import FileLock

    folder = Path(tempfile.mkdtemp(prefix=_SCRATCH, dir=beside))
    try:
        with FileLock(folder / _HELD, timeout=0):
            yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def sweep_scratch_folders(folder: Path) -> None:
    """Remove the scratch folders that no process holds any more.

    Parameters
    ----------
    folder
        Where to look.
    """
    from filelock import FileLock, Timeout

    for left in folder.glob(f"{_SCRATCH}*"):
        try:
            if not left.is_dir() or time.time() - left.stat().st_mtime < _FRESH_S:
                continue
            with FileLock(left / _HELD, timeout=0):
                pass
        except (Timeout, OSError, NotImplementedError):
            # Held by another process, or not this user's to remove.
            continue
        shutil.rmtree(left, ignore_errors=True)


def _sync(path: Path) -> None:
    """Flush a file, or the names in a folder, to the disk."""
    if path.is_dir() and os.name == "nt":
        return
    descriptor = os.open(path, os.O_RDONLY if path.is_dir() or os.name != "nt" else os.O_RDWR)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def write_whole(
    path: str | os.PathLike[str],
    content: str | bytes,
    *,
    force: bool = False,
    keep_previous: bool = False,
) -> None:
    """Write a file whole or not at all; text is written as UTF-8.  See `whole_file`."""
    data = content.encode() if isinstance(content, str) else content
    with whole_file(path, force=force, keep_previous=keep_previous) as scratch:
        scratch.write_bytes(data)


def read_up_to(path: str | os.PathLike[str], most: int) -> bytes:
    """Read a file, or so many bytes of it; of a pipe or a device, which may have no end, too.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    parts, size = [], 0
    with Path(path).open("rb") as file:
        # A part at a time: asked for more than there is, Python sets aside as much first.
        while size < most and (part := file.read(min(_PART_BYTES, most - size))):
            parts.append(part)
            size += len(part)
    return b"".join(parts)


def spreadsheet_text(text: str) -> str:
    """Keep a spreadsheet from running a text as a formula.

    A text that begins like one gets an apostrophe before it, which spreadsheets hide (OWASP,
    CSV injection; from memory).
    """
    return f"'{text}" if text.lstrip(" ")[:1] in set("=+-@\t\r\n") else text


def csv_text(
    header: Sequence[str],
    rows: Iterable[Sequence[object]],
    decimals: Mapping[str, int] | None = None,
) -> str:
    """Write rows as CSV (RFC 4180, lines ended by a line feed alone).

    Texts are made safe for spreadsheets, None and numbers that are not finite are empty, and
    booleans are ``true`` or ``false``, as in JSON.

    Parameters
    ----------
    header
        Names of the columns.
    rows
        One value a column.
    decimals
        How many decimals the numbers of a column have; all they need where it is not named.
    """
    places = [None if decimals is None else decimals.get(name) for name in header]
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(map(spreadsheet_text, header))
    writer.writerows(map(_cell, row, places) for row in rows)
    return text.getvalue()


def csv_in_columns(rows: str, columns: Sequence[int | None]) -> str:
    """Lay out rows that `csv_text` has written in other columns, the cells as they are.

    Parameters
    ----------
    rows
        Without their header.
    columns
        Which column, from 0, each of the new ones was; None where it is empty.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    for row in csv.reader(io.StringIO(rows, newline="")):
        writer.writerow(["" if column is None else row[column] for column in columns])
    return text.getvalue()


def csv_with(rows: str, last: str) -> str:
    """Give rows that `csv_text` has written one more cell each, the same in all of them."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    cell = spreadsheet_text(last)
    for row in csv.reader(io.StringIO(rows, newline="")):
        writer.writerow([*row, cell])
    return text.getvalue()


def _cell(value: object, decimals: int | None) -> object:
    if isinstance(value, float):
        if not math.isfinite(value):
            return ""
        return value if decimals is None else f"{value:z.{decimals}f}"
    if isinstance(value, bool):
        return "true" if value else "false"
    return spreadsheet_text(value) if isinstance(value, str) else value


def sha256_of(path: str | os.PathLike[str]) -> str:
    """SHA-256 of what a file holds, in hexadecimal figures.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()
