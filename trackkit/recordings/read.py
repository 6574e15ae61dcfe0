"""Recordings read from files, whose format is recognised from content."""

from __future__ import annotations

import os
from collections.abc import Mapping
from typing import TYPE_CHECKING

from trackkit.errors import RecordingError
from trackkit.remedies import Remedy

if TYPE_CHECKING:
    from trackkit.recordings.raw import RawFixes
    from trackkit.recordings.recording import Recording

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
    Recording
        The usable fixes.  What was removed, by the rules of `trackkit.recordings.clean`, is counted
        in its `removed` and said in its `remarks`.

    Raises
    ------
    NoTimesError
        The file holds positions but no times.
    RecordingError
        The file cannot be read as a recording; for ambiguous columns the sentence is a question.
    """
    from trackkit.recordings.clean import clean

    return clean(_read_fixes(path, columns), os.fspath(path))


def _read_fixes(path: str | os.PathLike[str], columns: Mapping[str, str] | None) -> RawFixes:
    from trackkit.recordings import detect

    unknown = sorted(set(columns or ()) - set(COLUMN_ROLES))
    if unknown:
        raise RecordingError(
            f"no column can be named '{unknown[0]}'", remedy="use " + ", ".join(COLUMN_ROLES)
        )
    data = detect.read_bytes(path)
    kind = detect.recognise(data, path)
    if kind == "text":
        from trackkit.recordings.csv.read import read_delimited

        return read_delimited(data, path, columns or {})
    if columns:
        raise RecordingError(
            f"is {detect.FORMAT_NAMES[kind]}, whose columns cannot be named",
            file=path,
            remedy=Remedy("name none", do="leave out", value={"argument": "columns"}),
        )
    if kind == "gpx":
        from trackkit.recordings.gpx import read_gpx

        return read_gpx(data, path)
    if kind == "nmea":
        from trackkit.recordings.nmea.read import read_nmea

        return read_nmea(data, path)
    if kind == "kml":
        raise RecordingError(
            "is KML, which is read as a drawn line only",
            file=path,
            remedy=Remedy(
                "save the recording as GPX, or build from it as a drawn line",
                do="build from line",
            ),
        )
    from trackkit.recordings.geojson import read_geojson

    return read_geojson(data, path)
