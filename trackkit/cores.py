"""How many processes are worth starting, and those processes."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from concurrent.futures import ProcessPoolExecutor


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
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        try:
            yield pool
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
