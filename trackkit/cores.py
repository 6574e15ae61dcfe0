"""How many processes are worth starting, and those processes."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor

_THREADS = (
    "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS",
    "MKL_NUM_THREADS",
    "VECLIB_MAXIMUM_THREADS",
    "NUMEXPR_NUM_THREADS",
)
"""What tells libraries of linear algebra how many threads to use; read when they are loaded."""


def cores() -> int:
    """Count the cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


@contextmanager
def spawned(processes: int) -> Iterator[ProcessPoolExecutor]:
    """Start so many processes; what they have not begun is left undone where something fails."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    # Spawned, not forked: an open SQLite connection must not be carried into a child process.
    pool = ProcessPoolExecutor(processes, mp_context=get_context("spawn"))
    with one_thread_each(), pool:
        try:
            yield pool
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Have each process that is started use one core: there are as many of them as cores.

    More threads than cores wait for each other in loops, which on a busy machine took three times
    the processor time of the work.
    """
    before = {name: os.environ.get(name) for name in _THREADS}
    os.environ.update(dict.fromkeys(_THREADS, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
