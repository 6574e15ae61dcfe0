"""The formats of recordings: how each is known by what it holds, and what reads it.

Formats of other packages join ours: an entry point of the group `GROUP` that is a `Format`.
"""

from __future__ import annotations

import codecs
import os
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import import_module
from typing import TYPE_CHECKING, Any

from trackkit.errors import RecordingError, TrackkitError

if TYPE_CHECKING:
    from trackkit.recordings.raw import RawFixes

GROUP = "trackkit.readers"
HEAD_BYTES = 1 << 16

_SENTENCE = re.compile(rb"\$[A-Z]{2}(?:RMC|GGA|GNS|VTG|ZDA|GLL|GSA|GSV),[^\r\n$]*")
_BEFORE_ROOT = re.compile(
    r"\s+|<\?.*?\?>|<!--.*?-->|<!DOCTYPE[^\[>]*(?:\[.*?\]\s*)?>", re.DOTALL | re.IGNORECASE
)
_ROOT = re.compile(r"<(?:[\w.-]+:)?([A-Za-z_][\w.-]*)")
_SOLUTION_HEADER = re.compile(rb"^%[^\r\n]*\b(?:GPST|UTC|JST)\b[^\r\n]*\(", re.MULTILINE)
_SQLITE = b"SQLite format 3\x00"
_GEOPACKAGE_IDS = (b"GPKG", b"GP10", b"GP11")


def decode(data: bytes) -> str:
    """Turn bytes into text: UTF-8 or UTF-16 by their mark, else UTF-8, else Windows' Latin."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("cp1252", errors="replace")


@dataclass(frozen=True, eq=False)
class Head:
    """The beginning of a file, by which its format is recognised.

    Parameters
    ----------
    data
        Its first `HEAD_BYTES` bytes at most.
    """

    data: bytes

    @cached_property
    def is_utf16(self) -> bool:
        """Whether it is marked as UTF-16."""
        return self.data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))

    @cached_property
    def text(self) -> str:
        """The same as text, from its first character that is no space."""
        if self.is_utf16:
            return self.data[: len(self.data) & ~1].decode("utf-16", "replace").lstrip()
        return decode(self.data).lstrip()

    @cached_property
    def xml_root(self) -> str | None:
        """Local name of the root element as written, "" where it is broken; None if no XML."""
        if not self.text.startswith("<"):
            return None
        at = 0
        while skipped := _BEFORE_ROOT.match(self.text, at):
            at = skipped.end()
        root = _ROOT.match(self.text, at)
        return root.group(1) if root else ""


@dataclass(frozen=True)
class Format:
    """A format of recordings.

    Parameters
    ----------
    key
        Its short name.
    name
        What people call it.
    recognise
        Says whether a file that begins like this is in it.
    read
        Reads a file: of its bytes and its path it makes `trackkit.recordings.raw.RawFixes`, or
        raises `trackkit.errors.RecordingError`.  Where `has_columns`, it is given besides, as a
        third argument, which column holds what, by role.
    has_columns
        Whether a user may name its columns.
    is_binary
        Whether zero bytes at its end are part of it.
    is_for_recordings
        Whether what is in it is always a recording, and no table of something else.
    """

    key: str
    name: str
    recognise: Callable[[Head], bool]
    read: Callable[..., RawFixes]
    has_columns: bool = False
    is_binary: bool = False
    is_for_recordings: bool = True


def _by(place: str) -> Callable[..., Any]:
    """Make a function of trackkit.recordings that is imported only when it is called."""
    module, name = place.split(":")

    def imported(*arguments: Any) -> Any:
        return getattr(import_module(f"trackkit.recordings.{module}"), name)(*arguments)

    return imported


def _is_geopackage(head: Head) -> bool:
    # OGC 12-128r17, requirement 2: "GPKG" as SQLite's application id, "GP10" and "GP11" before.
    return head.data.startswith(_SQLITE) and head.data[68:72] in _GEOPACKAGE_IDS


def _is_kml(head: Head) -> bool:
    return (head.xml_root or "").lower() == "kml"


def _is_gpx(head: Head) -> bool:
    # XML that is broken before its first element: the XML library says where.
    return (head.xml_root or "").lower() == "gpx" or head.xml_root == ""


def _is_ubx(head: Head) -> bool:
    return b"\xb5\x62" in head.data and bool(_by("ubx.frames:has_frame")(head.data))


_CERTAIN = (
    Format(
        "fit", "FIT", lambda head: head.data[8:12] == b".FIT", _by("fit:read_fit"), is_binary=True
    ),
    Format(
        "parquet",
        "Parquet",
        lambda head: head.data.startswith(b"PAR1"),
        _by("parquet:read_parquet"),
        has_columns=True,
        is_binary=True,
        is_for_recordings=False,
    ),
    Format(
        "fgb",
        "FlatGeobuf",
        lambda head: head.data.startswith(b"fgb\x03fgb"),
        _by("features:read_features"),
        has_columns=True,
        is_binary=True,
        is_for_recordings=False,
    ),
    Format(
        "gpkg",
        "GeoPackage",
        _is_geopackage,
        _by("features:read_features"),
        has_columns=True,
        is_binary=True,
        is_for_recordings=False,
    ),
    Format("ubx", "UBX", _is_ubx, _by("ubx.read:read_ubx"), is_binary=True),
    Format("gpx", "GPX", _is_gpx, _by("gpx:read_gpx")),
    Format("kml", "KML", _is_kml, _by("kml:read_kml"), is_for_recordings=False),
    Format(
        "tcx", "TCX", lambda head: head.xml_root == "TrainingCenterDatabase", _by("tcx:read_tcx")
    ),
    Format(
        "nmea",
        "NMEA 0183",
        lambda head: head.xml_root is None and _SENTENCE.search(head.data) is not None,
        _by("nmea.read:read_nmea"),
    ),
    Format(
        "pos",
        "an RTKLIB solution",
        lambda head: _SOLUTION_HEADER.search(head.data) is not None,
        _by("rtklib:read_solution"),
    ),
)
"""Formats that are known by a mark of their own."""

_LOOSE = (
    Format(
        "json",
        "GeoJSON",
        lambda head: head.text.startswith(("{", "[")),
        _by("geojson:read_geojson"),
        is_for_recordings=False,
    ),
    Format(
        "text",
        "text",
        lambda head: head.is_utf16 or b"\x00" not in head.data,
        _by("csv.read:read_delimited"),
        has_columns=True,
        is_for_recordings=False,
    ),
)
"""Formats that whatever looks like JSON or text is tried as, when no other is recognised."""

WHAT_IS_READ = (
    "trackkit reads GPX, KML and TCX, NMEA 0183, UBX, FIT and RTKLIB solutions, CSV, GeoJSON, "
    "GeoPackage, FlatGeobuf and Parquet"
)


def format_of(data: bytes) -> Format | None:
    """Find the format of a file by its content.

    Parameters
    ----------
    data
        The file's bytes, unpacked.

    Returns
    -------
    Format or None
        The first that recognises it: ours with a mark of their own, then those of other packages,
        then GeoJSON and text.

    Raises
    ------
    RecordingError
        A reader of another package cannot be loaded.
    """
    head = Head(data[:HEAD_BYTES])
    for certain in _CERTAIN:
        if certain.recognise(head):
            return certain
    others: tuple[Format, ...] = formats_of_others()
    if head.xml_root is None:
        others += _LOOSE
    for other in others:
        if other.recognise(head):
            return other
    return None


@cache
def formats_of_others() -> tuple[Format, ...]:
    """Load the formats that other packages add, by their entry points.

    Raises
    ------
    RecordingError
        One of them cannot be loaded.
    """
    from importlib.metadata import entry_points

    loaded: list[Format] = []
    for point in entry_points(group=GROUP):
        try:
            added: object = point.load()
        except Exception as error:
            raise _unusable(point.value, f"{type(error).__name__}: {error}") from error
        if not isinstance(added, Format):
            raise _unusable(point.value, f"it is no {Format.__name__}")
        loaded.append(added)
    return tuple(loaded)


def _unusable(place: str, why: str) -> RecordingError:
    return RecordingError(
        f"a reader that another package adds cannot be loaded ({place}: {' '.join(why.split())})",
        remedy="update that package, or take it out",
    )


def read_with(
    chosen: Format, data: bytes, path: str | os.PathLike[str], columns: Mapping[str, str]
) -> RawFixes:
    """Read a file in its format.

    Parameters
    ----------
    chosen
        From `format_of`.
    data, path
        The file.
    columns
        Which column holds what, by role; passed on where the format has any.

    Raises
    ------
    RecordingError
        The reader of another package has a fault.
    """
    ours = chosen in _CERTAIN or chosen in _LOOSE
    try:
        return chosen.read(data, path, columns) if chosen.has_columns else chosen.read(data, path)
    except Exception as error:
        if ours or isinstance(error, TrackkitError):
            raise
        why = " ".join(f"{type(error).__name__}: {error}".split())
        raise RecordingError(
            f"the reader of {chosen.name} that another package adds failed ({why})",
            file=path,
            remedy="report it to the makers of that package, with this file",
        ) from error
