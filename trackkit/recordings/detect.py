"""Recognise a file by what it holds, never by its name alone."""

from __future__ import annotations

import codecs
import json
import os
import re
from typing import Any

from trackkit.budgets import budgets, require
from trackkit.errors import RecordingError, reading_failed
from trackkit.files import read_up_to
from trackkit.recordings.formats import HEAD_BYTES, WHAT_IS_READ, Format, Head, decode, format_of
from trackkit.recordings.packed import unpacked

_TRACK_OF_GPX = re.compile(rb"<(?:[\w.-]+:)?trk\b")

_OTHERS = (
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF-", "a PDF document"),
    (b"SQLite format 3\x00", "an SQLite database"),
)


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """Read a whole file, unpacking gzip, or a ZIP archive of one file.

    Raises
    ------
    RecordingError
        The file cannot be opened, is empty, or its archive is broken; or it is, or unpacks to,
        more than `trackkit.budgets` allows.
    """
    try:
        data = read_up_to(path, budgets().unpacked_bytes + 1)
    except OSError as error:
        raise RecordingError(reading_failed(path, error), file=path) from error
    except ValueError as error:
        raise RecordingError(f"is not a usable file name ({error})", file=path) from error
    require("unpacked_bytes", len(data), RecordingError, "has at least", file=path)
    data = unpacked(data, path)
    if not data.strip(b"\x00 \t\r\n\v\f"):
        raise RecordingError("is empty", file=path, remedy="give a file that holds fixes")
    return data


def without_blanks(data: bytes) -> bytes:
    """Leave out the blocks at the end of a text that a logger never filled before it lost power."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data
    return data.rstrip(b"\x00")


def recognised(path: str | os.PathLike[str]) -> tuple[bytes, Format]:
    """Read a whole file, unpacked, and say which format its content is in.

    Raises
    ------
    RecordingError
        As `read_bytes` does; or the content is in no format trackkit reads, and the sentence names
        what it is.
    """
    data = read_bytes(path)
    text = without_blanks(data)
    chosen = format_of(text)
    if chosen is None or not chosen.is_binary:
        for magic, words in _OTHERS:
            if data.startswith(magic):
                raise RecordingError(
                    f"is {words}, not a recording or a line", file=path, remedy=WHAT_IS_READ
                )
    if chosen is not None:
        return data if chosen.is_binary else text, chosen
    root = Head(data[:HEAD_BYTES]).xml_root
    if root is None:
        what = "is a binary file in no format trackkit knows"
    elif root.lower() == "html":
        what = "is a web page, not a recording"
    else:
        what = f"is XML with the root element <{root}>, not GPX"
    raise RecordingError(what, file=path, remedy=WHAT_IS_READ)


def is_surely_recording(path: str) -> bool:
    """Tell whether a file is in a format that is for recordings alone, and begins to be one.

    So does a table whose header names times, latitudes and longitudes.
    """
    try:
        data, chosen = recognised(path)
    except RecordingError:
        return False
    if chosen.key == "text":
        from trackkit.recordings.csv.fix_columns import names_fixes
        from trackkit.recordings.csv.layout import LINES_SEARCHED

        return names_fixes(decode(data).splitlines()[:LINES_SEARCHED])
    # Planned routes and waypoints come as GPX too.
    planned = chosen.key == "gpx" and _TRACK_OF_GPX.search(data) is None
    return chosen.is_for_recordings and not planned


def load_json(data: bytes, path: str | os.PathLike[str]) -> dict[str, Any]:
    """Parse GeoJSON text to its top object.

    Raises
    ------
    RecordingError
        The text is not JSON, or not an object.
    """
    try:
        document = json.loads(decode(data))
    except json.JSONDecodeError as error:
        raise RecordingError(
            f"is not valid JSON or breaks off ({error.msg})",
            file=path,
            place=f"line {error.lineno}",
        ) from error
    except (RecursionError, ValueError) as error:
        # Valid as JSON, but nested deeper or with longer numbers than any GeoJSON has.
        raise RecordingError("is JSON beyond what GeoJSON needs", file=path) from error
    if not isinstance(document, dict):
        raise RecordingError("is JSON but not GeoJSON", file=path)
    return document


def is_track_file(document: dict[str, Any]) -> bool:
    """Say whether a JSON document is a track file."""
    track = document.get("track")
    return isinstance(track, dict) and track.get("format") == "trackkit-track"
