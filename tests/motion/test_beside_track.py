"""How densely a line is looked at where laps are laid beside it."""

import pytest

from trackkit.motion.beside_track import FEWEST_NODE_M, node_spacing_m


@pytest.mark.parametrize("doppler", [False, True])
@pytest.mark.parametrize("length_m", [1100.0, 1300.0, 1600.0])
def test_a_circuit_has_a_hundred_nodes(length_m, doppler):
    assert length_m / node_spacing_m(length_m, doppler=doppler) == pytest.approx(100.0)


@pytest.mark.parametrize("doppler", [False, True])
def test_on_a_short_circuit_nodes_are_no_nearer_and_on_a_long_one_velocities_bridge_more(doppler):
    most_m = [node_spacing_m(length_m, doppler=doppler) for length_m in (5_000.0, 40_000.0)]

    assert node_spacing_m(300.0, doppler=doppler) == FEWEST_NODE_M
    assert most_m[0] == most_m[1]
    assert node_spacing_m(5_000.0, doppler=True) > node_spacing_m(5_000.0, doppler=False)
