"""A track laid out as layers of features with fields, for formats of geographic systems."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from trackkit.arrays import Floats
from trackkit.export.features import gate_bearing_deg, line_of, pit_line_of
from trackkit.geometry.antimeridian import cut_line
from trackkit.recordings.write import DEGREE_DECIMALS
from trackkit.track.credit import credit_of
from trackkit.track.model import Track

Shape = list[Floats]
"""Positions of a point or line, or of the parts of a line cut at the antimeridian."""


class Layer(NamedTuple):
    """Features of one kind: their fields, by name, and their shapes, one each."""

    rows: Sequence[Mapping[str, Any]]
    shapes: Sequence[Shape]


def layers_of(track: Track) -> dict[str, Layer]:
    """Lay a track out as tables, one a kind of feature; kinds it has none of are left out."""
    line = track.centreline
    # The schema's own names, but for `id`, which GDAL and KML take for themselves.
    centreline = {
        "feature_id": "centreline",
        "track_id": track.id,
        "name": track.name,
        "layout": track.layout,
        "closed": track.closed,
        "direction": track.direction,
        "length_m": track.length_m,
        "length_surface_m": track.length_surface_m,
        "width_m": line.width_m,
        "line": track.line,
        "accuracy_m": track.accuracy_m,
        "country": track.country,
        "timezone": track.timezone,
        "licence": track.licence,
        **({"credit": credit} if (credit := credit_of(track)) else {}),
        "revised": track.revised,
        "notes": track.notes,
        **_others(line.properties),
    }
    # As in a track file, left out where every name follows from the order.
    any_given = any(gate.name_given for gate in track.gates)
    gates = [
        {
            "feature_id": gate.id,
            "kind": gate.kind,
            "order": gate.order,
            "name": gate.name,
            "chainage_m": gate.chainage_m,
            "width_m": gate.width_m,
            "bearing_deg": gate_bearing_deg(gate),
            "surveyed": gate.surveyed,
            **({"name_given": gate.name_given} if any_given else {}),
            **_others(gate.properties),
        }
        for gate in track.gates
    ]
    corners = [
        {
            "feature_id": corner.id or f"corner-{corner.number}",
            "number": corner.number,
            "name": corner.name,
            "turn": corner.turn,
            "entry_m": corner.entry_m,
            "apex_m": corner.apex_m,
            "exit_m": corner.exit_m,
            "min_radius_m": corner.min_radius_m,
            **_others(corner.properties),
        }
        for corner in track.corners
    ]
    pit_lanes = [
        {"feature_id": lane.id, "name": lane.id, **_others(lane.properties)}
        for lane in track.pit_lanes
    ]
    layers = {
        "centreline": Layer([centreline], [_shape(line_of(track))]),
        "gates": Layer(gates, [_shape(np.array([gate.left, gate.right])) for gate in track.gates]),
        "corners": Layer(corners, [_shape(np.array([corner.apex])) for corner in track.corners]),
        "pit_lane": Layer(pit_lanes, [_shape(pit_line_of(lane)) for lane in track.pit_lanes]),
    }
    return {name: layer for name, layer in layers.items() if layer.rows}


def _others(properties: Mapping[str, Any]) -> dict[str, str]:
    """Keep properties trackkit does not know, together in one field of JSON."""
    return {"other": json.dumps(dict(properties), ensure_ascii=False)} if properties else {}


def _shape(line: Floats) -> Shape:
    return [np.round(part, DEGREE_DECIMALS) for part in cut_line(line)]
