"""The recordings that `map` and `edit` show, and the circuit that they were driven on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

import click

from trackkit.apart import each
from trackkit.cli.circuits import finder
from trackkit.cli.common import each_file, parse_columns, remark, remarks
from trackkit.cli.recording_folders import (
    close_together,
    drivers_of,
    labels_of,
    names_on_page,
    numbered,
    two_drove,
)
from trackkit.errors import RecordingError, TrackkitError
from trackkit.timing.driven_files import entries_of, files_of
from trackkit.units import as_read

if TYPE_CHECKING:
    from trackkit.library.driven_circuit import Found
    from trackkit.recordings.recording import Recording

skipped_option = click.option(
    "--skipped", is_flag=True, help="Name the files of folders that are no recordings."
)


@dataclass(frozen=True, eq=False)
class Drives:
    """Recordings that were named, or are in folders that were.

    Parameters
    ----------
    recordings, names, drivers
        Those that could be read, what a page calls them, and who drove.
    skipped
        Files of folders that are no recordings.
    failed
        What was wrong with others, which was said.
    """

    recordings: list[Recording]
    names: list[str]
    drivers: list[str]
    skipped: list[str]
    failed: list[TrackkitError]


def read_drives(words: Sequence[str], labels: tuple[str, ...], columns: str | None) -> Drives:
    """Read recordings, and those in folders; what of a folder is no recording is passed over.

    Raises
    ------
    TrackkitError
        When a folder or a table of drivers cannot be read.
    """
    from trackkit import read_recording
    from trackkit.recordings.detect import is_surely_recording

    listed = files_of(words)
    paths = [file.path for file in listed]
    entries = entries_of(listed, remark)
    called = labels_of(paths, labels, entries)
    mapping = parse_columns(columns)
    in_folder = {file.path for file in listed if file.in_folder}
    skipped: list[str] = []

    reading = each(partial(_read, columns=mapping), paths, "")

    def read(path: str) -> Recording | None:
        try:
            recording = next(reading) or read_recording(path, columns=mapping)
        except RecordingError:
            if path not in in_folder or is_surely_recording(path):
                raise
            skipped.append(path)
            return None
        remarks(recording.remarks, recording.name)
        return recording

    done, failed = each_file(paths, read, "reading recordings")
    recordings = [recording for recording in done if recording is not None]
    drivers = dict(zip(paths, drivers_of(paths, labels, entries), strict=True))
    _tell_shared(recordings, drivers)
    of_path = dict(zip(paths, numbered(called), strict=True))
    return Drives(
        recordings,
        names_on_page(paths, called, recordings),
        [drivers[recording.name] or of_path[recording.name] for recording in recordings],
        skipped,
        failed,
    )


def _read(path: str, columns: Mapping[str, str] | None) -> Recording | None:
    """Read a recording that may be read elsewhere; None where something is wrong with it."""
    from trackkit import read_recording

    try:
        return read_recording(path, columns=columns)
    except Exception:  # noqa: BLE001 - whoever asked reads it again, and meets the same
        return None


def _tell_shared(recordings: Sequence[Recording], drivers: Mapping[str, str]) -> None:
    """Say which recordings hold the same driving."""
    from trackkit.timing.duplicates import Sketch, shared_with, sketch

    sketches: list[Sketch] = []
    for recording in recordings:
        own = sketch(recording)
        shared = shared_with(sketches, own)
        for part in shared:
            two = two_drove(part, drivers)
            sentence = close_together(part, drivers) if two else part.sentence
            remark(as_read(sentence, (part.first, part.second)))
        if not any(part.whole for part in shared):
            sketches.append(own)


def tell_skipped(files: Sequence[str], *, named: bool) -> None:
    """Say how many files of folders are no recordings, and which where that was asked for."""
    if files:
        what = f"{len(files)} file{'s are' if len(files) > 1 else ' is'} no recording"
        remark(what + (f": {', '.join(files)}" if named else " (--skipped names them)"))


def circuit_of(drives: Drives, word: str) -> Found:
    """Locate the one circuit of some recordings.

    Parameters
    ----------
    drives
        The recordings.
    word
        The first that was named, for the sentence where there is none.

    Raises
    ------
    TrackkitError
        When there is no recording, their circuit is not known, or they are of several.
    """
    if not drives.recordings:
        raise drives.failed[0] if drives.failed else TrackkitError("holds no recording", file=word)
    circuits = {found.track.id: found for found in map(finder(), drives.recordings)}
    if len(circuits) > 1:
        titles = ", ".join(found.track.title for found in circuits.values())
        raise TrackkitError(
            f"these are recordings of {len(circuits)} circuits: {titles}",
            remedy="name the track, and only its recordings",
        )
    (found,) = circuits.values()
    return found
