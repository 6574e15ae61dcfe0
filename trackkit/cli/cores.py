"""Work on many files, spread over the cores of this machine."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from trackkit.apart import done_by
from trackkit.cli.common import progress
from trackkit.cores import cores, spawned
from trackkit.errors import TrackkitError

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor

_Item = TypeVar("_Item")
_Outcome = TypeVar("_Outcome")

ONE_PROCESS_UP_TO = 8
"""Fewer recordings than this are done before other processes have begun."""


def each_elsewhere(
    work: Callable[[_Item], _Outcome],
    items: Sequence[_Item],
    what: str,
    processes: int,
    *,
    at_once: int = 1,
) -> Iterator[_Outcome]:
    """Do something with each item in other processes, in order, with a progress bar on a terminal.

    Parameters
    ----------
    work
        A function of a module, or `functools.partial` of one, which other processes can find.
    items
        What it is done with; they and what comes of them are sent between processes.
    what
        What the bar says is done.
    processes
        How many.
    at_once
        How many items a process is sent at once.
    """
    with spawned(processes) as pool:
        outcomes = pool.map(work, items, chunksize=at_once)
        for _ in progress(items, what):
            yield next(outcomes)


@contextmanager
def on_all_cores() -> Iterator[None]:
    """Have work inside that is done for each of many recordings done on all cores."""
    processes = cores()
    if processes < 2:
        yield
        return
    with ExitStack() as stack:
        pools: list[ProcessPoolExecutor] = []

        def each(work: Callable[[Any], Any], items: Sequence[Any], what: str) -> Iterator[Any]:
            if len(items) <= ONE_PROCESS_UP_TO:
                yield from map(work, items)
                return
            if not pools:
                pools.append(stack.enter_context(spawned(min(processes, len(items)))))
            outcomes = pools[0].map(partial(_attempted, work), items)
            for item in progress(items, what) if what else items:
                outcome = next(outcomes)
                # An error with all it knows does not travel between processes: it happens again.
                yield work(item) if isinstance(outcome, _Failure) else outcome

        with done_by(each):
            yield


@dataclass(frozen=True)
class _Failure:
    """What comes of an item that something is wrong with."""


def _attempted(work: Callable[[_Item], _Outcome], item: _Item) -> _Outcome | _Failure:
    try:
        return work(item)
    except TrackkitError:
        return _Failure()
