"""How far long work has come, told to whoever watches."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar

Watcher = Callable[[str, int, int], None]
"""Takes what is being done, how much of it is done, and how much there is."""

_watcher: ContextVar[Watcher | None] = ContextVar("watcher", default=None)


@contextmanager
def watched(watcher: Watcher | None) -> Iterator[None]:
    """Have long work inside tell how far it has come; None to have it tell nobody."""
    token = _watcher.set(watcher)
    try:
        yield
    finally:
        _watcher.reset(token)


def tell(what: str, done: int, of: int) -> None:
    """Tell how far work has come; the last time with as much done as there is."""
    watcher = _watcher.get()
    if watcher is not None:
        watcher(what, done, of)
