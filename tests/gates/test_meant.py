"""Gates that cannot be meant are refused, and gates of the pit lane lie across it."""

import json
from dataclasses import replace

import numpy as np
import pytest
from drives import block_circuit, drive, on_earth, track_of

from trackkit.checks.check import check_track
from trackkit.cli import run
from trackkit.errors import PlaceError, TrackFileError
from trackkit.gates.edit import move_gate, place_gate, widen_gate
from trackkit.gates.pit_lane import set_pit_lane
from trackkit.timing.lap_times import time_laps
from trackkit.track.file import read_track, write_track
from trackkit.track.places import Place

GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]
LANE_Y_M = -110.0
"""The pit lane runs 20 m to the left of the straight that the finish lies on, at y = -130."""


def lonlat(x, y):
    longitude, latitude = on_earth(np.array([x, y], dtype=float))
    return float(longitude), float(latitude)


def lane_line(xs=(-180.0, -150.0, 150.0, 180.0), turned=False):
    ys = [-130.0, LANE_Y_M, LANE_Y_M, -130.0]
    longitude, latitude = on_earth(np.column_stack([xs, ys]))
    return (longitude[::-1], latitude[::-1]) if turned else (longitude, latitude)


@pytest.fixture(scope="module")
def block():
    return track_of(block_circuit(), gates=GATES, spacing_m=2.0)


@pytest.fixture(scope="module")
def with_pits(block):
    return set_pit_lane(block, *lane_line())[0]


def ends(x, first_y, second_y):
    return Place(ends=(lonlat(x, first_y), lonlat(x, second_y)))


# What cannot be meant


def test_a_slip_in_a_surveyed_end_is_refused_for_its_width(block):
    # The left end 80 m too far north: 87.9 m wide, its middle 36 m off the line.
    place = ends(0.0, -130.0 + 79.9, -138.0)

    with pytest.raises(PlaceError, match=r"gate Finish would be 87\.9 m wide.* than 60 m"):
        move_gate(block, "finish", place)
    moved = move_gate(block, "finish", place, anyway=True).gate
    assert moved.width_m == pytest.approx(87.9, abs=0.05)


def test_on_a_wide_track_gates_may_be_twice_the_band_with_margins_wide(block):
    # Twice 30 m and two margins of 4 m: 76 m.
    wide = replace(block, centreline=replace(block.centreline, width_m=30.0))

    assert place_gate(wide, "speed", 700.0, width_m=75.0).gate.width_m == pytest.approx(75.0)
    with pytest.raises(PlaceError, match="wider than 76 m"):
        place_gate(wide, "speed", 700.0, width_m=77.0)
    with pytest.raises(PlaceError, match="wider than 60 m"):
        widen_gate(block, "gate-a", 61.0)


def test_a_gate_whose_middle_is_far_from_the_line_is_refused_unless_it_spans_the_pit_lane(
    block, with_pits
):
    # Half the band of 12 m and 10 m: 16 m.  The middle is 17 m off, the gate 44 m wide.
    place = ends(0.0, -130.0 + 39.0, -135.0)

    with pytest.raises(PlaceError, match=r"would lie 17\.0 m from the line"):
        place_gate(block, "speed", place)
    assert place_gate(with_pits, "speed", place).gate.surveyed
    assert place_gate(block, "speed", ends(0.0, -130.0 + 36.0, -135.0)).gate.surveyed


def test_a_gate_beside_the_line_is_refused_and_kept_where_it_is_meant(block):
    place = ends(0.0, -120.0, -128.0)

    with pytest.raises(PlaceError, match=r"does not cross the centreline \(it passes 2\.0 m"):
        place_gate(block, "sector", place)
    kept = place_gate(block, "sector", place, anyway=True)
    assert kept.track.curve.separation(kept.gate.chainage_m, 0.0) == pytest.approx(0.0, abs=0.1)


def test_a_pit_gate_across_the_racing_line_is_refused_and_every_lap_stays_a_flying_one(block):
    with pytest.raises(PlaceError, match="would lie across the racing line") as caught:
        place_gate(block, "pit-entry", "-150m")
    assert caught.value.remedy.do == "anyway"
    assert "give the file its pit lane first" in caught.value.remedy.what

    recording = drive(block_circuit(), begin_m=-60.0, laps=2.2).recording(10, doppler=True)
    anyway = place_gate(block, "pit-entry", "-150m", anyway=True).track
    assert [lap.kind for lap in time_laps(anyway, recording).laps].count("flying") == 0
    assert [lap.kind for lap in time_laps(block, recording).laps].count("flying") == 2


def test_check_finds_what_would_be_refused_where_it_is_in_the_file_all_the_same(block):
    recording = drive(block_circuit(), begin_m=-60.0, laps=2.2).recording(10, doppler=True)
    pits = place_gate(block, "pit-entry", "-150m", anyway=True)
    wide = move_gate(block, "finish", ends(0.0, -130.0 + 79.9, -138.0), anyway=True)

    across = {f.rule: f for f in check_track(pits.track, [recording])}
    slip = {f.rule: f for f in check_track(wide.track)}

    assert across["pit-gate-across"].severity == "error"
    assert across["pit-gate-across"].feature == pits.gate.id
    # The direction is not to blame.
    assert "go through the pits" in across["recording-no-lap"].message
    assert across["recording-no-lap"].remedy.do is None
    assert "is 87.9 m wide" in slip["gate-unlikely"].message
    rules = {f.rule for f in check_track(block, [recording])}
    assert not rules & {"pit-gate-across", "gate-unlikely", "recording-no-lap"}


# Gates of the pit lane


@pytest.mark.parametrize("place", ["-100m", 1288.4956, Place(position=lonlat(-100.0, -125.0))])
def test_a_pit_gate_snaps_to_the_pit_lane(with_pits, place):
    gate = place_gate(with_pits, "pit-entry", place).gate

    left, right = with_pits.gate_ends(gate)
    north, south = (with_pits.plane.to_plane(*lonlat(-100.0, y)) for y in (-105.0, -115.0))
    # Square to the lane, 5 m to either side, its left end to the north as cars drive east.
    assert np.linalg.norm(left - north) < 0.2
    assert np.linalg.norm(right - south) < 0.2
    assert gate.chainage_m == pytest.approx(1288.5, abs=0.2)


def test_a_pit_gate_stays_on_the_pit_lane_when_it_is_moved_and_widened(with_pits):
    track = place_gate(with_pits, "pit-exit", 60.0).track
    moved = move_gate(track, "Pit exit", "100m").track
    gate = widen_gate(moved, "Pit exit", 8.0).gate

    assert gate.chainage_m == pytest.approx(100.0, abs=0.3)
    assert gate.width_m == pytest.approx(8.0, abs=0.01)
    assert len(moved.curve.crossed_by(*moved.gate_ends(gate))) == 0


def test_a_pit_gate_far_from_the_pit_lane_or_where_it_joins_is_refused(with_pits):
    with pytest.raises(PlaceError, match=r"the pit lane passes \d+ m from the place"):
        place_gate(with_pits, "pit-entry", 700.0)
    with pytest.raises(PlaceError, match="would lie across the racing line") as caught:
        place_gate(with_pits, "pit-exit", 180.0)
    assert "clear of the track" in caught.value.remedy.what


def test_surveyed_ends_of_a_pit_gate_may_be_given_either_way_round(with_pits):
    first = place_gate(with_pits, "pit-entry", ends(-100.0, -105.0, -115.0)).gate
    second = place_gate(with_pits, "pit-entry", ends(-100.0, -115.0, -105.0)).gate

    assert (first.left, first.right) == (second.left, second.right)
    assert first.chainage_m == second.chainage_m


# The pit lane


def test_a_pit_lane_drawn_against_the_racing_direction_is_turned(block, with_pits):
    track, remarks = set_pit_lane(block, *lane_line(turned=True))

    assert "turned" in remarks[0]
    (lane,), (other,) = track.pit_lanes, with_pits.pit_lanes
    assert lane.longitude_deg.tolist() == pytest.approx(other.longitude_deg.tolist())
    assert track.history[-1]["what"].startswith("added a pit lane of 3")


def test_another_pit_lane_takes_the_place_of_the_first_and_keeps_its_id(with_pits):
    track = place_gate(with_pits, "pit-entry", "-100m").track

    changed, remarks = set_pit_lane(track, *lane_line((20.0, 60.0, 150.0, 180.0)))

    assert [lane.id for lane in changed.pit_lanes] == [with_pits.pit_lanes[0].id]
    assert remarks == ("gate Pit entry does not lie across this pit lane: move it there",)


def test_what_is_no_pit_lane_is_refused(block):
    with pytest.raises(PlaceError, match="too short"):
        set_pit_lane(block, *on_earth(np.array([[0.0, -110.0], [10.0, -110.0]])))
    with pytest.raises(PlaceError, match=r"passes 5\d\d m from the line"):
        set_pit_lane(block, *on_earth(np.array([[0.0, -700.0], [100.0, -700.0]])))
    with pytest.raises(PlaceError, match="fewer than two places"):
        set_pit_lane(block, [11.0, 11.0], [48.0, 48.0])
    with pytest.raises(TrackFileError, match="not a longitude"):
        set_pit_lane(block, [11.0, np.nan], [48.0, 48.0])


# The command


def test_the_command_names_the_option_that_overrides(block, tmp_path, capsys):
    path = tmp_path / "block.geojson"
    write_track(replace(block, revised="2024-01-01T00:00:00Z"), path)
    before = path.read_bytes()

    assert run(["gate", "place", str(path), "pit-entry", "-150m"]) == 1
    assert "with --anyway" in capsys.readouterr().err
    assert path.read_bytes() == before
    assert run(["gate", "place", str(path), "pit-entry", "-150m", "--anyway", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["gates"]
    assert len(read_track(path).gates_of_kind("pit-entry")) == 1
