"""What a receiver measured, taken in parts, and how many unknowns a model of noise has."""

import numpy as np
import pytest

from trackkit.motion.noise import Levels, Measured


def test_correlated_doppler_noise_is_one_unknown_more():
    assert (Levels().states, Levels(slow_doppler_mps=0.05).states) == (4, 5)


@pytest.mark.parametrize(("begin", "end"), [(0, 6), (2, 5), (3, 4), (3, 3)])
@pytest.mark.parametrize("directed", [True, False])
def test_a_part_holds_the_fixes_and_the_joints_between_them(begin, end, directed):
    number = np.arange(6.0)
    pairs = np.column_stack([number, -number])
    joined = np.array([True, False, True, True, False])
    direction = pairs / 7.0 if directed else None
    whole = Measured(number, pairs, 2.0 * pairs, joined, number + 1.0, direction)

    part = whole.part(begin, end)

    assert part.time_s.tolist() == list(range(begin, end))
    assert part.position_m[:, 1].tolist() == (-part.time_s).tolist()
    assert part.velocity_mps[:, 0].tolist() == (2.0 * part.time_s).tolist()
    assert part.scale.tolist() == (part.time_s + 1.0).tolist()
    # A joint lies between two fixes.
    assert part.joined.tolist() == joined[begin : max(begin, end - 1)].tolist()
    assert (part.direction is not None) == directed
