"""A gate set: somebody's own sector gates in a small file, laid over an official track file.

The file is GeoJSON (RFC 7946): a FeatureCollection with a line from the left to the right end of
each gate, and a member ``gates`` that names the format and the track.  The track file stays as it
is.
"""

from __future__ import annotations

import json
import math
import os
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from trackkit.budgets import budgets, require
from trackkit.errors import TrackFileError, TrackkitError, reading_failed
from trackkit.files import read_up_to
from trackkit.gates.placement import with_gate
from trackkit.track.features import Position
from trackkit.track.model import Track
from trackkit.track.places import Place

FORMAT = "trackkit-gates"
VERSION = "1.0"
_OTHER = "save it again on the page of `map`"


def with_gate_set(track: Track, path: str | os.PathLike[str]) -> Track:
    """Lay the sector gates of a gate set over a track, in place of those that it has.

    Parameters
    ----------
    track
        The track that the set was made on, driven in the same direction.
    path
        The gate set, as the page of `write_map` saves it.

    Returns
    -------
    Track
        With the set's sector gates; its file, and its other gates, stay as they are.

    Raises
    ------
    TrackFileError
        When the file cannot be read, is no gate set, or was made on another track.
    PlaceError
        When one of its gates does not lie across the line.

    Examples
    --------
    >>> import json
    >>> from pathlib import Path
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> gate = trackkit.place_gate(track, "sector", trackkit.Place(chainage_m=200.0)).gate
    >>> line = {"type": "LineString", "coordinates": [gate.left, gate.right]}
    >>> document = {
    ...     "type": "FeatureCollection",
    ...     "gates": {"format": "trackkit-gates", "version": "1.0", "track": track.id},
    ...     "features": [{"type": "Feature", "geometry": line, "properties": {}}],
    ... }
    >>> written = Path("own.geojson").write_text(json.dumps(document))
    >>> own = trackkit.with_gate_set(track, "own.geojson")
    >>> [(gate.name, round(gate.chainage_m)) for gate in own.gates]
    [('Finish', 0), ('Sector 1 end', 200)]
    """
    document = _read(path)
    made_on = document["gates"].get("track")
    if made_on != track.id:
        raise TrackFileError(
            f"has gates of the track {made_on!r}, not of {track.id!r}",
            file=path,
            remedy="name the track that they were made on",
        )
    own = track.with_gates(gate for gate in track.gates if gate.kind != "sector")
    try:
        for number, feature in enumerate(document["features"], start=1):
            name, ends = _gate(feature, f"feature {number}")
            own, gate, _ = with_gate(own, "sector", Place(ends=ends), name=name)
            own = own.with_gates(
                replace(each, surveyed=False) if each.id == gate.id else each for each in own.gates
            )
    except TrackkitError as error:
        if error.file is not None:
            raise
        raise type(error)(error.what, file=path, place=error.place, remedy=error.remedy) from error
    return own


def _read(path: str | os.PathLike[str]) -> dict[str, Any]:
    try:
        data = read_up_to(path, budgets().unpacked_bytes + 1)
    except OSError as error:
        raise TrackFileError(reading_failed(path, error), file=path) from error
    require("unpacked_bytes", len(data), TrackFileError, "has at least", file=path)
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:
        raise TrackFileError("is no gate set (not JSON)", file=path, remedy=_OTHER) from error
    described = document.get("gates") if isinstance(document, dict) else None
    if not isinstance(described, dict) or described.get("format") != FORMAT:
        raise TrackFileError(
            f"is no gate set (it has no member `gates` of the format {FORMAT})",
            file=path,
            remedy=_OTHER,
        )
    version = str(described.get("version", ""))
    if version.partition(".")[0] != VERSION.partition(".")[0]:
        raise TrackFileError(
            f"is a gate set of version {version or 'none'}, and this trackkit reads {VERSION}",
            file=path,
            remedy="install a newer trackkit",
        )
    features = document.get("features")
    if not isinstance(features, list):
        raise TrackFileError("has no list `features`", file=path, remedy=_OTHER)
    require("gates", len(features), TrackFileError, "holds", file=path)
    return dict(document)


def _gate(feature: object, place: str) -> tuple[str | None, tuple[Position, Position]]:
    """Read the name and the two ends of a gate, left first."""
    geometry = feature.get("geometry") if isinstance(feature, Mapping) else None
    ends = geometry.get("coordinates") if isinstance(geometry, Mapping) else None
    if not isinstance(ends, list) or len(ends) != 2 or not all(map(_is_position, ends)):
        raise TrackFileError(
            "is no line of two positions, longitude and latitude", place=place, remedy=_OTHER
        )
    properties = feature.get("properties") if isinstance(feature, Mapping) else None
    name = properties.get("name") if isinstance(properties, Mapping) else None
    if name is not None and not isinstance(name, str):
        raise TrackFileError("has a name that is no text", place=place, remedy=_OTHER)
    left, right = ((float(end[0]), float(end[1])) for end in ends)
    return name or None, (left, right)


def _is_position(value: object) -> bool:
    return (
        isinstance(value, list)
        and len(value) >= 2
        and all(
            isinstance(degrees, int | float) and math.isfinite(degrees) and abs(degrees) <= most
            for degrees, most in zip(value, (360, 90), strict=False)
        )
    )
