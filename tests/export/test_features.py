"""Middles and bearings of gates, against geographiclib."""

import pytest
from geographiclib.geodesic import Geodesic

from trackkit.export.features import gate_bearing_deg, gate_middle


def test_middle_and_bearing_agree_with_geographiclib(track):
    for gate in track.gates:
        way = Geodesic.WGS84.Inverse(gate.left[1], gate.left[0], gate.right[1], gate.right[0])
        middle = Geodesic.WGS84.InverseLine(
            gate.left[1], gate.left[0], gate.right[1], gate.right[0]
        ).Position(way["s12"] / 2)
        assert gate_middle(gate) == pytest.approx((middle["lon2"], middle["lat2"]), abs=1e-10)
        turned = (gate_bearing_deg(gate) - (middle["azi2"] - 90) + 180) % 360 - 180
        assert turned == pytest.approx(0.0, abs=1e-6)
