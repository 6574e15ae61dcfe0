"""The laps of many recordings, one drive in memory at a time."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sized

from trackkit.recordings.read import read_recording
from trackkit.recordings.recording import Recording
from trackkit.timing.lap_times import time_laps
from trackkit.timing.report import LapReport
from trackkit.track.model import Track


def time_many(
    track: Track,
    recordings: Iterable[Recording | str | os.PathLike[str]],
    progress: Callable[[int, int | None], None] | None = None,
) -> Iterator[LapReport]:
    """Time the laps of many recordings over a track, one after the other.

    One drive is held in memory at a time: each report comes without its drive and recording, and
    a file is read when its turn comes.

    Parameters
    ----------
    track
        With a finish gate (and a start gate, when it is not closed).
    recordings
        Recordings, or files of them.
    progress
        Called after each with how many are done and how many there are, which is None where
        `recordings` cannot tell.

    Yields
    ------
    LapReport
        One a recording, in their order.

    Raises
    ------
    PlaceError
        When the track lacks the gates that laps begin and end at.
    RecordingError
        When a file cannot be read as a recording.
    """
    count = len(recordings) if isinstance(recordings, Sized) else None
    for done, recording in enumerate(recordings, start=1):
        report = _timed_alone(track, recording)
        if progress is not None:
            progress(done, count)
        yield report


def _timed_alone(track: Track, recording: Recording | str | os.PathLike[str]) -> LapReport:
    # A function of its own, so that nothing holds the drive when the next is smoothed.
    if not isinstance(recording, Recording):
        recording = read_recording(recording)
    return time_laps(track, recording).without_drive()
