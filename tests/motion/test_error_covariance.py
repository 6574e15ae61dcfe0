"""What is kept of a drive's error, against sums worked out in a solution of all of it."""

from __future__ import annotations

import numpy as np
import pytest
from sample_circuits import track_of

import trackkit
from trackkit.motion.error_covariance import weights_at_nodes

ORIGIN_S, ORIGIN_SLOPE = 130.3, np.array([0.3, 0.8])


@pytest.fixture(scope="module", params=[True, False], ids=["speeds", "positions"])
def line(request):
    track = track_of("pipwick-kart-circuit")
    drive = trackkit.simulate_drive(track, laps=3, seed=22, doppler=request.param)
    return trackkit.time_laps(track, drive.recording).drive.line


@pytest.fixture
def part(line):
    return line.error_covariance(line.side.time_s).part(100.0, 180.0)


def test_many_places_at_once_are_as_well_known_as_each_by_itself(line, part):
    time = np.linspace(100.0, 180.0, 23)
    before, after = part.at(time)

    slope = np.random.default_rng(1).normal(size=(len(time), 2))
    for place, weight in enumerate(slope):
        where = time[place : place + 1], weight[None]
        assert weight @ before[place] @ weight == pytest.approx(
            line.variance_before(*where), rel=1e-9
        )
        assert weight @ after[place] @ weight == pytest.approx(line.variance(*where), rel=1e-5)


def test_what_places_share_with_one_of_them_is_what_a_sum_over_both_lacks(line, part):
    time = np.linspace(100.0, 180.0, 23)
    before, after = part.shared(time, ORIGIN_S, ORIGIN_SLOPE)

    slope = np.random.default_rng(2).normal(size=(len(time), 2))
    origin = np.array([ORIGIN_S]), ORIGIN_SLOPE[None]
    for shared, variance in ((before, line.variance_before), (after, line.variance)):
        for place, weight in enumerate(slope):
            where = time[place : place + 1], weight[None]
            both = np.append(where[0], ORIGIN_S), np.vstack([weight, ORIGIN_SLOPE])
            expected = variance(*both) - variance(*where) - variance(*origin)
            assert 2.0 * shared[place] @ weight == pytest.approx(expected, rel=1e-4, abs=1e-7)


def test_a_part_keeps_the_nodes_on_either_side_of_its_ends(line, part):
    node = line.side.time_s

    assert part.node_s[0] == node[node <= 100.0][-1]
    assert part.node_s[-1] == node[node >= 180.0][0]
    whole = line.error_covariance(node)
    outside = whole.part(node[-1] + 5.0, node[-1] + 9.0)
    assert outside.node_s.tolist() == node[-2:].tolist()
    assert whole.part(node[0] - 9.0, node[0] - 5.0).node_s.tolist() == node[:2].tolist()


def test_one_node_alone_is_as_well_known_everywhere(line):
    alone = line.error_covariance(line.side.time_s[:1]).part(0.0, 1.0)
    first = alone.__class__(
        alone.node_s[:1],
        alone.moved_m[:1],
        alone.covariance[:1],
        alone.onward[:0],
        alone.covariance_before[:1],
        alone.onward_before[:0],
    )
    for own, kept in zip(first.at(np.array([0.0, 900.0])), alone.at(alone.node_s[:1]), strict=True):
        assert own == pytest.approx(np.repeat(kept, 2, axis=0))


def test_fast_and_slow_errors_of_places_are_those_of_sums_over_each_and_both(line, part):
    time = np.linspace(100.0, 180.0, 7)
    slope = np.random.default_rng(3).normal(size=(7, 2))
    # What the drive alone leaves is far more than what laps tell of.
    alone = 100.0 * np.eye(7) + 3.0

    fast, slow = part.covariances_left(alone, time, slope)

    for first in range(7):
        for second in range(first, 7):
            both = np.array([first, second])[: 1 + (second > first)]
            weight = np.ones(len(both))
            places = np.ix_(both, both)
            where = time[both], slope[both]
            told = weight @ (alone - fast)[places] @ weight
            assert told == pytest.approx(line.variance_before(*where), rel=1e-6)
            told = weight @ slow[places] @ weight
            assert told == pytest.approx(line.variance(*where), rel=1e-4)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_sums_told_together_are_those_told_one_by_one(line, part, count):
    random = np.random.default_rng(count)
    time = random.uniform(100.0, 180.0, (6, count))
    slope = random.normal(size=(6, count, 2))

    left = part.variances_left(np.full(6, 1000.0), time, slope)

    expected = [line.variance_left(1000.0, *each) for each in zip(time, slope, strict=True)]
    assert left == pytest.approx(expected, rel=1e-5)
    # Fast errors are never less than nothing.
    least = part.variances_left(np.zeros(6), time, slope)
    assert least == pytest.approx(
        [line.variance(*each) for each in zip(time, slope, strict=True)], rel=1e-4
    )


def test_weights_are_shared_out_to_the_nodes_before_and_after_by_time():
    node = np.array([0.0, 2.0, 5.0])
    slope = np.array([[1.0, 2.0]])

    for time, before, after, share in (
        (-1.0, 0, 1, 0.0),
        (0.0, 0, 1, 0.0),
        (0.5, 0, 1, 0.25),
        (2.0, 0, 1, 1.0),
        (4.0, 1, 2, 2.0 / 3.0),
        (9.0, 1, 2, 1.0),
    ):
        index, weight = weights_at_nodes(node, np.array([time]), slope)
        assert index.tolist() == [before, after]
        assert weight == pytest.approx(np.array([[1.0 - share], [share]]) * slope)
    index, weight = weights_at_nodes(node[:1], np.array([3.0]), slope)
    assert index.tolist() == [0, 0]
    assert weight.sum(axis=0) == pytest.approx(slope[0])
