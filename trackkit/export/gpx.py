"""A track as GPX 1.1 (https://www.topografix.com/GPX/1/1/)."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import numpy as np

from trackkit.arrays import Floats
from trackkit.export.features import gate_bearing_deg, gate_middle, line_of, pit_line_of, title
from trackkit.geometry.antimeridian import cut_line
from trackkit.recordings.write import DEGREE_DECIMALS, gpx_longitude, new_gpx
from trackkit.recordings.xml import xml_text
from trackkit.track.credit import credits_of
from trackkit.track.features import Gate, Position
from trackkit.track.model import Track

if TYPE_CHECKING:
    from gpxpy.gpx import GPXTrack

SPDX = "https://spdx.org/licenses/"
"""Where the SPDX list has each licence by its short name, as a page (from memory)."""


def gpx_text(track: Track) -> str:
    """Write a track as GPX 1.1; see `export_track` for what goes where."""
    from gpxpy.gpx import GPXRoute, GPXRoutePoint, GPXWaypoint

    gpx = new_gpx()
    gpx.name = xml_text(title(track))
    gpx.description = xml_text(track.notes) or None
    gpx.copyright_author = "; ".join(xml_text(text) for text in credits_of(track)) or None
    if gpx.copyright_author and re.fullmatch(r"[A-Za-z0-9.+-]+", track.licence or ""):
        # GPX asks for an address there, and for who holds the rights beside it.
        gpx.copyright_license = f"{SPDX}{track.licence}.html"
    gpx.tracks.append(_track(title(track), "centreline", line_of(track)))
    for pit_lane in track.pit_lanes:
        gpx.tracks.append(_track(pit_lane.id, "pit-lane", pit_line_of(pit_lane)))
        gpx.tracks[-1].comment = xml_text(pit_lane.id)
    for gate in track.gates:
        name = xml_text(gate.name or gate.id)
        route = GPXRoute(name=name, description=_summary(gate))
        route.comment = xml_text(gate.id)
        route.type = "gate"
        for end, place in (("left", gate.left), ("right", gate.right)):
            longitude, latitude = _place(place)
            route.points.append(GPXRoutePoint(latitude, longitude, name=f"{name}, {end} end"))
        gpx.routes.append(route)
        longitude, latitude = _place(gate_middle(gate))
        gpx.waypoints.append(
            GPXWaypoint(
                latitude, longitude, name=name, description=_summary(gate), type=f"{gate.kind} gate"
            )
        )
    for corner in track.corners:
        longitude, latitude = _place(corner.apex)
        gpx.waypoints.append(
            GPXWaypoint(
                latitude,
                longitude,
                comment=xml_text(corner.id) or None,
                name=xml_text(corner.name or f"Corner {corner.number}"),
                description=f"corner {corner.number}, {corner.turn}, "
                f"from {corner.entry_m:.2f} m to {corner.exit_m:.2f} m, "
                f"apex at {corner.apex_m:.2f} m, smallest radius {corner.min_radius_m:.2f} m",
                type="corner",
            )
        )
    return str(gpx.to_xml(version="1.1"))


def _summary(gate: Gate) -> str:
    return (
        f"{gate.kind} gate at {gate.chainage_m:.1f} m, {gate.width_m:.1f} m wide, "
        f"crossed on a bearing of {gate_bearing_deg(gate):.1f} degrees"
    )


def _place(place: Position) -> Position:
    longitude = float(gpx_longitude(np.array([place[0]]))[0])
    return longitude, round(place[1], DEGREE_DECIMALS)


def _track(name: str, kind: str, line: Floats) -> GPXTrack:
    from gpxpy.gpx import GPXTrack, GPXTrackPoint, GPXTrackSegment

    track = GPXTrack(name=xml_text(name))
    # gpxpy's own annotation says that this is always None.
    track.type = kind  # type: ignore[assignment]
    for part in cut_line(line):
        # GPX has no longitude of 180: a part that ends there stops a tenth of a millimetre short.
        rounded = np.round(part, DEGREE_DECIMALS)
        rounded[:, 0] = np.clip(rounded[:, 0], -180.0, 180.0 - 10.0**-DEGREE_DECIMALS)
        points = [
            GPXTrackPoint(latitude, longitude, elevation=round(height[0], 3) if height else None)
            for longitude, latitude, *height in rounded.tolist()
        ]
        track.segments.append(GPXTrackSegment(points))
    return track
