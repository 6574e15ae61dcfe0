"""Standard output, which may be full, closed, or of an encoding with few letters."""

from __future__ import annotations

import codecs
import errno
import io
import os
import sys
from collections.abc import Sequence
from contextlib import suppress

import click


class _Closed(io.RawIOBase):
    """Standard output of a process that was started without one."""

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:  # noqa: ARG002
        raise OSError(errno.EBADF, os.strerror(errno.EBADF))


def prepare() -> None:
    """See to it that every text can be written: letters that an encoding lacks are escaped."""
    if sys.stdout is None:
        sys.stdout = io.TextIOWrapper(io.BufferedWriter(_Closed()), encoding="utf-8")
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")


def holds_any_letter() -> bool:
    """Whether the encoding of standard output has every letter of Unicode."""
    name = getattr(sys.stdout, "encoding", None) or "utf-8"
    return codecs.lookup(name).name.startswith("utf")


def give_up(error: OSError, written: Sequence[str]) -> None:
    """Say that standard output cannot be written, and leave nothing for Python to try again.

    Parameters
    ----------
    error
        What the system said.
    written
        Files that were written before: they stay as they are, and that is said.
    """
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115, PTH123
    sentence = f"trackkit: standard output cannot be written ({error.strerror or error})"
    if written:
        sentence += f"; {', '.join(dict.fromkeys(written))} was written all the same"
    with suppress(OSError):
        click.echo(sentence, err=True)


def note_written(path: str | os.PathLike[str]) -> None:
    """Remember a file that this command has written, for the case that saying so fails."""
    context = click.get_current_context(silent=True)
    if context is not None and isinstance(context.obj, list):
        context.obj.append(os.fspath(path))
