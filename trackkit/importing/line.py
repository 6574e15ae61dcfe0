"""The centreline of an imported track: from the drawing, or as it was where nobody moved it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.budgets import require
from trackkit.building.from_line import densified
from trackkit.errors import TrackFileError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane, geodesic_distance
from trackkit.geometry.smoothing import smoothed_curve
from trackkit.importing.fields import members_of, restored
from trackkit.importing.lines import (
    heights_of,
    joined,
    same_line,
    without_repeats,
)
from trackkit.importing.roles import Parts
from trackkit.recordings.drawn.features import DrawnFeature
from trackkit.remedies import Remedy
from trackkit.track.accuracy import AccuracyRow
from trackkit.track.derive import lay
from trackkit.track.features import Centreline
from trackkit.track.measure import line_of
from trackkit.track.model import Track
from trackkit.words import counted

_CLOSES_M = 25.0
_CLOSES_SHARE = 0.03
"""A line that ends this near to its beginning is a lap, as for `build_from_line`."""
_SHORTEST_M = 20.0
_FEWEST_POSITIONS = 4
_SAME_GROUND_M = 10.0
"""A line that was moved less than this, for heights: roads are flat across."""
_SWING_M = 0.2
_SWING_SHARE = 0.1
_MOST_PLACES = 20_000
"""Of a line across a country as many places tell."""


@dataclass(frozen=True, eq=False)
class Laid:
    """A centreline, and what its feature says of the track.

    Parameters
    ----------
    line
        The centreline.
    members
        What the feature says, as `trackkit.importing.fields.members_of` reads it.
    unmoved
        Whether it is where that of the track before was.
    remarks
        Sentences about what was assumed.
    """

    line: Centreline
    members: dict[str, Any]
    unmoved: bool
    remarks: tuple[str, ...] = ()


def centreline_of(
    parts: Parts, named: dict[str, str], onto: Track | None, what: str, name: str
) -> Laid:
    """Make the centreline.

    Parameters
    ----------
    parts
        What was drawn.
    named
        Fields that a user has named, by member.
    onto
        The track that it was before, or None.
    what
        The format, for sentences.
    name
        What to call the track in sentences.

    Raises
    ------
    TrackFileError
        When there is no line, or it cannot be a track's.
    """
    if not parts.centreline:
        if onto is None:
            raise TrackFileError(
                f"is {what} without a line that could be the centreline",
                remedy=Remedy("name the track that it belongs to", do="name onto"),
            )
        remark = "it has no centreline: that of the track was kept"
        return Laid(onto.centreline, {}, True, (remark,))
    first = parts.centreline[0]
    read = [members_of(feature, "centreline", named) for feature in parts.centreline]
    members, others = read[0]
    position = _positions(parts.centreline)
    if onto is not None and same_line(
        position[:, 0],
        position[:, 1],
        (onto.centreline.longitude_deg, onto.centreline.latitude_deg),
    ):
        before = onto.centreline
        kept = replace(
            before,
            width_m=members.get("width_m", before.width_m),
            properties=restored(others, before.properties),
        )
        return Laid(kept, members, True)
    return _new_line(position, first, members, others, onto, name)


def _positions(features: list[DrawnFeature]) -> Floats:
    first = features[0]
    pieces: list[Floats] = []
    for feature in features:
        if feature.kind is None:
            raise TrackFileError(
                "has no geometry that can be read", place=feature.place, remedy="draw it again"
            )
        if feature.kind == "area" and len(feature.parts) > 1:
            raise TrackFileError(
                "its area has an inner edge as well, and neither edge is the line cars drive",
                place=feature.place,
                remedy="draw the centreline as one line",
            )
        pieces += [part for part in feature.parts if len(part) > 1]
    if not pieces:
        raise TrackFileError("its line has fewer than two positions", place=first.place)
    line = without_repeats(joined(pieces, first.place))
    if len(line) < _FEWEST_POSITIONS:
        raise TrackFileError(
            f"its line has {counted(line, 'position')} a millimetre or more from the one before",
            place=first.place,
            remedy=Remedy("name the grid that its positions are in", do="name grid"),
        )
    require("vertices", len(line), TrackFileError, "has a line of", place=first.place)
    return line


def _new_line(
    position: Floats,
    first: DrawnFeature,
    members: dict[str, Any],
    others: dict[str, Any],
    onto: Track | None,
    name: str,
) -> Laid:
    remarks: list[str] = []
    heights, left_out = heights_of(position)
    if left_out is not None:
        remarks.append(left_out)
    closed = _is_closed(position, members, onto, remarks, first)
    width_m = members.get("width_m", None if onto is None else onto.centreline.width_m)
    longitude, latitude = position[:, 0], position[:, 1]
    try:
        line = line_of(longitude, latitude, heights, closed=closed, width_m=width_m, name=name)
    except TrackFileError as error:
        raise TrackFileError(error.what, place=first.place, remedy=error.remedy) from error
    if _is_coarse(line):
        remarks.append(
            f"its {len(position):,} vertices are too few for the road between them: a smooth line "
            "was laid through"
        )
        line = _smoothed(line)
    before = None if onto is None else onto.centreline
    if before is not None:
        if line.height_m is None and before.height_m is not None:
            line = _with_heights(line, before, remarks)
        line = replace(
            line,
            id=before.id,
            properties=restored(others, before.properties),
            members=before.members,
        )
        return Laid(line, members, False, tuple(remarks))
    line = replace(
        line,
        width_profile=members.get("width_profile"),
        accuracy_profile=_accuracy(members.get("accuracy_profile"), first),
        properties=others,
        members=first.members,
    )
    return Laid(line, members, False, tuple(remarks))


def _with_heights(line: Centreline, before: Centreline, remarks: list[str]) -> Centreline:
    """Give a line the heights of the one before, where it runs beside that all along."""
    place = before.plane.to_plane(line.longitude_deg, line.latitude_deg)
    own = line.plane.to_plane(line.longitude_deg, line.latitude_deg)
    ahead = line.curve.direction(line.curve.project(own)[0])
    there, aside = before.curve.project(place, ahead)
    if before.height_m is None or np.abs(aside).max() > _SAME_GROUND_M:
        return line
    known = before.curve.vertex_chainage_m
    period = before.curve.length_m if before.closed else None
    height = np.interp(there, known, before.height_m[: len(known)], period=period)
    remarks.append("its line has no heights: they were taken from the line before")
    return replace(line, height_m=np.round(height, 3))


def _accuracy(rows: Any, feature: DrawnFeature) -> tuple[AccuracyRow, ...] | None:
    if rows is None:
        return None
    try:
        return tuple(AccuracyRow(float(at), float(sigma), kind) for at, sigma, kind in rows)
    except (ValueError, TypeError) as error:
        raise TrackFileError(
            "its accuracy_profile is no list of rows of chainage, sigma and kind",
            place=feature.place,
            remedy="leave it out",
        ) from error


def _is_closed(
    position: Floats,
    members: dict[str, Any],
    onto: Track | None,
    remarks: list[str],
    first: DrawnFeature,
) -> bool:
    apart = geodesic_distance(position[:-1, 0], position[:-1, 1], position[1:, 0], position[1:, 1])
    length_m = float(np.sum(apart))
    if length_m < _SHORTEST_M:
        raise TrackFileError(
            f"its line is {length_m:,.1f} m long, which is no track",
            place=first.place,
            remedy=Remedy("name the grid that its positions are in", do="name grid"),
        )
    require("length_m", length_m, TrackFileError, "has a line of", place=first.place)
    gap_m = float(geodesic_distance(*position[-1, :2], *position[0, :2]))
    near = gap_m <= min(_CLOSES_M, _CLOSES_SHARE * length_m)
    stated = members.get("closed", None if onto is None else onto.closed)
    closed = (first.kind == "area" or near) if stated is None else bool(stated)
    if closed and not near and first.kind != "area":
        raise TrackFileError(
            f"its line is to be a lap, but its end lies {gap_m:,.0f} m from its beginning",
            place=first.place,
            remedy="close the line, or say in its field closed that it is no lap",
        )
    if closed and gap_m > 0.5 and first.kind != "area":
        remarks.append(f"the line was closed over the {gap_m:.1f} m from its end to its beginning")
    return closed


def _is_coarse(line: Centreline) -> bool:
    """Tell whether a curve through the vertices swings where there are too few of them.

    Then it differs, on more than a little of the way, from one that follows the straights between.
    """
    plane = LocalPlane.around(line.longitude_deg, line.latitude_deg)
    vertex = plane.to_plane(line.longitude_deg, line.latitude_deg)
    curve = Curve.through(vertex, closed=line.closed)
    straight = densified(vertex, closed=line.closed)
    _, aside = curve.project(straight[:: 1 + len(straight) // _MOST_PLACES])
    return bool(np.mean(np.abs(aside) > _SWING_M) > _SWING_SHARE)


def _smoothed(line: Centreline) -> Centreline:
    plane = LocalPlane.around(line.longitude_deg, line.latitude_deg)
    vertex = plane.to_plane(line.longitude_deg, line.latitude_deg)
    curve = smoothed_curve(densified(vertex, closed=line.closed), closed=line.closed)
    heights = None
    if line.height_m is not None:
        where, _ = curve.project(vertex)
        order = np.argsort(where)
        heights = (np.asarray(where)[order], line.height_m[order])
    return replace(lay(curve, plane, heights=heights), width_m=line.width_m)
