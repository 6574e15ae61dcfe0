"""Gates at bridges, as far as their width reaches, and which way gates face, by numbers."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from trackkit.checks.gate_places import faces_traffic, on_bridge
from trackkit.geometry.curve import Curve

LINE = Curve.through(np.stack([np.arange(0.0, 1001.0, 5.0), np.zeros(201)], axis=1), closed=False)


def track_at_bridge(crossed, *, over_m=200.0, under_m=700.0):
    """A bridge between two places of a line, and a gate that crosses it at some chainages."""
    curve = SimpleNamespace(
        separation=LINE.separation, crossed_by=lambda *_: np.array(crossed, dtype=float)
    )
    return SimpleNamespace(
        curve=curve,
        gate_ends=lambda _: (None, None),
        crossovers=[SimpleNamespace(over_m=over_m, under_m=under_m)],
    )


@pytest.mark.parametrize(
    ("chainage_m", "crossed", "on"),
    [
        # Right on it, whatever it crosses.
        (200.0, [], True),
        (200.9, [], True),
        (201.1, [201.1], False),
        (700.9, [], True),
        # A gate of 16 m reaches 12 m and half of its width: 20 m, here and on the other level.
        (219.9, [219.9, 719.9], True),
        (220.1, [220.1, 719.9], False),
        (219.9, [219.9, 720.1], False),
        (219.9, [219.9, 680.1], True),
        (219.9, [219.9], False),
        (690.0, [690.0, 210.0], True),
        (690.0, [690.0, 221.0], False),
        (450.0, [450.0], False),
    ],
)
def test_a_gate_is_on_a_bridge_where_it_reaches_the_other_level(chainage_m, crossed, on):
    gate = SimpleNamespace(width_m=16.0)

    assert on_bridge(track_at_bridge(crossed), gate, chainage_m) is on


def test_without_bridges_no_gate_is_on_one():
    track = track_at_bridge([200.0])
    track.crossovers = []

    assert not on_bridge(track, SimpleNamespace(width_m=16.0), 200.0)


@pytest.mark.parametrize(
    ("angle_deg", "faces"),
    [(0.0, True), (59.0, True), (-59.0, True), (61.0, False), (180.0, False)],
)
def test_a_gate_faces_traffic_within_sixty_degrees_of_square(angle_deg, faces):
    # Along the x-axis the left end is at positive y.
    angle = np.radians(90.0 + angle_deg)
    half = 6.0 * np.array([np.cos(angle), np.sin(angle)])
    middle = np.array([300.0, 0.0])
    track = SimpleNamespace(curve=LINE, gate_ends=lambda _: (middle + half, middle - half))

    assert faces_traffic(track, None, 300.0) is faces
