"""Gates that cannot be meant: a slip in a position, or a pit gate across the racing line."""

from __future__ import annotations

import numpy as np

from trackkit.arrays import Floats
from trackkit.errors import PlaceError
from trackkit.gates.square import GATE_MARGIN_M
from trackkit.geometry.curve import Curve
from trackkit.geometry.vectors import distance_along
from trackkit.remedies import Remedy
from trackkit.track.features import BESIDE_THE_TRACK, Gate
from trackkit.track.model import Track

WIDEST_MEANT_M = 60.0
"""A gate may be this wide on any track, and twice the band with margins on a wide one."""
_LANE_STEP_M = 2.0
_SAME_WIDTH_M = 1e-3
MIDDLE_WITHIN_M = 10.0
"""How far beyond the band the middle of a gate may lie that does not span the pit lane."""


def widest_meant_m(track: Track) -> float:
    """Width up to which a gate of a track is taken as it is given, metres."""
    return max(WIDEST_MEANT_M, 2.0 * (track.band_m + 2.0 * GATE_MARGIN_M))


def pit_lane_curves(track: Track) -> list[Curve]:
    """Lay the pit lanes on the track's plane, in the direction they are driven."""
    return [
        pit_lane_curve(track, lane.longitude_deg, lane.latitude_deg) for lane in track.pit_lanes
    ]


def pit_lane_curve(track: Track, longitude_deg: Floats, latitude_deg: Floats) -> Curve:
    """Lay a pit lane on the track's plane, straight between its vertices.

    Raises
    ------
    TrackkitError
        When fewer than two of them differ.
    """
    vertex = track.plane.to_plane(longitude_deg, latitude_deg)
    along = distance_along(vertex)
    # A smooth curve through a few vertices would swing out between them.
    even = np.linspace(0.0, along[-1], max(2, int(np.ceil(along[-1] / _LANE_STEP_M)) + 1))
    place = np.stack([np.interp(even, along, column) for column in vertex.T], axis=1)
    return Curve.through(place, closed=False)


def spans_pit_lane(track: Track, gate: Gate) -> bool:
    """Tell whether a gate reaches across a pit lane of its track."""
    left, right = track.gate_ends(gate)
    return any(len(lane.crossed_by(left, right)) for lane in pit_lane_curves(track))


def require_meant(track: Track, gate: Gate) -> None:
    """Refuse a gate that cannot be meant.

    Parameters
    ----------
    track
        The track, with its pit lanes.
    gate
        The gate, where it is to be.

    Raises
    ------
    PlaceError
        When the gate is wider than `widest_meant_m`; when it is not crossed by the line, or its
        middle is farther from it than half the band and `MIDDLE_WITHIN_M` and it does not span
        the pit lane; or when it belongs to the pit lane and lies across the line.
    """
    ends = track.gate_ends(gate)
    width = float(np.linalg.norm(ends[1] - ends[0]))
    widest = widest_meant_m(track)
    if width > widest + _SAME_WIDTH_M:
        raise PlaceError(
            f"gate {gate.name} would be {width:.1f} m wide, and a gate of this track is not "
            f"wider than {widest:.0f} m",
            remedy=Remedy("check both ends, or have it so", do="anyway"),
        )
    crossed = len(track.curve.crossed_by(*ends)) > 0
    if gate.kind in BESIDE_THE_TRACK:
        if crossed:
            raise PlaceError(
                f"gate {gate.name} would lie across the racing line, so that every lap would "
                "count as one through the pits",
                remedy=Remedy(
                    "give a place where the pit lane is clear of the track, or have it so"
                    if track.pit_lanes
                    else "give the file its pit lane first, or two ends on either side of the pit "
                    "lane, or have it so",
                    do="anyway",
                ),
            )
        return
    if not crossed:
        _, offset = track.curve.project(np.vstack([ends, ends.mean(axis=0)]))
        raise PlaceError(
            "the line between the two ends does not cross the centreline (it passes "
            f"{np.abs(offset).min():.1f} m from it)",
            remedy=Remedy("give ends on both sides of the track, or have it so", do="anyway"),
        )
    left_of_gate = ends[0] - ends[1]
    facing = np.array([left_of_gate[1], -left_of_gate[0]]) / width
    _, aside = track.curve.project(ends.mean(axis=0), facing)
    farthest = 0.5 * track.band_m + MIDDLE_WITHIN_M
    if abs(float(aside)) > farthest and not spans_pit_lane(track, gate):
        raise PlaceError(
            f"the middle of gate {gate.name} would lie {abs(float(aside)):.1f} m from the line, "
            f"farther than half the band and {MIDDLE_WITHIN_M:.0f} m, and it spans no pit lane "
            "that the file has",
            remedy=Remedy("check both ends, or have it so", do="anyway"),
        )
