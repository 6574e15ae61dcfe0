"""A track's features as frames of geopandas."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from trackkit.track.encoding import track_to_document
from trackkit.track.model import Track

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

FRAMES = {"centreline": "centreline", "gate": "gates", "corner": "corners", "pit-lane": "pit-lane"}
"""Names of the frames, by the roles in the file."""
_ALWAYS = ("track", "id")


def to_frames(track: Track) -> dict[str, GeoDataFrame]:
    """Lay a track out as frames, one a kind of feature.

    Parameters
    ----------
    track
        The track.

    Returns
    -------
    dict
        Frames by ``centreline``, ``gates``, ``corners`` and ``pit-lane``, each there even where the
        track has none, in EPSG:4326 (longitude before latitude, cut at the antimeridian as in the
        file).  Columns are the track's id, the feature's id, its properties in the file, lengths
        in metres, and ``geometry``.  ``attrs["track"]`` of each holds the file's ``track`` object.

    Examples
    --------
    >>> import trackkit
    >>> longitude, latitude = [5.0, 5.004, 5.004, 5.0], [24.0, 24.0, 24.003, 24.003]
    >>> track = trackkit.Track.from_arrays(longitude, latitude, "Box")
    >>> frames = trackkit.to_frames(track)
    >>> list(frames)
    ['centreline', 'gates', 'corners', 'pit-lane']
    >>> frames["centreline"].crs.to_epsg()
    4326
    """
    from geopandas import GeoDataFrame, GeoSeries
    from shapely.geometry import shape

    document = track_to_document(track)
    rows: dict[str, list[dict[str, Any]]] = {name: [] for name in FRAMES.values()}
    for feature in document["features"]:
        properties = dict(feature.get("properties") or {})
        name = FRAMES.get(str(properties.pop("role", None)))
        if name is not None:
            geometry = shape(feature["geometry"])
            fixed = {"track": track.id, "id": feature.get("id")}
            rows[name].append({**fixed, **properties, "geometry": geometry})
    frames = {}
    for name, kind in rows.items():
        data = {key: [row.get(key) for row in kind] for key in _keys(kind)}
        geometry = GeoSeries([row["geometry"] for row in kind], crs="EPSG:4326")
        frame = GeoDataFrame(data, geometry=geometry, crs="EPSG:4326")
        frame.attrs["track"] = document["track"]
        frames[name] = frame
    return frames


def _keys(rows: list[dict[str, Any]]) -> list[str]:
    keys = dict.fromkeys([*_ALWAYS, *(key for row in rows for key in row)])
    return [key for key in keys if key != "geometry"]
