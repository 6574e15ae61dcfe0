"""Tracks, gates and centrelines: what they know of themselves, and what they refuse to be."""

from dataclasses import replace

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from trackkit.errors import PlaceError, TrackFileError
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.features import Centreline, Gate
from trackkit.track.model import ASSUMED_BAND_M, Track


def ring(radius_m=60.0, at=(161.0, 47.0), count=60):
    angle = np.arange(count + 1) * 2 * np.pi / count
    position = radius_m * np.column_stack([np.cos(angle), np.sin(angle)])
    return Centreline(*LocalPlane(*at).to_geographic(position), closed=True)


def gate(name, kind="sector", chainage_m=0.0, **more):
    values = {"left": (161.0, 47.0), "right": (161.0001, 47.0), "chainage_m": chainage_m, **more}
    return Gate(id=f"gate-{name.lower()}", kind=kind, name=name, **values)


def track(*gates, **more):
    values = {"id": "ring", "name": "Invented Ring", "centreline": ring(), "length_m": 377.0}
    return Track(**{**values, "gates": gates, **more})


# Tracks


def test_the_curve_of_a_track_has_the_length_of_its_circle():
    assert track().curve.length_m == pytest.approx(2 * np.pi * 60.0, rel=1e-5)


def test_the_curve_begins_at_the_first_vertex():
    line = ring()
    start = track().plane.to_plane(line.longitude_deg[0], line.latitude_deg[0])
    assert track().curve.position(0.0) == pytest.approx(start, abs=1e-6)


@pytest.mark.parametrize("at", [(180.0, -26.0), (-179.9999, 59.0), (0.0, 0.0)])
def test_a_track_astride_a_meridian_of_change_is_in_one_piece(at):
    curve = track(centreline=ring(at=at)).curve
    assert curve.length_m == pytest.approx(2 * np.pi * 60.0, rel=1e-5)


def test_a_closed_ring_has_no_gap_and_an_open_line_has_its_geodesic_one():
    assert ring().gap_m == pytest.approx(0.0, abs=1e-6)
    line = Centreline(np.array([161.0, 161.001]), np.array([46.0, 46.0]), closed=True)
    expected = Geodesic.WGS84.Inverse(46.0, 161.001, 46.0, 161.0)["s12"]
    assert line.gap_m == pytest.approx(expected, abs=1e-6)


def test_a_band_is_assumed_only_where_none_is_known():
    assert track().band_m == ASSUMED_BAND_M
    assert track(centreline=replace(ring(), width_m=8.5)).band_m == 8.5


def test_a_lap_is_timed_from_its_finish_and_a_course_from_its_start():
    finish, start = gate("Finish", "finish"), gate("Start", "start")
    assert track(finish, start).timed_from is finish
    course = track(finish, start, centreline=replace(ring(), closed=False))
    assert course.timed_from is start


def test_a_track_without_a_finish_says_how_to_place_one():
    with pytest.raises(PlaceError, match=r"has no finish gate; place a finish gate") as caught:
        _ = track().finish
    remedy = caught.value.remedy
    assert (remedy.do, remedy.chainage_m, remedy.value) == ("gate place", 0.0, {"kind": "finish"})


def test_a_gate_answers_to_its_id_before_a_name_and_whatever_the_capitals():
    hill, other = gate("Hill"), gate("gate-hill", chainage_m=9.0)
    assert track(hill, other).gate("gate-hill") is hill
    assert track(hill).gate("HILL") is hill


def test_a_name_given_to_two_gates_is_refused_with_their_ids():
    twins = replace(gate("Hill"), id="gate-a"), replace(gate("Hill"), id="gate-b")
    with pytest.raises(PlaceError, match=r"2 gates are called 'hill'; use an id: gate-a, gate-b"):
        track(*twins).gate("hill")


def test_an_unknown_gate_is_refused_with_the_gates_there_are():
    with pytest.raises(PlaceError, match=r"no gate is called 'x'; the gates are: gate-hill"):
        track(gate("Hill")).gate("x")
    with pytest.raises(PlaceError, match="the gates are: none"):
        track().gate("x")


def test_gates_are_numbered_in_racing_order_from_the_finish_of_a_lap():
    finish = gate("Finish", "finish", 376.9)
    late, early = gate("B", chainage_m=200.0), gate("A", chainage_m=100.0)
    numbered = track().with_gates([late, finish, early]).gates
    assert [(g.name, g.order) for g in numbered] == [("Finish", 0), ("A", 1), ("B", 2)]


def test_gates_of_a_course_are_numbered_from_its_start_to_its_finish():
    course = track(centreline=replace(ring(), closed=False))
    gates = [gate("Finish", "finish", 300.0), gate("A", chainage_m=90.0), gate("S", "start", 5.0)]
    assert [g.name for g in course.with_gates(gates).gates] == ["S", "A", "Finish"]


def test_renumbering_keeps_every_gates_id_and_ends():
    before = gate("A", chainage_m=100.0, left=(161.2, 47.2), surveyed=True)
    (after,) = track().with_gates([before]).gates
    assert replace(after, order=before.order) == before


def test_a_revision_adds_a_line_of_history_and_keeps_the_older_ones():
    when = "2031-05-01T10:00:00Z"
    first = track().revised_by("built", when)
    second = first.revised_by("moved the finish", "2031-05-02T10:00:00Z", by="A. Tester")
    assert [entry["what"] for entry in second.history] == ["built", "moved the finish"]
    assert second.history[1]["by"] == "A. Tester"
    assert (first.revised, second.revised) == (when, "2031-05-02T10:00:00Z")


def test_a_gate_is_as_wide_as_the_geodesic_between_its_ends():
    expected = Geodesic.WGS84.Inverse(47.0, 161.0, 47.0, 161.0001)["s12"]
    assert gate("A").width_m == pytest.approx(expected, abs=1e-6)


def test_the_ends_of_a_gate_lie_on_the_plane_left_first():
    ends = track().gate_ends(gate("A"))
    assert ends.shape == (2, 2)
    assert ends[1, 0] > ends[0, 0]


# Refusals


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"kind": "goal"}, r"gate gate-a: the kind 'goal' is not one of finish, start"),
        ({"right": (161.0, 47.0)}, r"gate gate-a: both ends of the gate are the same position"),
        ({"left": (11.0, 95.0)}, r"gate gate-a: position 1 .* longitude first"),
        ({"right": (float("nan"), 47.0)}, r"gate gate-a: position 2"),
        ({"right": (900.0, 47.0)}, r"gate gate-a: position 2"),
    ],
)
def test_a_gate_that_cannot_be_is_refused_by_name(changes, sentence):
    with pytest.raises(TrackFileError, match=sentence):
        replace(gate("A"), **changes)


@pytest.mark.parametrize(
    ("longitude", "latitude", "sentence"),
    [
        ([], [], "0 positions"),
        ([161.0], [46.0], "1 positions"),
        ([161.0, 161.1], [46.0], "no line"),
        ([161.0, np.inf], [46.0, 46.0], "position 2"),
        ([46.0, 46.1], [107.0, 107.1], "longitude first"),
    ],
)
def test_a_centreline_that_cannot_be_is_refused(longitude, latitude, sentence):
    with pytest.raises(TrackFileError, match=rf"feature centreline.*{sentence}"):
        Centreline(np.array(longitude), np.array(latitude), closed=False)


def test_a_track_cannot_be_changed_in_place():
    with pytest.raises(AttributeError):
        track().name = "Other"


def test_a_curve_is_made_only_once_for_a_track():
    one = track()
    assert one.curve is one.curve
    assert isinstance(one.curve, Curve)
