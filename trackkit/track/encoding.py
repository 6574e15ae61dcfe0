"""A track written as the document of its file."""

from __future__ import annotations

from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.antimeridian import bounding_box, cut_line
from trackkit.geometry.geodesy import wrap_longitude
from trackkit.track.document import FIRST_VERSION, FORMAT, MEMBERS_OF_1_1, VERSION, positions_in
from trackkit.track.features import (
    DEGREE_DECIMALS,
    Centreline,
    Corner,
    Gate,
    PitLane,
    Position,
)
from trackkit.track.model import Track


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
                **(
                    {}
                    if line.accuracy_profile is None
                    else {"accuracy_profile": [row.as_row() for row in line.accuracy_profile]}
                ),
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
        np.array([p]) for f in track.other_features for p in positions_in(f.get("geometry"))
    )
    box = bounding_box(lines)
    newer = {name: getattr(track, name) for name in MEMBERS_OF_1_1 if getattr(track, name)}
    if track.verdict is not None:
        newer["verdict"] = track.verdict.as_row()
    # A file that could be of version 1.0 stays what it was.
    version = track.version
    named = any(gate.name_given for gate in track.gates)
    if version == FIRST_VERSION and (newer or named or line.accuracy_profile is not None):
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
