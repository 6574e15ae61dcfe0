"""Invented tracks through points on a plane."""

import numpy as np

from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.features import Centreline, Gate
from trackkit.track.model import Track


def make_track(vertex_m, *, closed=True, gates=(), half_m=7.0, at=(161.0, 47.0), height=None):
    """An invented track through some points; gates are (kind, chainage) pairs."""
    plane = LocalPlane(*at)
    curve = Curve.through(vertex_m, closed=closed)
    chainage = curve.sampled()
    position = curve.position(chainage)
    if closed:
        position = np.vstack([position, position[:1]])
        chainage = np.append(chainage, curve.length_m)
    longitude, latitude = plane.to_geographic(position)
    heights = None if height is None else height(chainage / curve.length_m)
    placed = []
    for number, (kind, place_m) in enumerate(gates):
        ends = curve.position(place_m) + [[half_m], [-half_m]] * curve.left(place_m)
        gate_lon, gate_lat = plane.to_geographic(ends)
        left, right = zip(gate_lon.tolist(), gate_lat.tolist(), strict=True)
        placed.append(Gate(f"gate-{number}", kind, f"G{number}", left, right, chainage_m=place_m))
    line = Centreline(longitude, latitude, closed, height_m=heights)
    return Track("invented", "Invented", line, curve.length_m).with_gates(placed)


ANGLE = np.linspace(0, 2 * np.pi, 60, endpoint=False)
BENDY_M = 160 + 40 * np.sin(3 * ANGLE) + 15 * np.cos(5 * ANGLE)
LOOP_M = np.column_stack([BENDY_M * np.cos(ANGLE), BENDY_M * np.sin(ANGLE)])
LAP_GATES = (("finish", 0.0), ("sector", 400.0), ("sector", 800.0))
