"""Where gates go when nobody says."""

import re
from dataclasses import replace

import numpy as np
import pytest
from drives import Road, arc, block_circuit, hairpin_circuit, stadium, straight, track_of

from trackkit.gates.choose import (
    CLEAR_M,
    GATE_RADIUS_M,
    GATES_APART_M,
    choose_finish,
    choose_sectors,
    elapsed_time_s,
    near_pits,
    nearest_clear,
)
from trackkit.geometry.clearance import clearance, own_stretches
from trackkit.geometry.curve import Curve
from trackkit.track.features import PitLane


def curve_of(road, spacing_m=2.0):
    count = int(road.length_m / spacing_m)
    return Curve.through(road.at(np.arange(count) * road.length_m / count)[0], closed=True)


def speed_of(road, speed):
    chainage = np.arange(0.0, road.length_m, 1.0)
    return chainage, speed(chainage)


def is_straight(road, chainage_m):
    return road.radius(chainage_m) > GATE_RADIUS_M


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)


# The finish gate


def test_the_finish_goes_on_the_longest_straight():
    long_side = stadium(300.0, 50.0)
    chainage, why = choose_finish(curve_of(long_side), None)

    assert is_straight(long_side, chainage)
    # The middle three fifths of a straight of 300 m that begins at 0 or half way round.
    assert 50.0 <= chainage % (long_side.length_m / 2) <= 250.0
    assert "on the longest clear straight" in why


def test_the_finish_is_not_put_on_the_longest_straight_where_other_track_is_beside_it():
    # The longest straight, 0 to 230 m, has another leg 8 m beside it; the next longest, 200 m from
    # 682.5 to 882.5 m, has 30 m to the next.
    road = hairpin_circuit()
    _, hairpin, _, *rest = road.pieces
    road = Road((straight(230), hairpin, straight(180), *rest), start=road.start)

    chainage, why = choose_finish(curve_of(road), None)

    assert 682.5 + 0.15 * 200 <= chainage <= 882.5 - 0.15 * 200
    assert re.search(r", 3[01] m from the nearest other piece of track", why)


def test_the_finish_goes_where_cars_are_fast_on_the_straight():
    road = block_circuit()
    # Fastest half way along the second half of either long side, 400 m each: at 95.75 m, and half
    # a lap (694.25 m) on.
    half = road.length_m / 2
    fast = speed_of(road, lambda s: 15.0 + 20.0 * np.exp(-0.5 * ((s % half - 95.75) / 30.0) ** 2))
    slow_side = speed_of(road, lambda s: np.full(len(s), 20.0))

    chainage, why = choose_finish(curve_of(road), fast)
    _, why_even = choose_finish(curve_of(road), slow_side)

    assert chainage % half == pytest.approx(95.75, abs=3.0)
    assert "cars pass at 126 km/h (fastest anywhere: 126 km/h)" in why
    assert "72 km/h (fastest anywhere: 72 km/h)" in why_even


def test_a_speed_at_the_seam_is_between_those_on_either_side_of_it():
    # Known from 270 m on only, which the finish on the straight from 0 to 300 m is before.
    road = stadium(300.0, 50.0)
    chainage = np.arange(270.0, road.length_m - 30.0, 1.0)
    speed = np.where(chainage > 600.0, 50.0, 20.0)
    speed[0] = 60.0

    finish, why = choose_finish(curve_of(road), (chainage, speed))

    expected = 50.0 + 10.0 * (finish + 30.0) / 300.0
    assert f"cars pass at {3.6 * expected:.0f} km/h" in why


def test_a_line_without_a_straight_has_its_finish_all_the_same_and_is_told():
    circle = Road((arc(100, 360),))

    chainage, why = choose_finish(curve_of(circle), None)

    assert 0.0 <= chainage < circle.length_m
    assert "since it has no straight" in why


# Sector gates


def test_sectors_are_equal_in_time_where_speed_is_known(block):
    # By hand: the first half of the 1,388.496 m is driven at 40 m/s in 17.356 s, the second at
    # 25 m/s in 27.770 s; half of 45.126 s is over 5.207 s into the second half, at 824.42 m.
    road = block_circuit()
    speed = speed_of(road, lambda s: np.where(s < road.length_m / 2, 40.0, 25.0))

    (chainage,), remarks = choose_sectors(block, 2, speed)

    assert chainage == pytest.approx(824.42, abs=1.0)
    assert remarks[0].startswith("2 sectors equal in time")


def test_a_gate_is_not_put_where_cars_are_slower_than_half_their_top_speed(block):
    # By hand, as above with 10 m/s in the second half: half the time is over at 954.59 m, where
    # cars are slow; the nearest place where they are not is the end of the first half.
    road = block_circuit()
    speed = speed_of(road, lambda s: np.where(s < road.length_m / 2, 40.0, 10.0))

    (chainage,), _ = choose_sectors(block, 2, speed)

    assert chainage == pytest.approx(road.length_m / 2, abs=2.0)


def test_sectors_are_equal_in_length_where_it_is_not(block):
    chainages, remarks = choose_sectors(block, 4, None)

    assert chainages == pytest.approx([347.12, 694.25, 1041.37], abs=0.6)
    assert remarks[0].startswith("4 sectors equal in length")


def test_a_gate_that_would_be_in_a_bend_is_moved_to_the_nearest_straight_and_said_so(block):
    # A third of the lap is at 462.8 m, 16 m into a bend that begins at 447.1 m; two thirds at
    # 925.7 m, 16 m before the end of one at 941.4 m.
    (first, second), remarks = choose_sectors(block, 3, None)

    assert 440.0 <= first <= 447.2
    assert 941.3 <= second <= 948.0
    assert f"{first:.0f} m (from 463 m)" in remarks[0]


@pytest.mark.parametrize("sectors", range(1, 8))
def test_n_sectors_have_n_minus_1_gates(block, sectors):
    chainages, _ = choose_sectors(block, sectors, None)

    assert len(chainages) == sectors - 1
    assert chainages == sorted(chainages)


@pytest.fixture(scope="module")
def hairpin_from_clear_straight():
    """The hairpin circuit with its finish in the middle of the straight that is clear."""
    road = hairpin_circuit()
    pieces = list(road.pieces)
    turned = Road(
        (straight(100), pieces[7], *pieces[:6], straight(100)),
        start=road.at(722.48)[0],
        heading_deg=180.0,
    )
    return turned, track_of(turned, gates=[("finish", "finish", 0.0)], spacing_m=2.0)


@pytest.mark.parametrize("sectors", [2, 3])
def test_gates_are_put_where_the_line_is_straight_clear_and_apart(
    sectors, hairpin_from_clear_straight
):
    turned, track = hairpin_from_clear_straight

    chainages, remarks = choose_sectors(track, sectors, None)

    assert len(remarks) == 1, "every gate found a fit place"
    for chainage in chainages:
        assert is_straight(turned, chainage)
    assert clearance(track.curve, chainages).min() >= CLEAR_M
    assert np.diff([0.0, *chainages, track.curve.length_m]).min() >= GATES_APART_M


@pytest.mark.slow
@pytest.mark.parametrize("sectors", [4, 5, 8])
def test_a_gate_that_had_to_go_beside_other_track_is_named(sectors, hairpin_from_clear_straight):
    turned, track = hairpin_from_clear_straight

    chainages, remarks = choose_sectors(track, sectors, None)

    fit = [
        is_straight(turned, place) and clearance(track.curve, [place])[0] >= CLEAR_M
        for place in chainages
    ]
    named = [c for c in chainages if any(f"no place near {c:.0f} m" in r for r in remarks)]
    assert named == [place for place, good in zip(chainages, fit, strict=True) if not good]


def test_where_no_place_is_fit_the_gate_is_put_there_all_the_same_and_said_so():
    circle = track_of(Road((arc(60, 360),)), gates=[("finish", "finish", 0.0)], spacing_m=2.0)

    (chainage,), remarks = choose_sectors(circle, 2, None)

    assert chainage == pytest.approx(0.5 * circle.curve.length_m, abs=0.5)
    assert any("no place near 188 m" in remark for remark in remarks)


@pytest.mark.slow
def test_a_long_line_without_a_clear_place_is_looked_through_once(monkeypatch):
    # Two legs 6 m apart: none of 24,000 places is clear, and 2,500 samples tell where others are.
    thin = track_of(stadium(12_000.0, 3.0), gates=[("finish", "finish", 0.0)])
    looked_at = []

    def counted(direction, index, *, closed):
        looked_at.extend(index.tolist())
        return own_stretches(direction, index, closed=closed)

    monkeypatch.setattr("trackkit.geometry.clearance.own_stretches", counted)
    _, remarks = choose_sectors(thin, 2, None)

    assert any(remark.startswith("no place near") for remark in remarks)
    assert len(looked_at) < 2500


def test_time_is_distance_over_speed():
    # At an even speed; and over a step whose pace changes evenly, the mean pace times the step.
    assert elapsed_time_s(np.array([0.0, 50.0, 100.0]), np.full(3, 10.0)).tolist() == [0, 5, 10]
    two = elapsed_time_s(np.array([0.0, 60.0]), np.array([10.0, 20.0]))
    assert two[-1] == pytest.approx(60.0 * 0.5 * (1 / 10 + 1 / 20))


def test_places_are_near_the_pits_where_a_gate_would_reach_the_pit_lane(block):
    # A lane 10 m beside 100 to 200 m of the road; gates reach half the band, 6 m, and 4 m more,
    # and keep a receiver's accuracy, 3 m, from it: 13 m.
    curve, aside = block.curve, np.array([10.0, 14.0])
    place = np.arange(60.0, 195.0, 5.0)
    for away_m, near in zip(aside.tolist(), (True, False), strict=True):
        line = curve.position([100.0, 190.0]) + away_m * curve.left([100.0, 190.0])
        lane = PitLane("lane", *block.plane.to_geographic(line))
        found = near_pits(replace(block, pit_lanes=(lane,)), place)

        inside = (place >= 100.0) & (place <= 190.0)
        assert found[inside].all() == near
        assert not found[place < 100.0 - 9.0].any()


def test_the_nearest_clear_place_is_the_nearest_that_is_fit(block):
    place = block.curve.chainages(2.0)

    assert nearest_clear(block, 694.0, place, place > 0) == pytest.approx(694.0, abs=3.1)
    ahead = nearest_clear(block, 694.0, place, (place > 750.0) | (place < 600.0))
    assert ahead == pytest.approx(753.0, abs=3.1)
    assert nearest_clear(block, 694.0, place, place < 0) is None
    # Across the datum the way is shorter.
    assert nearest_clear(block, 10.0, place, place > 1300.0) > 1380.0
