"""Recordings timed one after another or on all cores, one drive in memory a process."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, partial
from typing import TYPE_CHECKING

from trackkit.cli import standard_output
from trackkit.cli.circuits import NoCircuitError, finder
from trackkit.cli.common import progress, remark, remarks, say_error
from trackkit.cli.cores import ONE_PROCESS_UP_TO, each_elsewhere
from trackkit.cli.recording_folders import (
    close_together,
    drivers_of,
    labels_of,
    numbered,
    two_drove,
)
from trackkit.cli.remedies import error_sentence
from trackkit.cores import cores
from trackkit.errors import RecordingError, TrackkitError, UnforeseenError
from trackkit.timing.driven_files import Entry, entries_of, files_of
from trackkit.timing.rules import LapRules
from trackkit.units import as_read

if TYPE_CHECKING:
    from trackkit.library.driven_circuit import Found
    from trackkit.recordings.recording import Recording
    from trackkit.timing.duplicates import Sketch
    from trackkit.timing.losses import SessionSections
    from trackkit.timing.report import LapReport
    from trackkit.timing.traces import TraceLines
    from trackkit.track.model import Track


@dataclass(frozen=True)
class Job:
    """What to do with each recording.

    Parameters
    ----------
    track_path
        The track file, or None where the circuit of each has to be located.
    columns
        Of CSV recordings.
    rules
        What parts sessions, and which laps count.
    traces
        Whether traces are wanted too.
    antenna_ahead_m
        How far the antenna is ahead of the nose.
    losses
        Whether laps by their sections are wanted too.
    gates
        A gate set to lay over the track, or None.
    drives
        Whether reports are wanted with their drives, which only `timed_here` hands on.
    """

    track_path: str | None
    columns: Mapping[str, str] | None
    rules: LapRules
    traces: bool
    antenna_ahead_m: float = 0.0
    losses: bool = False
    gates: str | None = None
    drives: bool = False


@dataclass(frozen=True)
class Item:
    """A recording to be timed, what it is called, whether it was found in a folder, who drove."""

    path: str
    label: str
    in_folder: bool = False
    driver: str = ""


@dataclass(frozen=True, eq=False)
class Timed:
    """What came of one recording.

    Parameters
    ----------
    item
        The recording.
    remarks
        Sentences about it.
    circuit, report, sketch, traces, sections
        Its circuit, its laps, what to know it by, its traces, and its laps by their sections; None
        where it was not timed, or they are not wanted.
    error
        What was wrong with it: an error, or its sentence from another process.
    unplaced
        Whether that was only that its circuit is not known.
    skipped
        Whether it is a file of a folder and no recording.
    """

    item: Item
    remarks: tuple[str, ...] = ()
    circuit: Found | None = None
    report: LapReport | None = None
    sketch: Sketch | None = None
    traces: TraceLines | None = None
    sections: SessionSections | None = None
    error: TrackkitError | str | None = None
    unplaced: bool = False
    skipped: bool = False


@dataclass(eq=False)
class Untimed:
    """Recordings of which nothing came, as far as they have been gone through.

    Parameters
    ----------
    unplaced
        Those whose circuit is not known, and the sentence that says so.
    skipped
        Files of folders that are no recordings.
    failed
        Whether something was wrong with another.
    """

    unplaced: list[tuple[str, str]] = field(default_factory=list)
    skipped: list[str] = field(default_factory=list)
    failed: bool = False


def items_of(words: Sequence[str], labels: tuple[str, ...]) -> tuple[list[Item], dict[str, Entry]]:
    """List recordings that were named, or are in folders that were, and what tables say of them."""
    listed = files_of(words)
    paths = [file.path for file in listed]
    entries = entries_of(listed, remark)
    called = numbered(labels_of(paths, labels, entries))
    drivers = drivers_of(paths, labels, entries)
    items = [
        Item(file.path, label, file.in_folder, driver)
        for file, label, driver in zip(listed, called, drivers, strict=True)
    ]
    return items, entries


def timed_each(items: Sequence[Item], job: Job) -> Iterator[Timed]:
    """Time recordings in the order given, with a progress bar on a terminal."""
    processes = min(cores(), len(items))
    if len(items) <= ONE_PROCESS_UP_TO or processes < 2:
        yield from timed_here(items, job)
        return
    yield from each_elsewhere(partial(_elsewhere, job=job), items, "timing laps", processes)


def timed_here(items: Sequence[Item], job: Job) -> Iterator[Timed]:
    """Time recordings in this process, one after another in the order given."""
    find = _finding(job.track_path, job.gates)
    for item in progress(items, "timing laps"):
        yield _timed(item, job, find)


def counted_each(every: Iterable[Timed], untimed: Untimed) -> Iterator[Timed]:
    """Hand on recordings that were timed, no lap counted twice, and say what there is to say.

    Parameters
    ----------
    every
        What came of each recording.
    untimed
        Takes down those that could not be timed.
    """
    from trackkit.timing.duplicates import shared_with
    from trackkit.timing.many import counted_once

    sketches: list[Sketch] = []
    drivers: dict[str, str] = {}
    for timed in every:
        remarks(timed.remarks, timed.item.path)
        if timed.skipped:
            untimed.skipped.append(timed.item.path)
        elif timed.report is None or timed.sketch is None:
            sentence = _say_untimed(timed)
            if timed.unplaced:
                untimed.unplaced.append((timed.item.path, sentence))
            else:
                untimed.failed = True
        else:
            shared = shared_with(sketches, timed.sketch)
            if not any(part.whole for part in shared):
                sketches.append(timed.sketch)
            drivers[timed.sketch.name] = timed.item.driver
            kept = tuple(part for part in shared if not two_drove(part, drivers))
            for part in shared:
                sentence = part.sentence if part in kept else close_together(part, drivers)
                remark(as_read(sentence, (part.first, part.second)))
            yield replace(timed, report=counted_once(timed.report, kept))
        # Nothing may hold its drive while the next is made.
        del timed


def _say_untimed(timed: Timed) -> str:
    """Say why a recording was not timed, and return the sentence."""
    error = timed.error
    sentence = error_sentence(error) if isinstance(error, TrackkitError) else str(error)
    if timed.unplaced:
        remark(as_read(sentence, (timed.item.path,)))
    elif isinstance(error, TrackkitError):
        say_error(error)
    else:
        remark(f"trackkit: {sentence}")
    return sentence


def _elsewhere(item: Item, job: Job) -> Timed:
    timed = _timed(item, job, _finding_here(job.track_path, job.gates))
    if isinstance(timed.error, TrackkitError):
        # An error with all it knows does not travel between processes; its sentence does.
        sentence = error_sentence(timed.error)
        return Timed(item, timed.remarks, error=sentence, unplaced=timed.unplaced)
    return timed


@cache
def _finding_here(track_path: str | None, gates: str | None) -> Callable[[Recording], Found]:
    """Remember, in a process that lives for one command, what was opened and read."""
    return _finding(track_path, gates)


def _finding(track_path: str | None, gates: str | None) -> Callable[[Recording], Found]:
    """Make what tells the circuit of a recording: the one that was named, or the one it is on."""
    if track_path is None:
        find = finder()
        return find if gates is None else lambda recording: _with_gates(find(recording), gates)
    from trackkit import read_track
    from trackkit.library.driven_circuit import Found

    circuit = _with_gates(Found(read_track(track_path), track_path), gates)
    return lambda _: circuit


def _with_gates(circuit: Found, gates: str | None) -> Found:
    """Lay a gate set over a circuit."""
    if gates is None:
        return circuit
    from trackkit import with_gate_set

    return replace(circuit, track=with_gate_set(circuit.track, gates))


def _timed(item: Item, job: Job, find: Callable[[Recording], Found]) -> Timed:
    from trackkit import read_recording, time_laps
    from trackkit.recordings.detect import is_surely_recording
    from trackkit.timing.duplicates import sketch
    from trackkit.timing.losses import session_sections
    from trackkit.timing.sessions import Session
    from trackkit.timing.traces import trace_lines

    try:
        try:
            recording = read_recording(item.path, columns=job.columns)
        except RecordingError as error:
            if item.in_folder and not is_surely_recording(item.path):
                return Timed(item, skipped=True)
            return Timed(item, error=error)
        remarks = tuple(recording.remarks)
        try:
            circuit = find(recording)
        except NoCircuitError as error:
            return Timed(item, remarks, error=error, unplaced=True)
        remarks = (*remarks, *other_day(circuit.track, recording))
        report = time_laps(circuit.track, recording, job.rules, antenna_ahead_m=job.antenna_ahead_m)
        session = Session(item.path, item.label, report)
        traces = trace_lines(circuit.track, session) if job.traces else None
        sections = session_sections(circuit.track, report) if job.losses else None
        kept = report if job.drives else report.without_drive()
        return Timed(item, remarks, circuit, kept, sketch(recording), traces, sections)
    except TrackkitError as error:
        return Timed(item, error=error)
    except Exception as error:
        if isinstance(error, OSError) and standard_output.failed_with(error):
            raise
        # What nobody foresaw in one file is said of it.
        return Timed(item, error=UnforeseenError(error, item.path))


def other_day(track: Track, recording: Recording) -> list[str]:
    """Say where the track file says that the layout was another one on the recording's day."""
    from trackkit.track.validity import is_valid, local_day

    if recording.start is None:
        return []
    longitude = float(track.centreline.longitude_deg[0])
    day = local_day(recording.start, track.timezone, longitude)
    if is_valid(track, day):
        return []
    period = [f"from {track.valid_from}"] if track.valid_from else []
    period += [f"until {track.valid_until}"] if track.valid_until else []
    text = (
        f"{track.title} is valid {' '.join(period)}, and this was recorded on {day}: another "
        "layout may have been driven"
    )
    return [text]
