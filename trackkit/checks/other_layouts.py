"""Layouts beside a track, and where they disagree with it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from trackkit.arrays import Floats
from trackkit.checks.findings import Finding, new_finding
from trackkit.checks.gate_places import placed_gates
from trackkit.checks.timing_rules import SAME_PLACE_M
from trackkit.errors import TrackkitError
from trackkit.gates.remedies import put_at_ends
from trackkit.track.file import read_track
from trackkit.track.model import Track

LOOKS_ALIKE_M = 30.0
SHARED_WITHIN_M = 3.0


def check_against(track: Track, other: Track) -> Iterator[Finding]:
    """Find gates on tarmac shared with another layout that look alike and are not the same.

    Two gates of one kind within `LOOKS_ALIKE_M` of each other along shared tarmac, driven the
    same way, whose times cannot be compared because they are more than `SAME_PLACE_M` apart.

    Parameters
    ----------
    track
        The track.
    other
        Another layout of the same circuit.
    """
    for gate, chainage in placed_gates(track):
        twins = [twin for twin in other.gates if twin.kind == gate.kind]
        centre = track.curve.position(chainage)
        longitude, latitude = track.plane.to_geographic(centre)
        there = other.plane.to_plane(float(longitude), float(latitude))
        heading = _heading_on(track, other, chainage)
        where, offset = other.curve.project(there, heading)
        same_way = float(other.curve.direction(where) @ heading) > 0.9
        if abs(float(offset)) > SHARED_WITHIN_M or not same_way:
            continue
        for twin in twins:
            apart = float(
                np.linalg.norm(other.gate_ends(twin) - other.gate_ends(gate), axis=1).max()
            )
            along = float(other.curve.separation(where, twin.chainage_m))
            if along <= LOOKS_ALIKE_M and along > SAME_PLACE_M:
                yield new_finding(
                    track,
                    severity="warning",
                    rule="gate-disagrees",
                    feature=gate.id,
                    chainage_m=chainage,
                    message=f"gate {gate.name} lies {along:.1f} m from gate {twin.name} of the "
                    f"layout {other.layout or other.id}, on tarmac both share ({apart:.1f} m "
                    "between ends): their times look alike and cannot be compared",
                    remedy=put_at_ends(
                        gate,
                        twin.left,
                        twin.right,
                        "give both layouts the same gate, such as this one the two ends of the "
                        "other",
                    ),
                )


def _heading_on(track: Track, other: Track, chainage_m: float) -> Floats:
    pair = track.curve.position(np.array([chainage_m - 1.0, chainage_m + 1.0]))
    longitude, latitude = track.plane.to_geographic(pair)
    there = other.plane.to_plane(longitude, latitude)
    span = there[1] - there[0]
    return np.asarray(span / np.linalg.norm(span))


def layouts_beside(path: str | os.PathLike[str], track: Track) -> list[Track]:
    """Read the other layouts of a circuit: track files of its name in the same folder.

    Files that cannot be read are left out: they are not what is being checked.
    """
    layouts = []
    here = Path(path).resolve()
    for other in sorted(here.parent.glob("*.geojson")):
        if other == here:
            continue
        try:
            layout = read_track(other, validate=False)
        except TrackkitError:
            continue
        if layout.name == track.name and layout.id != track.id:
            layouts.append(layout)
    return layouts
