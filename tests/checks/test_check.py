"""Checks: each fault seeded in a clean track is found, by its rule, where it is."""

import json
from dataclasses import replace

import numpy as np
import pytest
from drives import (
    Road,
    arc,
    block_circuit,
    corner_speed,
    drive,
    figure_of_eight,
    gate_ends,
    hairpin_circuit,
    hill_course,
    on_earth,
    stadium,
    track_of,
)

from trackkit.building.build import build_track
from trackkit.checks.check import check_file, check_track
from trackkit.errors import TrackFileError
from trackkit.remedies import Remedy
from trackkit.track.file import write_track
from trackkit.track.model import Crossover, Gate

GATES = [
    ("finish", "finish", 0.0),
    ("gate-a", "sector", 347.0),
    ("gate-b", "sector", 800.0),
    ("gate-c", "speed", 1000.0),
]


@pytest.fixture(scope="module")
def clean():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)


def with_gate(track, gate_id, **changes):
    """The track with one gate damaged; orders and the rest stay as they are."""
    return replace(
        track, gates=tuple(replace(g, **changes) if g.id == gate_id else g for g in track.gates)
    )


def turned_ends(chainage_m, degrees, half_m=8.0):
    """Ends of a gate that is turned by some degrees from square, anticlockwise."""
    middle, ahead = block_circuit().at(float(chainage_m))
    angle = np.radians(degrees)
    aside = np.array([-ahead[1], ahead[0]])
    aside = np.cos(angle) * aside - np.sin(angle) * ahead
    longitude, latitude = on_earth(np.array([middle + half_m * aside, middle - half_m * aside]))
    left, right = zip(longitude.tolist(), latitude.tolist(), strict=True)
    return {"left": left, "right": right}


def the_only_finding(track):
    (finding,) = check_track(track)
    assert finding.message
    assert finding.remedy.what
    return finding


# Clean tracks


@pytest.mark.parametrize("mirrored", [False, True], ids=["anticlockwise", "clockwise"])
@pytest.mark.parametrize("road", [block_circuit(), stadium(200.0, 50.0)], ids=["block", "oval"])
def test_a_clean_track_has_nothing_to_be_said_about_it(road, mirrored):
    track = track_of(
        road.mirrored() if mirrored else road,
        gates=[("finish", "finish", 0.0)],
        direction="clockwise" if mirrored else "anticlockwise",
        spacing_m=2.0,
    )

    assert check_track(track) == []


def test_a_clean_open_course_has_nothing_to_be_said_about_it():
    gates = [("start", "start", 20.0), ("mid", "sector", 600.0), ("finish", "finish", 1200.0)]

    assert check_track(track_of(hill_course(), gates=gates, spacing_m=2.0)) == []


@pytest.mark.parametrize("sectors", [1, 3])
@pytest.mark.parametrize(
    ("road", "begin_m"), [(stadium(), 20.0), (hairpin_circuit(), 600.0), (figure_of_eight(), 50.0)],
    ids=["oval", "hairpin", "eight"],
)  # fmt: skip
def test_what_build_makes_by_itself_is_clean(road, begin_m, sectors):
    outing = drive(road, begin_m=begin_m, laps=2.2, cruise=corner_speed(road, 25.0))
    recording = outing.recording(10, doppler=True, noise=1.0, seed=1)

    assert check_track(build_track([recording], "X", sectors=sectors).track) == []


# The line


def test_a_line_of_too_few_points():
    circle = Road((arc(100, 360),))
    track = track_of(circle, gates=[("finish", "finish", 0.0)], spacing_m=circle.length_m / 12)

    finding = the_only_finding(replace(track, length_m=track.curve.length_m))

    assert (finding.rule, finding.severity, finding.feature) == (
        "too-few-points", "error", "centreline",
    )  # fmt: skip
    assert "has 12 points" in finding.message


def test_a_line_of_two_places_is_no_track(clean):
    line = clean.centreline
    few = replace(clean, centreline=replace(
        line, longitude_deg=line.longitude_deg[[0, 1, 0]], latitude_deg=line.latitude_deg[[0, 1, 0]]
    ))  # fmt: skip

    finding = the_only_finding(few)

    assert (finding.rule, finding.severity, finding.feature) == (
        "too-few-points", "error", "centreline",
    )  # fmt: skip


def test_a_line_that_is_not_closed_though_the_track_is(clean):
    line = clean.centreline
    # The last step of 2 m is left out.
    gap = replace(clean, centreline=replace(
        line, longitude_deg=line.longitude_deg[:-1], latitude_deg=line.latitude_deg[:-1]
    ))  # fmt: skip

    finding = the_only_finding(gap)

    assert (finding.rule, finding.severity, finding.feature) == (
        "closure-gap", "error", "centreline",
    )  # fmt: skip
    assert finding.chainage_m == pytest.approx(1388.5, abs=0.1)
    assert "ends 2.00 m from where it begins" in finding.message


@pytest.mark.parametrize(("factor", "found"), [(1.002, True), (0.998, True), (1.0005, False)])
def test_a_declared_length_that_is_not_the_lines(clean, factor, found):
    findings = check_track(replace(clean, length_m=clean.length_m * factor))

    assert [(f.rule, f.severity, f.feature) for f in findings] == (
        [("length", "error", "centreline")] if found else []
    )
    if found:
        remedy = findings[0].remedy
        assert "set length_m to 1388.5" in remedy.what
        assert (remedy.do, remedy.value) == ("set", {"length_m": round(clean.curve.length_m, 2)})


@pytest.mark.parametrize("declared", ["clockwise", None])
def test_a_declared_direction_that_is_not_the_lines(clean, declared):
    finding = the_only_finding(replace(clean, direction=declared))

    assert (finding.rule, finding.severity, finding.feature) == (
        "direction", "error", "centreline",
    )  # fmt: skip
    assert "the line runs anticlockwise" in finding.message


def eight(**more):
    road = figure_of_eight()
    return track_of(road, gates=[("finish", "finish", 40.0)], direction=None, spacing_m=2.0, **more)


def test_a_line_that_crosses_itself_without_a_bridge():
    findings = check_track(eight())

    (finding,) = [f for f in findings if f.rule == "crosses-itself"]
    half = figure_of_eight().length_m / 2
    assert (finding.severity, finding.feature) == ("error", "centreline")
    assert abs((finding.chainage_m + half / 2) % half - half / 2) < 0.5


def test_a_declared_bridge_is_no_fault_whichever_passage_is_above():
    half = figure_of_eight().length_m / 2
    for over, under in ((2.0, half), (half, 2.0)):
        findings = check_track(eight(crossovers=(Crossover(over, under),)))
        assert "crosses-itself" not in [f.rule for f in findings]


def test_a_bridge_declared_somewhere_else_excuses_nothing():
    half = figure_of_eight().length_m / 2
    findings = check_track(eight(crossovers=(Crossover(100.0, half + 100.0),)))

    assert "crosses-itself" in [f.rule for f in findings]


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
        "gate-off-track", "error", "gate-a",
    )  # fmt: skip
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
        "gate-not-square", "warning", "gate-a",
    )  # fmt: skip
    assert finding.chainage_m == pytest.approx(347.0, abs=0.05)
    assert f"is {abs(degrees):.0f} degrees off square" in finding.message


@pytest.mark.parametrize("degrees", [9.0, -9.0, 0.0])
def test_a_gate_less_than_10_degrees_off_square_is_square_enough(clean, degrees):
    assert check_track(with_gate(clean, "gate-a", **turned_ends(347.0, degrees))) == []


def test_a_gate_the_wrong_way_round(clean):
    gate = clean.gate("gate-a")

    finding = the_only_finding(with_gate(clean, "gate-a", left=gate.right, right=gate.left))

    assert (finding.rule, finding.severity, finding.feature) == (
        "gate-backwards", "error", "gate-a",
    )  # fmt: skip
    assert finding.remedy == Remedy("swap its ends", "gate move", "gate-a", 347.0)


def test_a_gate_narrower_than_the_band(clean):
    banded = replace(clean, centreline=replace(clean.centreline, width_m=12.0))
    left, _ = gate_ends(block_circuit(), 347.0, 8.0)
    _, right = gate_ends(block_circuit(), 347.0, 4.0)

    finding = the_only_finding(with_gate(banded, "gate-a", left=left, right=right))

    assert (finding.rule, finding.severity, finding.feature) == (
        "gate-narrow", "warning", "gate-a",
    )  # fmt: skip
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
        ("gate-order", "error", "gate-b"), ("gate-order", "error", "gate-c"),
    ]  # fmt: skip


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


# Findings


def test_errors_come_first_then_warnings_each_in_racing_order(clean):
    bad = with_gate(clean, "gate-b", **turned_ends(800.0, 30.0))
    bad = with_gate(bad, "gate-a", **turned_ends(347.0, 30.0))
    bad = replace(bad, length_m=9.0)

    assert [(f.severity, f.rule, f.feature) for f in check_track(bad)] == [
        ("error", "length", "centreline"),
        ("warning", "gate-not-square", "gate-a"),
        ("warning", "gate-not-square", "gate-b"),
    ]


def test_a_finding_says_where_on_the_ground(clean):
    finding = the_only_finding(with_gate(clean, "gate-a", **turned_ends(347.0, 30.0)))

    longitude, latitude = on_earth(block_circuit().at(347.0)[0])
    assert finding.position == pytest.approx((float(longitude), float(latitude)), abs=1e-6)


def test_an_accepted_finding_is_marked_and_others_of_its_rule_are_not(clean):
    bad = with_gate(clean, "gate-b", **turned_ends(800.0, 30.0))
    bad = with_gate(bad, "gate-a", **turned_ends(347.0, 30.0))
    entry = {"rule": "gate-not-square", "feature": "gate-b", "reason": "kerb", "date": "2024-01-01"}

    findings = check_track(replace(bad, accepted=(entry,)))

    assert [(f.feature, f.accepted) for f in findings] == [("gate-a", False), ("gate-b", True)]


def test_a_finding_about_the_whole_track_may_be_accepted(clean):
    without = replace(
        clean,
        gates=tuple(g for g in clean.gates if g.kind != "finish"),
        accepted=({"rule": "gate-missing", "feature": None, "reason": "x", "date": "2024-01-01"},),
    )

    assert the_only_finding(without).accepted


# Files


@pytest.fixture
def written(clean, tmp_path):
    path = tmp_path / "block.geojson"
    write_track(replace(clean, revised="2024-01-01T00:00:00Z"), path)
    return path


def damaged(path, change):
    document = json.loads(path.read_text("utf-8"))
    change(document)
    path.write_text(json.dumps(document), "utf-8")
    return path


def feature(document, feature_id):
    return next(f for f in document["features"] if f["id"] == feature_id)


def test_a_clean_file_is_clean(written):
    track, findings = check_file(written)

    assert findings == []
    assert track.id == "invented"


def test_a_gate_of_an_unknown_kind_breaks_the_schema_and_leaves_no_track(written):
    damaged(written, lambda d: feature(d, "gate-a")["properties"].update(kind="chicane"))

    track, findings = check_file(written)

    assert track is None
    assert {(f.severity, f.rule) for f in findings} == {("error", "schema")}
    assert "gate-a" in {f.feature for f in findings}


def test_a_fault_that_leaves_the_geometry_is_told_beside_what_geometry_says(written):
    def change(document):
        document["track"]["country"] = "Atlantis"
        document["track"]["length_m"] = 5.0

    track, findings = check_file(damaged(written, change))

    assert track is not None
    assert [f.rule for f in findings] == ["schema", "length"]
    assert "Atlantis" in findings[0].message


@pytest.mark.parametrize(
    ("what", "change"),
    [
        ("no centreline", lambda d: d["features"].pop(0)),
        ("a centreline of one position",
         lambda d: d["features"][0]["geometry"].update(coordinates=[[11.0, 47.0]])),
        ("a gate with one end", lambda d: feature(d, "gate-b")["geometry"]["coordinates"].pop()),
        ("a latitude of 100",
         lambda d: feature(d, "gate-b")["geometry"]["coordinates"].__setitem__(0, [11.0, 100.0])),
        ("text for a number", lambda d: d["track"].update(length_m="long")),
        ("no name", lambda d: d["track"].pop("name")),
        ("features that are no list", lambda d: d.update(features={})),
        ("a feature that is a number", lambda d: d["features"].append(7)),
        ("a geometry of null", lambda d: d["features"][0].update(geometry=None)),
    ],
)  # fmt: skip
def test_a_broken_file_gives_findings_and_no_crash(written, what, change):
    _, findings = check_file(damaged(written, change))

    assert findings, what
    assert findings[0].severity == "error"
    assert findings[0].rule == "schema"
    assert all(f.message and f.remedy.what for f in findings)


def test_a_file_that_is_no_track_file_is_refused(tmp_path):
    path = tmp_path / "line.geojson"
    path.write_text('{"type": "FeatureCollection", "features": []}', "utf-8")

    with pytest.raises(TrackFileError, match="is JSON but no track file"):
        check_file(path)
