"""Faults of gates, each made on purpose."""

from dataclasses import replace

import numpy as np
import pytest
from damaged_tracks import the_only_finding, turned_ends, with_gate
from drives import block_circuit, gate_ends, hairpin_circuit, hill_course, on_earth, track_of

from trackkit.checks.check import check_track
from trackkit.remedies import Remedy
from trackkit.track.features import Gate

# The set of gates


def test_no_finish_gate(clean):
    finding = the_only_finding(
        replace(clean, gates=tuple(g for g in clean.gates if g.kind != "finish"))
    )

    assert (finding.rule, finding.severity, finding.feature) == ("gate-missing", "error", None)
    assert finding.remedy.as_row() == {
        "do": "gate place",
        "feature": None,
        "chainage_m": 0.0,
        "value": {"kind": "finish"},
    }


def test_no_start_gate_on_an_open_course():
    track = track_of(hill_course(), gates=[("finish", "finish", 1200.0)], spacing_m=2.0)

    assert the_only_finding(track).message == "the track has no start gate"


def test_two_finish_gates(clean):
    left, right = gate_ends(block_circuit(), 600.0)
    second = Gate("finish-2", "finish", "Other", left, right, order=4, chainage_m=600.0)

    findings = check_track(replace(clean, gates=(*clean.gates, second)))

    assert ("gate-twice", "error", "finish-2", 600.0) in [
        (f.rule, f.severity, f.feature, f.chainage_m) for f in findings
    ]


def test_one_id_for_two_gates(clean):
    finding = the_only_finding(with_gate(clean, "gate-b", id="gate-a"))

    assert (finding.rule, finding.severity, finding.feature) == ("id-twice", "error", "gate-a")


def test_the_line_does_not_begin_at_the_finish(clean):
    left, right = gate_ends(block_circuit(), 40.0)

    finding = the_only_finding(with_gate(clean, "finish", left=left, right=right, chainage_m=40.0))

    assert (finding.rule, finding.severity, finding.feature) == ("datum", "warning", "finish")
    assert finding.chainage_m == pytest.approx(40.0, abs=0.05)
    assert "begins 40.0 m from the finish gate" in finding.message


# Each gate's geometry


def test_a_gate_off_the_track(clean):
    middle, _ = block_circuit().at(347.0)
    longitude, latitude = on_earth(middle + np.array([[30.0, 0.0], [46.0, 0.0]]))
    left, right = zip(longitude.tolist(), latitude.tolist(), strict=True)

    finding = the_only_finding(with_gate(clean, "gate-a", left=left, right=right))

    assert (finding.rule, finding.severity, finding.feature) == (
        "gate-off-track",
        "error",
        "gate-a",
    )
    assert finding.chainage_m == pytest.approx(347.0)
    assert "30.0 m" in finding.message


@pytest.mark.parametrize(("off_m", "found"), [(5.0, True), (-5.0, True), (0.8, False)])
def test_a_gate_whose_chainage_is_not_where_its_ends_are(clean, off_m, found):
    findings = check_track(with_gate(clean, "gate-a", chainage_m=347.0 + off_m))

    assert [(f.rule, f.severity, f.feature) for f in findings] == (
        [("gate-chainage", "warning", "gate-a")] if found else []
    )
    if found:
        assert findings[0].chainage_m == pytest.approx(347.0, abs=0.05)


@pytest.mark.parametrize("degrees", [12.0, -12.0, 45.0, -80.0])
def test_a_gate_more_than_10_degrees_off_square(clean, degrees):
    finding = the_only_finding(with_gate(clean, "gate-a", **turned_ends(347.0, degrees)))

    assert (finding.rule, finding.severity, finding.feature) == (
        "gate-not-square",
        "warning",
        "gate-a",
    )
    assert finding.chainage_m == pytest.approx(347.0, abs=0.05)
    assert f"is {abs(degrees):.0f} degrees off square" in finding.message


@pytest.mark.parametrize("degrees", [9.0, -9.0, 0.0])
def test_a_gate_less_than_10_degrees_off_square_is_square_enough(clean, degrees):
    assert check_track(with_gate(clean, "gate-a", **turned_ends(347.0, degrees))) == []


def test_a_gate_the_wrong_way_round(clean):
    gate = clean.gate("gate-a")

    finding = the_only_finding(with_gate(clean, "gate-a", left=gate.right, right=gate.left))

    assert (finding.rule, finding.severity, finding.feature) == (
        "gate-backwards",
        "error",
        "gate-a",
    )
    assert finding.remedy == Remedy("swap its ends", "gate move", "gate-a", 347.0)


def test_a_gate_narrower_than_the_band(clean):
    banded = replace(clean, centreline=replace(clean.centreline, width_m=12.0))
    left, _ = gate_ends(block_circuit(), 347.0, 8.0)
    _, right = gate_ends(block_circuit(), 347.0, 4.0)

    finding = the_only_finding(with_gate(banded, "gate-a", left=left, right=right))

    assert (finding.rule, finding.severity, finding.feature) == (
        "gate-narrow",
        "warning",
        "gate-a",
    )
    assert "reaches 4.0 m to the right, less than half the band (6.0 m)" in finding.message


def hairpin_gate(chainage_m, left_m, right_m):
    """The hairpin circuit with one gate on a leg that has another leg 8 m to its left."""
    road = hairpin_circuit()
    left, _ = gate_ends(road, chainage_m, left_m)
    _, right = gate_ends(road, chainage_m, right_m)
    gates = [("finish", "finish", 0.0)]
    track = track_of(road, gates=gates, spacing_m=2.0)
    speed = Gate("trap", "speed", "Trap", left, right, order=1, chainage_m=chainage_m)
    finish_left, finish_right = gate_ends(road, 0.0, 8.0)
    finish = replace(track.finish, left=finish_left, right=finish_right)
    return replace(track, gates=(finish, speed))


def findings_about(track, feature):
    return [f for f in check_track(track) if f.feature == feature]


def test_a_gate_that_crosses_another_piece_of_track_that_runs_the_other_way():
    (finding,) = findings_about(hairpin_gate(140.0, 12.0, 8.0), "trap")

    assert (finding.rule, finding.severity) == ("gate-crosses-other-track", "error")
    assert finding.chainage_m == pytest.approx(140.0, abs=0.05)
    # The other leg: 60 m to the hairpin, 12.57 m round it and 60 m back.
    assert "crosses the track at 273 m" in finding.message
    assert "the other way" in finding.message


@pytest.mark.parametrize(
    ("left_m", "away"), [(6.0, "2.0 m from another"), (7.5, "0.5 m from another"), (4.5, None)]
)
def test_a_gates_end_closer_to_another_piece_of_track_than_the_receivers_accuracy(left_m, away):
    findings = findings_about(hairpin_gate(140.0, left_m, 8.0), "trap")

    if away is None:
        assert findings == []
    else:
        (finding,) = findings
        assert (finding.rule, finding.severity) == ("gate-end-near-other-track", "warning")
        assert finding.chainage_m == pytest.approx(140.0, abs=0.05)
        assert f"left end of gate Trap is {away}" in finding.message


def test_a_worse_receiver_needs_more_room():
    track = hairpin_gate(140.0, 3.5, 8.0)

    assert findings_about(track, "trap") == []
    (finding,) = findings_about(replace(track, accuracy_m=5.0), "trap")
    assert finding.rule == "gate-end-near-other-track"


# Order


def test_sector_gates_numbered_against_the_road(clean):
    swapped = with_gate(with_gate(clean, "gate-a", order=2), "gate-b", order=1)

    finding = the_only_finding(swapped)

    assert (finding.rule, finding.severity, finding.feature) == ("gate-order", "error", "gate-a")
    assert finding.chainage_m == pytest.approx(347.0)


def test_two_gates_of_one_order(clean):
    findings = check_track(with_gate(clean, "gate-c", order=2))

    assert [(f.rule, f.severity, f.feature) for f in findings] == [
        ("gate-order", "error", "gate-b"),
        ("gate-order", "error", "gate-c"),
    ]


def test_a_finish_that_is_not_first_on_a_lap(clean):
    last = with_gate(clean, "finish", order=9)

    finding = the_only_finding(last)

    assert (finding.rule, finding.feature) == ("gate-order", "finish")


def test_a_start_after_the_finish_on_an_open_course():
    gates = [("start", "start", 900.0), ("finish", "finish", 300.0)]
    track = track_of(hill_course(), gates=gates, spacing_m=2.0)
    order = {"start": 0, "finish": 1}
    track = replace(track, gates=tuple(replace(g, order=order[g.id]) for g in track.gates))

    finding = the_only_finding(track)

    assert (finding.rule, finding.severity, finding.feature) == ("gate-order", "error", "finish")


def test_a_file_whose_open_course_ends_before_it_starts_has_an_error():
    track = track_of(
        hill_course(),
        spacing_m=2.0,
        gates=[("start", "start", 600.0), ("middle", "sector", 900.0), ("finish", "finish", 300.0)],
    )

    track = track.with_gates(track.gates)

    found = [(f.feature, f.severity) for f in check_track(track) if f.rule == "gate-order"]

    assert found == [("finish", "error")]


def test_a_sector_gate_beyond_the_finish_of_an_open_course_is_an_error():
    track = track_of(
        hill_course(),
        spacing_m=2.0,
        gates=[("start", "start", 30.0), ("finish", "finish", 900.0), ("late", "sector", 1100.0)],
    )
    track = track.with_gates(track.gates)

    found = [(f.feature, f.severity) for f in check_track(track) if f.rule == "gate-order"]

    assert found == [("late", "error")]


def test_two_gates_at_one_place_are_said_to_lie_there():
    track = track_of(
        block_circuit(),
        spacing_m=2.0,
        gates=[("finish", "finish", 0.0), ("one", "sector", 100.0), ("two", "sector", 100.0)],
    )

    (found,) = [f for f in check_track(track.with_gates(track.gates)) if f.rule == "gate-order"]

    assert "gates One and Two lie at the same place" in found.message


# The numbers in their sentences


@pytest.mark.parametrize("end", [("left", 5.0), ("right", 5.5)])
def test_an_end_that_stops_short_of_the_band_is_told_on_its_side(clean, end):
    side, reach_m = end
    banded = replace(clean, centreline=replace(clean.centreline, width_m=14.0))
    left, _ = gate_ends(block_circuit(), 347.0, reach_m if side == "left" else 8.0)
    _, right = gate_ends(block_circuit(), 347.0, reach_m if side == "right" else 8.0)

    finding = the_only_finding(with_gate(banded, "gate-a", left=left, right=right))

    assert f"reaches {reach_m:.1f} m to the {side}, less than half the band (7.0 m)" in (
        finding.message
    )
    assert finding.remedy.value["width_m"] >= 14.0


def test_a_gate_off_the_track_goes_to_the_chainage_that_it_has_if_that_is_on_it(clean):
    middle, _ = block_circuit().at(347.0)
    longitude, latitude = on_earth(middle + np.array([[30.0, 0.0], [46.0, 0.0]]))
    left, right = zip(longitude.tolist(), latitude.tolist(), strict=True)

    on_it, beyond = (
        next(
            f
            for f in check_track(
                with_gate(clean, "gate-a", left=left, right=right, chainage_m=chainage)
            )
            if f.rule == "gate-off-track"
        )
        for chainage in (347.0, 5000.0)
    )

    assert on_it.remedy.chainage_m == 347.0
    assert "square to the track at 347.0 m" in on_it.remedy.what
    assert (beyond.remedy.do, beyond.remedy.what) == (None, "move it onto the track")


@pytest.mark.parametrize(("off_m", "found"), [(0.5, False), (1.5, True), (-1.5, True)])
def test_the_line_begins_within_a_metre_of_the_finish(clean, off_m, found):
    left, right = gate_ends(block_circuit(), off_m)
    moved = with_gate(clean, "finish", left=left, right=right, chainage_m=off_m % clean.length_m)

    told = [f for f in check_track(moved) if f.rule == "datum"]

    assert bool(told) == found
    for finding in told:
        assert f"begins {abs(off_m):.1f} m from the finish" in finding.message


def test_gates_a_centimetre_apart_lie_at_one_place_and_gates_a_decimetre_apart_do_not(clean):
    for apart_m, alike in ((0.005, True), (0.1, False)):
        track = track_of(
            block_circuit(),
            spacing_m=2.0,
            gates=[
                ("finish", "finish", 0.0),
                ("one", "sector", 100.0),
                ("two", "sector", 100.0 + apart_m),
            ],
        )
        order = [f for f in check_track(track) if f.rule == "gate-order"]
        assert bool(order) == alike


def test_a_missing_finish_on_an_open_course_is_to_go_where_it_ends():
    track = track_of(hill_course(), gates=[("start", "start", 20.0)], spacing_m=2.0)

    finding = the_only_finding(track)

    assert finding.message == "the track has no finish gate"
    assert "where the line ends" in finding.remedy.what
    assert finding.remedy.chainage_m > track.curve.length_m - 60.0
