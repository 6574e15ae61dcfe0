"""The laps of many recordings, one drive in memory at a time."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence, Sized
from dataclasses import replace

from trackkit.recordings.read import read_recording
from trackkit.recordings.recording import Recording
from trackkit.timing.driven_once import is_copy, set_aside_for
from trackkit.timing.duplicates import Shared, Sketch, shared_with, sketch
from trackkit.timing.lap_times import time_laps
from trackkit.timing.laps import Lap
from trackkit.timing.report import LapReport
from trackkit.timing.rules import USUAL_RULES, LapRules
from trackkit.track.model import Track

_EDGE_S = 1.0


def time_many(
    track: Track,
    recordings: Iterable[Recording | str | os.PathLike[str]],
    progress: Callable[[int, int | None], None] | None = None,
    rules: LapRules = USUAL_RULES,
    *,
    antenna_ahead_m: float = 0.0,
) -> Iterator[LapReport]:
    """Time the laps of many recordings over a track, one after the other.

    One drive is held in memory at a time: each report comes without its drive and recording, and
    a file is read when its turn comes.  A lap that several recordings hold counts in the first.

    Parameters
    ----------
    track
        With a finish gate (and a start gate, when it is not closed).
    recordings
        Recordings, or files of them.
    progress
        Called after each with how many are done and how many there are, which is None where
        `recordings` cannot tell.
    rules
        What parts sessions, and which laps count.
    antenna_ahead_m
        How far the antenna is ahead of what crosses the line, metres; negative if it is behind.

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

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drives = [trackkit.simulate_drive(track, laps=1, seed=seed).recording for seed in (1, 2)]
    >>> [len(report.counted) for report in trackkit.time_many(track, drives)]
    [1, 1]
    """
    count = len(recordings) if isinstance(recordings, Sized) else None
    sketches: list[Sketch] = []
    for done, recording in enumerate(recordings, start=1):
        report, own = _timed_alone(track, recording, rules, antenna_ahead_m)
        report = counted_once(report, shared_with(sketches, own))
        if not is_copy(report):
            sketches.append(own)
        if progress is not None:
            progress(done, count)
        yield report


def _timed_alone(
    track: Track,
    recording: Recording | str | os.PathLike[str],
    rules: LapRules,
    antenna_ahead_m: float,
) -> tuple[LapReport, Sketch]:
    # A function of its own, so that nothing holds the drive when the next is smoothed.
    if not isinstance(recording, Recording):
        recording = read_recording(recording)
    report = time_laps(track, recording, rules, antenna_ahead_m=antenna_ahead_m)
    return report.without_drive(), sketch(recording)


def counted_once(report: LapReport, shared: Sequence[Shared]) -> LapReport:
    """Set the laps aside that count in another recording, for none may count twice.

    Parameters
    ----------
    report
        Of the second recording.
    shared
        What it has in common with those before it.

    Returns
    -------
    LapReport
        With what is left.
    """
    begin = 0.0 if report.start is None else report.start.timestamp()

    def once(lap: Lap) -> Lap:
        if lap.start_s is None or lap.time_s is None:
            return lap
        begun_s, ended_s = begin + lap.start_s, begin + lap.start_s + lap.time_s
        for part in shared:
            inside = part.begin_s - _EDGE_S <= begun_s and ended_s <= part.end_s + _EDGE_S
            if part.kind == "same" and inside:
                return set_aside_for(lap, part.first)
        return lap

    if not shared:
        return report
    laps = [once(lap) for lap in report.laps]
    return replace(report.of_laps(laps), shared=tuple(shared))


def each_counted_once(reports: Iterable[LapReport]) -> list[LapReport]:
    """Have each lap that several reports hold count in the first.

    Parameters
    ----------
    reports
        With their recordings.

    Returns
    -------
    list of LapReport
        In the same order, with what each shares with those before it.
    """
    sketches: list[Sketch] = []
    every = []
    for report in reports:
        own = sketch(report.recording)
        every.append(counted_once(report, shared_with(sketches, own)))
        if not is_copy(every[-1]):
            sketches.append(own)
    return every
