"""Which tasks of a cluster are set aside."""

from __future__ import annotations

from types import SimpleNamespace

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

    def submit(self, work, item, **_: object):
        self.held.append(item)
        return SimpleFuture(self, work, item)


class SimpleFuture:
    def __init__(self, client: Client, work, item: int) -> None:
        self.client, self.work, self.item = client, work, item

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
