"""Many recordings for ``trackkit locate``, on all cores."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from trackkit.cli.common import progress
from trackkit.cli.cores import each_elsewhere
from trackkit.cli.remedies import error_sentence
from trackkit.cores import cores
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
    processes = min(cores(), len(paths))
    if len(paths) <= ONE_PROCESS_UP_TO or processes < 2:
        for path in progress(paths, "locating"):
            yield _outcome(path, library, radius_m, columns)
        return
    work = partial(_elsewhere, given=tuple(given), radius_m=radius_m, columns=columns)
    at_once = max(1, min(16, len(paths) // 64))
    yield from each_elsewhere(work, paths, "locating", processes, at_once=at_once)


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
