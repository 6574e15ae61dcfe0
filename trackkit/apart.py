"""Work on things that do not depend on each other, here or wherever whoever asks for it says."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, TypeVar

_Item = TypeVar("_Item")
_Outcome = TypeVar("_Outcome")

Doer = Callable[[Callable[[Any], Any], Sequence[Any], str], Iterator[Any]]
"""Does something with each item and hands on what comes of it, in order; is told what it does."""

_doer: ContextVar[Doer | None] = ContextVar("doer", default=None)


@contextmanager
def done_by(doer: Doer | None) -> Iterator[None]:
    """Have work inside done by somebody, such as other processes; None to have it done here."""
    token = _doer.set(doer)
    try:
        yield
    finally:
        _doer.reset(token)


def each(
    work: Callable[[_Item], _Outcome], items: Sequence[_Item], what: str
) -> Iterator[_Outcome]:
    """Do something with each item, in order.

    Parameters
    ----------
    work
        A function of a module, or `functools.partial` of one, which other processes can find.
    items
        What it is done with; they and what comes of them may be copied on the way.
    what
        What is done, for people who watch; empty where they are told otherwise.
    """
    doer = _doer.get()
    yield from map(work, items) if doer is None else doer(work, items, what)
