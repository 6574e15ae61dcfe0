"""How laps are read, weighed and freed of their shifts, by cases small enough to reckon by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
from drives import stadium
from laid_paths import lap_along, path_along
from scipy.ndimage import uniform_filter1d

from trackkit.building.average import (
    Reading,
    _faded,
    _fitted_shift,
    _mean,
    _off_at_seam,
    _own_sigma,
    _shares,
    _stray,
    _weighted_median,
    averaged,
    read_lap,
    wander_covariance,
)
from trackkit.building.find_laps import FoundLap
from trackkit.geometry.curve import Curve
from trackkit.motion.noise import USUAL

ROAD = stadium(200.0, 40.0)
LENGTH_M = ROAD.length_m
CURVE = Curve.through(ROAD.at(np.arange(0.0, LENGTH_M, 5.0))[0], closed=True)
CHAINAGE = CURVE.chainages(3.0)
LEFT = CURVE.left(CHAINAGE)


def reading(offset, *, jump_m=0.0, seam=None, speed=15.0):
    nothing = np.zeros(len(offset))
    return Reading(np.asarray(offset, float), nothing + speed, nothing, nothing, jump_m, seam)


def laps_of(*durations_s, doppler=True, wander_m=2.0, read=True, recordings=None):
    """Laps one after the other, in one recording or in several."""
    numbers = recordings or [0] * len(durations_s)
    drives = [
        SimpleNamespace(
            has_doppler=doppler,
            wander_from_recording=read,
            levels=SimpleNamespace(wander_m=wander_m, wander_time_s=100.0),
            recording=SimpleNamespace(duration_s=sum(durations_s)),
        )
        for _ in range(max(numbers) + 1)
    ]
    ends = np.cumsum(durations_s).tolist()
    return [
        SimpleNamespace(start_s=end - lasting, end_s=end, path=SimpleNamespace(drive=drives[n]))
        for end, lasting, n in zip(ends, durations_s, numbers, strict=True)
    ]


# Reading a lap


def test_a_lap_is_read_by_chainage_wherever_it_begins():
    lap = lap_along(
        ROAD.at,
        LENGTH_M,
        begin_m=100.0,
        aside_m=1.5,
        speed_mps=lambda c: 10.0 + 0.01 * (c % LENGTH_M),
        elevation_m=lambda c: 5.0 + 0.02 * (c % LENGTH_M),
    )

    found = read_lap(CURVE, CHAINAGE, lap)

    inner = (CHAINAGE > 10.0) & (CHAINAGE < LENGTH_M - 10.0)
    assert found.offset_m == pytest.approx(1.5, abs=0.02)
    assert found.speed_mps[inner] == pytest.approx(10.0 + 0.01 * CHAINAGE[inner], abs=0.05)
    assert found.elevation_m[inner] == pytest.approx(5.0 + 0.02 * CHAINAGE[inner], abs=0.1)
    # The lap begins at 100 m: time runs from there round to it.
    order = np.argsort((CHAINAGE - 100.0) % LENGTH_M)
    assert np.all(np.diff(found.time_s[order][1:-1]) > 0)
    assert found.jump_m == pytest.approx(0.0, abs=0.02)


@pytest.mark.parametrize("doppler", [True, False])
def test_the_jump_at_a_laps_seam_is_spread_to_either_side(doppler):
    # From 0 at its beginning at 100 m it drifts to 2 m left at its end.
    lap = lap_along(
        ROAD.at, LENGTH_M, begin_m=100.0, aside_m=lambda c: 2.0 * (c - 100.0) / LENGTH_M
    )
    lap.path.drive.has_doppler = doppler

    found = read_lap(CURVE, CHAINAGE, lap)

    assert found.jump_m == pytest.approx(2.0, abs=0.02)
    ahead = (CHAINAGE - 100.0) % LENGTH_M
    reach = 60.0 if doppler else 0.5 * LENGTH_M
    drift = 2.0 * ahead / LENGTH_M
    drift += np.clip(1.0 - ahead / reach, 0.0, None)
    drift -= np.clip(1.0 - (LENGTH_M - ahead) / reach, 0.0, None)
    assert found.offset_m == pytest.approx(drift, abs=0.06)
    assert found.seam.mean() == pytest.approx(2.0 * reach / LENGTH_M, abs=0.02)


def test_in_a_gap_a_lap_is_not_known():
    lap = lap_along(ROAD.at, LENGTH_M)
    lap.path.fixed[50:70] = False

    found = read_lap(CURVE, CHAINAGE, lap)

    gap = (CHAINAGE > 150.0) & (CHAINAGE < 207.0)
    assert np.isnan(found.offset_m[gap]).all()
    assert np.isfinite(found.offset_m[(CHAINAGE < 145.0) | (CHAINAGE > 213.0)]).all()


def test_a_run_of_a_course_is_read_without_a_seam():
    course = Curve.through(
        np.stack([np.arange(0.0, 301.0, 5.0), np.zeros(61)], axis=1), closed=False
    )

    def eastward(chainage):
        return np.stack([chainage, 0 * chainage], axis=-1), np.tile([1.0, 0], (len(chainage), 1))

    path = path_along(eastward, 0.0, 300.0, aside_m=lambda c: 0.01 * c)
    found = read_lap(course, course.chainages(10.0), FoundLap(path, 0, 101))

    assert found.offset_m == pytest.approx(0.01 * course.chainages(10.0), abs=1e-3)
    assert (found.jump_m, found.seam) == (0.0, None)


# Averaging


SHIFTS = np.array([[1.0, -0.5], [-0.4, 0.2], [-0.6, 0.3]])


def test_laps_are_freed_of_their_shifts_and_meet_in_the_weighted_mean_of_them():
    own = np.sin(CHAINAGE / 30.0)
    readings = [reading(own + LEFT @ shift) for shift in SHIFTS]
    laps = laps_of(60.0, 60.0, 60.0, recordings=[0, 1, 2])

    average = averaged(CURVE, CHAINAGE, laps, readings)

    # One lap each of three recordings alike: a third each, and the shifts add up to nothing.
    assert average.share == pytest.approx([1 / 3] * 3)
    assert average.mean_m == pytest.approx(own, abs=0.02)
    assert average.spread_m == pytest.approx(0.0, abs=0.02)
    assert average.shift_m == pytest.approx(SHIFTS, abs=0.02)
    assert average.weight == pytest.approx(1.0)


def test_the_spread_is_the_standard_deviation_of_the_laps_about_the_line():
    # Shifts fit no constant distance to the left of a lap: what goes round once stays.
    readings = [reading(np.full(len(CHAINAGE), aside)) for aside in (0.3, -0.3, 0.6, -0.6)]
    laps = laps_of(*[60.0] * 4)

    average = averaged(CURVE, CHAINAGE, laps, readings)

    assert average.mean_m == pytest.approx(0.0, abs=1e-6)
    assert average.spread_m == pytest.approx(np.sqrt((0.09 + 0.36) / 2.0), abs=0.02)
    assert average.offset_m[0] == pytest.approx(0.3, abs=0.02)


def test_one_lap_is_the_line_and_has_no_spread():
    own = np.cos(CHAINAGE / 40.0)

    average = averaged(CURVE, CHAINAGE, laps_of(60.0), [reading(own)])

    assert average.mean_m == pytest.approx(own)
    assert np.isnan(average.spread_m).all()
    assert average.share.tolist() == [1.0]
    assert average.shift_m.tolist() == [[0.0, 0.0]]


def test_where_no_lap_counts_the_line_goes_straight_on():
    own = 0.002 * CHAINAGE
    own[100:150] = np.nan
    weight = np.isfinite(own).astype(float)[None]

    mean = _mean(np.nan_to_num(own, nan=99.0)[None], weight, CHAINAGE, CURVE)

    assert mean == pytest.approx(0.002 * CHAINAGE)
    assert _mean(own[None], 0.0 * weight, CHAINAGE, CURVE).tolist() == [0.0] * len(CHAINAGE)
    # Over the seam of a lap too.
    ends = np.full(len(CHAINAGE), 3.0)
    ends[:20], ends[-20:] = 99.0, 99.0
    counts = (ends < 99.0).astype(float)[None]
    assert _mean(ends[None], counts, CHAINAGE, CURVE) == pytest.approx(3.0)


def test_the_median_is_of_what_counts_and_of_all_where_nothing_does():
    value = np.array([[1.0, 5.0], [2.0, 6.0], [9.0, 10.0]])
    weight = np.array([[1.0, 0.0], [0.6, 0.2], [0.4, 0.5]])

    assert _weighted_median(value, weight).tolist() == [1.5, 6.0]


def test_the_shift_is_fitted_to_what_counts():
    offset = LEFT @ np.array([0.8, -0.3])
    offset[:50] += 9.0
    weight = np.ones(len(offset))
    weight[:50] = 0.0

    assert _fitted_shift(LEFT, offset, weight) == pytest.approx([0.8, -0.3])
    # On a straight only what lies across it can be told.
    straight = np.tile([0.0, 1.0], (30, 1))
    assert _fitted_shift(straight, np.full(30, 2.0), np.ones(30)) == pytest.approx([0.0, 2.0])


# What counts


@pytest.mark.parametrize(("away_m", "strays"), [(1.3, False), (1.5, True)])
def test_a_lap_strays_four_sigmas_from_the_others_which_scatter_by_35_cm_at_least(away_m, strays):
    level = np.zeros((5, 400))
    level[2, 200:203] = away_m

    stray = _stray(level, np.ones(level.shape, bool), np.full(level.shape, 15.0), 1.0, closed=True)

    assert stray.any() == strays
    if strays:
        # With 15 m on either side of the three.
        assert np.flatnonzero(stray[2]).tolist() == list(range(185, 218))
        assert not stray[[0, 1, 3, 4]].any()


def test_near_the_ends_of_a_course_no_margin_wraps_around():
    level = np.zeros((5, 100))
    level[0, 98] = 9.0
    known = np.ones(level.shape, bool)
    speed = np.full(level.shape, 15.0)

    lap, course = (_stray(level, known, speed, 3.0, closed=closed) for closed in (True, False))

    # 15 m are five steps of 3 m.
    assert np.flatnonzero(course[0]).tolist() == list(range(93, 100))
    assert np.flatnonzero(lap[0]).tolist() == [0, 1, 2, 3, *range(93, 100)]


def test_where_laps_scatter_more_more_is_needed_to_stray():
    generator = np.random.default_rng(4)
    level = generator.normal(0.0, 2.0, (9, 400))
    level[3, 100] = 5.0 * 2.0 + 4.0

    stray = _stray(level, np.ones(level.shape, bool), np.full(level.shape, 15.0), 1.0, closed=True)

    assert stray[3, 100]
    assert stray.mean() < 0.02


@pytest.mark.parametrize(("apart_m", "strays"), [(3.9, False), (4.1, True)])
def test_two_laps_apart_by_four_metres_do_not_agree(apart_m, strays):
    level = np.array([np.zeros(50), np.full(50, -apart_m)])
    speed = np.array([np.full(50, 20.0), np.full(50, 10.0)])

    stray = _stray(level, np.ones(level.shape, bool), speed, 3.0, closed=False)

    assert stray[1].all() == stray[1].any() == strays
    assert not stray[0].any()


def test_what_counts_fades_in_over_half_of_thirty_metres_inside():
    counts = np.ones((1, 300), dtype=bool)
    counts[0, 100:140] = False

    weight = _faded(counts, 1.0, closed=True)[0]

    # The mean over 30 m (by SciPy) rises from a half at the edge to one 15 m inside.
    even = uniform_filter1d(counts[0].astype(float), 31, mode="wrap")
    assert weight == pytest.approx(np.where(counts[0], np.maximum(2 * even - 1, 1e-6), 0), abs=0.06)
    assert weight[100:140].tolist() == [0.0] * 40
    assert np.all(weight[counts[0]] > 0.0)
    assert weight[160] == pytest.approx(1.0)
    assert weight[142] < 0.3
    assert _faded(np.ones((2, 5), bool), 1.0, closed=True).tolist() == [[1.0] * 5] * 2


def test_a_lap_that_ends_far_beside_its_beginning_does_not_count_at_its_seam():
    seam = np.arange(50) < 10
    readings = [reading(np.zeros(50), jump_m=jump, seam=seam) for jump in (0.1, -0.2, 0.1, -3.0)]

    off = _off_at_seam(readings, (4, 50))

    assert off[:3].sum() == 0
    assert np.flatnonzero(off[3]).tolist() == list(range(10))
    # With four sigmas of 35 cm at least: 1.4 m.
    for jump, expected in ((1.39, 0), (1.41, 10)):
        readings[3] = reading(np.zeros(50), jump_m=jump, seam=seam)
        assert _off_at_seam(readings, (4, 50)).sum() == expected
    # Of two nobody knows which is right; a course has no seam.
    assert not _off_at_seam(readings[2:], (2, 50)).any()
    assert _off_at_seam(readings[1:], (3, 50)).sum() == 10
    readings[3] = reading(np.zeros(50), jump_m=9.0)
    assert not _off_at_seam(readings, (4, 50)).any()


# How laps are weighed


def test_laps_of_one_recording_with_velocities_share_what_is_left_of_its_wander():
    laps = laps_of(60.0, 60.0, 60.0, recordings=[0, 0, 1])

    covariance = wander_covariance(laps, 0.2)

    shared = covariance[0, 1]
    assert covariance[:2, :2] == pytest.approx(shared + 0.04 * np.eye(2))
    assert 0.0 < shared < 2.0**2
    # Between recordings there is none.
    assert covariance[2, :2].tolist() == [0.0, 0.0]
    assert covariance[2, 2] == pytest.approx(shared + 0.04)
    # It goes with the square of the level.
    doubled = wander_covariance(laps_of(60.0, 60.0, 60.0, wander_m=4.0), 0.2)
    assert doubled[0, 1] == pytest.approx(4.0 * shared)


def test_without_velocities_laps_far_apart_in_time_share_less():
    covariance = wander_covariance(laps_of(60.0, 60.0, 60.0, doppler=False), 0.0)

    # Means of a first-order Gauss-Markov process: by numbers, over both laps.
    when = np.linspace(0.05, 59.95, 600)
    kernel = np.exp(-np.abs(when[:, None] - (when + 120.0)) / 100.0)
    assert covariance[0, 2] == pytest.approx(4.0 * kernel.mean(), rel=0.01)
    assert covariance[0, 0] > covariance[0, 1] > covariance[0, 2]
    assert covariance[0, 0] == pytest.approx(covariance[2, 2])


def test_a_wander_that_was_not_read_is_the_usual_one():
    usual = wander_covariance(laps_of(60.0, wander_m=9.0, read=False), 0.0)
    read = wander_covariance(laps_of(60.0, wander_m=USUAL.wander_m), 0.0)

    assert usual == pytest.approx(read)


def test_many_laps_of_one_day_weigh_little_more_than_one_of_another():
    laps = laps_of(*[60.0] * 5, recordings=[0, 0, 0, 0, 1])

    share = _shares(laps, np.zeros((5, 2)))

    assert share.sum() == pytest.approx(1.0)
    assert share[:4] == pytest.approx(share[0])
    assert share[0] < share[4] < share[:4].sum()
    # By numbers: the best linear estimate weighs by the rows of the inverse.
    inverse = np.linalg.inv(wander_covariance(laps, 0.15))
    assert share == pytest.approx(inverse.sum(axis=1) / inverse.sum())


@pytest.mark.parametrize(("count", "sigma"), [(2, 0.15), (3, 1.0), (4, 1.0)])
def test_laps_own_shift_is_read_where_there_are_four_degrees_of_freedom(count, sigma):
    # n laps on two axes about their mean have 2 (n - 1).
    shift = np.zeros((count, 2))
    shift[:, 0] = np.linspace(-1.0, 1.0, count)
    squares = ((shift - shift.mean(axis=0)) ** 2).sum()
    shift *= np.sqrt(2.0 * (count - 1) / squares)

    assert _own_sigma(shift, [np.arange(count)]) == pytest.approx(sigma)
    assert _own_sigma(0.01 * shift, [np.arange(count)]) == 0.15
