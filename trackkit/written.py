"""Which files a piece of work has written, for when what it prints reaches nobody."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_paths: ContextVar[list[str] | None] = ContextVar("written_paths", default=None)


@contextmanager
def written_files() -> Iterator[list[str]]:
    """Give a list that grows by each file that is written within the context."""
    paths: list[str] = []
    token = _paths.set(paths)
    try:
        yield paths
    finally:
        _paths.reset(token)


def note_written(path: str | os.PathLike[str]) -> None:
    """Note that a file has taken its place."""
    paths = _paths.get()
    if paths is not None and os.fspath(path) not in paths:
        paths.append(os.fspath(path))
