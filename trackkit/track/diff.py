"""What moved between two track files, and by how much."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from trackkit.arrays import Floats
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.geometry.runs import runs_of
from trackkit.geometry.vectors import gate_axes
from trackkit.track.diff_report import (
    GATE_MOVED_M,
    Comparison,
    CornerChange,
    GateChange,
    LineChange,
    Stretch,
)
from trackkit.track.encoding import track_to_document
from trackkit.track.features import Corner, Gate
from trackkit.track.model import Track

USUAL_LIMIT_M = 2.0
"""Lateral deviation from which a centreline counts as moved, where accuracies are not declared.

Two lines averaged from a few laps of usual receivers each carry up to about a metre of slow wander,
so they differ by less than this without anything having moved."""
LEAST_LIMIT_M = 0.5
RADIUS_CHANGED = 0.05
"""Change of a corner's smallest radius worth telling, as a share of it."""

_SAMPLE_M = 1.0
_SAME_GROUND_M = 30.0
_FAR_M = 10_000.0
_SAME_CORNER_M = 40.0
_APEX_MOVED_M = 5.0
_JOINED_M = 5.0
_COMPARED_BY_THEMSELVES = {"format", "version", "length_m", "direction"}
_OWN_ROLES = {"centreline", "gate", "corner"}


def compare_tracks(a: Track, b: Track) -> Comparison:
    """Tell what differs between two tracks.

    Centrelines are sampled every metre and compared square to A, each place with the nearest one
    of the other line.  A stretch counts as moved beyond three sigmas of the two declared
    accuracies together, but at least `LEAST_LIMIT_M`; where either is not declared, beyond
    `USUAL_LIMIT_M`.  Gates are compared by id, corners by place.

    Parameters
    ----------
    a, b
        The tracks; what differs is told from A to B.

    Returns
    -------
    Comparison
        What differs.

    Examples
    --------
    >>> import trackkit
    >>> path = trackkit.open_library().find("pipwick-kart-circuit").path
    >>> track = trackkit.read_track(path)
    >>> moved = trackkit.move_gate(track, "Sector 1 end", "300m").track
    >>> comparison = trackkit.compare_tracks(track, moved)
    >>> print(comparison.lines()[1])
    gate gate-cst9: chainage 302.16 → 300.00 m
    """
    line_a, line_b, distance = _lines(a, b)
    same_ground = False
    runs_other_way = False
    line: LineChange | None = None
    gates: tuple[GateChange, ...] = ()
    corner_pairs: list[tuple[Corner, Corner]] = []
    if line_b is not None:
        from_a, from_b = _Nearest.of(line_a, line_b), _Nearest.of(line_b, line_a)
        distance = float(min(from_a.distance_m.min(), from_b.distance_m.min()))
        same_ground = distance <= _SAME_GROUND_M
        if same_ground:
            alike = from_a.distance_m <= _SAME_GROUND_M
            facing = np.einsum(
                "ij,ij->i", line_a.direction(from_a.chainage_m), line_b.direction(from_a.other_m)
            )
            runs_other_way = bool(np.any(alike) and facing[alike].mean() < 0)
            line = _line_change(a, b, line_a, line_b, from_a, from_b)
            gates = _gate_changes(a, b)
            corner_pairs = _corner_pairs(a, b, runs_other_way=runs_other_way)
    ids_a, ids_b = [gate.id for gate in a.gates], [gate.id for gate in b.gates]
    paired_a = {corner.number for corner, _ in corner_pairs}
    paired_b = {corner.number for _, corner in corner_pairs}
    document_a, document_b = track_to_document(a), track_to_document(b)
    others_a, others_b = _other_features(document_a), _other_features(document_b)
    return Comparison(
        a=a.id,
        b=b.id,
        distance_m=distance,
        same_ground=same_ground,
        length_m=(a.length_m, b.length_m),
        direction=(a.direction, b.direction),
        runs_other_way=runs_other_way,
        line=line,
        gates_added=tuple(gate_id for gate_id in ids_b if gate_id not in ids_a)
        if same_ground
        else (),
        gates_removed=tuple(gate_id for gate_id in ids_a if gate_id not in ids_b)
        if same_ground
        else (),
        gates=gates,
        corners_added=_unpaired(b, paired_b) if same_ground else (),
        corners_removed=_unpaired(a, paired_a) if same_ground else (),
        corners=_corner_changes(corner_pairs),
        features_added=tuple(feature_id for feature_id in others_b if feature_id not in others_a),
        features_removed=tuple(feature_id for feature_id in others_a if feature_id not in others_b),
        features_changed=tuple(
            feature_id
            for feature_id, feature in others_a.items()
            if feature_id in others_b and others_b[feature_id] != feature
        ),
        members=_member_changes(document_a, document_b),
    )


@dataclass(frozen=True, eq=False)
class _Nearest:
    """Places along a curve, and for each the nearest place on another curve."""

    chainage_m: Floats
    position_m: Floats
    other_m: Floats
    other_position_m: Floats
    distance_m: Floats

    @classmethod
    def of(cls, curve: Curve, other: Curve) -> _Nearest:
        chainage = curve.chainages(_SAMPLE_M)
        position = curve.position(chainage)
        nearest, offset = other.project(position)
        return cls(chainage, position, nearest, other.position(nearest), np.abs(offset))


def _lines(a: Track, b: Track) -> tuple[Curve, Curve | None, float]:
    """Lay both lines out on A's plane, unless they are too far apart for one plane."""
    from scipy.spatial import cKDTree

    def on_sphere(track: Track) -> Floats:
        longitude = np.radians(track.centreline.longitude_deg)
        latitude = np.radians(track.centreline.latitude_deg)
        level = np.cos(latitude)
        return np.column_stack(
            [level * np.cos(longitude), level * np.sin(longitude), np.sin(latitude)]
        )

    chord, index = cKDTree(on_sphere(b)).query(on_sphere(a))
    from_a = int(np.argmin(chord))
    from_b = int(np.asarray(index)[from_a])
    distance = float(
        geodesic_distance(
            a.centreline.longitude_deg[from_a],
            a.centreline.latitude_deg[from_a],
            b.centreline.longitude_deg[from_b],
            b.centreline.latitude_deg[from_b],
        )
    )
    if distance > _FAR_M:
        return a.curve, None, distance
    line = b.centreline
    vertex = a.plane.to_plane(line.longitude_deg, line.latitude_deg)
    return a.curve, Curve.through(vertex, closed=line.closed), distance


def _drawn(track: Track) -> bool:
    """Whether a line's accuracy is only what is assumed of drawn ones."""
    rows = track.centreline.accuracy_profile or ()
    return any(row.kind == "drawn" for row in rows)


def _line_change(
    a: Track, b: Track, line_a: Curve, line_b: Curve, from_a: _Nearest, from_b: _Nearest
) -> LineChange:
    limit = USUAL_LIMIT_M
    if a.accuracy_m is not None and b.accuracy_m is not None and not (_drawn(a) or _drawn(b)):
        limit = max(LEAST_LIMIT_M, 3.0 * float(np.hypot(a.accuracy_m, b.accuracy_m)))
    # A line tells only how far it moved to its side; bends facing every way tell the whole shift.
    aside = line_a.left(from_a.chainage_m)
    deviation = np.einsum("ij,ij->i", from_a.other_position_m - from_a.position_m, aside)
    shift = np.linalg.lstsq(aside, deviation, rcond=1e-3)[0]
    left_over = deviation - aside @ shift
    return LineChange(
        max_m=float(from_a.distance_m.max()),
        rms_m=float(np.sqrt(np.mean(from_a.distance_m**2))),
        max_of_b_m=float(from_b.distance_m.max()),
        shift_east_m=float(shift[0]),
        shift_north_m=float(shift[1]),
        rms_unshifted_m=float(np.sqrt(np.mean(left_over**2))),
        limit_m=limit,
        moved=_stretches(line_a, from_a, limit),
        moved_of_b=_stretches(line_b, from_b, limit),
    )


def _stretches(curve: Curve, nearest: _Nearest, limit_m: float) -> tuple[Stretch, ...]:
    """List where one line leaves the other, stretches closer together than `_JOINED_M` as one."""
    chainage, distance = nearest.chainage_m, nearest.distance_m
    count, step = len(chainage), float(chainage[1] - chainage[0])
    away = distance > limit_m
    if not away.any():
        return ()
    for begin, end in runs_of(~away, closed=curve.closed):
        between = curve.closed or (begin > 0 and end < count)
        if between and (end + 1 - begin) * step <= _JOINED_M:
            away[np.arange(begin, end) % count] = True
    if curve.closed and away.all():
        return (Stretch(0.0, curve.length_m, float(distance.max())),)
    runs = [np.arange(*run) % count for run in runs_of(away, closed=curve.closed)]
    runs.sort(key=lambda run: int(run[-1]))
    return tuple(
        Stretch(float(chainage[run[0]]), float(chainage[run[-1]]), float(distance[run].max()))
        for run in runs
    )


def _gate_changes(a: Track, b: Track) -> tuple[GateChange, ...]:
    after = {gate.id: gate for gate in b.gates}
    changes = [_gate_change(a, gate, after[gate.id]) for gate in a.gates if gate.id in after]
    return tuple(
        change
        for change in changes
        if change.moved or change.name or change.kind or change.order or change.chainage_m
    )


def _gate_change(a: Track, before: Gate, after: Gate) -> GateChange:
    ends, new_ends = a.gate_ends(before), a.gate_ends(after)
    right, forward, _ = gate_axes(*ends)
    turned = bool((new_ends[1] - new_ends[0]) @ right < 0)
    if turned:
        new_ends = new_ends[::-1]
    move = (new_ends - ends).mean(axis=0)
    end_moves = np.linalg.norm(new_ends - ends, axis=1)
    shifted = abs(after.chainage_m - before.chainage_m) >= GATE_MOVED_M
    return GateChange(
        id=before.id,
        name=(before.name, after.name) if before.name != after.name else None,
        kind=(before.kind, after.kind) if before.kind != after.kind else None,
        order=(before.order, after.order) if before.order != after.order else None,
        chainage_m=(before.chainage_m, after.chainage_m) if shifted else None,
        along_m=float(move @ forward),
        sideways_m=float(-move @ right),
        left_m=float(end_moves[0]),
        right_m=float(end_moves[1]),
        width_m=after.width_m - before.width_m,
        turned=turned,
    )


def _corner_pairs(a: Track, b: Track, *, runs_other_way: bool) -> list[tuple[Corner, Corner]]:
    """Pair corners that turn the same way on the ground, nearest apexes first."""
    candidates = sorted(
        (float(geodesic_distance(*corner.apex, *other.apex)), i, j)
        for i, corner in enumerate(a.corners)
        for j, other in enumerate(b.corners)
        if (corner.turn == other.turn) != runs_other_way
    )
    pairs: dict[int, int] = {}
    for distance, i, j in candidates:
        if distance <= _SAME_CORNER_M and i not in pairs and j not in pairs.values():
            pairs[i] = j
    return [(a.corners[i], b.corners[j]) for i, j in sorted(pairs.items())]


def _corner_changes(pairs: Sequence[tuple[Corner, Corner]]) -> tuple[CornerChange, ...]:
    changes = []
    for before, after in pairs:
        apart = float(geodesic_distance(*before.apex, *after.apex))
        radius_change = abs(after.min_radius_m - before.min_radius_m) / before.min_radius_m
        same_label = (before.number, before.name) == (after.number, after.name)
        if same_label and radius_change < RADIUS_CHANGED and apart < _APEX_MOVED_M:
            continue
        changes.append(
            CornerChange(
                (before.number, after.number),
                (before.name, after.name),
                (before.min_radius_m, after.min_radius_m),
                apart,
            )
        )
    return tuple(changes)


def _unpaired(track: Track, paired: set[int]) -> tuple[str, ...]:
    return tuple(
        f"{corner.number} {corner.name}".strip()
        for corner in track.corners
        if corner.number not in paired
    )


def _other_features(document: Mapping[str, Any]) -> dict[str, Any]:
    others = {}
    for number, feature in enumerate(document["features"], start=1):
        role = (feature.get("properties") or {}).get("role")
        # A foreign feature may have a role of any kind, such as a list, which no set can look up.
        if not isinstance(role, str) or role not in _OWN_ROLES:
            others[str(feature.get("id", f"number {number}"))] = feature
    return others


def _member_changes(
    before: Mapping[str, Any], after: Mapping[str, Any]
) -> tuple[tuple[str, Any, Any], ...]:
    def described(document: Mapping[str, Any]) -> dict[str, Any]:
        members = {k: v for k, v in document["track"].items() if k not in _COMPARED_BY_THEMSELVES}
        return {**members, **document["features"][0]["properties"]}

    old, new = described(before), described(after)
    return tuple(
        (name, old.get(name), new.get(name))
        for name in {**old, **new}
        if old.get(name) != new.get(name)
    )
