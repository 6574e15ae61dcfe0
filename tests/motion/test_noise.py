"""What a receiver measured, taken in parts, and how many unknowns a model of noise has."""

import numpy as np
import pytest

from trackkit.motion.noise import Levels, Measured, over_usual


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


@pytest.mark.parametrize("directed", [True, False])
def test_of_chosen_fixes_those_are_joined_between_which_nothing_is_broken(directed):
    number = np.arange(7.0)
    pairs = np.column_stack([number, -number])
    joined = np.array([True, True, False, True, True, True])
    whole = Measured(
        number,
        pairs,
        2.0 * pairs,
        joined,
        number + 1.0,
        pairs / 7.0 if directed else None,
        number + 3.0 if directed else None,
    )

    some = whole.only(np.isin(number, [0, 2, 3, 5]))

    assert some.time_s.tolist() == [0.0, 2.0, 3.0, 5.0]
    # 1 and 4 are left out: what was joined over them still is, and the break is between 2 and 3.
    assert some.joined.tolist() == [True, False, True]
    assert some.position_m[:, 1].tolist() == [0.0, -2.0, -3.0, -5.0]
    assert some.velocity_mps[:, 0].tolist() == [0.0, 4.0, 6.0, 10.0]
    assert some.scale.tolist() == [1.0, 3.0, 4.0, 6.0]
    if directed:
        assert some.direction[:, 0].tolist() == [0.0, 2.0 / 7.0, 3.0 / 7.0, 5.0 / 7.0]
        assert some.velocity_scale.tolist() == [3.0, 5.0, 6.0, 8.0]
    else:
        assert some.direction is some.velocity_scale is None


@pytest.mark.parametrize("first", [0, 4])
def test_a_part_has_its_own_accuracies_of_velocities(first):
    number = np.arange(6.0)
    pairs = np.column_stack([number, number])
    whole = Measured(number, pairs, pairs, np.ones(5, bool), number, velocity_scale=number + 3.0)

    assert whole.part(first, 6).velocity_scale.tolist() == list(range(first + 3, 9))


def test_what_a_receiver_reports_is_a_factor_on_what_it_reports_mostly():
    nothing = np.nan
    reported = np.array([2.0, 2.0, nothing, 4.0, 1.0, 2.0, 0.01, 900.0])

    assert over_usual(reported).tolist() == [1.0, 1.0, 1.0, 2.0, 0.5, 1.0, 0.2, 20.0]


@pytest.mark.parametrize("reported", [None, [np.nan, np.nan], [0.0, 0.0, 1.0], [-1.0, -1.0]])
def test_where_nothing_sensible_is_reported_there_are_no_factors(reported):
    assert over_usual(None if reported is None else np.array(reported)) is None


def test_what_is_beyond_all_numbers_is_as_bad_as_can_be():
    reported = np.array([0.003, 0.003, 1e308])

    assert over_usual(reported).tolist() == [1.0, 1.0, 20.0]
