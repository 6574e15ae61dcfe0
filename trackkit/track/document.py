"""A track as the JSON of its file, and back."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import budgets, require
from trackkit.errors import TrackFileError
from trackkit.geometry.antimeridian import bounding_box, cut_line, join_line
from trackkit.geometry.geodesy import extent_m, polyline_length, wrap_longitude
from trackkit.remedies import Remedy
from trackkit.track.features import (
    DEGREE_DECIMALS,
    Centreline,
    Corner,
    Crossover,
    Gate,
    PitLane,
    Position,
)
from trackkit.track.model import Track
from trackkit.track.stated import from_geometry

FORMAT = "trackkit-track"
VERSION = "1.1"
"""The newest that is read, and written where a track has something that 1.0 has not."""
_FIRST_VERSION = "1.0"

_TRACK_MEMBERS = {
    "format",
    "version",
    "id",
    "name",
    "layout",
    "closed",
    "direction",
    "length_m",
    "length_surface_m",
    "line",
    "crossovers",
    "country",
    "timezone",
    "licence",
    "revised",
    "history",
    "sources",
    "accuracy_m",
    "accepted",
    "notes",
}
_MEMBERS_OF_1_1 = ("valid_from", "valid_until", "replaces")
_FEATURE_MEMBERS = {"type", "id", "geometry", "properties"}
_CROSSOVER_MEMBERS = {"over_m", "under_m"}


def track_from_document(document: Mapping[str, Any]) -> Track:
    """Build a `Track` from a track file's JSON; what follows from positions is worked out.

    Raises
    ------
    TrackFileError
        When something needed is missing or of the wrong kind.
    """
    stated = track_as_stated(document)
    roles = [(feature.get("properties") or {}) for feature in document["features"]]
    gates = sorted((row for row in roles if row.get("role") == "gate"), key=_order)
    widths = [row.get("width_m") for row in gates]
    return from_geometry(stated, [w if isinstance(w, int | float) else None for w in widths])


def track_as_stated(document: Mapping[str, Any]) -> Track:
    """Build a `Track` from a track file's JSON, believing what the file says of its geometry.

    Raises
    ------
    TrackFileError
        When something needed is missing or of the wrong kind.
    """
    try:
        return _track_from(document)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, OverflowError) as error:
        raise TrackFileError(
            f"the track file is damaged ({type(error).__name__}: {error})",
            remedy=Remedy("a check lists every fault", do="check"),
        ) from error


def _track_from(document: Mapping[str, Any]) -> Track:
    described = document["track"]
    # In a file of version 1.0 these are members that nobody knows.
    first = str(described["version"]) == _FIRST_VERSION
    newer = {} if first else {name: described.get(name) for name in _MEMBERS_OF_1_1}
    known = _TRACK_MEMBERS | newer.keys()
    closed = bool(described["closed"])
    centreline: Centreline | None = None
    gates: list[Gate] = []
    corners: list[Corner] = []
    pit_lanes: list[PitLane] = []
    others: list[Mapping[str, Any]] = []
    for feature in document["features"]:
        properties = dict(feature.get("properties") or {})
        role = properties.pop("role", None)
        if role == "centreline" and centreline is None:
            centreline = _centreline_from(feature, properties, closed=closed)
        elif role == "gate":
            gates.append(_gate_from(feature, properties, first=first))
        elif role == "corner":
            corners.append(_corner_from(feature, properties))
        elif role == "pit-lane":
            line = _line_from(feature)
            pit_lanes.append(
                PitLane(
                    feature["id"],
                    line[:, 0],
                    line[:, 1],
                    height_m=line[:, 2] if line.shape[1] > 2 else None,
                    properties=properties,
                    members=_members(feature),
                )
            )
        else:
            others.append(feature)
    if centreline is None:
        raise TrackFileError("has no feature with the role centreline")
    _require_extent(centreline, gates, corners, pit_lanes)
    return Track(
        id=described["id"],
        name=described["name"],
        layout=described.get("layout", ""),
        centreline=centreline,
        length_m=float(described["length_m"]),
        length_surface_m=described.get("length_surface_m"),
        direction=described["direction"],
        line=described.get("line", "driven"),
        gates=tuple(sorted(gates, key=lambda gate: gate.order)),
        corners=tuple(sorted(corners, key=lambda corner: corner.number)),
        pit_lanes=tuple(pit_lanes),
        crossovers=tuple(
            Crossover(
                float(c["over_m"]),
                float(c["under_m"]),
                {k: v for k, v in c.items() if k not in _CROSSOVER_MEMBERS},
            )
            for c in described.get("crossovers", ())
        ),
        country=described.get("country"),
        timezone=described.get("timezone"),
        licence=described.get("licence"),
        revised=described.get("revised", ""),
        history=tuple(described.get("history", ())),
        sources=tuple(described.get("sources", ())),
        accuracy_m=described.get("accuracy_m"),
        accepted=tuple(described.get("accepted", ())),
        notes=described.get("notes", ""),
        members={k: v for k, v in described.items() if k not in known},
        foreign={
            k: v for k, v in document.items() if k not in {"type", "bbox", "track", "features"}
        },
        other_features=tuple(others),
        version=str(described["version"]),
        **newer,
    )


def _order(properties: Mapping[str, Any]) -> int:
    return int(properties["order"])


def _require_extent(
    centreline: Centreline,
    gates: Sequence[Gate],
    corners: Sequence[Corner],
    pit_lanes: Sequence[PitLane],
) -> None:
    """Refuse features so far from the line that no plane holds both."""
    line = [centreline.longitude_deg, centreline.latitude_deg]
    parts = [
        ("centreline", np.array(line)),
        *((gate.id, np.array([gate.left, gate.right]).T) for gate in gates),
        *((corner.id, np.array([corner.apex]).T) for corner in corners),
        *((lane.id, np.array([lane.longitude_deg, lane.latitude_deg])) for lane in pit_lanes),
    ]
    if _extent_m([part for _, part in parts]) <= budgets().extent_m:
        return
    for name, part in parts:
        require(
            "extent_m",
            _extent_m([parts[0][1], part]),
            TrackFileError,
            "lies, with the line, across",
            place=f"feature {name}",
            remedy="put it where it belongs",
        )


def _extent_m(parts: Sequence[Floats]) -> float:
    """Measure across positions, each part of them continuous across the antimeridian."""
    longitude, latitude = np.concatenate(parts, axis=1)
    return extent_m(longitude[0] + wrap_longitude(longitude - longitude[0]), latitude)


def _members(feature: Mapping[str, Any]) -> dict[str, Any]:
    return {k: v for k, v in feature.items() if k not in _FEATURE_MEMBERS}


def _line_from(feature: Mapping[str, Any]) -> Floats:
    geometry = feature["geometry"]
    parts = geometry["coordinates"]
    if geometry["type"] == "LineString":
        parts = [parts]
    elif geometry["type"] != "MultiLineString":
        raise TrackFileError(
            f"is a {geometry['type']} where a LineString is needed",
            place=f"feature {feature.get('id')}",
        )
    place = f"feature {feature.get('id')}"
    vertices = sum(len(part) for part in parts)
    require("vertices", vertices, TrackFileError, "has", place=place)
    dimensions = min(len(position) for part in parts for position in part)
    return join_line([np.array([p[:dimensions] for p in part], dtype=float) for part in parts])


def _centreline_from(
    feature: Mapping[str, Any], properties: dict[str, Any], *, closed: bool
) -> Centreline:
    line = _line_from(feature)
    length_m = polyline_length(line[:, 0], line[:, 1])
    require("length_m", length_m, TrackFileError, "has", place="feature centreline")
    profile = properties.pop("width_profile", None)
    return Centreline(
        line[:, 0],
        line[:, 1],
        closed,
        height_m=line[:, 2] if line.shape[1] > 2 else None,
        width_m=properties.pop("width_m", None),
        width_profile=None if profile is None else tuple((a, b, c) for a, b, c in profile),
        id=feature["id"],
        properties=properties,
        members=_members(feature),
    )


def _gate_from(feature: Mapping[str, Any], properties: dict[str, Any], *, first: bool) -> Gate:
    line = _line_from(feature)
    properties.pop("width_m", None)
    return Gate(
        id=feature["id"],
        kind=properties.pop("kind"),
        name=properties.pop("name"),
        left=(float(line[0, 0]), float(line[0, 1])),
        right=(float(line[-1, 0]), float(line[-1, 1])),
        order=int(properties.pop("order")),
        chainage_m=float(properties.pop("chainage_m", math.nan)),
        surveyed=bool(properties.pop("surveyed", False)),
        name_given=False if first else bool(properties.pop("name_given", False)),
        properties=properties,
        members=_members(feature),
    )


def _corner_from(feature: Mapping[str, Any], properties: dict[str, Any]) -> Corner:
    longitude, latitude = feature["geometry"]["coordinates"][:2]
    return Corner(
        number=int(properties.pop("number")),
        name=properties.pop("name", ""),
        turn=properties.pop("turn"),
        apex=(float(longitude), float(latitude)),
        entry_m=float(properties.pop("entry_m")),
        apex_m=float(properties.pop("apex_m")),
        exit_m=float(properties.pop("exit_m")),
        min_radius_m=float(properties.pop("min_radius_m")),
        id=feature["id"],
        properties=properties,
        members=_members(feature),
    )


def track_to_document(track: Track) -> dict[str, Any]:
    """Turn a `Track` into the JSON of a track file."""
    line = track.centreline
    coordinates = _columns(line)
    lines = [coordinates]
    features = [
        {
            "type": "Feature",
            "id": line.id,
            "geometry": _line_geometry(coordinates),
            "properties": {
                "role": "centreline",
                "width_m": _rounded(line.width_m, 2),
                "width_profile": None
                if line.width_profile is None
                else [[round(v, 2) for v in row] for row in line.width_profile],
                **line.properties,
            },
            **line.members,
        }
    ]
    for gate in track.gates:
        ends = np.array([gate.left, gate.right])
        lines.append(ends)
        features.append(_gate_feature(gate, ends))
    for pit_lane in track.pit_lanes:
        path = _columns(pit_lane)
        lines.append(path)
        features.append(
            {
                "type": "Feature",
                "id": pit_lane.id,
                "geometry": _line_geometry(path),
                "properties": {"role": "pit-lane", **pit_lane.properties},
                **pit_lane.members,
            }
        )
    features.extend(_corner_feature(corner) for corner in track.corners)
    lines.extend(np.array([corner.apex]) for corner in track.corners)
    lines.extend(
        np.array([p]) for f in track.other_features for p in _positions_in(f.get("geometry"))
    )
    box = bounding_box(lines)
    newer = {name: getattr(track, name) for name in _MEMBERS_OF_1_1 if getattr(track, name)}
    # A file that could be of version 1.0 stays what it was.
    version = track.version
    if version == _FIRST_VERSION and (newer or any(gate.name_given for gate in track.gates)):
        version = VERSION
    return {
        "type": "FeatureCollection",
        "bbox": [round(value, DEGREE_DECIMALS) for value in box],
        "track": {
            "format": FORMAT,
            "version": version,
            **track.as_row(),
            "crossovers": [{**bridge.as_row(), **bridge.members} for bridge in track.crossovers],
            "country": track.country,
            "timezone": track.timezone,
            "licence": track.licence,
            **({"revised": track.revised} if track.revised else {}),
            "history": list(track.history),
            "sources": list(track.sources),
            "accuracy_m": _rounded(track.accuracy_m, 2),
            "accepted": list(track.accepted),
            "notes": track.notes,
            **track.members,
            **newer,
        },
        **track.foreign,
        "features": [*features, *track.other_features],
    }


def _columns(line: Centreline | PitLane) -> Floats:
    columns = [line.longitude_deg, line.latitude_deg]
    if line.height_m is not None:
        columns.append(line.height_m)
    return np.column_stack(columns)


def _positions_in(geometry: object) -> Iterator[list[float]]:
    """Walk any GeoJSON geometry for its positions, longitude and latitude only."""
    if isinstance(geometry, Mapping):
        for member in ("coordinates", "geometries"):
            yield from _positions_in(geometry.get(member))
    elif isinstance(geometry, list):
        if len(geometry) >= 2 and all(isinstance(value, int | float) for value in geometry):
            yield geometry[:2]
        else:
            for part in geometry:
                yield from _positions_in(part)


def _rounded(value: float | None, decimals: int) -> float | None:
    return None if value is None else round(value, decimals)


def _positions(coordinates: Floats) -> list[list[float]]:
    return [
        [
            *(round(value, DEGREE_DECIMALS) for value in row[:2]),
            *(round(value, 2) for value in row[2:]),
        ]
        for row in coordinates.tolist()
    ]


def _line_geometry(coordinates: Floats) -> dict[str, Any]:
    parts = [_positions(part) for part in cut_line(coordinates)]
    if len(parts) == 1:
        return {"type": "LineString", "coordinates": parts[0]}
    return {"type": "MultiLineString", "coordinates": parts}


def _point_geometry(position: Position) -> dict[str, Any]:
    longitude = round(float(wrap_longitude(position[0])), DEGREE_DECIMALS)
    return {"type": "Point", "coordinates": [longitude, round(position[1], DEGREE_DECIMALS)]}


def _gate_feature(gate: Gate, ends: Floats) -> dict[str, Any]:
    return {
        "type": "Feature",
        "id": gate.id,
        "geometry": _line_geometry(ends),
        "properties": {
            "role": "gate",
            "kind": gate.kind,
            "order": gate.order,
            "chainage_m": round(gate.chainage_m, 2),
            "width_m": round(gate.width_m, 2),
            "name": gate.name,
            "surveyed": gate.surveyed,
            **gate.properties,
            **({"name_given": True} if gate.name_given else {}),
        },
        **gate.members,
    }


def _corner_feature(corner: Corner) -> dict[str, Any]:
    return {
        "type": "Feature",
        "id": corner.id or f"corner-{corner.number}",
        "geometry": _point_geometry(corner.apex),
        "properties": {
            "role": "corner",
            **corner.as_row(),
            **corner.properties,
        },
        **corner.members,
    }
