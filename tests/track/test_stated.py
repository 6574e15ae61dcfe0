"""What a file says of its gates and its line, where its positions say otherwise."""

import json

import numpy as np
import pytest
from drives import block_circuit, drive, figure_of_eight, hairpin_circuit, on_earth, track_of
from seeded_faults import SPIRAL, B, block, document, feature, put

from trackkit.checks.check import check_file
from trackkit.cli import run
from trackkit.library.known import circuit_of
from trackkit.timing.lap_times import time_laps
from trackkit.track.features import Disagreement, Gate
from trackkit.track.file import read_as_stated, read_track, track_text, write_track


def saved(made, path):
    path.write_text(json.dumps(made), "utf-8")
    return path


def swapped(path):
    """The block with the ends of its sector gates exchanged, as in a GIS; the rest as it was."""
    made = document(block())
    first, second = (feature(made, name)["geometry"] for name in ("gate-a", "gate-b"))
    first["coordinates"], second["coordinates"] = second["coordinates"], first["coordinates"]
    return saved(made, path)


def test_laps_of_a_file_whose_sector_gates_were_swapped_are_complete(tmp_path):
    track = read_track(swapped(tmp_path / "block.geojson"))
    recording = drive(block_circuit(), begin_m=-60.0, laps=2.2).recording(10, doppler=True)

    laps = time_laps(track, recording).laps

    assert [gate.id for gate in track.gates] == ["finish", "gate-b", "gate-a"]
    assert [gate.order for gate in track.gates] == [0, 1, 2]
    assert [gate.chainage_m for gate in track.gates] == pytest.approx([0, 347, 800], abs=0.05)
    assert sum(lap.complete for lap in laps) == 2


def test_a_stated_order_against_the_road_is_an_error_and_saving_writes_the_right_one(
    tmp_path, capsys
):
    path = swapped(tmp_path / "block.geojson")

    track, findings = check_file(path)
    about = {(f.rule, f.severity, f.feature) for f in findings}

    assert about == {
        ("gate-order", "error", "gate-a"),
        ("gate-order", "error", "gate-b"),
        ("gate-chainage", "warning", "gate-a"),
        ("gate-chainage", "warning", "gate-b"),
    }
    assert run(["check", str(path)]) == 1
    write_track(track, path, force=True)
    assert check_file(path)[1] == []
    capsys.readouterr()
    assert run(["gate", "list", str(path), "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["gates"]
    assert [(row["id"], row["order"], round(row["chainage_m"])) for row in rows] == [
        ("finish", 0, 0),
        ("gate-b", 1, 347),
        ("gate-a", 2, 800),
    ]


def test_a_gate_stretched_in_a_gis_is_as_wide_as_its_ends_and_a_finding_says_so(tmp_path):
    made = document(block())
    put(made, "gate-a", B, 347.0, 21.0, 8.0)
    feature(made, "gate-a")["properties"]["width_m"] = 16.0
    path = saved(made, tmp_path / "block.geojson")

    track, findings = check_file(path)

    assert track.disagreements == (
        Disagreement("gate-a", "width_m", 16.0, pytest.approx(29.0, abs=0.01)),
    )
    (finding,) = [f for f in findings if f.rule == "gate-width"]
    assert (finding.severity, finding.feature) == ("warning", "gate-a")
    assert "says it is 16.00 m wide but its ends are 29.00 m apart" in finding.message
    again = json.loads(track_text(track))
    assert feature(again, "gate-a")["properties"]["width_m"] == pytest.approx(29.0, abs=0.01)


def test_a_finish_gate_moved_without_its_line_still_comes_first_and_the_others_after_it(tmp_path):
    made = document(block())
    put(made, "finish", B, 600.0)

    track = read_track(saved(made, tmp_path / "block.geojson"))

    assert [gate.id for gate in track.gates] == ["finish", "gate-b", "gate-a"]
    assert [gate.id for gate in track.gates_of_kind("sector")] == ["gate-b", "gate-a"]


@pytest.mark.parametrize("reading", [read_track, read_as_stated])
def test_a_line_reversed_in_a_gis_is_known_by_the_way_it_runs(tmp_path, reading):
    made = document(block())
    feature(made, "centreline")["geometry"]["coordinates"].reverse()
    made["track"]["length_m"] = 1200.0
    path = saved(made, tmp_path / "block.geojson")

    circuit = circuit_of(reading(path), path)

    assert made["track"]["direction"] == "anticlockwise"
    assert circuit.direction == "clockwise"
    # The length of the road, by school geometry.
    assert circuit.length_m == pytest.approx(block_circuit().length_m, abs=0.05)


def test_a_file_within_rounding_is_written_again_byte_for_byte(tmp_path):
    made = document(block())
    feature(made, "gate-a")["properties"].update(chainage_m=347.04, width_m=16.03)
    path = tmp_path / "block.geojson"
    text = track_text(block())
    path.write_text(text, "utf-8")

    assert track_text(read_track(path)) == text
    track = read_track(saved(made, path))
    assert track.disagreements == ()
    assert track.gate("gate-a").chainage_m == 347.04


@pytest.mark.parametrize("member", ["chainage_m", "width_m"])
def test_a_member_that_the_file_leaves_out_is_worked_out_and_nothing_is_said(tmp_path, member):
    made = document(block())
    del feature(made, "gate-b")["properties"][member]

    track, findings = check_file(saved(made, tmp_path / "block.geojson"))

    assert findings == []
    assert track.gate("gate-b").chainage_m == pytest.approx(800.0, abs=0.05)


def test_a_length_off_by_a_two_thousandth_is_a_note_and_by_more_an_error(tmp_path):
    made = document(block())
    for share, severity in ((0.9995, "note"), (0.99, "error")):
        made["track"]["length_m"] = share * block_circuit().length_m
        (finding,) = check_file(saved(made, tmp_path / "block.geojson"))[1]
        assert (finding.rule, finding.severity) == ("length", severity)


def test_a_box_that_is_not_that_of_the_positions_is_a_note(tmp_path):
    made = document(block())
    made["bbox"][2] += 0.01

    (finding,) = check_file(saved(made, tmp_path / "block.geojson"))[1]

    assert (finding.rule, finding.severity) == ("bbox", "note")


# Where several places fit

EIGHT = figure_of_eight()
HALF_M = 0.5 * EIGHT.length_m
"""At the crossing the first passage leads south-east and the second south-west."""


def with_trap(road, middle, facing_deg, stated_m, path, half_m=8.0):
    """A gate that faces some way from east, anticlockwise, as it is read from its file."""
    facing = np.radians(facing_deg)
    aside = half_m * np.array([-np.sin(facing), np.cos(facing)])
    longitude, latitude = on_earth(np.array([middle + aside, middle - aside]))
    left, right = zip(longitude.tolist(), latitude.tolist(), strict=True)
    track = track_of(road, gates=[("finish", "finish", 0.0)], direction=None, spacing_m=2.0)
    gate = Gate("trap", "speed", "Trap", left, right, chainage_m=stated_m)
    path.write_text(track_text(track.with_gates([*track.gates, gate])), "utf-8")
    track = read_track(path)
    return track, track.gate("trap").chainage_m


@pytest.mark.parametrize(
    ("facing_deg", "stated_m", "passage_m"),
    [
        (-90.0, 2.0, 0.0),
        (-90.0, HALF_M - 2.0, HALF_M),
        # Where only one passage crosses it from its back, nothing stated counts.
        (-36.9, HALF_M, 0.0),
        (-143.1, 0.0, HALF_M),
    ],
)
def test_at_a_bridge_direction_decides_and_then_the_stated_chainage(
    tmp_path, facing_deg, stated_m, passage_m
):
    track, chainage = with_trap(EIGHT, [0.0, 0.0], facing_deg, stated_m, tmp_path / "eight.geojson")

    assert track.curve.separation(chainage, passage_m) == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("stated_m", [100.0, 273.0])
@pytest.mark.parametrize(("facing_deg", "leg_m"), [(0.0, 140.0), (180.0, 272.57)])
def test_at_a_hairpin_direction_decides_whatever_is_stated(tmp_path, stated_m, facing_deg, leg_m):
    # The legs run 8 m apart, east and back west: 60 m on, 12.57 m round the hairpin, 60 m back.
    middle = hairpin_circuit().at(140.0)[0] + [0.0, 4.0]

    _, chainage = with_trap(
        hairpin_circuit(), middle, facing_deg, stated_m, tmp_path / "hairpin.geojson"
    )

    assert chainage == pytest.approx(leg_m, abs=0.05)


@pytest.mark.parametrize(("shift_m", "leg_m"), [(3.0, 100.0), (9.0, 869.65)])
def test_of_two_legs_driven_the_same_way_the_nearer_counts(tmp_path, shift_m, leg_m):
    # Two legs 12 m apart, both driven east, joined at the ends: by school geometry 300 m, half a
    # circle of 30 m, 300 m back, half a circle of 24 m, and 100 m on.
    middle = SPIRAL.at(100.0)[0] + [0.0, shift_m]

    _, chainage = with_trap(SPIRAL, middle, 0.0, 300.0, tmp_path / "spiral.geojson", half_m=14.0)

    assert chainage == pytest.approx(leg_m, abs=0.05)
