"""A track made of a layout of open map data."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from trackkit.building.from_line import build_from_line
from trackkit.errors import PlaceError
from trackkit.gates.pit_lane import set_pit_lane
from trackkit.geometry.geodesy import LocalPlane
from trackkit.open_map.circuits import MapLayout
from trackkit.open_map.tags import CREDIT, LICENCE, latin_name
from trackkit.track.credit import MAP_SOURCE
from trackkit.track.features import SUGGESTED, Crossover
from trackkit.track.history import now
from trackkit.track.ids import slug
from trackkit.track.model import Track

_NEAR_M = 25.0


def track_of(
    layout: MapLayout, file: Mapping[str, Any], *, id_: str | None = None
) -> tuple[Track, tuple[str, ...]]:
    """Make a track of a layout, with a finish gate that is marked as a suggestion.

    Parameters
    ----------
    layout
        The layout.
    file
        Name and SHA-256 of the extract, as an entry of ``sources``.
    id_
        The track's id; made of its name where None.

    Returns
    -------
    track, remarks
        The track, under the licence of the data, and clauses about what was assumed.

    Raises
    ------
    TrackkitError
        When no track can be made of its line.
    """
    name = layout.name or unnamed(layout)
    build = build_from_line(
        layout.longitude_deg,
        layout.latitude_deg,
        name,
        layout=layout.layout,
        sources=(source_of(layout, file),),
    )
    track = build.track
    line = replace(track.centreline, width_m=layout.width_m)
    track = replace(
        track,
        id=id_ or id_of(layout),
        centreline=line,
        licence=LICENCE,
        gates=tuple(replace(gate, properties={SUGGESTED: True}) for gate in track.gates),
        history=(),
    )
    track = _with_bridges(track, layout)
    remarks = layout.remarks
    for lane in layout.pit_lanes[:1]:
        try:
            track, more = set_pit_lane(track, lane[:, 0], lane[:, 1])
        except PlaceError as error:
            remarks += (f"its pit lane was left out: {error.what}",)
        else:
            remarks += more
    what = "imported from open map data; the finish gate is a suggestion"
    return replace(track, history=()).revised_by(what, now()), remarks


def unnamed(layout: MapLayout) -> str:
    """Call a circuit that the map has no name for by its sport and by the first of its ways."""
    kind = "Kart circuit" if "karting" in layout.sports else "Circuit"
    return f"{kind} without a name, way {layout.ways[0][0]}"


def id_of(layout: MapLayout) -> str:
    """Make an id of the name, in Latin letters where there is one such, and of the layout."""
    plain = latin_name({**layout.names, "name": layout.name}) if layout.name else ""
    if not re.search(r"[A-Za-z]", plain):
        plain = unnamed(layout)
    return slug(f"{plain} {layout.layout}".strip())


def source_of(layout: MapLayout, file: Mapping[str, Any]) -> dict[str, Any]:
    """Describe what a track was made from: the objects with their versions, and their tags."""
    tags = {
        "sport": ";".join(layout.sports) or None,
        "surface": layout.surface or None,
        "width_m": layout.width_m,
        **layout.names,
    }
    return {
        **file,
        "kind": MAP_SOURCE,
        "licence": LICENCE,
        "credit": CREDIT,
        "ways": [list(way) for way in layout.ways],
        "relation": None if layout.relation is None else list(layout.relation),
        "one_way": layout.driven == "one way",
        "driven": layout.direction,
        "tags": {key: value for key, value in tags.items() if value is not None},
        "name": layout.name or unnamed(layout),
        "layout": layout.layout,
        "drawn": drawn_digest(layout),
    }


def drawn_digest(layout: MapLayout) -> str:
    """Digest what a track follows from, by which a layout that has not changed is recognised."""
    content = [
        np.round(np.column_stack([layout.longitude_deg, layout.latitude_deg]), 7).tolist(),
        [np.round(lane, 7).tolist() for lane in layout.pit_lanes],
        [layout.layers, layout.width_m, layout.surface, layout.sports, layout.driven],
        sorted(layout.names.items()),
        layout.name,
    ]
    return hashlib.sha256(json.dumps(content).encode()).hexdigest()[:16]


def _with_bridges(track: Track, layout: MapLayout) -> Track:
    """Say which passage is above from the layers of the ways; what they do not tell stays."""
    if not track.crossovers or len(set(layout.layers)) < 2:
        return track
    plane = LocalPlane.around(layout.longitude_deg, layout.latitude_deg)
    vertex = plane.to_plane(layout.longitude_deg, layout.latitude_deg)
    middle = 0.5 * (vertex[1:] + vertex[:-1])
    step = np.diff(vertex, axis=0)
    length = np.maximum(np.hypot(*step.T), 1e-9)
    ahead = step / length[:, None]
    layers = np.array(layout.layers)

    def layer_at(chainage_m: float) -> int:
        curve = track.curve
        place = track.plane.to_geographic(curve.position(chainage_m))
        here = plane.to_plane(*place)
        facing = ahead @ curve.direction(chainage_m) > 0.7
        along = np.clip(((here - middle) * ahead).sum(axis=1), -0.5 * length, 0.5 * length)
        away = np.hypot(*(here - middle - along[:, None] * ahead).T)
        return int(layers[np.argmin(np.where(facing & (away < _NEAR_M), away, np.inf))])

    bridges = []
    for bridge in track.crossovers:
        over, under = layer_at(bridge.over_m), layer_at(bridge.under_m)
        turned = under > over
        bridges.append(Crossover(bridge.under_m, bridge.over_m) if turned else bridge)
    return replace(track, crossovers=tuple(bridges))
