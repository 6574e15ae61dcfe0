"""Work on many files, spread over the cores of this machine."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import TypeVar

from trackkit.cli.common import progress

_Item = TypeVar("_Item")
_Outcome = TypeVar("_Outcome")


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
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # Spawned, not forked: an open SQLite connection must not be carried into a child process.
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        try:
            outcomes = pool.map(work, items, chunksize=at_once)
            for _ in progress(items, what):
                yield next(outcomes)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
