"""Which tasks of a cluster are set aside."""

from __future__ import annotations

import os
import signal
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import pytest

from trackkit.archive import spread as spreading


class KilledWorkerError(Exception):
    """What the scheduler says of a task that it gave up."""


class Client:
    """A cluster that blames all tasks it holds for the death of a worker, as dask does."""

    def __init__(self, *_: object, **__: object) -> None:
        self.held: list[int] = []

    def __enter__(self):
        return self

    def __exit__(self, *_: object) -> None:
        return None

    def run_on_scheduler(self, function) -> None:
        """Deaths are told by `SimpleFuture`."""

    def submit(self, work, item, **_: object):
        self.held.append(item)
        return SimpleFuture(self, work, item)


class SimpleFuture:
    def __init__(self, client: Client, work, item: int) -> None:
        self.client, self.work, self.item = client, work, item
        self.key = f"item-{item}"

    def result(self):
        if 3 in self.client.held and self.item in (3, 4):
            raise KilledWorkerError
        return self.work(self.item)

    def release(self) -> None:
        self.client.held.remove(self.item)


def completed(futures):
    yield from futures
    for future in futures:
        if future.item in future.client.held:
            future.release()


def test_only_what_kills_workers_by_itself_is_set_aside(monkeypatch):
    distributed = SimpleNamespace(
        Client=Client, KilledWorker=KilledWorkerError, as_completed=completed
    )
    monkeypatch.setattr(spreading, "engine", lambda name: distributed)
    outcomes: dict[int, int] = {}
    dead = spreading.spread(
        lambda item: item * item, list(range(6)), outcomes.__setitem__, scheduler="tcp://any"
    )
    assert dead == [3]
    assert outcomes == {0: 0, 1: 1, 2: 4, 4: 16, 5: 25}


def killing(item: int, folder: str) -> int:
    """Square a number; at 3 note it in a file and kill the worker."""
    if item == 3:
        with (Path(folder) / "deaths").open("a") as deaths:
            deaths.write("x")
        os.kill(os.getpid(), signal.SIGKILL)
    return item * item


@pytest.mark.skipif(
    "TRACKKIT_CLUSTER" not in os.environ,
    reason="by hand, with TRACKKIT_CLUSTER=1: a scheduler whose workers died may wait for ever",
)
def test_on_a_cluster_what_killed_three_workers_is_set_aside(tmp_path):
    """A scheduler and workers on loopback, whose own setting would allow for more deaths.

    Two workers are left after the last death: on a busy machine those that died may stay away.
    """
    distributed = pytest.importorskip("distributed", reason="the extra archive is not installed")
    with distributed.LocalCluster(
        n_workers=spreading.MOST_DEATHS + 2,
        threads_per_worker=1,
        host="127.0.0.1",
        dashboard_address=None,
        silence_logs=50,
    ) as cluster:
        outcomes: dict[int, int] = {}
        dead = spreading.spread(
            partial(killing, folder=str(tmp_path)),
            list(range(8)),
            outcomes.__setitem__,
            scheduler=cluster.scheduler_address,
        )
    assert dead == [3]
    assert outcomes == {item: item * item for item in range(8) if item != 3}
    assert (tmp_path / "deaths").read_text() == "x" * spreading.MOST_DEATHS
