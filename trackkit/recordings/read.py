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

COLUMN_ROLES = (
    "time",
    "latitude",
    "longitude",
    "speed",
    "course",
    "elevation",
    "accuracy",
    "speed_accuracy",
    "hdop",
)
"""What `columns` may name in a table."""


def read_recording(
    path: str | os.PathLike[str], *, columns: Mapping[str, str] | None = None
) -> Recording:
    """Read a recording, possibly packed with gzip or as the only file of a ZIP archive.

    GPX, KML with gx:Track, TCX, NMEA 0183, UBX, FIT, solutions of RTKLIB, CSV, GeoJSON, points of
    GeoPackage, FlatGeobuf and GeoParquet, tables of Parquet, and what other packages add (see
    `trackkit.recordings.formats`).

    Parameters
    ----------
    path
        The file; its format is recognised from what it holds.
    columns
        For tables: which column holds what, by header or by number from 1.  Keys are among
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

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> drive = trackkit.simulate_drive(track, laps=1, rate_hz=1, seed=1)
    >>> trackkit.write_recording(drive.recording, "monday.csv", force=True)
    >>> recording = trackkit.read_recording("monday.csv")
    >>> recording.name, len(recording) == len(drive.recording)
    ('monday.csv', True)
    """
    from trackkit.recordings.clean import clean

    return clean(_read_fixes(path, columns), os.fspath(path))


def _read_fixes(path: str | os.PathLike[str], columns: Mapping[str, str] | None) -> RawFixes:
    from trackkit.recordings import detect
    from trackkit.recordings.formats import read_with

    unknown = sorted(set(columns or ()) - set(COLUMN_ROLES))
    if unknown:
        raise RecordingError(
            f"no column can be named '{unknown[0]}'", remedy="use " + ", ".join(COLUMN_ROLES)
        )
    data, chosen = detect.recognised(path)
    if columns and not chosen.has_columns:
        raise RecordingError(
            f"is {chosen.name}, whose columns cannot be named",
            file=path,
            remedy=Remedy("name none", do="leave out", value={"argument": "columns"}),
        )
    return read_with(chosen, data, path, columns or {})
