"""An invented kart circuit astride the antimeridian, a drive on it, and hostile names."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trackkit.checks.findings import Finding
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.recordings.recording import Recording
from trackkit.remedies import Remedy
from trackkit.track.features import Centreline, Corner, Gate
from trackkit.track.model import Track

HOSTILE = (
    "<img src=x onerror=\"window.harmed='img'\">`${window.harmed='js'}`"
    "</script><script>window.harmed='script'</script>\"'\u2028"
)


def kart_track(longitude_deg: float = 179.9985, name: str = "Quarry Bottom (invented)") -> Track:
    """A kart-like circuit of about 1 km astride the antimeridian, with a hairpin."""
    vertex = np.array(
        [
            *((-160, -70), (0, -71), (150, -62), (185, -30), (160, 5), (100, 12), (72, 40)),
            *((90, 72), (80, 105), (48, 98), (28, 60), (0, 35), (-30, 40), (-46, 70), (-60, 105)),
            *((-92, 112), (-112, 85), (-108, 40), (-130, 5), (-180, -8), (-202, -35), (-196, -60)),
        ],
        dtype=float,
    )
    plane = LocalPlane(longitude_deg, -27.0)
    curve = Curve.through(vertex, closed=True)
    longitude, latitude = plane.to_geographic(
        curve.position(np.append(curve.sampled(), curve.length_m))
    )
    line = Centreline(longitude, latitude, closed=True)
    track = Track("quarry", name, line, curve.length_m, direction="anticlockwise")
    curve = track.curve

    def position(chainage_m: float, aside_m: float = 0.0) -> tuple[float, float]:
        place = curve.position(chainage_m) + aside_m * curve.left(chainage_m)
        return tuple(float(value) for value in track.plane.to_geographic(place))

    gates = [
        Gate(key, kind, label, position(at, 6), position(at, -6), chainage_m=at)
        for key, kind, label, at in (
            ("finish", "finish", "Finish", 0.0),
            ("gate-a1b2", "sector", "Sector 1 end", 340.0),
            ("gate-c3d4", "sector", "Sector 2 end", 700.0),
        )
    ]
    corners = [
        Corner(n, "", "left" if curve.curvature(at) > 0 else "right", position(at), at, at, at, 20)
        for n, at in enumerate((330.0, 420.0, 470.0, 540.0, 660.0, 760.0, 900.0), start=1)
    ]
    return replace(track, gates=tuple(gates), corners=tuple(corners))


def kart_drive(track: Track, name: str = "morning.gpx") -> Recording:
    time = np.arange(0, 120, 0.1)
    place = track.curve.position(18 * time + 15 * np.sin(time / 4))
    longitude, latitude = track.plane.to_geographic(place)
    return Recording(name, time, longitude, latitude)


FINDINGS = [
    Finding(
        "error", "gate-other", "gate-c3d4", None, None, "Reaches another piece", Remedy("Narrow it")
    ),
    Finding(
        "warning", "near", None, 500.0, None, "Another piece is near", Remedy("Survey the ends")
    ),
]
