"""Laps averaged: what strays does not pull the line, and the place of the line is known so far."""

import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from built_tracks import deviation
from drives import drive, figure_of_eight, hairpin_circuit, on_earth, stadium
from scipy.interpolate import BPoly

from trackkit.building.average import (
    LAP_SIGMA_M,
    _faded,
    _own_sigma,
    _stray,
    read_lap,
)
from trackkit.building.build import build_track
from trackkit.building.find_laps import FoundLap
from trackkit.building.path import Path
from trackkit.geometry.curve import Curve

METRE_NORTH_DEG = 1.0 / 111_195.0
"""A degree of latitude at 47 north, WGS 84 (from memory)."""


def laps_of(road, laps, **more):
    return drive(road, begin_m=20.0, laps=laps + 0.2, cruise=12.0).recording(
        10, doppler=True, **more
    )


def pushed(recording, north_m, when_s, lasting_s):
    """The same recording, aside to the north for a while, with velocities that agree."""
    shape = np.exp(-0.5 * ((recording.time_s - when_s) / lasting_s) ** 2)
    aside = north_m * shape
    rate = np.gradient(aside, recording.time_s)
    course = np.radians(recording.course_deg)
    east = recording.speed_mps * np.sin(course)
    north = recording.speed_mps * np.cos(course) + rate
    return replace(
        recording,
        latitude_deg=recording.latitude_deg + aside * METRE_NORTH_DEG,
        speed_mps=np.hypot(east, north),
        course_deg=np.degrees(np.arctan2(east, north)) % 360.0,
    )


@pytest.mark.slow
@pytest.mark.parametrize("aside_m", [3.0, 6.0, 12.0])
def test_an_overtake_or_an_off_on_one_lap_of_five_does_not_pull_the_line(aside_m):
    road = stadium()
    clean = laps_of(road, 5)
    # A lap takes 33.3 s: the southern straight of the third one.
    off = pushed(clean, -aside_m, when_s=2 * 33.33 + 1.0, lasting_s=1.0)

    track = build_track([off], "X").track

    assert np.abs(deviation(road, track)).max() < 0.1


def spun(recording, when_s, radius_m, standing_s):
    """The same recording with a full turn to the left, stopped facing backwards for a while.

    The angle turned is a quintic in time on either side of the stop, so that positions and
    velocities agree.
    """
    first = int(np.searchsorted(recording.time_s, when_s))
    fast = recording.speed_mps[first] / radius_m
    half_s = np.ceil(30.0 * np.pi / fast) / 10.0
    moments = [0.0, half_s, half_s + standing_s, 2 * half_s + standing_s]
    angles = [[0.0, fast, 0.0], [np.pi, 0.0, 0.0], [np.pi, 0.0, 0.0], [2 * np.pi, fast, 0.0]]
    turn = BPoly.from_derivatives(moments, angles)
    time = np.arange(1, round(10.0 * moments[-1])) / 10.0
    course = np.radians(recording.course_deg[first])
    ahead = np.array([np.sin(course), np.cos(course)])
    aside = np.array([-ahead[1], ahead[0]])
    angle, rate = turn(time)[:, None], turn(time, 1)[:, None]
    east, north = (radius_m * (np.sin(angle) * ahead + (1.0 - np.cos(angle)) * aside)).T
    velocity = radius_m * rate * (np.cos(angle) * ahead + np.sin(angle) * aside)
    there = recording.longitude_deg[first], recording.latitude_deg[first]

    def with_turn(values, between):
        # The fix where the turn begins is passed again at its end.
        return np.concatenate([values[: first + 1], between, values[first:]])

    times = with_turn(recording.time_s, recording.time_s[first] + time)
    times[first + 1 + len(time) :] += moments[-1]
    return replace(
        recording,
        time_s=times,
        segment=np.zeros(len(times), dtype=int),
        longitude_deg=with_turn(
            recording.longitude_deg,
            there[0] + east * METRE_NORTH_DEG / np.cos(np.radians(there[1])),
        ),
        latitude_deg=with_turn(recording.latitude_deg, there[1] + north * METRE_NORTH_DEG),
        speed_mps=with_turn(recording.speed_mps, np.linalg.norm(velocity, axis=1)),
        course_deg=with_turn(
            recording.course_deg, np.degrees(np.arctan2(velocity[:, 0], velocity[:, 1])) % 360.0
        ),
    )


@pytest.mark.slow
@pytest.mark.parametrize("standing_s", [0.5, 30.0])
@pytest.mark.parametrize("radius_m", [2.0, 4.0, 8.0])
@pytest.mark.parametrize("road", [stadium(), hairpin_circuit()], ids=["oval", "hairpins"])
def test_a_spin_on_one_lap_of_three_does_not_pull_the_line(road, radius_m, standing_s):
    spin = spun(laps_of(road, 3), when_s=80.0, radius_m=radius_m, standing_s=standing_s)

    track = build_track([spin], "X").track

    assert np.abs(deviation(road, track)).max() < 0.25
    assert track.length_m == pytest.approx(road.length_m, abs=0.2)


def test_of_two_laps_the_slower_one_is_the_one_that_went_off():
    road = stadium()
    clean = laps_of(road, 2)
    off = pushed(clean, -8.0, when_s=33.33 + 1.0, lasting_s=1.0)
    slow = (off.time_s > 31.0) & (off.time_s < 37.5)
    # The same way at three quarters of the speed, where it went aside.
    step = np.diff(off.time_s, prepend=off.time_s[0] - 0.1) * np.where(slow, 4.0 / 3.0, 1.0)
    time = np.cumsum(step) - step[0]
    off = replace(off, time_s=time, speed_mps=off.speed_mps * np.where(slow, 0.75, 1.0))

    track = build_track([off], "X").track

    assert np.abs(deviation(road, track)).max() < 0.3


@pytest.mark.slow
def test_recordings_of_different_days_average_out_and_the_accuracy_says_so():
    road = stadium()
    days = [laps_of(road, 4, noise=1.0, seed=seed, name=f"day {seed}") for seed in range(6)]

    each = [build_track([day], "X").track.accuracy_m for day in days]
    all_of_them = build_track(days, "X").track

    # 1 m of wander with 120 s: the mean over D seconds has at best sigma^2 2T / (D + 2T), 0.62 of
    # it in 140 s; six days divide that by six (Brown & Hwang; from memory).
    expected = np.sqrt(240 / (days[0].duration_s + 240))
    assert np.mean(each) == pytest.approx(expected, abs=0.05)
    assert all_of_them.accuracy_m == pytest.approx(expected / np.sqrt(6), rel=0.4)
    assert np.sqrt(np.mean(deviation(road, all_of_them) ** 2)) < 3 * all_of_them.accuracy_m


def test_how_the_accuracy_was_estimated_is_written_into_the_file():
    track = build_track([laps_of(stadium(), 2)], "X").track

    (said,) = [h["what"] for h in track.history if "accuracy_m" in h["what"]]
    assert "usual wander over 2 laps" in said


@pytest.mark.slow
def test_the_stated_accuracy_is_kept_to_by_two_lines_in_three():
    # A normal deviate is within one sigma in 68 % and within two in 95 % of cases (tables).
    road = stadium()
    shares = []
    for seed in range(14):
        track = build_track([laps_of(road, 2, noise=1.0, seed=100 + seed)], "X").track
        chainage = np.arange(0.0, road.length_m, 4.0)
        longitude, latitude = on_earth(road.at(chainage)[0])
        where, offset = track.curve.project(track.plane.to_plane(longitude, latitude))
        left = track.curve.left(where)
        shares += (np.linalg.lstsq(left, offset, rcond=None)[0] / track.accuracy_m).tolist()
    within = np.mean(np.abs(shares) < 1.0)
    assert 0.5 < within < 0.86
    assert np.mean(np.abs(shares) < 2.0) > 0.85


def test_a_gap_of_ten_seconds_on_one_lap_is_filled_from_the_others():
    road = figure_of_eight()
    clean = laps_of(road, 3)
    # 120 m of the second lap, round the bend, are missing.
    lap_s = road.length_m / 12.0
    missing = (clean.time_s > 1.3 * lap_s) & (clean.time_s < 1.3 * lap_s + 10.0)
    columns = ("time_s", "longitude_deg", "latitude_deg", "speed_mps", "course_deg", "segment")
    gapped = replace(clean, **{name: getattr(clean, name)[~missing] for name in columns})

    result = build_track([gapped], "X")

    assert np.abs(deviation(road, result.track)).max() < 0.1
    assert not any("no lap has fixes" in remark for remark in result.remarks)


def test_a_tunnel_on_every_lap_is_bridged_and_said():
    road = stadium(straight_m=400.0, radius_m=60.0)
    clean = laps_of(road, 2)
    way = (20.0 + 12.0 * clean.time_s) % road.length_m
    # A tunnel of 120 m on the far straight: ten seconds at 12 m/s.
    missing = (way > 700.0) & (way < 820.0)
    columns = ("time_s", "longitude_deg", "latitude_deg", "speed_mps", "course_deg", "segment")
    gapped = replace(clean, **{name: getattr(clean, name)[~missing] for name in columns})

    result = build_track([gapped], "X")

    assert np.abs(deviation(road, result.track)).max() < 0.3
    (told,) = [remark for remark in result.remarks if "no lap has fixes" in remark]
    begin, end = (float(v) for v in re.findall(r"(\d+) m", told)[:2])
    assert end - begin == pytest.approx(120.0, abs=8.0)
    # Where that is on the ground: chainage 700 m of the road.
    there = result.track.plane.to_plane(*on_earth(road.at(700.0)[0]))
    assert result.track.curve.separation(begin, result.track.curve.project(there)[0]) < 4.0


# One lap read


ANGLE = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
CIRCLE = Curve.through(100.0 * np.column_stack([np.cos(ANGLE), np.sin(ANGLE)]), closed=True)


def lap_that_drifts(begin_m, drift_m, *, doppler):
    """A lap of a circle that ends farther to the left than it began, growing evenly."""
    share = np.arange(314) / 314
    chainage = begin_m + share * CIRCLE.length_m
    aside = drift_m * share
    path = Path(
        position_m=CIRCLE.position(chainage) + aside[:, None] * CIRCLE.left(chainage),
        direction=CIRCLE.direction(chainage),
        time_s=60.0 * share,
        speed_mps=np.full(len(share), 10.0),
        elevation_m=np.full(len(share), np.nan),
        step_m=CIRCLE.length_m / 314,
        stops=(),
        fixed=np.ones(len(share), dtype=bool),
        drive=SimpleNamespace(has_doppler=doppler),
    )
    return FoundLap(path, 0, len(share))


@pytest.mark.parametrize("doppler", [True, False], ids=["doppler", "positions"])
@pytest.mark.parametrize("begin_m", [0.0, 250.0])
@pytest.mark.parametrize("drift_m", [2.0, -1.0])
def test_a_lap_that_ends_beside_its_beginning_is_closed_half_way_between(drift_m, begin_m, doppler):
    ahead = np.array([1.0, 100.0, 200.0, 300.0, 420.0, 520.0, CIRCLE.length_m - 1.0])

    lap = lap_that_drifts(begin_m, drift_m, doppler=doppler)
    offset = read_lap(CIRCLE, CIRCLE.wrap(begin_m + ahead), lap).offset_m

    assert offset[[0, -1]] == pytest.approx([0.5 * drift_m, 0.5 * drift_m], abs=0.05)
    if doppler:
        # The drive is sure of its shape: 60 m from the seam, the line is as it was driven.
        driven = drift_m * ahead[1:-1] / CIRCLE.length_m
        assert offset[1:-1] == pytest.approx(driven, abs=0.02)
    else:
        # An even drift is what a receiver's wander looks like, and is taken out altogether.
        assert offset == pytest.approx(np.full(len(ahead), 0.5 * drift_m), abs=0.02)


# The parts of it, by what they are


def test_the_shift_of_each_lap_is_read_as_a_standard_deviation_within_recordings():
    # Four laps of each of two recordings, shifted by 1 m and by 2 m about means far apart.
    square = np.array([[1.0, 1.0], [1.0, -1.0], [-1.0, 1.0], [-1.0, -1.0]])
    shift = np.concatenate([square + 50.0, 2.0 * square - 30.0])
    members = [np.arange(4), np.arange(4, 8)]

    # Squares of 8 and of 32, of which each recording's mean takes two degrees of freedom.
    assert _own_sigma(shift, members) == pytest.approx(np.sqrt((8.0 + 32.0) / 12.0))
    # One lap of each says nothing; very little is no less than a lap has of its own.
    assert _own_sigma(shift[[0, 4]], [np.array([0]), np.array([1])]) == LAP_SIGMA_M
    assert _own_sigma(1e-3 * shift, members) == LAP_SIGMA_M


def test_weights_fade_inside_what_counts_and_nowhere_else():
    counts = np.ones((1, 300), dtype=bool)
    counts[0, 100:160] = False

    weight = _faded(counts, 1.0, closed=True)[0]

    assert (weight[100:160] == 0.0).all()
    assert (weight[counts[0]] > 0.0).all()
    # Half of a window of 30 m away from the edge a lap counts in full.
    assert weight[[84, 175]] == pytest.approx([1.0, 1.0], abs=0.07)
    assert (np.diff(weight[160:176]) >= -1e-12).all()
    assert _faded(np.ones((2, 50), dtype=bool), 1.0, closed=True).tolist() == [[1.0] * 50] * 2


def test_one_lap_of_several_far_from_the_rest_strays_with_a_margin():
    level = np.zeros((4, 400))
    level[:3] += np.array([[0.1], [-0.1], [0.0]])
    level[3, 200:220] = 6.0
    speed = np.full(level.shape, 20.0)

    stray = _stray(level, np.ones(level.shape, bool), speed, 1.0, closed=True)

    assert not stray[:3].any()
    assert np.flatnonzero(stray[3])[[0, -1]].tolist() == [200 - 15, 219 + 15]


@pytest.mark.parametrize("slower", [0, 1])
def test_of_two_laps_apart_the_slower_strays(slower):
    level = np.zeros((2, 400))
    level[0, 200:220] = 5.0
    speed = np.full(level.shape, 20.0)
    speed[slower, 190:230] = 15.0

    stray = _stray(level, np.ones(level.shape, bool), speed, 1.0, closed=True)

    assert stray.any(axis=1).tolist() == [slower == 0, slower == 1]
    near = np.where(level == 5.0, 3.9, 0.0)
    assert not _stray(near, np.ones(level.shape, bool), speed, 1.0, closed=True).any()


def test_a_lap_by_itself_never_strays():
    level = np.full((1, 50), 40.0)

    assert not _stray(level, np.ones((1, 50), bool), level, 1.0, closed=False).any()
