"""From recordings to a whole track."""

from dataclasses import replace

import numpy as np
import pytest
from built_tracks import TRACK_400_M, furthest_from
from checkout import recording_of_a_real_receiver
from drives import (
    corner_speed,
    drive,
    figure_of_eight,
    hairpin_circuit,
    hill_course,
    on_earth,
    stadium,
)
from pyproj import Geod

from trackkit.building.build import build_track
from trackkit.errors import NoLapError, PlaceError
from trackkit.geometry.geodesy import wrap_longitude
from trackkit.geometry.shape import direction_of, self_crossings
from trackkit.recordings.read import read_recording
from trackkit.track.places import Place, parse_place


def built(road, *, laps=1.15, cruise=12.0, rate_hz=10, is_open=False, at=(11.0, 47.0), **more):
    outing = drive(road, begin_m=20.0, laps=laps, cruise=cruise)
    recording = outing.recording(rate_hz, doppler=True, at=at)
    return build_track([recording], "Invented", is_open=is_open, **more)


@pytest.fixture(scope="module")
def athletics():
    outing = drive(stadium(), begin_m=20.0, laps=1.15, paddock=True, stop_at_m=250.0, cruise=12.0)
    return build_track([outing.recording(10, doppler=True)], "Invented Oval")


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


def test_ten_laps_with_a_receivers_noise_are_400_m_long_within_30_cm():
    outing = drive(stadium(), begin_m=20.0, laps=10.2, paddock=True, cruise=12.0)

    lengths = [
        build_track([outing.recording(10, doppler=True, noise=1.0, seed=seed)], "X").track.length_m
        for seed in range(4)
    ]

    assert lengths == pytest.approx([TRACK_400_M] * 4, abs=0.3)


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


# Direction


def test_a_track_driven_to_the_left_is_anticlockwise():
    assert built(hairpin_circuit(), cruise=10.0).track.direction == "anticlockwise"


def test_a_track_driven_to_the_right_is_clockwise():
    road = hairpin_circuit().mirrored()

    track = built(road, cruise=10.0).track

    assert track.direction == "clockwise"
    assert furthest_from(road, track) < 0.3
    assert {c.turn for c in track.corners} == {"left", "right"}
    assert [c.turn for c in track.corners].count("right") == 3


def test_the_line_runs_the_way_it_was_driven(athletics):
    (recording,) = [drive(stadium(), laps=1.2, cruise=12.0).recording(10, doppler=True)]
    backwards = replace(
        recording,
        longitude_deg=recording.longitude_deg[::-1],
        latitude_deg=recording.latitude_deg[::-1],
        course_deg=(recording.course_deg[::-1] + 180.0) % 360.0,
        speed_mps=recording.speed_mps[::-1],
    )

    assert build_track([backwards], "X").track.direction == "clockwise"


# Shapes


def test_a_figure_of_eight_has_no_direction_and_one_crossover():
    road = figure_of_eight()

    track = built(road, cruise=15.0).track

    assert track.direction is None
    assert track.length_m == pytest.approx(road.length_m, abs=0.1)
    (bridge,) = track.crossovers
    # The road crosses itself at 0 and at half its length, so the passages are half a lap apart.
    assert abs(bridge.over_m - bridge.under_m) == pytest.approx(road.length_m / 2, abs=0.3)
    crossing = track.curve.position([bridge.over_m, bridge.under_m])
    assert np.linalg.norm(crossing[0] - crossing[1]) < 0.1


def test_heights_tell_which_passage_of_a_figure_of_eight_is_the_bridge():
    road = figure_of_eight()
    outing = drive(road, begin_m=100.0, laps=1.15, cruise=15.0)
    recording = outing.recording(10, doppler=True)
    # The tangent that is driven at half the length rises 8 m above the other one.
    way, _ = outing.way(recording.time_s)
    chainage = (100.0 + way) % road.length_m
    hill = 8.0 * np.exp(-0.5 * ((chainage - road.length_m / 2) / 60.0) ** 2)

    result = build_track([replace(recording, elevation_m=hill)], "Eight")

    (bridge,) = result.track.crossovers
    assert result.track.curve.direction(bridge.over_m) == pytest.approx(
        road.at(road.length_m / 2)[1], abs=0.02
    )
    assert not any("do not tell" in remark for remark in result.remarks)


def test_hairpin_legs_eight_metres_apart_stay_two_legs():
    road = hairpin_circuit()
    outing = drive(road, begin_m=300.0, laps=3.2, cruise=corner_speed(road, 25.0))

    result = build_track([outing.recording(10, doppler=True)], "Hairpin")

    assert result.track.length_m == pytest.approx(road.length_m, rel=1e-3)
    assert self_crossings(result.track.curve) == []
    # The smoothing of the line rounds a hairpin of 4 m radius by some decimetres.
    assert furthest_from(road, result.track) < 0.7
    assert direction_of(result.track.curve) == "anticlockwise"


# Places on earth


@pytest.mark.parametrize(
    "at",
    [(11.0, 47.0), (144.9, -37.8), (-180.0, 12.0), (179.9995, -17.0), (25.7, 70.0), (-60.0, 0.0)],
    ids=["north", "south", "antimeridian", "just-west-of-it", "70-north", "equator"],
)
def test_the_same_road_gives_the_same_track_anywhere(at):
    road = hairpin_circuit()
    track = built(road, cruise=10.0, at=at, sectors=3).track

    assert track.direction == "anticlockwise"
    assert track.length_m == pytest.approx(road.length_m, rel=1e-3)
    assert furthest_from(road, track, at) < 0.7
    # The length on the ellipsoid, by the polyline's geodesics (Karney 2013, by PROJ).
    line = track.centreline
    geodesic = Geod(ellps="WGS84").line_length(
        wrap_longitude(line.longitude_deg), line.latitude_deg
    )
    assert track.length_m == pytest.approx(geodesic, rel=2e-4)
    assert np.ptp(line.longitude_deg) < 0.02
    assert all(g.width_m == pytest.approx(20.0, abs=6.1) for g in track.gates)


# Several laps, several recordings


def test_several_laps_are_averaged():
    outing = drive(stadium(), begin_m=20.0, laps=5.3, cruise=12.0)
    errors = []
    for laps, end_way in ((1, 1.2), (5, 5.2)):
        result = build_track(
            [outing.recording(10, noise=1.0, seed=4, doppler=True,
                              end_s=outing.time_at(400.0 * end_way))], "X")  # fmt: skip
        assert result.laps_used == laps
        _, offset = result.track.curve.project(
            result.track.plane.to_plane(*on_earth(stadium().at(np.arange(0, 400, 4.0))[0]))
        )
        errors.append(np.std(offset))
    assert errors[1] < errors[0]


def test_several_recordings_make_one_track_and_each_is_named_with_its_laps():
    road = stadium()
    one = drive(road, begin_m=20.0, laps=2.2, cruise=12.0).recording(10, doppler=True, name="a")
    two = drive(road, begin_m=220.0, laps=1.2, cruise=15.0).recording(5, name="b")

    result = build_track([one, two], "X")

    assert result.laps_used == 3
    assert [(s["file"], s["laps"]) for s in result.track.sources] == [("a", 2), ("b", 1)]
    assert result.track.length_m == pytest.approx(TRACK_400_M, abs=0.1)


def test_a_recording_without_a_lap_is_left_out_of_several_and_said_so():
    road = stadium()
    whole = drive(road, laps=1.2, cruise=12.0).recording(10, doppler=True, name="whole.gpx")
    short = drive(road, laps=0.5, cruise=12.0).recording(10, name="short.gpx")

    result = build_track([short, whole], "X")

    assert result.laps_used == 1
    assert any("short.gpx" in r and "(not used)" in r for r in result.remarks)


def test_a_lap_with_an_excursion_is_not_used_and_said_so():
    clean = drive(stadium(), begin_m=10.0, laps=4.2, cruise=15.0).recording(10, doppler=True)
    # Off 30 m to the south for some seconds in the second lap; a lap takes 26.7 s.
    bump = 30.0 * np.exp(-0.5 * ((clean.time_s - 46.0) / 1.5) ** 2) / 111_195.0
    off = replace(clean, latitude_deg=clean.latitude_deg - bump, speed_mps=None, course_deg=None)

    result = build_track([off], "X")

    assert result.laps_used == 3
    (said,) = [r for r in result.remarks if "was not used" in r]
    assert "leaves the line by 3" in said or "leaves the line by 2" in said
    assert furthest_from(stadium(), result.track) < 0.5


def test_what_readers_removed_is_summed_over_recordings():
    recording = drive(stadium(), laps=1.2, cruise=12.0).recording(10)
    removed = [
        replace(recording, removed={"duplicate time": 2}),
        replace(recording, removed={"duplicate time": 1, "jump": 3}),
    ]

    assert build_track(removed, "X").removed == {"duplicate time": 3, "jump": 3}


# Elevation


def test_elevation_is_kept():
    outing = drive(stadium(), begin_m=20.0, laps=1.2, cruise=12.0)
    # A plane that rises 3 m in 100 m to the east, from 500 m.
    recording = outing.recording(10, doppler=True, height=lambda p: 500.0 + 0.03 * p[:, 0])

    line = build_track([recording], "X").track.centreline

    east = (line.longitude_deg - 11.0) * 111_320.0 * np.cos(np.radians(47.0))
    assert line.height_m == pytest.approx(500.0 + 0.03 * east, abs=0.15)


def test_length_at_the_surface_is_longer_by_height_over_the_earths_radius():
    # At 1,900 m a circle is longer by 1900 / 6,371,009, that is 0.0298 %: 0.119 m of 400.
    outing = drive(stadium(), begin_m=20.0, laps=1.2, cruise=12.0)
    recording = outing.recording(10, doppler=True, height=lambda p: np.full(len(p), 1900.0))

    track = build_track([recording], "X").track

    assert track.length_surface_m - track.length_m == pytest.approx(0.1193, abs=0.0005)


def test_length_at_the_surface_follows_the_slope():
    # A course that climbs 10 in 100 all the way is longer by sqrt(1 + 0.1^2) = 1.004988.
    outing = drive(hill_course(), cruise=15.0, from_rest=True)
    recording = outing.recording(10, doppler=True)
    way, _ = outing.way(recording.time_s)

    track = build_track([replace(recording, elevation_m=0.1 * way)], "X", is_open=True).track

    assert track.length_surface_m / track.length_m == pytest.approx(1.004988, abs=3e-5)


def test_without_elevation_there_is_no_length_at_the_surface(athletics):
    assert athletics.track.length_surface_m is None
    assert athletics.track.centreline.height_m is None


# Courses from one point to another


def test_an_open_course_gets_a_start_and_a_finish_gate_near_its_ends():
    road = hill_course()
    outing = drive(road, cruise=18.0, from_rest=True)

    result = build_track([outing.recording(10, doppler=True)], "Hill", is_open=True)

    track = result.track
    assert not track.closed
    assert track.direction is None
    assert track.length_m == pytest.approx(road.length_m, abs=4.0)
    assert [g.kind for g in track.gates] == ["start", "finish"]
    assert track.timed_from.chainage_m == pytest.approx(20.0, abs=0.01)
    assert track.finish.chainage_m == pytest.approx(track.length_m - 20.0, abs=0.01)
    assert furthest_from(road, track, ends_m=10.0) < 0.3
    assert any("20 m from the ends" in remark for remark in result.remarks)


def test_two_recorded_runs_of_an_open_course_are_averaged():
    road = hill_course()
    runs = [
        drive(road, cruise=speed, from_rest=True).recording(10, doppler=True, name=f"run {n}")
        for n, speed in enumerate((15.0, 18.0), start=1)
    ]

    result = build_track(runs, "Hill", is_open=True)

    assert result.laps_used == 2
    assert result.track.length_m == pytest.approx(road.length_m, abs=4.0)
    assert result.track.history[-1]["what"] == "built from 2 runs"


def test_sectors_of_an_open_course_lie_between_start_and_finish():
    outing = drive(hill_course(), cruise=18.0, from_rest=True)

    track = build_track([outing.recording(10, doppler=True)], "Hill", is_open=True, sectors=3).track

    kinds = [g.kind for g in track.gates]
    assert kinds == ["start", "sector", "sector", "finish"]
    assert [g.order for g in track.gates] == [0, 1, 2, 3]


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
        built(stadium(), finish=parse_place("47.5,11.0"))


# Where the finish goes


def test_the_finish_goes_where_it_is_asked_for():
    longitude, latitude = on_earth(stadium().at(30.0)[0])

    track = built(stadium(), finish=Place(position=(float(longitude), float(latitude)))).track

    start = (track.centreline.longitude_deg[0], track.centreline.latitude_deg[0])
    assert start == pytest.approx((float(longitude), float(latitude)), abs=2e-7)
    assert track.finish.chainage_m == 0.0


def test_two_surveyed_ends_of_the_finish_are_kept_exactly():
    ends, _ = stadium().at(30.0)
    longitude, latitude = on_earth(ends + np.array([[0.0, 9.0], [0.0, -8.0]]))
    left, right = zip(longitude.tolist(), latitude.tolist(), strict=True)

    finish = built(stadium(), finish=Place(ends=(left, right))).track.finish

    assert (finish.left, finish.right) == (left, right)
    assert finish.surveyed
    assert finish.chainage_m == 0.0


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
