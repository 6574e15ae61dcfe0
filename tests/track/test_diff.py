"""What moved between two track files: against shifts worked by hand, and against shapely."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString

from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.diff import USUAL_LIMIT_M, compare_tracks
from trackkit.track.features import Centreline, Corner, Gate, PitLane
from trackkit.track.file import stored
from trackkit.track.model import Track

ANGLE = np.linspace(0, 2 * np.pi, 60, endpoint=False)
BENDY_M = 160 + 30 * np.sin(3 * ANGLE)
LOOP_M = np.column_stack([BENDY_M * np.cos(ANGLE), BENDY_M * np.sin(ANGLE)])
PLANE = LocalPlane(161.0, 47.0)


def gate_at(ends_m, id_="gate", kind="sector", name="G", chainage_m=0.0, order=0):
    lon, lat = PLANE.to_geographic(np.asarray(ends_m, dtype=float))
    left, right = zip(lon.tolist(), lat.tolist(), strict=True)
    return Gate(id_, kind, name, left, right, order=order, chainage_m=chainage_m)


def corner_at(position_m, number, *, turn="left", radius_m=20.0, name=""):
    lon, lat = PLANE.to_geographic(np.asarray(position_m, dtype=float))
    return Corner(number, name, turn, (float(lon), float(lat)), 0.0, 1.0, 2.0, radius_m)


def make_track(vertex_m=LOOP_M, *, closed=True, gates=(), id_="ring", plane=PLANE, **members):
    curve = Curve.through(vertex_m, closed=closed)
    chainage = curve.sampled()
    position = curve.position(np.append(chainage, 0.0) if closed else chainage)
    longitude, latitude = plane.to_geographic(position)
    line = Centreline(longitude, latitude, closed)
    return Track(id_, "Invented", line, curve.length_m, gates=tuple(gates), **members)


RING = make_track()
# A straight course due north, where along is north and left is west.
NORTH_M = np.column_stack([np.zeros(30), np.linspace(0, 600, 30)])


def north(gates=(), bump_m=0.0, **members):
    vertex = NORTH_M.copy()
    vertex[:, 0] += bump_m * np.exp(-(((vertex[:, 1] - 300) / 60) ** 2))
    return make_track(vertex, closed=False, gates=gates, **members)


# Nothing


def test_a_track_does_not_differ_from_itself():
    comparison = compare_tracks(RING, RING)
    assert comparison.same
    assert comparison.lines() == ["nothing differs"]


def test_writing_and_reading_a_track_file_moves_nothing():
    track = make_track(gates=[gate_at([[165, 0], [155, 0]])], direction="anticlockwise")
    assert compare_tracks(track, stored(track)).same


# The centreline


@given(st.floats(-8, 8), st.floats(-8, 8))
@settings(max_examples=8, deadline=None)
def test_a_shift_is_found_whole(east_m, north_m):
    line = compare_tracks(RING, make_track(LOOP_M + np.array([east_m, north_m]))).line
    # On a bend of radius R a shift d shows d²/(2R) short or long; the bends here are near 100 m.
    allowed = 0.002 + np.hypot(east_m, north_m) ** 2 / 200
    assert (line.shift_east_m, line.shift_north_m) == pytest.approx((east_m, north_m), abs=allowed)
    assert line.max_m <= np.hypot(east_m, north_m) + 0.002
    assert line.rms_unshifted_m <= allowed


def test_a_wider_circle_lies_evenly_outside():
    circle = np.column_stack([np.cos(ANGLE), np.sin(ANGLE)])
    line = compare_tracks(make_track(100 * circle), make_track(103 * circle)).line
    assert line.max_m == pytest.approx(3.0, abs=0.01)
    assert line.rms_m == pytest.approx(3.0, abs=0.01)
    assert np.hypot(line.shift_east_m, line.shift_north_m) < 0.01
    (all_round,) = line.moved
    assert all_round.end_m - all_round.start_m == pytest.approx(200 * np.pi, abs=0.05)


@pytest.mark.slow
@pytest.mark.parametrize(
    "other",
    [
        pytest.param(LOOP_M * 1.03, id="scaled"),
        pytest.param(LOOP_M + np.array([4.0, -3.0]), id="shifted"),
        pytest.param(LOOP_M + np.column_stack([3 * np.sin(5 * ANGLE)] * 2), id="wavy"),
    ],
)
def test_the_largest_deviation_is_the_hausdorff_distance(other):
    # shapely's Hausdorff distance of densely sampled lines is the independent word.
    def sampled(vertex):
        curve = Curve.through(vertex, closed=True)
        return LineString(curve.position(np.append(curve.chainages(0.25), 0.0)))

    line = compare_tracks(RING, make_track(other)).line
    expected = sampled(LOOP_M).hausdorff_distance(sampled(other))
    assert max(line.max_m, line.max_of_b_m) == pytest.approx(expected, abs=0.05)


def test_a_stretch_that_moved_is_told_by_its_chainages():
    comparison = compare_tracks(north(), north(bump_m=5.0))
    (stretch,) = comparison.line.moved
    # By hand: 5 exp(-((y - 300) / 60)²) = 2 at y = 300 ± 60 sqrt(ln 2.5) = 300 ± 57.4.
    assert stretch.start_m == pytest.approx(300 - 57.4, abs=1.5)
    assert stretch.end_m == pytest.approx(300 + 57.4, abs=1.5)
    assert stretch.max_m == pytest.approx(5.0, abs=0.02)
    text = "\n".join(comparison.lines())
    assert f"from {stretch.start_m:.0f} m to {stretch.end_m:.0f} m of the old line" in text


def test_a_stretch_over_the_datum_of_a_lap_is_one():
    away = np.array([8.0, 0.0]) * np.exp(-((np.angle(np.exp(1j * ANGLE)) / 0.25) ** 2))[:, None]
    (stretch,) = compare_tracks(RING, make_track(LOOP_M + away)).line.moved
    assert stretch.start_m > RING.length_m / 2
    assert stretch.end_m < RING.length_m / 2


def test_a_loop_that_is_new_is_told_by_the_chainages_of_the_new_line():
    # The old course goes straight on where the new one goes round by the east, 200 m out.
    y = np.concatenate(
        [
            np.linspace(0, 290, 30),
            300 + 10 * np.sin(np.linspace(-1.4, 1.4, 9)),
            np.linspace(310, 600, 30),
        ]
    )
    x = np.concatenate([np.zeros(30), 200 * np.cos(np.linspace(-1.4, 1.4, 9)), np.zeros(30)])
    line = compare_tracks(north(), make_track(np.column_stack([x, y]), closed=False)).line
    assert line.max_m < 20
    assert line.max_of_b_m == pytest.approx(200.0, abs=2.0)
    assert any(stretch.max_m > 190 for stretch in line.moved_of_b)
    assert any("of the new line" in text for text in line.lines())


def test_the_limit_is_three_sigmas_of_both_declared_accuracies():
    # By hand: 3 sqrt(0.3² + 0.4²) = 1.5.
    declared = compare_tracks(north(accuracy_m=0.3), north(bump_m=1.8, accuracy_m=0.4)).line
    assert declared.limit_m == pytest.approx(1.5)
    assert len(declared.moved) == 1
    unknown = compare_tracks(north(accuracy_m=0.3), north(bump_m=1.8)).line
    assert unknown.limit_m == USUAL_LIMIT_M
    assert unknown.moved == ()


def test_a_lap_begun_elsewhere_is_the_same_line():
    line = compare_tracks(RING, make_track(np.roll(LOOP_M, 20, axis=0))).line
    assert line.max_m < 0.01


def test_length_is_told_before_and_after():
    longer = make_track(LOOP_M * 1.01)
    assert compare_tracks(RING, longer).length_m == (RING.length_m, longer.length_m)
    assert any(text.startswith("length: ") for text in compare_tracks(RING, longer).lines())


def test_the_other_way_round_is_the_same_line_driven_against():
    back = make_track(LOOP_M[::-1], direction="clockwise")
    comparison = compare_tracks(replace(RING, direction="anticlockwise"), back)
    assert comparison.runs_other_way
    assert comparison.direction == ("anticlockwise", "clockwise")
    assert comparison.line.max_m < 0.01
    assert "turned round" in comparison.lines()[0]


def test_a_track_astride_the_antimeridian_compares_like_any_other():
    plane = LocalPlane(180.0, -27.0)
    before, after = make_track(plane=plane), make_track(LOOP_M + np.array([4.0, 0.0]), plane=plane)
    line = compare_tracks(before, stored(after)).line
    assert line.shift_east_m == pytest.approx(4.0, abs=0.1)
    assert line.max_m == pytest.approx(4.0, abs=0.02)


# Gates


def test_a_gate_moved_along_and_aside_is_told_in_both():
    # Racing direction north: 7 m north is along, 2 m west is to the left.
    before = gate_at([[-6, 100], [6, 100]], chainage_m=100.0)
    after = gate_at([[-8, 107], [4, 107]], chainage_m=107.0)
    (change,) = compare_tracks(north([before]), north([after])).gates
    assert change.along_m == pytest.approx(7.0, abs=1e-3)
    assert change.sideways_m == pytest.approx(2.0, abs=1e-3)
    assert (change.left_m, change.right_m) == pytest.approx((53**0.5, 53**0.5), abs=1e-3)
    assert change.width_m == pytest.approx(0.0, abs=1e-3)
    assert change.chainage_m == (100.0, 107.0)
    assert "moved +7.00 m along and 2.00 m to the left" in change.lines()[0]


def test_a_gate_whose_right_end_moved_is_told_by_ends_and_width():
    before, after = gate_at([[-6, 100], [6, 100]]), gate_at([[-6, 100], [9, 96]])
    (change,) = compare_tracks(north([before]), north([after])).gates
    assert change.left_m == pytest.approx(0.0, abs=1e-3)
    assert change.right_m == pytest.approx(5.0, abs=1e-3)
    assert change.width_m == pytest.approx(np.hypot(15, 4) - 12, abs=1e-3)
    assert "wider" in "\n".join(change.lines())


def test_a_gate_crossed_the_other_way_is_told():
    before, after = gate_at([[-6, 100], [6, 100]]), gate_at([[6, 100], [-6, 100]])
    (change,) = compare_tracks(north([before]), north([after])).gates
    assert change.turned
    assert max(change.left_m, change.right_m) < 1e-6


def test_gates_added_removed_renamed_and_of_another_kind_are_told_by_id():
    ends = [[-6, 100], [6, 100]]
    before = [gate_at(ends, "one", name="Old"), gate_at(ends, "two")]
    after = [gate_at(ends, "one", name="New", kind="speed", order=1), gate_at(ends, "three")]
    comparison = compare_tracks(north(before), north(after))
    assert comparison.gates_added == ("three",)
    assert comparison.gates_removed == ("two",)
    (change,) = comparison.gates
    assert (change.name, change.kind, change.order) == (("Old", "New"), ("sector", "speed"), (0, 1))
    assert not change.moved


# Corners, features, members


def test_corners_are_paired_by_place_whatever_their_numbers():
    before = [corner_at([0, 100], 1), corner_at([0, 300], 2, radius_m=20.0)]
    after = [
        corner_at([0, 50], 1, turn="right"),
        corner_at([0, 100], 2),
        corner_at([3, 304], 3, radius_m=25.0, name="Barn"),
    ]
    comparison = compare_tracks(north(corners=tuple(before)), north(corners=tuple(after)))
    assert comparison.corners_added == ("1",)
    assert comparison.corners_removed == ()
    renumbered, wider = comparison.corners
    assert renumbered.number == (1, 2)
    assert wider.number == (2, 3)
    assert wider.min_radius_m == (20.0, 25.0)
    assert wider.apex_moved_m == pytest.approx(5.0, abs=1e-3)


def test_a_radius_that_changed_little_is_not_worth_telling():
    before, after = (
        north(corners=(corner_at([0, 100], 1, radius_m=radius),)) for radius in (20.0, 20.9)
    )
    assert compare_tracks(before, after).corners == ()


def test_pit_lanes_and_unknown_features_are_told_by_id():
    lane = PitLane("pit", np.array([161.0, 161.001]), np.array([47.0, 47.001]))
    marshal = {"type": "Feature", "id": "post-1", "geometry": None, "properties": {}}
    before = north(pit_lanes=(lane,), other_features=(marshal,))
    moved = replace(lane, latitude_deg=np.array([47.0, 47.002]))
    comparison = compare_tracks(before, north(pit_lanes=(moved,)))
    assert comparison.features_changed == ("pit",)
    assert comparison.features_removed == ("post-1",)


@pytest.mark.parametrize("properties", [None, {"role": ["post"]}, {"role": {"of": 1}}, {"role": 7}])
def test_unknown_features_may_have_a_role_of_any_kind(properties):
    # RFC 7946 section 3.2: the value of properties is any JSON object, or null.
    post = {"type": "Feature", "id": "post-1", "geometry": None, "properties": properties}
    comparison = compare_tracks(north(), stored(north(other_features=(post,))))
    assert comparison.features_added == ("post-1",)


def test_members_that_changed_are_told_before_and_after():
    before = replace(RING, notes="wet", history=({"revised": "2024-01-01T00:00:00Z", "what": "x"},))
    after = replace(before, notes="dry", country="AT", history=before.history * 3)
    comparison = compare_tracks(before, after)
    assert {name: rest for name, *rest in comparison.members}.keys() == {
        "notes",
        "country",
        "history",
    }
    assert comparison.lines() == [
        "country: none → AT",
        "history: 2 more entries",
        "notes: wet → dry",
    ]


# Far apart


@pytest.mark.parametrize(
    ("east_m", "distance"),
    [pytest.param(1_000.0, "m", id="neighbours"), pytest.param(60_000.0, "km", id="far")],
)
def test_different_circuits_are_called_so(east_m, distance):
    lon, lat = PLANE.to_geographic(np.array([east_m, 0.0]))
    gates = [gate_at([[165, 0], [155, 0]])]
    other = make_track(id_="other", plane=LocalPlane(float(lon), float(lat)), gates=gates)
    comparison = compare_tracks(make_track(gates=gates), other)
    assert not comparison.same_ground
    assert comparison.line is None
    assert comparison.gates == ()
    assert comparison.lines()[0].startswith("ring and other are different circuits")
    assert f" {distance}," in comparison.lines()[0]
    # By hand: from the widest place of one, x = 160, to the other's at x = east - 160, or so.
    assert comparison.distance_m == pytest.approx(east_m - 330, abs=25)


@pytest.mark.parametrize("at", [(-169.0, -47.0), (11.0, 90.0), (-170.0, 0.0)])
def test_the_other_side_of_the_earth_is_just_far(at):
    comparison = compare_tracks(RING, make_track(id_="other", plane=LocalPlane(*at)))
    assert comparison.distance_m > 4e6


def test_the_comparison_goes_into_json():
    before = north([gate_at([[-6, 100], [6, 100]])], corners=(corner_at([0, 100], 1),))
    document = json.loads(
        json.dumps(compare_tracks(before, north(bump_m=5.0)).as_row(), allow_nan=False)
    )
    assert document["same"] is False
    assert document["gates_removed"] == ["gate"]
    assert document["line"]["moved"][0]["max_m"] == pytest.approx(5.0, abs=0.02)
