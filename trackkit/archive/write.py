"""Outcomes written to the tables of an archive, in batches beside the work."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from queue import Queue
from threading import Thread

from trackkit.archive.columns import RECORDINGS, TABLES, TRACES
from trackkit.archive.engines import engine
from trackkit.archive.hold import refuse_while_forgetting
from trackkit.archive.rows import table_of_rows
from trackkit.archive.store import opened, replace_rows
from trackkit.archive.work import Outcome

BATCH = 64
"""So many recordings are written in one go at most."""
_BATCH_S = 20.0
"""A recording that is timed waits no longer than this for others to be written with it."""


@contextmanager
def writing(archive: str) -> Iterator[Callable[[Outcome], None]]:
    """Write outcomes in batches beside the work; what has come is written however it ends."""
    waiting: Queue[Outcome | None] = Queue(maxsize=4 * BATCH)
    faults: list[Exception] = []

    def write_all() -> None:
        batch: list[Outcome] = []
        begun_s = time.monotonic()
        while True:
            outcome = waiting.get()
            if outcome is not None:
                batch.append(outcome)
            full = len(batch) >= BATCH or time.monotonic() - begun_s > _BATCH_S
            if batch and (outcome is None or full) and not faults:
                try:
                    write_batch(archive, batch)
                except Exception as error:  # noqa: BLE001 - raised again in the other thread
                    faults.append(error)
                batch, begun_s = [], time.monotonic()
            if outcome is None:
                return

    thread = Thread(target=write_all)
    thread.start()

    def put(outcome: Outcome) -> None:
        if faults:
            raise faults[0]
        waiting.put(outcome)

    try:
        yield put
    finally:
        waiting.put(None)
        thread.join()
    if faults:
        raise faults[0]


def write_batch(archive: str, batch: Sequence[Outcome]) -> None:
    """Write outcomes: the rows of all other tables first, the rows of the recordings last."""
    concat = engine("pyarrow").concat_tables
    refuse_while_forgetting(archive)
    recordings = [outcome.item.recording for outcome in batch]
    for table in TABLES[1:]:
        rows = [outcome.tables[table.name] for outcome in batch if table.name in outcome.tables]
        if table is TRACES and not rows and opened(archive, TRACES) is None:
            continue
        replace_rows(archive, table, concat([table.schema.empty_table(), *rows]), recordings)
    replace_rows(
        archive,
        RECORDINGS,
        table_of_rows(RECORDINGS, [outcome.row for outcome in batch]),
        recordings,
    )
