"""Tracks written in other open formats, by the format's name."""

from __future__ import annotations

import os
from typing import Literal, get_args

from trackkit.errors import OutputError
from trackkit.export.csv import gates_csv
from trackkit.export.dxf import dxf_drawing
from trackkit.export.geopackage import write_geopackage
from trackkit.export.gpx import gpx_text
from trackkit.export.kml import kml_document
from trackkit.files import write_whole
from trackkit.track.file import write_track
from trackkit.track.model import Track

ExportFormat = Literal["geojson", "gpx", "kml", "gpkg", "csv", "dxf"]
EXPORT_FORMATS: tuple[ExportFormat, ...] = get_args(ExportFormat)


def export_track(
    track: Track,
    path: str | os.PathLike[str],
    fmt: str,
    *,
    crs: str | None = None,
    force: bool = False,
) -> tuple[str, ...]:
    """Write a track in an open format, whole or not at all.

    ``geojson`` is the track file itself.  ``gpx`` (GPX 1.1) has the centreline and pit lanes as
    tracks, each gate as a route from its left to its right end and as a waypoint at its middle,
    each corner as a waypoint, ids as comments.  ``kml`` and ``gpkg`` (GeoPackage) have the layers
    centreline, gates, corners and pit_lane, as far as the track has any, with their properties as
    fields.  ``csv`` has one row a gate.  ``dxf`` is a drawing in a grid, with the layers
    centreline, edge-left, edge-right, gates, pit-lane and corners; it needs ezdxf, the extra
    ``dxf``.

    Longitudes are always within [-180, 180] degrees.  Across the antimeridian a GPX track is cut
    into two segments, and a KML or GeoPackage line into the two parts of a multi-line; a
    GPX route and a CSV row keep both ends as they are, one on each side.

    Parameters
    ----------
    track
        What to write.
    path
        The file.
    fmt
        One of `EXPORT_FORMATS`.
    crs
        The grid of a drawing, as PROJ understands it; the zone of UTM when None.  The other formats
        are in WGS 84 and take none.
    force
        Whether a file that exists may be replaced.

    Returns
    -------
    tuple of str
        Sentences about a drawing: which grid it is in, and how lengths in it differ from those on
        the ground.

    Raises
    ------
    TrackFileError
        When the track would break the format of track files; only for ``geojson``.
    OutputError
        When the format is unknown or takes no grid, the file exists and `force` is false, or cannot
        be written.
    PlaceError
        When `crs` is no grid that can hold the track.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> remarks = trackkit.export_track(track, "pipwick.gpx", "gpx", force=True)
    """
    if crs is not None and fmt != "dxf":
        raise OutputError(f"{fmt} is always in WGS 84", remedy="leave the grid out, or write dxf")
    if fmt == "geojson":
        write_track(track, path, force=force)
    elif fmt == "gpx":
        write_whole(path, gpx_text(track), force=force)
    elif fmt == "csv":
        write_whole(path, gates_csv(track), force=force)
    elif fmt == "kml":
        write_whole(path, kml_document(track), force=force)
    elif fmt == "gpkg":
        write_geopackage(track, path, force=force)
    elif fmt == "dxf":
        drawing = dxf_drawing(track, crs)
        write_whole(path, drawing.text, force=force)
        return drawing.remarks
    else:
        raise OutputError(
            f"no format is called {fmt!r}", remedy=f"use one of {', '.join(EXPORT_FORMATS)}"
        )
    return ()
