"""An invented track that has everything another program could lose."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from trackkit.gates.edit import place_gate
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.accuracy import AccuracyRow
from trackkit.track.derive import called
from trackkit.track.features import PitLane
from trackkit.track.file import stored
from trackkit.track.model import Track

NAME = "Ñandú & „Übung“ <環>"


@cache
def nasty_track() -> Track:
    """Astride the antimeridian, with heights, a pit lane, odd names and members nobody knows."""
    plane = LocalPlane(180.0, -27.0)
    angle = np.linspace(0.0, 2.0 * np.pi, 160, endpoint=False)
    ring = np.column_stack([260.0 * np.cos(angle), 140.0 * np.sin(angle)])
    ring *= (1.0 + 0.15 * np.cos(3.0 * angle))[:, None]
    longitude, latitude = plane.to_geographic(ring)
    height_m = np.round(30.0 + 4.0 * np.sin(angle), 2)
    track = Track.from_arrays(
        longitude, latitude, NAME, height_m=height_m, layout="Größe 2", width_m=9.5
    )
    for kind, place_m, name in (
        ("finish", 0.0, "Ziel/Çizgi"),
        ("sector", 400.0, None),
        ("sector", 800.0, "Sector 1 end"),
        ("speed", 1000.0, "5"),
    ):
        track = place_gate(track, kind, place_m, name=name).track
    pit = ring[-16:-4] * 0.8
    pit_longitude, pit_latitude = plane.to_geographic(pit)
    lane = PitLane(
        "pit-lane-q2x7",
        pit_longitude,
        pit_latitude,
        height_m=np.linspace(28.0, 29.0, len(pit)),
        properties={"limit_kmh": 60, "name": "Boxengasse Süd"},
        members={"x-origin": "survey"},
    )
    gates = [
        replace(
            gate,
            properties={"surface": "concrete", "posts": [1, 2.5, {"lit": True}], "lit": False},
            members={"x-of-gate": [gate.order]},
        )
        for gate in track.gates
    ]
    first, *others = track.corners
    length_m = track.curve.length_m
    track = replace(
        track.with_gates(gates),
        pit_lanes=(lane,),
        corners=(
            replace(first, name="Corner 9", properties={"banked": [1, 2]}),
            *(replace(corner, properties={"kerb": None}) for corner in others),
        ),
        centreline=replace(
            track.centreline,
            width_profile=((0.0, 4.0, 5.5), (300.0, 5.0, 4.5)),
            accuracy_profile=(
                AccuracyRow(0.0, 0.4, "measured"),
                AccuracyRow(round(0.5 * length_m, 2), 0.9, "thin"),
            ),
            properties={"tarmac": {"laid": 2019, "by": None}},
            members={"x-of-line": {"a": [1]}},
        ),
        accuracy_m=0.65,
        country="XQ",
        timezone="Etc/GMT-12",
        licence="CC0-1.0",
        valid_from="2026-04-01",
        notes="Erste Zeile\nzweite – „Zeile“; " + "sehr lang, " * 40,
        accepted=(
            {"rule": "width", "feature": None, "reason": "so gewollt", "date": "2026-04-02"},
        ),
        members={"x-club": {"founded": 1970, "motto": "Ça va"}},
        foreign={"x-drawn-with": ["pencil", 3]},
        other_features=(
            {
                "type": "Feature",
                "id": "post-1",
                "geometry": {"type": "Point", "coordinates": [179.9995, -27.0005, 31.5]},
                "properties": {"role": "marshal post", "lamps": [1, 2], "manned": True},
            },
            {
                "type": "Feature",
                "geometry": {"type": "Point", "coordinates": [-179.9995, -27.0005]},
                "properties": None,
            },
        ),
        version="1.1",
    )
    track = track.with_gates(
        called(gate, "Sector 1 end") if gate.name == "Sector 1 end" else gate
        for gate in track.gates
    )
    return stored(track)
