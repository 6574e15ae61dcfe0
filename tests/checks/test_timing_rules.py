"""What a gate's place does to its times, said with the numbers that it rests on."""

import re
from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, track_of
from scipy.stats import norm

from trackkit.checks.timing_rules import (
    COSTLY,
    noise_rule,
    pit_rule,
    sector_rule,
    speed_rule,
)
from trackkit.gates.choose import SLOWEST_SHARE
from trackkit.gates.false_crossings import DRIVEN_M, RECEIVER_M
from trackkit.gates.quality import timing_quality
from trackkit.motion.noise import Levels
from trackkit.motion.position_error import Receiver
from trackkit.motion.vehicle import KART
from trackkit.track.features import PitLane

ROAD = block_circuit()
"""Bends of 30 m radius, 47.1 m long, at 200, 447.1, 894.2 and 1,141.4 m."""


def block(*gates):
    return track_of(ROAD, gates=[("finish", "finish", 0.0), *gates], spacing_m=2.0)


@pytest.fixture(scope="module")
def plain():
    return timing_quality(block())


def numbers(pattern, text):
    return [float(value) for value in re.findall(pattern, text)]


# Speed


def test_a_gate_in_a_braking_zone_is_told_with_how_cars_slow_down_and_what_it_costs(plain):
    # The zone before the bend at 447 m is the one with the most room.
    costly = np.flatnonzero(
        (plain.acceleration_mps2 < -5.0)
        & (plain.sigma_s > COSTLY * plain.sigma_s.min())
        & (plain.chainage_m < 200.0)
    )
    slower = replace(plain, speed_mps=np.where(plain.chainage_m > 800.0, 60.0, plain.speed_mps))
    at = float(plain.chainage_m[costly[0]]) if len(costly) else 192.0
    track = block(("a", "sector", at))

    (finding,) = [f for f in speed_rule(track, slower) if f.feature == "a"]
    assert finding.rule == "gate-braking"

    assert (finding.severity, finding.feature) == ("warning", "a")
    assert finding.chainage_m == pytest.approx(at, abs=0.01)
    (slowing,) = numbers(r"by (\d+) m/s²", finding.message)
    assert slowing == pytest.approx(-float(slower.at(slower.acceleration_mps2, at)), abs=0.5)
    there, best = numbers(r"(\d+) ms", finding.message)
    assert there == pytest.approx(1e3 * float(slower.at(slower.sigma_s, at)), abs=0.5)
    assert best == pytest.approx(1e3 * float(slower.sigma_s.min()), abs=0.5)
    assert "are expected to slow down" in finding.message


@pytest.mark.parametrize(
    ("off_m", "found"), [(0.0, True), (11.0, True), (-11.0, True), (14.0, False)]
)
def test_a_gate_at_an_apex_is_told_with_the_radius(plain, off_m, found):
    # Half way along the bend that begins at 200 m; speeds are even there.
    at = 200.0 + 0.25 * np.pi * 30.0 + off_m
    track = block(("a", "sector", at))

    findings = [f for f in speed_rule(track, plain) if f.feature == "a"]

    assert ("gate-apex" in [f.rule for f in findings]) == found
    for finding in findings:
        if finding.rule == "gate-apex":
            assert numbers(r"of (\d+) m radius", finding.message) == [30.0]


@pytest.mark.parametrize("kind", ["speed", "start"])
def test_gates_that_time_no_sector_may_lie_anywhere(plain, kind):
    assert list(speed_rule(block(("a", kind, 223.6)), plain)) == []


@pytest.mark.parametrize("share", [0.4, 0.6])
def test_a_finish_is_slow_below_half_of_the_speed_that_cars_reach(plain, share):
    speed = np.full(len(plain.chainage_m), 40.0)
    speed[plain.curve.separation(plain.chainage_m, 0.0) < 60.0] = 40.0 * share
    steady = replace(plain, speed_mps=speed)

    findings = [f for f in speed_rule(block(), steady) if f.rule == "finish-slow"]

    assert bool(findings) == (share < SLOWEST_SHARE)
    for finding in findings:
        assert numbers(r"(\d+) km/h", finding.message) == [round(3.6 * 16.0), 144.0]
        assert finding.severity == "note"


def test_a_gate_is_sent_to_the_nearest_place_that_is_fast_straight_and_not_braked_at(plain):
    (finding,) = [f for f in speed_rule(block(("a", "sector", 223.6)), plain) if f.feature == "a"]

    at = finding.remedy.chainage_m
    assert float(plain.at(plain.acceleration_mps2, at)) > -2.0
    assert float(plain.at(plain.speed_mps, at)) >= SLOWEST_SHARE * KART.top_mps
    # From 15 m after the apex on cars leave the bend.
    assert 223.6 + 15.0 < at < 260.0


# Noise


@pytest.mark.parametrize("half_m", [1.5, 2.5, 3.0])
def test_a_narrow_gate_is_told_with_the_share_of_passages_that_miss_it(plain, half_m):
    track = block(("a", "sector", 347.0, half_m))

    (finding,) = [f for f in noise_rule(track, plain) if f.rule == "gate-missed"]

    sigma = np.hypot(RECEIVER_M, DRIVEN_M)
    (share,) = numbers(r"([\d.]+) % of passages", finding.message)
    assert share == pytest.approx(200.0 * norm.sf(half_m / sigma), rel=0.05)
    assert finding.remedy.value["width_m"] > 2.0 * half_m


def test_a_wide_gate_misses_hardly_anything(plain):
    assert list(noise_rule(block(("a", "sector", 347.0, 5.0)), plain)) == []


# Sectors


@pytest.mark.parametrize(("apart_m", "found"), [(20.0, True), (24.9, True), (25.5, False)])
def test_gates_nearer_than_25_m_are_too_close(plain, apart_m, found):
    track = block(("a", "sector", 347.0), ("b", "sector", 347.0 + apart_m))

    close = [f for f in sector_rule(track, plain) if f.rule == "gates-close"]

    assert [f.feature for f in close] == (["b"] if found else [])
    for finding in close:
        assert f"gates A and B are {apart_m:.1f} m apart" in finding.message


def test_the_last_sector_goes_on_to_the_finish_of_the_next_lap(plain):
    track = block(("a", "sector", ROAD.length_m - 18.0))

    (finding,) = [f for f in sector_rule(track, plain) if f.rule == "gates-close"]

    assert "gates A and Finish are 18.0 m apart" in finding.message
    assert finding.feature == "finish"


def test_a_sector_is_short_where_its_time_is_surer_to_no_better_than_it_varies():
    # On either side of a right angle, so that little of a poor receiver's wander cancels.
    track = block(("a", "sector", 185.0), ("b", "sector", 262.0), ("c", "speed", 200.0))
    poor = timing_quality(track, receiver=Receiver(Levels(wander_m=3.0)))

    found = [f for f in sector_rule(track, poor) if f.rule == "sector-short"]

    assert [(f.feature, f.severity) for f in found] == [("b", "warning")]
    (seconds,) = numbers(r"takes ([\d.]+) s", found[0].message)
    (sigma_ms,) = numbers(r"by (\d+) ms", found[0].message)
    inside = (poor.chainage_m >= 185.0) & (poor.chainage_m < 262.0)
    assert seconds == pytest.approx(77.0 * np.mean(1.0 / poor.speed_mps[inside]), abs=0.1)
    variance = float(poor.sector_variance(185.0, 262.0))
    assert sigma_ms == pytest.approx(1e3 * np.sqrt(variance), abs=0.51)
    assert sigma_ms > 12.0 * seconds
    # Of two sector gates there are three sectors.
    assert found[0].remedy.value == {"sectors": 3}


def test_a_lap_without_sector_gates_is_no_sector_to_judge(plain):
    assert list(sector_rule(block(), plain)) == []


# The pit lane


def lane(track, leaves_m, joins_m, aside_m):
    """A lane beside the road from one chainage to another, some way to the left of it."""
    place = np.arange(leaves_m, joins_m + 1.0, 5.0)
    away = aside_m * np.minimum(1.0, np.minimum(place - leaves_m, joins_m - place) / 20.0)
    line = track.curve.position(place) + away[:, None] * track.curve.left(place)
    longitude, latitude = track.plane.to_geographic(line)
    return replace(track, pit_lanes=(PitLane("lane", longitude, latitude),))


@pytest.mark.parametrize(
    ("at", "half_m", "found"),
    [(694.0, 8.0, True), (694.0, 14.0, False), (850.0, 8.0, False), (560.0, 8.0, False)],
)
def test_a_gate_that_the_pit_lane_leads_past_lacks_its_laps(plain, at, half_m, found):
    # The lane runs 12 m beside the road from 600 to 800 m.
    track = lane(block(("a", "sector", at, half_m)), 600.0, 800.0, 12.0)

    findings = list(pit_rule(track, plain))

    assert [(f.rule, f.feature) for f in findings] == ([("pit-bypass", "a")] if found else [])
    for finding in findings:
        assert "laps through the pits lack that sector" in finding.message


def test_a_lane_past_the_finish_leaves_laps_untimed_also_across_the_datum(plain):
    track = lane(block(), ROAD.length_m - 90.0, ROAD.length_m + 90.0, 12.0)

    (finding,) = pit_rule(track, plain)

    assert finding.feature == "finish"
    assert "laps through the pits are not timed" in finding.message


def test_a_speed_gate_beside_the_pit_lane_is_as_it_should_be(plain):
    assert list(pit_rule(lane(block(("a", "speed", 694.0)), 600.0, 800.0, 12.0), plain)) == []
