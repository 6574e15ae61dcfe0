"""The corners and pit lanes of an imported track."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from trackkit.errors import TrackFileError
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.importing.fields import members_of, restored, same_value
from trackkit.importing.lines import heights_of, joined, same_line
from trackkit.importing.pairing import Candidate, own_id, pair
from trackkit.recordings.drawn.features import DrawnFeature
from trackkit.track.features import Corner, PitLane
from trackkit.track.ids import drawn_id
from trackkit.track.measure import find_corners
from trackkit.track.model import Track, id_seed, taken_ids

_AT_ITS_CHAINAGE_M = 1.0


def with_drawn_corners(
    track: Track,
    features: Sequence[DrawnFeature],
    named: Mapping[str, str],
    onto: Track | None,
    *,
    same_line_as_before: bool,
) -> tuple[Track, tuple[str, ...]]:
    """Give a track its corners: they follow from the line, their ids and names from the drawing.

    Raises
    ------
    TrackFileError
        When a field of a corner is not what it must be.
    """
    drawn = [_corner(feature, named) for feature in features if feature.parts]
    if onto is not None:
        before, moved = _renamed(onto, drawn)
        remarks = (
            (f"corners follow from the line: {moved} that were moved are where they were",)
            if moved
            else ()
        )
        same_start = same_line_as_before and np.array_equal(
            track.centreline.longitude_deg, onto.centreline.longitude_deg
        )
        if same_start:
            return replace(track, corners=tuple(before)), remarks
        return _found(track, before), remarks
    complete = [corner for corner in drawn if corner is not None and corner.min_radius_m > 0.0]
    if complete and len(complete) == len(features) and _on_the_line(track, complete):
        numbers = sorted(corner.number for corner in complete)
        if numbers == list(range(1, len(complete) + 1)):
            ordered = sorted(complete, key=lambda corner: corner.number)
            return replace(track, corners=_with_ids(track, ordered)), ()
    return _found(track, [corner for corner in drawn if corner.name or corner.id]), ()


def _corner(feature: DrawnFeature, named: Mapping[str, str]) -> Corner:
    members, others = members_of(feature, "corners", named)
    longitude, latitude = feature.parts[0][0, :2].tolist()
    number = members.get("number", 0)
    name = members.get("name", "")
    needed = ("number", "turn", "entry_m", "apex_m", "exit_m", "min_radius_m")
    turn = members.get("turn", "left")
    if turn not in ("left", "right"):
        raise TrackFileError(
            f"its turn is {turn!r}", place=feature.place, remedy="write left or right"
        )
    whole = all(member in members for member in needed)
    return Corner(
        number=number,
        name="" if name == f"Corner {number}" else name,
        turn=turn,
        apex=(longitude, latitude),
        entry_m=members.get("entry_m", 0.0),
        apex_m=members.get("apex_m", 0.0),
        exit_m=members.get("exit_m", 0.0),
        min_radius_m=members["min_radius_m"] if whole else 0.0,
        id=own_id(members.get("id")) or "",
        properties=others,
        members=feature.members,
    )


def _renamed(onto: Track, drawn: Sequence[Corner]) -> tuple[list[Corner], int]:
    """Put names and properties of drawn corners on those that the track had."""
    partners = pair([_candidate(corner) for corner in drawn], list(map(_candidate, onto.corners)))
    by_index: dict[int, Corner] = {
        other: corner for corner, other in zip(drawn, partners, strict=True) if other is not None
    }
    corners, moved = [], 0
    for index, old in enumerate(onto.corners):
        new = by_index.get(index)
        if new is None:
            corners.append(old)
            continue
        moved += float(geodesic_distance(*new.apex, *old.apex)) > _AT_ITS_CHAINAGE_M
        placeholder = not new.name or new.name == f"Corner {old.number}"
        placeholder = placeholder or same_value(new.name, old.name)
        corners.append(
            replace(
                old,
                name=old.name if placeholder else new.name,
                properties=restored(new.properties, old.properties),
            )
        )
    return corners, moved


def _candidate(corner: Corner) -> Candidate:
    return Candidate(corner.id or None, "corner", None, np.array([corner.apex, corner.apex]))


def _found(track: Track, previous: Sequence[Corner]) -> Track:
    with_ids = [
        replace(corner, id=corner.id or _new_id(track, corner, number))
        for number, corner in enumerate(previous)
    ]
    corners = find_corners(
        track.centreline, with_ids, seed=id_seed(track), taken=[*taken_ids(track)]
    )
    return replace(track, corners=corners)


def _new_id(track: Track, corner: Corner, number: int) -> str:
    salt = f"{corner.apex[0]:.5f},{corner.apex[1]:.5f},{number}"
    return drawn_id("corner", salt, seed=id_seed(track), taken=taken_ids(track))


def _with_ids(track: Track, corners: Sequence[Corner]) -> tuple[Corner, ...]:
    return tuple(
        corner if corner.id else replace(corner, id=_new_id(track, corner, number))
        for number, corner in enumerate(corners)
    )


def _on_the_line(track: Track, corners: Sequence[Corner]) -> bool:
    """Tell whether corners are where their chainages are on the line."""
    apexes = track.plane.to_plane(
        [corner.apex[0] for corner in corners], [corner.apex[1] for corner in corners]
    )
    there = track.curve.position(track.curve.wrap([corner.apex_m for corner in corners]))
    return bool(np.linalg.norm(apexes - there, axis=1).max() <= _AT_ITS_CHAINAGE_M)


def with_drawn_pit_lanes(
    track: Track,
    features: Sequence[DrawnFeature],
    named: Mapping[str, str],
    onto: Track | None,
) -> tuple[Track, tuple[str, ...]]:
    """Give a track the pit lanes that were drawn; without any it keeps those of `onto`.

    Raises
    ------
    TrackFileError
        When a pit lane is no line.
    """
    before = () if onto is None else onto.pit_lanes
    if not features:
        kept = ("it has no pit lane: that of the track was kept",) if before else ()
        return replace(track, pit_lanes=before), kept
    read = [members_of(feature, "pit_lane", named) for feature in features]
    lines = [_lane(feature) for feature in features]
    drawn = [
        Candidate(own_id(members.get("id")) or _name_as_id(members, before), None, None, line)
        for (members, _), line in zip(read, lines, strict=True)
    ]
    were = [
        Candidate(lane.id, None, None, np.column_stack([lane.longitude_deg, lane.latitude_deg]))
        for lane in before
    ]
    lanes: list[PitLane] = []
    for index, other in enumerate(pair(drawn, were)):
        line, (members, others) = lines[index], read[index]
        if features[index].source is not None and "name" in members:
            # GeoJSON has a name of its own there only where somebody gave one.
            others = {**others, "name": members["name"]}
        old = None if other is None else before[other]
        if old is not None:
            others = restored(others, old.properties)
            if same_line(line[:, 0], line[:, 1], (old.longitude_deg, old.latitude_deg)):
                lanes.append(replace(old, properties=others))
                continue
        heights, _ = heights_of(line)
        lanes.append(
            PitLane(
                old.id if old is not None else drawn[index].id or _lane_id(track, lanes),
                line[:, 0],
                line[:, 1],
                height_m=heights,
                properties=others,
                members=features[index].members if old is None else old.members,
            )
        )
    return replace(track, pit_lanes=tuple(lanes)), ()


def _lane(feature: DrawnFeature) -> Any:
    parts = [part for part in feature.parts if len(part) > 1]
    if feature.kind is None or not parts:
        raise TrackFileError(
            "is a pit lane without a line", place=feature.place, remedy="draw it again"
        )
    return joined(parts, feature.place)


def _name_as_id(members: Mapping[str, Any], before: Sequence[PitLane]) -> str | None:
    """Take a pit lane's name for its id where it is one: formats that need a name have it there."""
    name = members.get("name")
    return name if any(lane.id == name for lane in before) else None


def _lane_id(track: Track, lanes: Sequence[PitLane]) -> str:
    taken = [*taken_ids(track), *(lane.id for lane in lanes)]
    if "pit-lane" not in taken:
        return "pit-lane"
    return drawn_id("pit-lane", str(len(lanes)), seed=id_seed(track), taken=taken)
