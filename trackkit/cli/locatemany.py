"""Many recordings for ``trackkit locate``, on all cores."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from trackkit.cli.common import progress
from trackkit.cli.remedies import error_sentence
from trackkit.errors import TrackkitError, UnforeseenError

if TYPE_CHECKING:
    from trackkit.library.folders import Library
    from trackkit.library.known import Located

ONE_PROCESS_UP_TO = 8
"""Fewer recordings than this are done before other processes have begun."""


@dataclass(frozen=True)
class Outcome:
    """What came of one recording: an answer or an error, as a sentence."""

    path: str
    located: Located | None
    error: str | None
    remarks: tuple[str, ...]


_opened: dict[tuple[str, ...], Library] = {}
"""Libraries that a worker process has opened, by their folders."""


def locate_each(
    paths: Sequence[str],
    library: Library,
    given: Sequence[str],
    radius_m: float,
    columns: Mapping[str, str] | None,
) -> Iterator[Outcome]:
    """Locate recordings in the order given, with a progress bar on a terminal."""
    processes = min(_cores(), len(paths))
    if len(paths) <= ONE_PROCESS_UP_TO or processes < 2:
        for path in progress(paths, "locating"):
            yield _outcome(path, library, radius_m, columns)
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    work = partial(_elsewhere, given=tuple(given), radius_m=radius_m, columns=columns)
    # Spawned, not forked: an open SQLite connection must not be carried into a child process.
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        try:
            outcomes = pool.map(work, paths, chunksize=max(1, min(16, len(paths) // 64)))
            for _ in progress(paths, "locating"):
                yield next(outcomes)
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def _cores() -> int:
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _elsewhere(
    path: str, given: tuple[str, ...], radius_m: float, columns: Mapping[str, str] | None
) -> Outcome:
    from trackkit import open_library
    from trackkit.library.folders import folders

    if given not in _opened:
        _opened[given] = open_library(folders(given))
    return _outcome(path, _opened[given], radius_m, columns)


def _outcome(
    path: str, library: Library, radius_m: float, columns: Mapping[str, str] | None
) -> Outcome:
    from trackkit import locate, read_line, read_recording
    from trackkit.errors import NoTimesError

    try:
        try:
            recording = read_recording(path, columns=columns)
        except NoTimesError:
            # Where a line lies can be told without knowing when it was driven.
            return Outcome(path, locate(read_line(path), library, radius_m=radius_m), None, ())
        located = locate(recording, library, radius_m=radius_m)
    except TrackkitError as error:
        return Outcome(path, None, error_sentence(error), ())
    except Exception as error:  # noqa: BLE001 - what nobody foresaw in one file is said of it
        return Outcome(path, None, error_sentence(UnforeseenError(error, path)), ())
    return Outcome(path, located, None, tuple(recording.remarks))
