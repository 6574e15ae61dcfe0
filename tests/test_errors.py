"""Errors say file, place, what is wrong and what to do, in one sentence."""

import errno
from pathlib import Path

import pytest

from trackkit.errors import (
    NoLapError,
    NoTimesError,
    OutputError,
    PlaceError,
    RecordingError,
    TrackFileError,
    TrackkitError,
    reading_failed,
)


def test_an_error_says_file_place_what_and_remedy_in_one_sentence():
    error = TrackkitError("has no name", file="a.geojson", place="line 3", remedy="give it one")
    assert str(error) == "a.geojson, line 3: has no name; give it one"


@pytest.mark.parametrize(
    ("parts", "sentence"),
    [
        ({}, "has no name"),
        ({"file": Path("b") / "a.gpx"}, "b/a.gpx: has no name"),
        ({"place": "gate finish"}, "gate finish: has no name"),
        ({"remedy": "give it one"}, "has no name; give it one"),
    ],
)
def test_an_error_leaves_out_what_it_does_not_know(parts, sentence):
    assert str(TrackkitError("has no name", **parts)) == sentence


def test_one_except_clause_catches_every_error_of_trackkit():
    kinds = [NoLapError, NoTimesError, OutputError, PlaceError, RecordingError, TrackFileError]
    assert all(issubclass(kind, TrackkitError) for kind in kinds)
    assert issubclass(NoTimesError, RecordingError)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (FileNotFoundError(errno.ENOENT, "No such file or directory"), "no such file"),
        (IsADirectoryError(errno.EISDIR, "Is a directory"), "is a folder, not a file"),
        (PermissionError(errno.EACCES, "Permission denied"), "may not be read by this user"),
        (OSError(errno.EIO, "Input/output error"), "cannot be read (Input/output error)"),
    ],
)
def test_a_file_that_cannot_be_opened_is_reported_in_words(error, words):
    assert reading_failed("a.gpx", error) == words
