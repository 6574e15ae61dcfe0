"""Recognise a file by what it holds, never by its name alone."""

from __future__ import annotations

import codecs
import gzip
import io
import json
import os
import re
import zlib
from typing import Any

from trackkit.budgets import RATIO_FROM_BYTES, budgets, require
from trackkit.errors import RecordingError, reading_failed
from trackkit.files import read_up_to

HEAD_BYTES = 1 << 16
_PART_BYTES = 1 << 22

_BINARY = (
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"\x89PNG\r\n\x1a\n", "a PNG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF-", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive"),
    (b"SQLite format 3\x00", "an SQLite database"),
)
_SENTENCE = re.compile(rb"\$[A-Z]{2}(?:RMC|GGA|GNS|VTG|ZDA|GLL|GSA|GSV),[^\r\n$]*")
_BEFORE_ROOT = re.compile(
    r"\s+|<\?.*?\?>|<!--.*?-->|<!DOCTYPE[^\[>]*(?:\[.*?\]\s*)?>", re.DOTALL | re.IGNORECASE
)
_ROOT = re.compile(r"<(?:[\w.-]+:)?([A-Za-z_][\w.-]*)")


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """Read a whole file, unpacking gzip.

    Raises
    ------
    RecordingError
        The file cannot be opened, is empty, or its gzip is broken; or it is, or unpacks to, more
        than `trackkit.budgets` allows.
    """
    try:
        data = read_up_to(path, budgets().unpacked_bytes + 1)
    except OSError as error:
        raise RecordingError(reading_failed(path, error), file=path) from error
    except ValueError as error:
        raise RecordingError(f"is not a usable file name ({error})", file=path) from error
    require("unpacked_bytes", len(data), RecordingError, "has at least", file=path)
    if data[:2] == b"\x1f\x8b":
        data = _unpack(data, path)
    if not data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        # A logger that lost its power leaves blocks it never filled at the end.
        data = data.rstrip(b"\x00")
    if not data.strip():
        raise RecordingError("is empty", file=path, remedy="give a file that holds fixes")
    return data


def _unpack(data: bytes, path: str | os.PathLike[str]) -> bytes:
    parts, size = [], 0
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as packed:
            while part := packed.read(_PART_BYTES):
                parts.append(part)
                size += len(part)
                require(
                    "unpacked_bytes",
                    size,
                    RecordingError,
                    "its gzip unpacks to at least",
                    file=path,
                    remedy="unpack it and split it first",
                )
                if size > RATIO_FROM_BYTES:
                    require(
                        "packed_ratio",
                        size / len(data),
                        RecordingError,
                        "its gzip unpacks to",
                        file=path,
                        remedy="unpack it and look at what it holds",
                    )
    except EOFError as error:
        raise RecordingError(
            "its gzip breaks off before the end", file=path, remedy="copy or download it again"
        ) from error
    except (OSError, zlib.error) as error:
        raise RecordingError(
            f"its gzip is damaged ({error})", file=path, remedy="copy or download it again"
        ) from error
    return b"".join(parts)


def decode(data: bytes) -> str:
    """Turn bytes into text: UTF-8 or UTF-16 by their mark, else UTF-8, else Windows' Latin."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


def recognise(data: bytes, path: str | os.PathLike[str]) -> str:
    """Say which format a file's content is in.

    Returns
    -------
    One of "gpx", "kml", "json", "nmea", "text" (delimited, if anything).

    Raises
    ------
    RecordingError
        The content is in no format trackkit reads; the sentence names what it is.
    """
    for magic, words in _BINARY:
        if data.startswith(magic):
            raise RecordingError(
                f"is {words}, not a recording or a line",
                file=path,
                remedy="unpack it first" if "ZIP" in words else _WHAT_IS_READ,
            )
    head = data[:HEAD_BYTES]
    utf16 = head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    text = (head[: len(head) & ~1].decode("utf-16", "replace") if utf16 else decode(head)).lstrip()
    if text.startswith("<"):
        return _recognise_xml(text, path)
    if _SENTENCE.search(head):
        return "nmea"
    if text.startswith(("{", "[")):
        return "json"
    if not utf16 and b"\x00" in head:
        raise RecordingError(
            "is a binary file in no format trackkit knows", file=path, remedy=_WHAT_IS_READ
        )
    return "text"


FORMAT_NAMES = {"gpx": "GPX", "kml": "KML", "json": "GeoJSON", "nmea": "NMEA 0183", "text": "text"}
_WHAT_IS_READ = "trackkit reads GPX, NMEA 0183, CSV and GeoJSON"


def _recognise_xml(text: str, path: str | os.PathLike[str]) -> str:
    at = 0
    while skipped := _BEFORE_ROOT.match(text, at):
        at = skipped.end()
    root = _ROOT.match(text, at)
    name = root.group(1) if root else ""
    if name.lower() in ("gpx", "kml"):
        return name.lower()
    if name.lower() == "html":
        raise RecordingError("is a web page, not a recording", file=path, remedy=_WHAT_IS_READ)
    if not name:
        # Broken before its first element: let the XML library say where.
        return "gpx"
    raise RecordingError(
        f"is XML with the root element <{name}>, not GPX", file=path, remedy=_WHAT_IS_READ
    )


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
