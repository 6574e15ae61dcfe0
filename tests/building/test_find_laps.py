"""Laps found in a drive: whatever lies around the lap, the lap is found and nothing else."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from built_tracks import TRACK_400_M, path_of
from drives import (
    Road,
    arc,
    corner_speed,
    drive,
    figure_of_eight,
    hairpin_circuit,
    hill_course,
    stadium,
    straight,
)
from laid_paths import lap_along, path_along

from trackkit.building.find_laps import (
    FoundLap,
    _passages,
    find_runs,
    follows,
    most_driven,
    no_lap,
    sort_out,
)
from trackkit.building.fit import first_guess
from trackkit.building.layouts import all_laps, layouts_of
from trackkit.errors import NoLapError
from trackkit.geometry.curve import Curve
from trackkit.recordings.recording import Recording


def laps_of(recording):
    """The laps of the layout that was driven most, as a track is built from them."""
    built, *_ = layouts_of(all_laps(path_of(recording), recording.name))
    return list(built.laps)


# One lap with anything around it


@pytest.mark.parametrize("doppler", [False, True], ids=["positions", "doppler"])
@pytest.mark.parametrize("rate_hz", [1, 5, 10, 25])
def test_the_one_lap_of_an_outing_is_found_at_any_rate(whole_outing, rate_hz, doppler):
    (lap,) = laps_of(whole_outing.recording(rate_hz, doppler=doppler))

    assert lap.length_m == pytest.approx(TRACK_400_M, abs=6.0)
    driven_onto_s, left_s = (
        whole_outing.time_at(w) for w in (whole_outing.joined_m, whole_outing.left_m)
    )
    assert driven_onto_s - 2.0 <= lap.start_s < lap.end_s <= left_s + 2.0


@pytest.mark.parametrize("doppler", [False, True], ids=["positions", "doppler"])
def test_the_lap_is_found_through_a_receivers_noise(whole_outing, doppler):
    laps = [
        laps_of(whole_outing.recording(5, doppler=doppler, noise=1.0, seed=seed))
        for seed in range(4)
    ]

    assert [len(found) for found in laps] == [1, 1, 1, 1]
    assert [found[0].length_m for found in laps] == pytest.approx([TRACK_400_M] * 4, abs=10.0)


def test_a_large_loop_crept_twice_in_the_paddock_loses_to_one_lap():
    # A circle of 25 m radius is 157 m long: longer than the shortest lap there is.
    outing = drive(stadium(), begin_m=20.0, laps=1.15, paddock=True, loop_radius_m=25.0, loops=2.2)

    (lap,) = laps_of(outing.recording(5))

    assert lap.length_m == pytest.approx(TRACK_400_M, abs=6.0)


@pytest.mark.parametrize("more_m", [4.0, 15.0, 60.0])
def test_barely_one_lap_is_enough(more_m):
    outing = drive(stadium(), begin_m=30.0, reach_m=400.0 + more_m, from_rest=True, cruise=12.0)

    (lap,) = laps_of(outing.recording(10))

    assert lap.length_m == pytest.approx(TRACK_400_M, abs=6.0)


def test_a_recording_that_starts_in_mid_lap_at_speed_gives_its_whole_lap():
    outing = drive(stadium(), begin_m=230.0, laps=1.3, cruise=15.0)

    (lap,) = laps_of(outing.recording(10, doppler=True))

    assert lap.length_m == pytest.approx(TRACK_400_M, abs=6.0)


@pytest.mark.parametrize(("driven", "whole"), [(2.2, 2), (3.2, 3), (5.6, 5)])
def test_every_whole_lap_is_found(driven, whole):
    laps = laps_of(drive(stadium(), begin_m=10.0, laps=driven, cruise=15.0).recording(10))

    assert len(laps) == whole
    for lap in laps:
        assert lap.length_m == pytest.approx(TRACK_400_M, abs=4.0)
    for before, after in pairwise(laps):
        assert after.begin == before.end


# Shapes that invite mistakes


def test_the_crossing_of_a_figure_of_eight_is_not_taken_for_the_end_of_a_lap():
    road = figure_of_eight()

    (lap,) = laps_of(drive(road, begin_m=20.0, laps=1.15, cruise=15.0).recording(10))

    assert lap.length_m == pytest.approx(road.length_m, abs=4.0)


def test_legs_eight_metres_apart_in_opposite_directions_are_not_taken_for_a_lap():
    road = hairpin_circuit()
    outing = drive(road, begin_m=30.0, laps=1.1, cruise=corner_speed(road, 25.0))

    (lap,) = laps_of(outing.recording(10))

    assert lap.length_m == pytest.approx(road.length_m, abs=5.0)


def test_driving_a_road_there_and_back_is_no_lap():
    there = drive(hill_course(), cruise=15.0, from_rest=True).recording(5)
    half = Recording(
        name="there and back",
        time_s=np.concatenate([there.time_s, there.time_s[-1] + 0.2 + there.time_s]),
        longitude_deg=np.concatenate([there.longitude_deg, there.longitude_deg[::-1]]),
        latitude_deg=np.concatenate([there.latitude_deg, there.latitude_deg[::-1]]),
    )

    with pytest.raises(NoLapError, match="passes no place twice the same way"):
        laps_of(half)


# Refusals


def test_no_whole_lap_is_refused_with_how_far_the_end_came_from_the_start():
    road = stadium()
    outing = drive(road, begin_m=20.0, laps=0.7, cruise=12.0)
    ends, _ = road.at(np.array([20.0, 20.0 + 0.7 * road.length_m]))
    apart = np.linalg.norm(ends[1] - ends[0])

    with pytest.raises(NoLapError, match="no whole lap") as caught:
        laps_of(outing.recording(10, name="short.gpx"))

    assert f"{apart:.0f} m from its start after 280 m" in str(caught.value)
    assert caught.value.file == "short.gpx"
    assert caught.value.remedy.do == "build open"


@pytest.mark.parametrize("doppler", [False, True], ids=["positions", "doppler"])
@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_a_parked_recording_is_refused(noise, doppler):
    outing = drive(stadium(), laps=0.2, from_rest=True, parked_s=90.0)
    parked = outing.recording(5, doppler=doppler, noise=noise, end_s=85.0)

    with pytest.raises(NoLapError) as caught:
        laps_of(parked)

    assert str(caught.value).count(".") <= 1, "one sentence"


# Runs of a point-to-point course


def test_a_course_driven_once_is_one_run():
    outing = drive(hill_course(), cruise=18.0, from_rest=True)

    (run,) = find_runs(path_of(outing.recording(10, doppler=True)), "hill")

    assert run.length_m == pytest.approx(hill_course().length_m, abs=5.0)


def test_a_course_driven_twice_with_the_way_back_between_is_two_runs():
    (up, down) = hill_runs_and_way_back()

    runs = find_runs(path_of(joined(up, down, up)), "hill")

    assert len(runs) == 2
    for run in runs:
        assert run.length_m == pytest.approx(hill_course().length_m, abs=5.0)


def test_a_course_too_short_to_be_one_is_refused():
    outing = drive(hill_course(), reach_m=80.0, cruise=10.0, from_rest=True)

    with pytest.raises(NoLapError, match=r"longest stretch without a stop is (79|80) m"):
        find_runs(path_of(outing.recording(10, doppler=True)), "hill")


def hill_runs_and_way_back():
    """A run up, and the way back down by another road, as recordings."""
    up = drive(hill_course(), cruise=18.0, from_rest=True).recording(10)
    share = np.linspace(0.0, 1.0, len(up))
    bulge = 4e-3 * np.sin(np.pi * share)
    down = replace(
        up,
        longitude_deg=up.longitude_deg[-1] * (1 - share) + up.longitude_deg[0] * share,
        latitude_deg=up.latitude_deg[-1] * (1 - share) + up.latitude_deg[0] * share + bulge,
    )
    standing = replace(
        down,
        longitude_deg=np.full(len(up), up.longitude_deg[0]),
        latitude_deg=np.full(len(up), up.latitude_deg[0]),
    )
    return up, joined(down, standing)


def joined(*recordings):
    """One recording out of several, each following the other after a tenth of a second."""
    times, last = [], -0.1
    for recording in recordings:
        times.append(last + 0.1 + recording.time_s)
        last = times[-1][-1]
    return Recording(
        name="joined",
        time_s=np.concatenate(times),
        longitude_deg=np.concatenate([r.longitude_deg for r in recordings]),
        latitude_deg=np.concatenate([r.latitude_deg for r in recordings]),
    )


# Laps that leave the line


def test_a_lap_with_an_excursion_is_parted_from_the_others_and_said_so():
    road = stadium()
    clean = drive(road, begin_m=10.0, laps=3.2, cruise=15.0).recording(10)
    # 30 m sideways for a few seconds in the middle of the second lap (0.1 s a fix, 26.7 s a lap).
    bump = 30.0 * np.exp(-0.5 * ((clean.time_s - 42.0) / 1.5) ** 2) / 111_195.0
    off = replace(clean, latitude_deg=clean.latitude_deg - bump)
    laps = all_laps(path_of(off), off.name)
    assert len(laps) >= 2
    line = Curve.through(laps[0].path.position_m[laps[0].part], closed=True)

    kept, rejected = sort_out(laps, line)

    assert [lap for lap in laps if lap not in kept] == [
        lap for lap in laps if lap.start_s < 42.0 < lap.end_s
    ]
    ((lap, reason),) = rejected
    assert lap.start_s < 42.0 < lap.end_s
    assert "was not used" in reason


# The parts of it, on paths laid out by hand


OVAL = stadium(300.0, 60.0)


def test_the_most_driven_laps_are_those_of_like_length_that_cover_most_ground():
    # Samples 3 m apart: three laps of 390 to 399 m, four of 753 to 762 m, and one of 720 m that is
    # like none of them.
    path = path_along(Road((straight(6000.0),), closed=False).at, 0.0, 5997.0)
    begin = np.array([0, 200, 400, 600, 900, 1200, 1400, 1500])
    steps = np.array([130, 240, 131, 252, 133, 253, 251, 254])

    chosen = most_driven(path, begin, begin + steps)

    assert steps[chosen].tolist() == [251, 252, 253, 254]
    few = np.array([0, 2, 4, 1])
    assert steps[few][most_driven(path, begin[few], (begin + steps)[few])].tolist() == [
        130,
        131,
        133,
    ]


@pytest.mark.parametrize(
    ("away", "does"),
    [
        ([14.9] * 4 + [7.9] * 96, True),
        ([14.9] * 7 + [7.9] * 93, False),
        ([15.1] + [0.0] * 99, False),
        ([8.0] * 100, True),
    ],
)
def test_a_lap_follows_a_line_within_15_m_and_nearly_always_within_8(away, does):
    assert follows(np.array(away)) == does


def test_a_place_is_passed_where_the_path_comes_by_the_same_way():
    path = path_along(OVAL.at, 0.0, 3.2 * OVAL.length_m)
    place, ahead = OVAL.at(450.0)

    same, back = (_passages(path, place, way) for way in (ahead, -ahead))

    assert same * path.step_m == pytest.approx(450.0 + OVAL.length_m * np.arange(3), abs=3.1)
    # The other way it is passed nowhere; the nearest sample is named all the same.
    assert len(back) == 1
    beside = place + 13.0 * np.array([-ahead[1], ahead[0]])
    assert len(_passages(path, beside, ahead)) == 1


def runs_with_stops(*stops_m):
    """Out along a straight, with stops of 10 s; and back beside it at half the speed."""
    course = Road((straight(800.0), arc(20.0, 180), straight(800.0), arc(20.0, 180)))
    path = path_along(
        course.at,
        0.0,
        1.0 * course.length_m,
        speed_mps=lambda s: np.where(s < 800.0, 20.0, 10.0),
    )
    along = path.step_m * np.arange(len(path.time_s))
    when = np.interp(stops_m, along, path.time_s).tolist()
    return replace(path, stops=tuple((moment, 10.0) for moment in when))


def test_a_course_is_what_is_driven_fastest_between_stops():
    found = find_runs(runs_with_stops(50.0, 750.0, 900.0, 1700.0), "x")

    (run,) = found
    assert run.begin * run.path.step_m == pytest.approx(50.0, abs=3.1)
    assert run.length_m == pytest.approx(700.0, abs=6.0)


def test_stretches_too_short_for_a_course_are_none():
    with pytest.raises(NoLapError, match="longest stretch without a stop is 1"):
        find_runs(runs_with_stops(*np.arange(100.0, 1725.0, 100.0)), "x")


def test_a_path_that_comes_back_to_nothing_says_how_far_it_went():
    path = path_along(OVAL.at, 0.0, 300.0)

    error = no_lap(path, "x")

    apart = float(np.linalg.norm(path.position_m[-1] - path.position_m[0]))
    assert f"lies {apart:,.0f} m from its start after 300 m" in error.what


@pytest.mark.parametrize(("aside_m", "kept"), [(5.0, True), (14.0, False)])
def test_laps_that_leave_a_line_are_sorted_out_with_how_far(aside_m, kept):
    curve = first_guess(lap_along(OVAL.at, OVAL.length_m), closed=True)
    lap = lap_along(OVAL.at, OVAL.length_m, aside_m=aside_m)

    good, bad = sort_out([lap], curve)

    assert (good == [lap]) == kept
    assert [pair[0] for pair in bad] == ([] if kept else [lap])
    for _, reason in bad:
        assert f"leaves the line by {aside_m:.0f} m" in reason


def test_a_laps_times_and_length_are_those_of_its_samples():
    path = path_along(OVAL.at, 0.0, 900.0, speed_mps=15.0)
    lap = FoundLap(path, 20, 220)

    assert lap.length_m == pytest.approx(600.0)
    assert (lap.start_s, lap.end_s) == pytest.approx((4.0, 44.0))
    assert FoundLap(path, 20, len(path.time_s)).end_s == pytest.approx(60.0)
