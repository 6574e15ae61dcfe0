"""A track as the JSON of its file has it, read back."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import budgets, require
from trackkit.errors import TrackFileError
from trackkit.geometry.antimeridian import join_line
from trackkit.geometry.geodesy import extent_m, longitude_near, polyline_length
from trackkit.geometry.shape import chords_of
from trackkit.remedies import Remedy
from trackkit.track.accuracy import AccuracyRow, verdict_from
from trackkit.track.features import (
    Centreline,
    Corner,
    Crossover,
    Gate,
    PitLane,
)
from trackkit.track.model import Track
from trackkit.track.stated import from_geometry

FORMAT = "trackkit-track"
VERSION = "1.1"
"""The newest that is read, and written where a track has something that 1.0 has not."""
FIRST_VERSION = "1.0"

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
MEMBERS_OF_1_1 = ("valid_from", "valid_until", "replaces")
_FEATURE_MEMBERS = {"type", "id", "geometry", "properties"}
_CROSSOVER_MEMBERS = {"over_m", "under_m"}
LIST_FAULTS = Remedy("a check lists every fault", do="check")


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
            remedy=LIST_FAULTS,
        ) from error


def _track_from(document: Mapping[str, Any]) -> Track:
    described = document["track"]
    # In a file of version 1.0 these are members that nobody knows.
    first = str(described["version"]) == FIRST_VERSION
    newer = {} if first else {name: described.get(name) for name in MEMBERS_OF_1_1}
    own_members = _TRACK_MEMBERS | newer.keys() | (set() if first else {"verdict"})
    verdict = None if first else described.get("verdict")
    closed = bool(described["closed"])
    centreline: Centreline | None = None
    gates: list[Gate] = []
    corners: list[Corner] = []
    pit_lanes: list[PitLane] = []
    others: list[Mapping[str, Any]] = []
    for feature in document["features"]:
        properties = _properties(feature)
        role = properties.pop("role", None)
        if role == "centreline" and centreline is None:
            centreline = _centreline_from(feature, properties, closed=closed, first=first)
        elif role == "gate":
            gates.append(_gate_from(feature, properties, first=first))
        elif role == "corner":
            corners.append(_corner_from(feature, properties))
        elif role == "pit-lane":
            line = _line_from(feature)
            pit_lanes.append(
                PitLane(
                    _id(feature),
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
        id=_text("id", described["id"]),
        name=_text("name", described["name"]),
        layout=_text("layout", described.get("layout", "")),
        centreline=centreline,
        length_m=float(described["length_m"]),
        length_surface_m=_number_or_none("length_surface_m", described.get("length_surface_m")),
        direction=_text("direction", described["direction"]),
        line=_text("line", described.get("line", "driven")),
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
        country=_text("country", described.get("country")),
        timezone=_text("timezone", described.get("timezone")),
        licence=_text("licence", described.get("licence")),
        revised=_text("revised", described.get("revised", "")),
        history=_entries("history", described.get("history", ())),
        sources=_entries("sources", described.get("sources", ())),
        accuracy_m=_number_or_none("accuracy_m", described.get("accuracy_m")),
        accepted=_entries("accepted", described.get("accepted", ())),
        notes=_text("notes", described.get("notes", "")),
        members={k: v for k, v in described.items() if k not in own_members},
        foreign={
            k: v for k, v in document.items() if k not in {"type", "bbox", "track", "features"}
        },
        other_features=tuple(others),
        version=str(described["version"]),
        verdict=None if verdict is None else verdict_from(verdict),
        **newer,
    )


def _number(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise TrackFileError(f"{name} is no number", remedy=LIST_FAULTS)
    return value


def _number_or_none(name: str, value: Any) -> float | None:
    return None if value is None else _number(name, value)


def _widths(row: Sequence[Any]) -> tuple[float, float, float]:
    chainage_m, left_m, right_m = (_number("width_profile", value) for value in row)
    return chainage_m, left_m, right_m


def _accuracy(row: Sequence[Any]) -> AccuracyRow:
    chainage_m, sigma_m, kind = row
    return AccuracyRow(
        float(_number("accuracy_profile", chainage_m)),
        float(_number("accuracy_profile", sigma_m)),
        _text("accuracy_profile", kind),
    )


def _text(name: str, value: Any, feature: Mapping[str, Any] | None = None) -> Any:
    if value is not None and not isinstance(value, str):
        place = None if feature is None else f"feature {feature['id']}"
        raise TrackFileError(f"{name} is no text", place=place, remedy=LIST_FAULTS)
    return value


def _id(feature: Mapping[str, Any]) -> str:
    value = feature["id"]
    if not isinstance(value, str):
        role = feature["properties"]["role"]
        raise TrackFileError(f"the id of a {role} is no text", remedy=LIST_FAULTS)
    return value


def _properties(feature: Mapping[str, Any]) -> dict[str, Any]:
    properties = feature.get("properties") or {}
    # A list of pairs would make a mapping too.
    if not isinstance(properties, dict):
        raise TrackFileError("properties of a feature are no object", remedy=LIST_FAULTS)
    return dict(properties)


def _entries(name: str, value: Any) -> tuple[Mapping[str, Any], ...]:
    if not isinstance(value, list | tuple) or not all(isinstance(entry, dict) for entry in value):
        raise TrackFileError(f"{name} is no list of objects", remedy=LIST_FAULTS)
    return tuple(value)


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
    return extent_m(longitude_near(longitude, longitude[0]), latitude)


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
    dimensions = {size for part in parts for size in map(len, part)}
    if len(dimensions) > 1:
        parts = [[position[: min(dimensions)] for position in part] for part in parts]
    return join_line([np.array(part, dtype=float) for part in parts])


def _centreline_from(
    feature: Mapping[str, Any], properties: dict[str, Any], *, closed: bool, first: bool
) -> Centreline:
    line = _line_from(feature)
    # Much quicker than along geodesics, and as good but for steps across half the earth.
    length_m, _ = chords_of(line[:, 0], line[:, 1])
    if length_m > budgets().length_m:
        length_m = polyline_length(line[:, 0], line[:, 1])
    require("length_m", length_m, TrackFileError, "has", place="feature centreline")
    profile = properties.pop("width_profile", None)
    accuracy = None if first else properties.pop("accuracy_profile", None)
    return Centreline(
        line[:, 0],
        line[:, 1],
        closed,
        height_m=line[:, 2] if line.shape[1] > 2 else None,
        width_m=_number_or_none("width_m", properties.pop("width_m", None)),
        width_profile=None if profile is None else tuple(_widths(row) for row in profile),
        accuracy_profile=None if accuracy is None else tuple(_accuracy(row) for row in accuracy),
        id=_id(feature),
        properties=properties,
        members=_members(feature),
    )


def _gate_from(feature: Mapping[str, Any], properties: dict[str, Any], *, first: bool) -> Gate:
    line = _line_from(feature)
    _number_or_none("width_m", properties.pop("width_m", None))
    return Gate(
        id=_id(feature),
        kind=_text("kind", properties.pop("kind"), feature),
        name=_text("name", properties.pop("name"), feature),
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
        id=_id(feature),
        number=int(properties.pop("number")),
        name=_text("name", properties.pop("name", ""), feature),
        turn=_text("turn", properties.pop("turn"), feature),
        apex=(float(longitude), float(latitude)),
        entry_m=float(properties.pop("entry_m")),
        apex_m=float(properties.pop("apex_m")),
        exit_m=float(properties.pop("exit_m")),
        min_radius_m=float(properties.pop("min_radius_m")),
        properties=properties,
        members=_members(feature),
    )


def positions_in(geometry: object) -> Iterator[list[float]]:
    """Walk any GeoJSON geometry for its positions, longitude and latitude only."""
    if isinstance(geometry, Mapping):
        for member in ("coordinates", "geometries"):
            yield from positions_in(geometry.get(member))
    elif isinstance(geometry, list):
        if len(geometry) >= 2 and all(isinstance(value, int | float) for value in geometry):
            yield geometry[:2]
        else:
            for part in geometry:
                yield from positions_in(part)
