"""Gates placed, moved and removed."""

from dataclasses import replace

import named_block
import numpy as np
import pytest
from drives import block_circuit, hill_course, on_earth, track_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from named_block import at

from trackkit.building.from_line import build_from_line
from trackkit.errors import PlaceError
from trackkit.gates.edit import gate_name, move_gate, remove_gate, rename_gate, widen_gate
from trackkit.gates.placement import with_gate, with_gate_moved, without_gate
from trackkit.track.features import Gate
from trackkit.track.file import stored
from trackkit.track.measure import ends_chainage
from trackkit.track.places import Place


@pytest.fixture(scope="module")
def block():
    return named_block.block()


def lonlat(position_m):
    longitude, latitude = on_earth(position_m)
    return float(longitude), float(latitude)


def ends_by_id(track):
    return {gate.id: (gate.left, gate.right) for gate in track.gates}


@pytest.fixture(scope="module")
def stored_spacing():
    """The same road as a track file has it: few vertices on straights, a drawn line smoothed."""
    road = block_circuit()
    line = on_earth(road.at(np.linspace(0.0, road.length_m, 300))[0])
    built = build_from_line(*line, "Invented", finish=at(0.0))
    track = built.track
    for kind, place in (("sector", 300.0), ("sector", 700.0), ("speed", 1000.0)):
        track, _, _ = with_gate(track, kind, at(place))
    return track


@pytest.fixture(scope="module")
def hill():
    gates = [("start", "start", 20.0), ("finish", "finish", 1200.0)]
    return track_of(hill_course(), gates=gates, spacing_m=2.0)


# Placing


def test_gates_are_numbered_and_named_in_racing_order_however_they_are_placed(bare):
    track = bare
    for place in (900.0, 300.0, 600.0):
        track, _, _ = with_gate(track, "sector", at(place))

    assert [g.kind for g in track.gates] == ["finish", "sector", "sector", "sector"]
    assert [g.order for g in track.gates] == [0, 1, 2, 3]
    assert [round(g.chainage_m) for g in track.gates] == [0, 300, 600, 900]
    assert [g.name for g in track.gates[1:]] == ["Sector 1 end", "Sector 2 end", "Sector 3 end"]


def test_ids_stay_when_a_gate_is_put_before_others(bare):
    track, first, _ = with_gate(bare, "sector", at(900.0))
    track, second, _ = with_gate(track, "sector", at(300.0))

    assert track.gate(first.id).chainage_m == pytest.approx(900.0, abs=0.01)
    assert track.gate(first.id).name == "Sector 2 end"
    assert second.id != first.id


def test_names_people_gave_are_kept_whatever_the_order(bare):
    track, named, _ = with_gate(bare, "sector", at(900.0), name="Old oak")
    track, _, _ = with_gate(track, "sector", at(300.0))
    track, moved, _ = with_gate_moved(track, "old oak", at(100.0))

    assert moved.id == named.id
    assert [g.name for g in track.gates[1:]] == ["Old oak", "Sector 2 end"]


def test_a_removed_gates_id_is_not_given_to_another(bare):
    track, first, _ = with_gate(bare, "sector", at(300.0))
    track = track.revised_by("placed a gate", "2024-01-01T00:00:00Z")
    track, _ = without_gate(track, first.id)
    track = track.revised_by("removed it", "2024-01-01T00:00:01Z")

    _, second, _ = with_gate(track, "sector", at(300.0))

    assert second.id != first.id


def test_the_same_commands_give_the_same_ids(bare):
    assert with_gate(bare, "sector", at(300.0))[1].id == with_gate(bare, "sector", at(300.0))[1].id


def test_a_second_finish_is_refused_and_the_first_named(block):
    with pytest.raises(PlaceError, match=r"has a finish gate already, at 0\.0 m"):
        with_gate(block, "finish", at(20.0))


def test_a_start_line_apart_from_the_finish_line_is_allowed_once(block):
    track, start, _ = with_gate(block, "start", at(40.0))

    assert start.id == "start"
    assert track.gates[0].kind == "finish"
    with pytest.raises(PlaceError, match="has a start gate already"):
        with_gate(track, "start", at(60.0))


def test_a_kind_of_gate_there_is_not_is_refused_with_those_there_are(block):
    with pytest.raises(PlaceError, match="no kind of gate") as caught:
        with_gate(block, "chicane", at(20.0))

    assert "pit-entry" in caught.value.remedy.what


def test_a_width_with_two_surveyed_ends_is_refused(block):
    ends = lonlat((50.0, -121.0)), lonlat((50.0, -138.5))

    with pytest.raises(PlaceError, match="width cannot be given with two surveyed ends"):
        with_gate(block, "sector", Place(ends=ends), width_m=12.0)


def test_a_pit_gate_may_lie_beside_the_track(block):
    # Across a pit lane 20 m inside the first long side, which runs east along y = -130.
    ends = lonlat((80.0, -105.0)), lonlat((80.0, -113.0))

    _, gate, _ = with_gate(block, "pit-entry", Place(ends=ends))

    assert (gate.left, gate.right) == ends
    assert gate.chainage_m == pytest.approx(80.0, abs=0.05)
    with pytest.raises(PlaceError, match="does not cross the centreline"):
        with_gate(block, "speed", Place(ends=ends))


def test_a_finish_placed_on_a_track_without_one_becomes_chainage_zero(block):
    without = replace(block, gates=tuple(g for g in block.gates if g.kind != "finish"))

    track, finish, _ = with_gate(without, "finish", at(650.0))

    assert finish.chainage_m == 0.0
    assert track.gate("gate-b").chainage_m == pytest.approx(50.0, abs=0.01)


# Moving


def test_a_moved_gate_keeps_its_id_kind_name_and_width(block):
    wide = with_gate(block, "speed", at(350.0), width_m=14.0, name="Trap")[0]

    track, moved, _ = with_gate_moved(wide, "trap", at(820.0))

    assert (moved.kind, moved.name) == ("speed", "Trap")
    assert moved.id == wide.gate("Trap").id
    assert moved.width_m == pytest.approx(14.0, abs=0.001)
    assert moved.chainage_m == pytest.approx(820.0, abs=0.01)
    assert [g.order for g in track.gates] == list(range(6))


def test_moving_a_sector_gate_past_another_renumbers_both_and_keeps_ids(block):
    track, _, _ = with_gate_moved(block, "gate-a", at(800.0))

    assert [g.id for g in track.gates_of_kind("sector")] == ["gate-b", "gate-a", "gate-d"]
    assert [g.name for g in track.gates_of_kind("sector")] == [
        "Sector 1 end",
        "Sector 2 end",
        "Sector 3 end",
    ]
    before, after = ends_by_id(block), ends_by_id(track)
    assert {i: after[i] for i in after if i != "gate-a"} == {
        i: before[i] for i in before if i != "gate-a"
    }


def test_moving_a_gate_there_is_not_is_refused_with_those_there_are(block):
    with pytest.raises(PlaceError, match="no gate is called 'gate-z'") as caught:
        with_gate_moved(block, "gate-z", at(10.0))

    assert "gate-a (Sector 1 end)" in caught.value.remedy.what


def test_moving_the_finish_moves_chainage_zero_and_nothing_else(block):
    track, finish, _ = with_gate_moved(block, "finish", at(400.0))

    assert finish.chainage_m == 0.0
    start = track.plane.to_plane(
        track.centreline.longitude_deg[0], track.centreline.latitude_deg[0]
    )
    assert start == pytest.approx(block_circuit().at(400.0)[0], abs=3.0)
    expected = {"gate-b": 300.0, "gate-c": 600.0, "gate-d": 850.0, "gate-a": 1288.4956}
    for gate_id, chainage in expected.items():
        assert track.gate(gate_id).chainage_m == pytest.approx(chainage, abs=0.01)
    before, after = ends_by_id(block), ends_by_id(track)
    assert {i: after[i] for i in expected} == {i: before[i] for i in expected}
    assert [g.id for g in track.gates] == ["finish", "gate-b", "gate-c", "gate-d", "gate-a"]
    assert track.length_m == pytest.approx(block.length_m, abs=0.01)


def test_the_finish_may_be_moved_backwards(block):
    track, _, _ = with_gate_moved(block, "finish", at(-100.0))

    assert track.gate("gate-a").chainage_m == pytest.approx(400.0, abs=0.01)
    assert track.gate("gate-d").chainage_m == pytest.approx(1350.0, abs=0.01)


def test_automatic_names_follow_the_road_when_the_finish_moves(block):
    track, _, _ = with_gate_moved(block, "finish", at(500.0))

    names = {g.id: g.name for g in track.gates_of_kind("sector")}
    assert names == {"gate-b": "Sector 1 end", "gate-d": "Sector 2 end", "gate-a": "Sector 3 end"}


@pytest.mark.slow
@pytest.mark.parametrize("fixture", ["block", "stored_spacing"])
@settings(
    max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(moves=st.lists(st.floats(-1300.0, 1380.0), min_size=1, max_size=8))
def test_however_the_finish_is_moved_the_others_stay_on_the_ground(request, fixture, moves):
    track = request.getfixturevalue(fixture)
    others = [g.id for g in track.gates if g.kind != "finish"]
    before = ends_by_id(track)
    curve = track.curve
    apart = {
        i: float(curve.along(track.gate(others[0]).chainage_m, track.gate(i).chainage_m))
        for i in others
    }
    length = track.length_m

    for place in moves:
        track, finish, _ = with_gate_moved(track, "finish", at(place))
        assert finish.chainage_m == 0.0

    after = ends_by_id(track)
    assert {i: after[i] for i in others} == {i: before[i] for i in others}
    assert track.length_m == pytest.approx(length, abs=0.01)
    first = track.gate(others[0]).chainage_m
    for i in others[1:]:
        now = float(track.curve.along(first, track.gate(i).chainage_m))
        assert now == pytest.approx(apart[i], abs=0.01)


def test_moving_the_finish_by_millimetres_again_and_again_does_not_turn_it(stored_spacing):
    track = stored_spacing
    moves = (223.56, 0.004, 0.03, -0.002, 0.2, -0.05, 0.003)
    for place in moves:
        # As the command line does it: written and read back, rounded to 1 mm.
        track = stored(with_gate_moved(track, "finish", at(place))[0])

    left, right = track.gate_ends(track.finish)
    # In the middle of the first bend, where the road runs north-east.
    _, ahead = block_circuit().at(sum(moves))
    forward = np.array([left[1] - right[1], right[0] - left[0]]) / np.linalg.norm(left - right)
    assert np.degrees(np.arccos(forward @ ahead)) < 1.0
    assert track.length_m == pytest.approx(stored_spacing.length_m, abs=0.01)


def test_a_gate_across_two_legs_keeps_its_own_crossing_when_the_finish_moves(block):
    # Across both long sides, y = -130 and y = 130; it counts on the far one, at 694.25 m.
    left, right = lonlat((0.0, -150.0)), lonlat((0.0, 190.0))
    both = block.with_gates(
        [*block.gates, Gate("both", "speed", "Both", left, right, chainage_m=694.25)]
    )

    track, _, _ = with_gate_moved(both, "finish", at(500.0))
    back, _, _ = with_gate_moved(track, "finish", at(-500.0))

    assert track.gate("both").chainage_m == pytest.approx(194.25, abs=0.02)
    assert back.gate("both").chainage_m == pytest.approx(694.25, abs=0.02)


def test_corners_are_numbered_from_the_new_finish_and_keep_their_ids_and_names(stored_spacing):
    named = replace(
        stored_spacing,
        corners=tuple(replace(c, name=f"Bend {c.number}") for c in stored_spacing.corners),
    )

    track, _, _ = with_gate_moved(named, "finish", at(600.0))

    assert [c.number for c in track.corners] == [1, 2, 3, 4]
    assert [c.name for c in track.corners] == ["Bend 3", "Bend 4", "Bend 1", "Bend 2"]
    old = {c.name: c.id for c in named.corners}
    assert {c.name: c.id for c in track.corners} == old


def test_moving_the_finish_of_an_open_course_moves_no_chainage(hill):
    track, finish, _ = with_gate_moved(hill, "finish", at(1100.0))

    assert finish.chainage_m == pytest.approx(1100.0, abs=0.01)
    assert track.gate("start").chainage_m == pytest.approx(20.0, abs=0.01)
    assert track.centreline is hill.centreline


@pytest.mark.parametrize(
    ("course", "gate", "place_m", "what"),
    [
        ("block", "gate-a", 420.0, "moved gate gate-a from 300.0 m to 420.0 m"),
        ("block", "finish", 400.0, "moved gate finish from 0.0 m, which made its new place"),
        ("hill", "finish", 1100.0, "moved gate finish from 1200.0 m to 1100.0 m"),
    ],
)
def test_a_move_is_told_by_both_places_but_where_the_new_one_is_chainage_zero(
    request, course, gate, place_m, what
):
    change = move_gate(request.getfixturevalue(course), gate, f"{place_m}m")

    assert change.what.startswith(what)
    assert change.what.endswith("chainage 0") == (change.gate.chainage_m == 0.0)


# Removing


def test_a_removed_sector_gate_leaves_the_others_in_order(block):
    track, removed = without_gate(block, "gate-a")

    assert removed.id == "gate-a"
    assert [(g.id, g.name) for g in track.gates_of_kind("sector")] == [
        ("gate-b", "Sector 1 end"),
        ("gate-d", "Sector 2 end"),
    ]
    assert [g.order for g in track.gates] == [0, 1, 2, 3]


def test_the_finish_cannot_be_removed(block):
    with pytest.raises(PlaceError, match="cannot be without its finish gate") as caught:
        without_gate(block, "finish")

    assert "move it" in caught.value.remedy.what


def test_the_start_of_an_open_course_cannot_be_removed_but_that_of_a_closed_one_can(block, hill):
    with pytest.raises(PlaceError, match="cannot be without its start gate"):
        without_gate(hill, "start")
    closed, _, _ = with_gate(block, "start", at(40.0))
    track, _ = without_gate(closed, "start")
    assert not track.gates_of_kind("start")


# Chainages come from the ends


def test_a_gates_chainage_is_where_its_ends_cross_the_line(block):
    # A surveyed gate at a slant: from (60, -120) to (80, -140) it crosses y = -130 at x = 70.
    ends = lonlat((60.0, -120.0)), lonlat((80.0, -140.0))

    _, gate, _ = with_gate(block, "speed", Place(ends=ends))

    assert gate.chainage_m == pytest.approx(70.0, abs=0.02)
    assert ends_chainage(block.centreline, *ends) == gate.chainage_m


@pytest.mark.parametrize(
    ("gate", "place_m"), [("finish", 20.0), ("finish", 250.0), ("start", 1240.0), ("start", 400.0)]
)
def test_gates_of_an_open_course_keep_their_order(gate, place_m):
    track = track_of(
        hill_course(),
        spacing_m=2.0,
        gates=[("start", "start", 30.0), ("middle", "sector", 300.0), ("finish", "finish", 1200.0)],
    )

    with pytest.raises(PlaceError, match="would not lie between the start gate"):
        with_gate_moved(track, gate, Place(chainage_m=place_m))


@pytest.mark.parametrize(
    ("text", "name"), [("  Bridge ", "Bridge"), ("a" * 100, "a" * 100), ("Brücke 2", "Brücke 2")]
)
def test_a_name_is_up_to_a_hundred_characters_without_what_surrounds_it(text, name):
    assert gate_name(text) == name


@pytest.mark.parametrize("text", ["", "   ", "a" * 101, "one\ntwo", "bell\x07"])
def test_what_is_no_name_is_refused(text):
    with pytest.raises(PlaceError, match="1 to 100 characters on one line"):
        gate_name(text)


# What is said of changes


def test_a_change_says_what_was_done_in_the_history(block):
    for change, words in (
        (widen_gate(block, "gate-a", 17.0), "made gate gate-a 17.0 m wide"),
        (rename_gate(block, "gate-a", " Dip "), "renamed gate gate-a from Sector 1 end to Dip"),
        (remove_gate(block, "gate-a"), "removed gate gate-a (Sector 1 end) at 300.0 m"),
    ):
        assert change.what == words
        assert change.track.history[-1]["what"] == words
        assert len(change.track.history) == len(block.history) + 1


def test_a_gate_made_wider_stays_where_it_is(block):
    change = widen_gate(block, "gate-a", 17.0)

    assert change.gate.width_m == pytest.approx(17.0, abs=1e-3)
    assert change.gate.chainage_m == pytest.approx(300.0, abs=0.01)


def test_a_gate_that_is_renamed_keeps_everything_else_and_so_do_the_others(block):
    change = rename_gate(block, "gate-a", "Dip", by="Ada")

    before = block.gate("gate-a")
    assert replace(change.gate, name=before.name, name_given=before.name_given) == before
    assert [gate.id for gate in change.track.gates] == [gate.id for gate in block.gates]
    assert [gate for gate in change.track.gates if gate.id != "gate-a"] == [
        gate for gate in block.gates if gate.id != "gate-a"
    ]
    assert change.track.history[-1]["by"] == "Ada"
    assert change.remarks == ()


def test_a_removed_gate_is_given_back_as_it_was(block):
    change = remove_gate(block, "gate-a")

    assert change.gate == block.gate("gate-a")
    assert [gate.id for gate in change.track.gates] == [
        gate.id for gate in block.gates if gate.id != "gate-a"
    ]


def test_who_wants_a_second_finish_is_told_how_to_move_the_first(block):
    ends = block.gate("gate-b")
    for place, width_m, expected in (
        (at(500.04), None, (500.0, None)),
        (at(500.0), 17.0, (500.0, {"width_m": 17.0})),
        (
            Place(ends=(ends.left, ends.right)),
            None,
            (None, {"left": list(ends.left), "right": list(ends.right)}),
        ),
    ):
        with pytest.raises(PlaceError) as raised:
            with_gate(block, "finish", place, width_m=width_m)
        remedy = raised.value.remedy
        assert (remedy.do, remedy.feature) == ("gate move", "finish")
        assert (remedy.chainage_m, remedy.value) == expected
