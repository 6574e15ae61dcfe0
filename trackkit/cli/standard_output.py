"""Standard output, whatever it is connected to: full, closed, or of few letters."""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Sequence
from typing import TextIO

import click


class _Output(io.TextIOWrapper):
    """Standard output, or standard error, that keeps why it could not be written."""

    failure: OSError | None = None

    def write(self, text: str, /) -> int:
        try:
            return super().write(text)
        except OSError as error:
            self.failure = error
            raise

    def flush(self) -> None:
        try:
            super().flush()
        except OSError as error:
            self.failure = error
            raise


def prepare() -> None:
    """Make standard output and standard error take every letter, and fail as files do.

    A letter that the encoding lacks is written as a backslash and its number.  Where a stream is
    closed, what is written to it fails as it does on a disk that is full.
    """
    sys.stdout = _prepared(sys.stdout)
    sys.stderr = _prepared(sys.stderr)


def _prepared(stream: TextIO | None) -> TextIO:
    if stream is None:
        unwritable = os.fdopen(os.open(os.devnull, os.O_RDONLY), "wb")
        return _Output(unwritable, encoding="utf-8")
    if type(stream) is not io.TextIOWrapper:
        return stream
    return _Output(
        stream.buffer,
        encoding=stream.encoding,
        errors="backslashreplace",
        line_buffering=stream.line_buffering,
        write_through=stream.write_through,
    )


def is_unicode() -> bool:
    """Whether standard output takes every letter as it is."""
    return (sys.stdout.encoding or "").lower().startswith("utf")


def failed_with(error: OSError) -> bool:
    """Whether an error is one of writing to standard output or standard error."""
    streams = (sys.stdout, sys.stderr)
    return any(isinstance(stream, _Output) and stream.failure is error for stream in streams)


def tell_lost(error: OSError, written: Sequence[str]) -> None:
    """Say that what was to be printed is lost, and which files were written all the same.

    Parameters
    ----------
    error
        Why it could not be printed.
    written
        Files written before.
    """
    why = "is closed" if error.errno == errno.EBADF else f"cannot be written ({error.strerror})"
    kept = f"; written before that: {', '.join(written)}" if written else ""
    abandon(sys.stdout)
    try:
        click.echo(f"trackkit: standard output {why}{kept}", err=True)
    except OSError:
        # Nobody can be told; the exit status still says it.
        abandon(sys.stderr)


def abandon(stream: TextIO) -> None:
    """Let what waits for a stream go nowhere, so that leaving Python does not fail."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
