"""Gates as they lie on the track: across it, on bridges, beside its line."""

from dataclasses import replace

import numpy as np
import pytest
from damaged_tracks import turned_ends, with_gate
from drives import figure_of_eight, track_of

from trackkit.checks.gate_places import faces_traffic, on_bridge, placed_gates
from trackkit.track.features import Crossover


@pytest.mark.parametrize(
    ("degrees", "faces"),
    [(0.0, True), (50.0, True), (-50.0, True), (65.0, False), (-65.0, False), (180.0, False)],
)
def test_a_gate_faces_traffic_within_60_degrees_of_square(clean, degrees, faces):
    track = with_gate(clean, "gate-a", **turned_ends(347.0, degrees))

    assert faces_traffic(track, track.gate("gate-a"), 347.0) == faces


def test_gates_lie_where_their_ends_are_whatever_their_file_says(clean):
    track = with_gate(clean, "gate-a", chainage_m=355.0)

    placed = {gate.id: chainage for gate, chainage in placed_gates(track)}

    assert placed["gate-a"] == pytest.approx(347.0, abs=0.01)
    assert list(placed) == ["finish", "gate-a", "gate-b", "gate-c"]


def test_a_gate_beside_the_line_is_not_placed(clean):
    pits = with_gate(clean, "gate-a", kind="pit-entry")

    assert [gate.id for gate, _ in placed_gates(pits)] == ["finish", "gate-b", "gate-c"]


EIGHT = figure_of_eight()
HALF_M = EIGHT.length_m / 2


@pytest.mark.parametrize(
    ("chainage_m", "half_m", "found"),
    [
        (0.3, 6.0, True),
        (HALF_M + 0.3, 6.0, True),
        (2.0, 8.0, True),
        (4.0, 8.0, False),
        (40.0, 8.0, False),
        (HALF_M - 40.0, 8.0, False),
        (200.0, 8.0, False),
        (14.0, 3.0, False),
    ],
)
def test_a_gate_on_or_under_a_bridge_reaches_the_other_level(chainage_m, half_m, found):
    # The legs cross at 73.7 degrees: 2 m before, the other one is 2 m tan 73.7 = 6.8 m to the side,
    # and 4 m before, 13.7 m.
    track = track_of(
        EIGHT,
        gates=[("finish", "finish", 120.0), ("a", "sector", chainage_m, half_m)],
        direction=None,
        spacing_m=2.0,
    )
    bridged = replace(track, crossovers=(Crossover(0.0, HALF_M),))

    assert on_bridge(bridged, bridged.gate("a"), chainage_m) == found
    assert not on_bridge(track, track.gate("a"), chainage_m)


def test_a_gate_square_to_one_of_two_legs_at_right_angles_lies_along_the_other():
    # It meets the other leg nowhere, and is on its level all the same.
    square = figure_of_eight(60.0, 60.0 * np.sqrt(2.0))
    track = track_of(
        square,
        gates=[("finish", "finish", 120.0), ("a", "sector", 0.5, 6.0)],
        direction=None,
        spacing_m=2.0,
        crossovers=(Crossover(0.0, 0.5 * square.length_m),),
    )

    assert on_bridge(track, track.gate("a"), 0.5)
