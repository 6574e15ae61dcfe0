"""Readers of recordings and drawn lines: one door each, the format recognised from content."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import TYPE_CHECKING

from trackkit.errors import RecordingError
from trackkit.readers.lines import DrawnLine, read_line

if TYPE_CHECKING:
    from trackkit.readers.fixes import RawFixes
    from trackkit.recording import Recording

__all__ = ["COLUMN_ROLES", "DrawnLine", "read_line", "read_recording"]

COLUMN_ROLES = ("time", "latitude", "longitude", "speed", "course", "elevation", "accuracy", "hdop")
"""What `columns` may name in a CSV file."""


def read_recording(
    path: str | os.PathLike[str], *, columns: Mapping[str, str] | None = None
) -> Recording:
    """Read a recording: GPX, NMEA 0183, CSV or GeoJSON, possibly packed with gzip.

    Parameters
    ----------
    path
        The file; its format is recognised from what it holds.
    columns
        For CSV: which column holds what, by header or by number from 1.  Keys are among
        `COLUMN_ROLES`.  Where given, speed and course and so on are read from the columns named;
        columns not named are recognised by their headers.

    Returns
    -------
    The usable fixes.  What was removed, by the rules of `trackkit.readers.cleaning`, is counted in
    its `removed` and said in its `remarks`.

    Raises
    ------
    NoTimesError
        The file holds positions but no times.
    RecordingError
        The file cannot be read as a recording; for ambiguous columns the sentence is a question.
    """
    from trackkit.readers.cleaning import clean

    return clean(_read_fixes(path, columns), os.fspath(path))


def _read_fixes(path: str | os.PathLike[str], columns: Mapping[str, str] | None) -> RawFixes:
    from trackkit.readers import sniffing

    unknown = sorted(set(columns or ()) - set(COLUMN_ROLES))
    if unknown:
        raise RecordingError(
            f"no column can be named '{unknown[0]}'", remedy="use " + ", ".join(COLUMN_ROLES)
        )
    data = sniffing.read_bytes(path)
    kind = sniffing.recognise(data, path)
    if kind == "text":
        from trackkit.readers.delimited import read_delimited

        return read_delimited(data, path, columns or {})
    if columns:
        raise RecordingError(
            f"is {sniffing.FORMAT_NAMES[kind]}, whose columns cannot be named",
            file=path,
            remedy="leave --columns out",
        )
    if kind == "gpx":
        from trackkit.readers.gpx import read_gpx

        return read_gpx(data, path)
    if kind == "nmea":
        from trackkit.readers.nmea import read_nmea

        return read_nmea(data, path)
    if kind == "kml":
        raise RecordingError(
            "is KML, which is read as a drawn line only",
            file=path,
            remedy="use `trackkit build --from-line`, or save the recording as GPX",
        )
    from trackkit.readers.geojson import read_geojson

    return read_geojson(data, path)
