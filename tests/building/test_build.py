"""From recordings to a whole track: the standard track, refusals, recordings of real receivers."""

import numpy as np
import pytest
from built_tracks import TRACK_400_M, built, furthest_from
from checkout import recording_of_a_real_receiver
from drives import (
    drive,
    stadium,
)

from trackkit.building.build import build_track
from trackkit.errors import NoLapError, PlaceError
from trackkit.geometry.shape import self_crossings
from trackkit.recordings.read import read_recording
from trackkit.track.places import parse_place

# The 400 m standard track


def test_the_standard_track_is_400_m_long_from_one_lap_with_everything_around_it(athletics):
    assert athletics.track.length_m == pytest.approx(TRACK_400_M, abs=0.02)


@pytest.mark.parametrize("rate_hz", [5, 25])
@pytest.mark.parametrize("cruise", [8.0, 20.0])
def test_the_standard_track_is_400_m_long_at_any_rate_and_speed(rate_hz, cruise):
    assert built(stadium(), cruise=cruise, rate_hz=rate_hz).track.length_m == pytest.approx(
        TRACK_400_M, abs=0.02
    )


@pytest.mark.parametrize("cruise", [8.0, 12.0, 20.0])
def test_the_standard_track_is_400_m_long_from_noise_free_positions_alone(cruise):
    outing = drive(stadium(), begin_m=20.0, laps=1.15, paddock=True, cruise=cruise)

    track = build_track([outing.recording(10)], "Invented").track

    assert track.length_m == pytest.approx(TRACK_400_M, abs=0.02)


@pytest.mark.slow
def test_ten_laps_with_a_receivers_noise_are_400_m_long_within_30_cm():
    outing = drive(stadium(), begin_m=20.0, laps=10.2, paddock=True, cruise=12.0)

    lengths = [
        build_track([outing.recording(10, doppler=True, noise=1.0, seed=seed)], "X").track.length_m
        for seed in range(4)
    ]

    assert lengths == pytest.approx([TRACK_400_M] * 4, abs=0.3)


@pytest.mark.slow
def test_ten_laps_of_noisy_positions_alone_are_400_m_long_as_closely_as_their_wander_allows():
    # Wander of a lap's own shape cannot be seen in positions alone.  A first-order Gauss-Markov
    # process of 1 m and 120 s has, at one cycle a lap of 33 s, a spectral density of 0.47 m^2/Hz;
    # the mean of its outward part over the lap has 0.12 m sigma, the length 2 pi times that,
    # 0.75 m a lap and 0.24 m for ten laps (Brown & Hwang; from memory).  Three sigma:
    outing = drive(stadium(), begin_m=20.0, laps=10.2, cruise=12.0)

    lengths = [
        build_track([outing.recording(5, noise=1.0, seed=seed)], "X").track.length_m
        for seed in range(4)
    ]

    assert lengths == pytest.approx([TRACK_400_M] * 4, abs=0.72)
    # The sum of four squares is below 18.5 variances in 999 cases of 1000 (chi-square tables).
    assert np.sqrt(np.mean((np.array(lengths) - TRACK_400_M) ** 2)) < 0.24 * np.sqrt(18.5 / 4)


def test_its_corners_are_two_left_handers_of_the_measured_radius(athletics):
    corners = athletics.track.corners

    assert [c.number for c in corners] == [1, 2]
    assert [c.turn for c in corners] == ["left", "left"]
    # Smoothing makes the curvature swing over by some per cent where an arc meets a straight.
    assert [c.min_radius_m for c in corners] == pytest.approx([36.80, 36.80], rel=0.04)
    assert corners[0].apex_m < corners[1].apex_m


def test_the_driven_line_is_where_it_was_driven(athletics):
    assert furthest_from(stadium(), athletics.track) < 0.05


def test_the_line_starts_at_the_finish_gate_and_is_closed(athletics):
    track = athletics.track

    assert track.closed
    assert track.centreline.gap_m == 0.0
    assert track.finish.chainage_m == 0.0
    middle = np.mean(track.gate_ends(track.finish), axis=0)
    assert middle == pytest.approx(track.curve.position(0.0), abs=0.01)


def test_the_stop_on_the_way_is_removed_and_said(athletics):
    assert any(remark.startswith("removed 1 stop on the way (6") for remark in athletics.remarks)


def test_what_was_built_is_written_into_its_history(athletics):
    assert athletics.laps_used == 1
    assert athletics.track.history[-1]["what"] == "built from 1 lap"
    assert athletics.track.sources == ({"file": "invented", "laps": 1},)
    assert athletics.track.id == "invented-oval"


# Refusals


def test_no_whole_lap_is_refused_with_the_distance_between_its_ends():
    road = stadium()
    outing = drive(road, laps=0.75, cruise=12.0)
    ends, _ = road.at(np.array([0.0, 300.0]))
    apart = np.linalg.norm(ends[1] - ends[0])

    with pytest.raises(NoLapError, match=f"its end lies {apart:.0f} m from its start"):
        build_track([outing.recording(10)], "X")


def test_a_parked_recording_is_refused_in_words():
    outing = drive(stadium(), laps=0.5, from_rest=True, parked_s=60.0)

    with pytest.raises(NoLapError, match="never moves") as caught:
        build_track([outing.recording(1, end_s=55.0)], "X")

    assert caught.value.remedy.what


def test_no_sectors_is_refused():
    with pytest.raises(PlaceError, match="0 sectors"):
        built(stadium(), sectors=0)


def test_a_finish_off_the_track_is_refused_with_its_distance():
    with pytest.raises(PlaceError, match="m from the centreline"):
        built(stadium(), finish=parse_place("47.5,161.0"))


# Recordings made by real receivers


def test_a_real_loop_by_car_builds_a_closed_clockwise_loop_with_one_stop_removed():
    recording = read_recording(recording_of_a_real_receiver("village-loop-by-car.gpx"))
    result = build_track([recording], "Village loop")

    assert result.track.closed
    assert result.track.direction == "clockwise"
    assert [r for r in result.remarks if r.startswith("removed 1 stop on the way")]
    assert self_crossings(result.track.curve) == []


def test_a_real_walk_in_many_segments_is_refused_in_one_sentence():
    recording = read_recording(recording_of_a_real_receiver("hill-walk-many-segments.gpx"))

    with pytest.raises(NoLapError, match="holds no whole lap: its end lies") as caught:
        build_track([recording], "Walk")

    assert "\n" not in str(caught.value)
    assert caught.value.remedy.do == "build open"
