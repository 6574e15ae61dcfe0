"""Files packed with gzip, or as the only one of a ZIP archive, unpacked within budgets."""

from __future__ import annotations

import gzip
import io
import os
import zipfile
import zlib
from typing import IO

from trackkit.budgets import RATIO_FROM_BYTES, require
from trackkit.errors import RecordingError

GZIP = b"\x1f\x8b"
ZIP = b"PK\x03\x04"
_PART_BYTES = 1 << 22
_LISTED = 6


def unpacked(data: bytes, path: str | os.PathLike[str]) -> bytes:
    """Unpack a file, if it is packed: with gzip, as a ZIP archive of one file, or one in the other.

    A KMZ is a ZIP archive whose first KML counts (OGC 12-007r2, annex C; from memory).

    Raises
    ------
    RecordingError
        The archive is broken, locked, or holds no file or several; or it unpacks to more than
        `trackkit.budgets` allows.
    """
    size = len(data)
    if data.startswith(ZIP):
        data = _unzipped(data, path)
        if data.startswith(ZIP):
            raise RecordingError(
                "is a ZIP archive of ZIP archives", file=path, remedy="unpack it first"
            )
    if data.startswith(GZIP):
        data = _gunzipped(data, size, path)
    return data


def _gunzipped(data: bytes, size: int, path: str | os.PathLike[str]) -> bytes:
    try:
        with gzip.GzipFile(fileobj=io.BytesIO(data)) as packed:
            return _whole(packed, size, "gzip", path)
    except EOFError as error:
        raise RecordingError(
            "its gzip breaks off before the end", file=path, remedy="copy or download it again"
        ) from error
    except (OSError, zlib.error) as error:
        raise RecordingError(
            f"its gzip is damaged ({error})", file=path, remedy="copy or download it again"
        ) from error


def _unzipped(data: bytes, path: str | os.PathLike[str]) -> bytes:
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            member = _the_only(archive, path)
            if member.flag_bits & 1:
                raise RecordingError(
                    "its ZIP archive is locked with a password",
                    file=path,
                    remedy="unpack it first",
                )
            with archive.open(member) as packed:
                return _whole(packed, len(data), "ZIP archive", path)
    except (zipfile.BadZipFile, EOFError, OSError, zlib.error, ValueError) as error:
        raise RecordingError(
            f"its ZIP archive is damaged or breaks off ({' '.join(str(error).split())})",
            file=path,
            remedy="copy or download it again",
        ) from error
    except (NotImplementedError, RuntimeError) as error:
        raise RecordingError(
            f"its ZIP archive is packed in a way that is not read ({error})",
            file=path,
            remedy="unpack it first",
        ) from error


def _the_only(archive: zipfile.ZipFile, path: str | os.PathLike[str]) -> zipfile.ZipInfo:
    """Choose the one file of an archive; what systems hide from people does not count."""
    members = [
        member
        for member in archive.infolist()
        if not member.is_dir()
        and not any(part.startswith((".", "__MACOSX")) for part in member.filename.split("/"))
    ]
    names = [member.filename for member in members]
    if "[Content_Types].xml" in names or "mimetype" in names:
        raise RecordingError(
            "is a document of an office program, not a recording or a line",
            file=path,
            remedy="save a spreadsheet as CSV",
        )
    drawn = [member for member in members if member.filename.lower().endswith(".kml")]
    if len(members) == 1 or drawn:
        return (drawn or members)[0]
    if not members:
        raise RecordingError("is a ZIP archive that holds no file", file=path)
    listed = ", ".join(names[:_LISTED]) + (", ..." if len(names) > _LISTED else "")
    raise RecordingError(
        f"is a ZIP archive of {len(names):,} files ({listed})",
        file=path,
        remedy="unpack it, and give each file by itself",
    )


def _whole(
    packed: IO[bytes] | gzip.GzipFile, size: int, what: str, path: str | os.PathLike[str]
) -> bytes:
    parts, length = [], 0
    while part := packed.read(_PART_BYTES):
        parts.append(part)
        length += len(part)
        require(
            "unpacked_bytes",
            length,
            RecordingError,
            f"its {what} unpacks to at least",
            file=path,
            remedy="unpack it and split it first",
        )
        if length > RATIO_FROM_BYTES:
            require(
                "packed_ratio",
                length / size,
                RecordingError,
                f"its {what} unpacks to",
                file=path,
                remedy="unpack it and look at what it holds",
            )
    return b"".join(parts)
