"""Files written whole or not at all, CSV that spreadsheets run nothing of, and digests."""

from __future__ import annotations

import csv
import hashlib
import io
import math
import os
import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from trackkit.errors import OutputError
from trackkit.remedies import Remedy


@contextmanager
def whole_file(
    path: str | os.PathLike[str], *, force: bool = False, keep_previous: bool = False
) -> Iterator[Path]:
    """Give a scratch path to write to, and put it in place only when all went well.

    Parameters
    ----------
    path
        Where the file shall stand.  A symbolic link is followed, not replaced.
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
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise OutputError("is a folder, not a file", file=shown, remedy="name a file in it")
    if target.exists() and not force:
        raise OutputError(
            "exists already",
            file=shown,
            remedy=Remedy("choose another name, or replace it", do="replace file"),
        )
    try:
        scratch_dir = Path(tempfile.mkdtemp(prefix=".trackkit-", dir=target.parent))
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror})", file=shown) from error
    try:
        scratch = scratch_dir / target.name
        yield scratch
        if target.exists():
            shutil.copymode(target, scratch)
            if keep_previous:
                previous = scratch_dir / "previous"
                shutil.copy2(target, previous)
                previous.replace(target.with_name(target.name + "~"))
        scratch.replace(target)
    except OSError as error:
        raise OutputError(f"cannot be written ({error.strerror or error})", file=shown) from error
    finally:
        shutil.rmtree(scratch_dir, ignore_errors=True)


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

    Texts are made safe for spreadsheets, None and numbers that are not finite are empty, and truth
    is ``yes`` or ``no``.

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
    writer.writerow(header)
    writer.writerows(map(_cell, row, places) for row in rows)
    return text.getvalue()


def _cell(value: object, decimals: int | None) -> object:
    if isinstance(value, float):
        if not math.isfinite(value):
            return ""
        return value if decimals is None else f"{value:.{decimals}f}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return spreadsheet_text(value) if isinstance(value, str) else value


def sha256_of(path: str | os.PathLike[str]) -> str:
    """SHA-256 of what a file holds, in hexadecimal figures.

    Raises
    ------
    OSError
        The file cannot be read.
    """
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()
