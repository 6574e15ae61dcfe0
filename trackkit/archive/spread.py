"""Work spread by Dask: over the cores of this machine, or over a cluster that the user runs."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context
from typing import Any, Generic, TypeVar

from trackkit.archive.engines import engine
from trackkit.cores import cores, one_thread_each
from trackkit.errors import TrackkitError

_Item = TypeVar("_Item")
_Outcome = TypeVar("_Outcome")

MOST_DEATHS = 3
"""An item whose worker died so often is set aside."""


def spread(
    work: Callable[[_Item], _Outcome],
    items: Sequence[_Item],
    done: Callable[[int, _Outcome], None],
    *,
    workers: int | None = None,
    scheduler: str | None = None,
) -> list[int]:
    """Do something with each item in other processes, one item a task.

    Parameters
    ----------
    work
        A function of a module, or `functools.partial` of one, which other processes can find.
    items
        What it is done with.
    done
        Is given each item's place and what came of it, in the order in which they are finished.
    workers
        How many processes on this machine; as many as it has cores when None.
    scheduler
        Address of a scheduler of dask.distributed, such as ``tcp://host:8786``, which then hands
        out the tasks.

    Returns
    -------
    list of int
        Places of the items whose workers died `MOST_DEATHS` times.

    Raises
    ------
    TrackkitError
        When the scheduler does not answer.
    """
    if scheduler is not None:
        return _on_cluster(work, items, done, scheduler)
    spreading = _Spreading(work, items, done)
    left = list(range(len(items)))
    while left:
        suspects = spreading.run(left, min(workers or cores(), len(left)))
        # Which of those that ran killed its worker only shows when each runs by itself.
        for place in suspects:
            while spreading.deaths[place] < MOST_DEATHS and place not in spreading.finished:
                spreading.run([place], 1)
        left = [
            place
            for place in left
            if place not in spreading.finished and spreading.deaths[place] < MOST_DEATHS
        ]
    return sorted(set(range(len(items))) - spreading.finished)


class _Spreading(Generic[_Item, _Outcome]):
    """Rounds of Dask's process scheduler, until all is done."""

    def __init__(
        self,
        work: Callable[[_Item], _Outcome],
        items: Sequence[_Item],
        done: Callable[[int, _Outcome], None],
    ) -> None:
        self.work = work
        self.items = items
        self.done = done
        self.finished: set[int] = set()
        self.deaths: Counter[int] = Counter()

    def run(self, places: Sequence[int], workers: int) -> list[int]:
        """Do the items at some places, and list those that ran when a worker died."""
        dask = engine("dask")
        callbacks = engine("dask.callbacks")
        engine("dask.multiprocessing")
        tasks = [
            dask.delayed(self.work, pure=False)(self.items[place], dask_key_name=f"item-{place}")
            for place in places
        ]
        running: set[int] = set()

        def begin(key: str, _dsk: object, _state: object) -> None:
            running.add(_place(key))

        def end(key: str, outcome: _Outcome, _dsk: object, state: Any, _worker: object) -> None:
            place = _place(key)
            running.discard(place)
            self.finished.add(place)
            self.done(place, outcome)
            # Kept until all is done otherwise.
            state["cache"][key] = None

        try:
            with (
                one_thread_each(),
                _pool(workers) as pool,
                callbacks.Callback(pretask=begin, posttask=end),
            ):
                dask.compute(
                    *tasks,
                    scheduler="processes",
                    pool=pool,
                    num_workers=workers,
                    chunksize=1,
                    optimize_graph=False,
                )
        except BrokenProcessPool:
            if len(running) == 1 or len(places) == 1:
                self.deaths.update(running)
            return sorted(running)
        return []


def _place(key: str) -> int:
    return int(key.rpartition("-")[2])


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Start processes, and stop them at once where the work is given up."""
    # Spawned, not forked: an open SQLite connection must not be carried into a child process.
    pool = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin)
    try:
        yield pool
    except BaseException:
        for process in list((pool._processes or {}).values()):  # noqa: SLF001 - no public way
            process.terminate()
        pool.shutdown(wait=False, cancel_futures=True)
        raise
    pool.shutdown()


def _begin() -> None:
    """Leave it to the process in charge to stop at Ctrl-C, and end with it however it ends."""
    import signal
    from multiprocessing import parent_process
    from threading import Thread

    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()

    def end_with_it() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    Thread(target=end_with_it, daemon=True).start()


def _on_cluster(
    work: Callable[[_Item], _Outcome],
    items: Sequence[_Item],
    done: Callable[[int, _Outcome], None],
    scheduler: str,
) -> list[int]:
    """Have a scheduler of dask.distributed hand the items out to its workers."""
    distributed = engine("distributed")
    try:
        client = distributed.Client(scheduler, timeout="10s")
    except (OSError, ValueError, TimeoutError) as error:
        raise TrackkitError(
            f"the scheduler {scheduler} does not answer ({type(error).__name__})",
            remedy="start it with dask scheduler, and name the address that it prints",
        ) from error
    with client:
        every = range(len(items))
        suspects = _handed_out(client, work, items, done, every, deaths=MOST_DEATHS - 1)
        # A worker holds more tasks than it runs, and the scheduler blames them all for its death:
        # which killed it only shows when each is there by itself.
        return [
            place for place in suspects if _handed_out(client, work, items, done, [place], deaths=1)
        ]


def _handed_out(
    client: Any,
    work: Callable[[_Item], _Outcome],
    items: Sequence[_Item],
    done: Callable[[int, _Outcome], None],
    at: Sequence[int],
    deaths: int,
) -> list[int]:
    """Have the items at some places done, and list those that so many workers died with."""
    distributed = engine("distributed")
    given_up: list[int] = []
    places = {client.submit(work, items[place], pure=False, retries=0): place for place in at}
    _bear_deaths(client, [future.key for future in places], deaths)
    for future in distributed.as_completed(list(places)):
        place = places.pop(future)
        try:
            outcome = future.result()
        except distributed.KilledWorker:
            given_up.append(place)
            continue
        done(place, outcome)
        future.release()
    return sorted(given_up)


def _bear_deaths(client: Any, keys: Sequence[str], deaths: int) -> None:
    """Have the scheduler give tasks up when so many workers died with them.

    A scheduler has one such number for all that it does, which is the user's: a task begins with
    as many deaths against it as leave so few.
    """

    # Sent as it stands here, since a scheduler need not have trackkit.
    async def bear(dask_scheduler: Any) -> None:
        from asyncio import sleep

        for key in keys:
            # Tasks come to the scheduler by another way, and may still be on it.
            while key not in dask_scheduler.tasks:
                await sleep(0.01)
            dask_scheduler.tasks[key].suspicious = dask_scheduler.allowed_failures + 1 - deaths

    client.run_on_scheduler(bear)
