"""Probabilities of false and missed crossings, against passages simulated independently.

Exact binomial intervals (Clopper & Pearson) at 99 % for all cases together (Bonferroni); the
passages are cut with the gate by shapely, the parked vehicle's wander is drawn step by step.
"""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from drives import Road, arc, straight, track_of
from practice_tracks import make_track
from scipy.stats import binomtest, norm

from trackkit.gates.false_crossings import (
    RECEIVER_M,
    creeping_probability,
    missed_probability,
    parked_probability,
    passage_probability,
    passages_nearby,
)
from trackkit.geometry.curve import Curve
from trackkit.track.features import PitLane

PASSAGES = 10_000
LINE_M = 0.5
ALONG = np.linspace(-40.0, 40.0, 161)
STRAIGHT = np.stack([ALONG, np.zeros(161)], axis=1)
TURNED = STRAIGHT @ np.array([[0.8, 0.6], [-0.6, 0.8]])
BEND = np.stack([30 * np.sin(ALONG / 30), 30 - 30 * np.cos(ALONG / 30)], axis=1)
CASES = [
    (path, end) for path in ("straight", "turned", "bend") for end in (0.0, 0.7, 1.5, 2.2, 3.0)
]
PATHS = {"straight": STRAIGHT, "turned": TURNED, "bend": BEND}
PARKED = [
    (0.5, 30.0, 1.0),
    (1.0, 60.0, 1.0),
    (2.0, 60.0, 0.5),
    (2.5, 120.0, 1.0),
    (-1.0, 60.0, 1.0),
]
CREEPING = [(0.8, 1.0, 30), (1.5, 0.2, 60), (2.5, 1.0, 120)]
"""How far behind the line it comes to, at which speed, and how long it waits there."""
BESIDE_SLOWLY = [(0.4, 1.0), (1.6, 1.0), (2.2, 0.5)]
TOGETHER = 1.0 - 0.01 / (2 * len(CASES) + len(PARKED) + len(CREEPING) + len(BESIDE_SLOWLY))


def gate_beyond(end_m, width_m=12.0):
    """A gate crossed towards east, whose right end is so far to the left of the path."""
    return np.array([0.0, end_m + width_m]), np.array([0.0, end_m])


def counted(path, left, right, seed):
    """Simulate passages; count those that cross the gate from behind."""
    random = np.random.default_rng(seed)
    tangent = np.gradient(path, axis=0)
    tangent /= np.linalg.norm(tangent, axis=1, keepdims=True)
    aside = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    offset = LINE_M * random.standard_normal((PASSAGES, 1, 1))
    shift = RECEIVER_M * random.standard_normal((PASSAGES, 1, 2))
    passages = shapely.linestrings(path + offset * aside + shift)
    # All these paths meet the gate's line once, eastwards.
    return int(shapely.intersects(shapely.LineString([left, right]), passages).sum())


def interval(count):
    return binomtest(count, PASSAGES).proportion_ci(TOGETHER, method="exact")


@pytest.mark.slow
@pytest.mark.parametrize(("path", "end_m"), CASES)
def test_false_crossings_are_as_probable_as_simulated(path, end_m):
    left, right = gate_beyond(end_m)
    predicted = passage_probability(PATHS[path], left, right, receiver_m=RECEIVER_M, line_m=LINE_M)

    low, high = interval(counted(PATHS[path], left, right, seed=7))
    assert 0.001 < predicted < 0.51
    assert low <= predicted <= high


@pytest.mark.slow
@pytest.mark.parametrize(("path", "end_m"), CASES)
def test_missed_crossings_are_as_probable_as_simulated(path, end_m):
    # The path lies within the gate, so far from its right end.
    left, right = gate_beyond(-end_m)
    missed = 1 - passage_probability(PATHS[path], left, right, receiver_m=RECEIVER_M, line_m=LINE_M)

    low, high = interval(PASSAGES - counted(PATHS[path], left, right, seed=8))
    assert low <= missed <= high


@pytest.mark.parametrize(("behind_m", "seconds", "interval_s"), PARKED)
def test_a_parked_vehicle_is_counted_as_often_as_simulated(behind_m, seconds, interval_s):
    random = np.random.default_rng(5)
    fade = np.exp(-interval_s / 120.0)
    wander = random.standard_normal(PASSAGES)
    over = np.zeros(PASSAGES, dtype=bool)
    for _ in range(round(seconds / interval_s)):
        following = fade * wander + np.sqrt(1 - fade**2) * random.standard_normal(PASSAGES)
        over |= (wander < behind_m) & (following >= behind_m)
        wander = following

    low, high = interval(int(over.sum()))
    assert low <= parked_probability(behind_m, seconds, interval_s=interval_s) <= high


def wander(fixes, random, sigma_m=1.0):
    """First-order Gauss-Markov wander of all passages on one axis, a second apart."""
    fade = np.exp(-1.0 / 120.0)
    now = sigma_m * random.standard_normal(PASSAGES)
    for _ in range(fixes):
        yield now
        now = fade * now + sigma_m * np.sqrt(1 - fade**2) * random.standard_normal(PASSAGES)


@pytest.mark.parametrize(("stop_m", "speed_mps", "wait_s"), CREEPING)
def test_a_creeping_vehicle_is_counted_as_often_as_simulated(stop_m, speed_mps, wait_s):
    random = np.random.default_rng(11)
    behind = np.maximum(stop_m, 8.0 - speed_mps * np.arange((8.0 - stop_m) / speed_mps + wait_s))
    over = np.zeros(PASSAGES, dtype=bool)
    places = (w - b for w, b in zip(wander(len(behind), random), behind, strict=True))
    for before, after in pairwise(places):
        over |= (before < 0) & (after >= 0)

    low, high = interval(int(over.sum()))
    assert low <= creeping_probability(behind) <= high


@pytest.mark.parametrize(("end_m", "speed_mps"), BESIDE_SLOWLY)
def test_a_slow_vehicle_past_a_gates_end_is_counted_as_often_as_a_quick_one(end_m, speed_mps):
    """The wander goes on while it passes; where it meets the gate's line is as probable."""
    random = np.random.default_rng(12)
    time = np.arange(0.0, 16.0 / speed_mps)
    aside = LINE_M * random.standard_normal(PASSAGES)
    along, across = (wander(len(time), random, RECEIVER_M) for _ in range(2))
    over = np.zeros(PASSAGES, dtype=bool)
    zipped = zip(time, along, across, strict=True)
    places = ((speed_mps * t - 8.0 + x, aside + y) for t, x, y in zipped)
    for (x0, y0), (x1, y1) in pairwise(places):
        forward = (x0 < 0) & (x1 >= 0)
        height = y0 - x0 * (y1 - y0) / np.where(forward, x1 - x0, 1.0)
        over |= forward & (height >= end_m) & (height <= end_m + 12.0)

    left, right = gate_beyond(end_m)
    low, high = interval(int(over.sum()))
    predicted = passage_probability(STRAIGHT, left, right, receiver_m=RECEIVER_M, line_m=LINE_M)
    assert low <= predicted <= high


@pytest.mark.slow
def test_a_vehicle_that_drives_over_the_line_is_counted_once():
    assert creeping_probability(np.linspace(10.0, -10.0, 41)) == pytest.approx(1.0, abs=1e-3)
    assert creeping_probability(np.linspace(-10.0, 10.0, 41)) < 1e-3


def test_a_straight_path_beside_a_gate_is_the_normal_distribution():
    left, right = gate_beyond(2.0)
    expected = norm.sf(2.0, scale=np.hypot(RECEIVER_M, LINE_M))

    found = passage_probability(STRAIGHT, left, right, receiver_m=RECEIVER_M, line_m=LINE_M)
    assert found == pytest.approx(expected, rel=1e-6)


def test_traffic_the_other_way_never_counts():
    left, right = gate_beyond(0.5)
    found = passage_probability(STRAIGHT[::-1], left, right, receiver_m=RECEIVER_M, line_m=LINE_M)

    assert found == 0.0


SPIRAL = Road(
    (straight(300), arc(30, 180), straight(300), arc(24, 180), straight(300)), closed=False
)


def spiral(left_m=10.0):
    gates = [
        ("start", "start", 20.0, 6.0),
        ("gate-a", "sector", 150.0, left_m),
        ("finish", "finish", 1000.0, 6.0),
    ]
    return track_of(SPIRAL, gates=gates, direction=None, spacing_m=2.0)


def test_a_leg_beside_a_gate_is_found_with_its_chainage_and_probability():
    track = spiral()
    (other,) = passages_nearby(track, track.gate("gate-a"), 150.0)

    # Beside 150 m on the first leg: 300 + 94.25 + 300 + 75.40 + 150.
    assert other.chainage_m == pytest.approx(919.65, abs=1.0)
    expected = norm.sf(2.0, scale=np.hypot(RECEIVER_M, LINE_M))
    assert other.probability == pytest.approx(expected, rel=0.01)


def test_a_narrow_gate_is_missed_on_both_sides():
    track = spiral(left_m=2.0)
    expected = 2 * norm.sf(2.0, scale=np.hypot(RECEIVER_M, LINE_M))

    assert missed_probability(track, track.gate("gate-a"), 150.0) == pytest.approx(
        expected, rel=0.01
    )


def test_a_pit_lane_that_crosses_the_gate_counts_always():
    track = spiral(left_m=6.0)
    plane = track.plane
    line = track.curve.position(np.array([100.0, 200.0])) + np.array([0.0, 2.0])
    longitude, latitude = plane.to_geographic(line)
    track = replace(track, pit_lanes=(PitLane("lane", longitude, latitude),))
    lane = next(p for p in passages_nearby(track, track.gate("gate-a"), 150.0) if p.lane)

    assert lane.probability == pytest.approx(
        norm.cdf(4.0, scale=np.hypot(RECEIVER_M, LINE_M)), rel=0.01
    )


def twice_round(datum_rad, half_m=6.0):
    """A circuit that goes round twice, beside itself, with a gate on the inner round.

    Its radius is 60 m + 4 m cos(angle / 2): at the angle 0 the outer round is 8 m from the inner
    one, which is passed a whole turn later and in the same direction.
    """
    angle = datum_rad + np.linspace(0.0, 4.0 * np.pi, 400, endpoint=False)
    radius = 60.0 + 4.0 * np.cos(0.5 * angle)
    vertex = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    inner_m = float(Curve.through(vertex, closed=True).project(np.array([56.0, 0.0]))[0])
    return make_track(vertex, gates=[("finish", inner_m)], half_m=half_m)


@pytest.mark.parametrize("datum_rad", [0.0, 0.3, -0.2])
def test_a_passage_is_the_same_wherever_on_it_the_line_begins(datum_rad):
    track = twice_round(datum_rad)
    nearby = passages_nearby(track, track.gates[0], track.gates[0].chainage_m)

    # The gate's own round bends towards it again, but never as near.
    (found,) = [passage for passage in nearby if passage.probability > 1e-6]

    # Beside the gate, 2 m from its end, on the outer round.
    left, right = track.gate_ends(track.gates[0])
    beyond = right + 2.0 * (right - left) / np.linalg.norm(right - left)
    assert track.curve.position(found.chainage_m) == pytest.approx(beyond, abs=0.6)
    assert 0.0 <= found.chainage_m < track.curve.length_m
    assert found.probability == pytest.approx(
        norm.sf(2.0, scale=np.hypot(RECEIVER_M, LINE_M)), rel=0.1
    )
