"""What follows a track's datum when it moves."""

from dataclasses import replace

import named_block
import numpy as np
import pytest

from trackkit.track.derive import with_datum
from trackkit.track.model import Crossover


@pytest.fixture(scope="module")
def block():
    return named_block.block()


def test_crossovers_and_the_width_profile_follow_the_datum(block):
    told = replace(
        block,
        crossovers=(Crossover(500.0, 1200.0),),
        centreline=replace(block.centreline, width_profile=((0.0, 5.0, 6.0), (700.0, 4.0, 4.0))),
    )

    track = with_datum(told, 600.0)

    (bridge,) = track.crossovers
    assert bridge.over_m == pytest.approx(1288.4956, abs=0.01)
    assert bridge.under_m == pytest.approx(600.0, abs=0.01)
    profile = np.array(track.centreline.width_profile)
    assert profile[:, 0] == pytest.approx([100.0, 788.4956], abs=0.01)
    assert profile[:, 1:].tolist() == [[4.0, 4.0], [5.0, 6.0]]


def test_heights_follow_the_datum(block):
    east = block.plane.to_plane(block.centreline.longitude_deg, block.centreline.latitude_deg)[:, 0]
    high = replace(block, centreline=replace(block.centreline, height_m=300.0 + 0.1 * east))

    line = with_datum(high, 650.0).centreline

    now = high.plane.to_plane(line.longitude_deg, line.latitude_deg)[:, 0]
    assert line.height_m == pytest.approx(300.0 + 0.1 * now, abs=0.01)
