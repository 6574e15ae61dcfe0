"""`trackkit check`: what recordings show, and findings accepted for a reason."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drives import block_circuit, corner_speed, drive, gate_ends, on_earth, track_of

from trackkit.checks.check import check_recording
from trackkit.checks.recording_rules import _creeping
from trackkit.cli import run
from trackkit.gates.false_crossings import parked_probability
from trackkit.recordings.recording import Recording
from trackkit.timing.lap_times import time_laps
from trackkit.track.file import read_track, write_track

ROAD = block_circuit()
GATES = [("finish", "finish", 0.0), ("gate-a", "sector", 347.0), ("gate-b", "sector", 800.0)]


@pytest.fixture(scope="module")
def block():
    return track_of(ROAD, gates=GATES, spacing_m=2.0, revised="2024-01-01T00:00:00Z")


@pytest.fixture(scope="module")
def recording():
    outing = drive(ROAD, begin_m=1300.0, laps=4.3, cruise=corner_speed(ROAD, 25.0, 6.0))
    return outing.recording(10, doppler=True, noise=0.5, seed=4)


def rules(findings):
    return {(f.rule, f.feature) for f in findings}


def moved(track, gate_id, **changes):
    return replace(
        track, gates=tuple(replace(g, **changes) if g.id == gate_id else g for g in track.gates)
    )


def test_a_good_recording_of_a_good_track_finds_nothing(block, recording):
    findings, report = check_recording(block, recording)

    assert findings == []
    assert len([lap for lap in report.laps if lap.counts]) == 3 or len(report.laps) >= 3


def test_laps_lost_at_a_gate_are_counted(block, recording):
    # A gate of full width, but wholly to the left of where cars go.
    left, _ = gate_ends(ROAD, 347.0, 30.0)
    _, right = gate_ends(ROAD, 347.0, -4.0)
    findings, _ = check_recording(moved(block, "gate-a", left=left, right=right), recording)

    lost = [f for f in findings if f.rule == "recording-lost"]
    assert [f.feature for f in lost] == ["gate-a"]
    assert "was missed on" in lost[0].message


def test_a_recording_of_another_place_is_said_to_be(block):
    elsewhere = track_of(ROAD, gates=GATES, spacing_m=2.0, at=(12.0, 48.0))
    outing = drive(ROAD, begin_m=1300.0, laps=1.3)
    findings, _ = check_recording(elsewhere, outing.recording(5, doppler=True, noise=0.5, seed=4))

    assert ("recording-elsewhere", None) in rules(findings)


def test_a_recording_driven_the_other_way_holds_no_lap(block):
    mirrored = ROAD.mirrored()
    track = track_of(mirrored, gates=GATES, direction="clockwise", spacing_m=2.0)
    outing = drive(mirrored, begin_m=1300.0, laps=0.5, cruise=20.0)
    findings, _ = check_recording(track, outing.recording(10, doppler=True, noise=0.5, seed=4))

    assert {"recording-no-lap", "recording-elsewhere"} & {f.rule for f in findings}


def test_true_speeds_are_what_gates_are_judged_by(block):
    """A driver who crawls past the finish at walking pace makes it a slow place."""

    def cruise(chainage):
        return [3.0 if min(c % ROAD.length_m, -c % ROAD.length_m) < 60 else 25.0 for c in chainage]

    outing = drive(ROAD, begin_m=1200.0, laps=2.3, cruise=cruise)
    findings, _ = check_recording(block, outing.recording(10, doppler=True, noise=0.5, seed=4))

    assert ("finish-slow", "finish") in rules(findings)


def test_a_line_beside_the_driven_one_is_found(block, recording):
    from trackkit.track.model import Centreline

    shifted = block.centreline
    line = Centreline(shifted.longitude_deg, shifted.latitude_deg + 8.0 / 111_000.0, True)
    findings, _ = check_recording(replace(block, centreline=line), recording)

    assert ("recording-off-line", "centreline") in rules(findings)


def test_a_vehicle_parked_just_behind_the_line_is_a_risk(block):
    outing = drive(
        ROAD, begin_m=1300.0, laps=3.3, cruise=corner_speed(ROAD, 25.0, 6.0), stop_at_m=87.5,
        stop_s=90.0,
    )  # fmt: skip
    findings, _ = check_recording(block, outing.recording(10, doppler=True, noise=1.0, seed=4))

    (parked,) = [f for f in findings if f.rule == "recording-parked"]
    assert parked.feature == "finish"
    assert "stood for" in parked.message


def slow_recording(block, behind_m, ahead_mps, aside_mps, seconds=25.0):
    """A vehicle pushed about near the finish line: its truth in metres east and north."""
    time = np.arange(0.0, seconds, 0.1)
    middle, ahead = ROAD.at(0.0)
    aside = np.array([-ahead[1], ahead[0]])
    place = (
        middle
        + (ahead_mps * time - behind_m)[:, None] * ahead
        + (aside_mps * time - 5.0)[:, None] * aside
    )
    longitude, latitude = on_earth(place)
    return Recording("pushed.csv", time, longitude, latitude)


def test_a_vehicle_pushed_across_the_track_just_behind_the_line_is_a_risk(block):
    pushed = slow_recording(block, behind_m=1.2, ahead_mps=0.0, aside_mps=0.4)
    report = time_laps(block, pushed)

    (finding,) = _creeping(block, pushed, report)
    assert finding.rule == "recording-creeping"
    assert finding.feature == "finish"
    # Between what a vehicle standing there for the shortest and the longest time would risk.
    low, high = (parked_probability(1.2, seconds) for seconds in (5.0, 60.0))
    assert low < float(finding.message.rpartition(" ")[2]) < high


def test_a_vehicle_that_creeps_over_the_line_or_far_from_it_is_no_risk(block):
    over = slow_recording(block, behind_m=5.0, ahead_mps=0.5, aside_mps=0.1)
    far = slow_recording(block, behind_m=9.0, ahead_mps=0.0, aside_mps=0.4)

    for recording in (over, far):
        assert list(_creeping(block, recording, time_laps(block, recording))) == []


# Accepting


@pytest.fixture
def askew(block, tmp_path):
    path = tmp_path / "askew.geojson"
    left, _ = gate_ends(ROAD, 349.0, 8.0)
    _, right = gate_ends(ROAD, 344.0, 8.0)
    write_track(moved(block, "gate-a", left=left, right=right), path)
    return path


def told(capsys):
    return json.loads(capsys.readouterr().out)["findings"]


def test_an_accepted_finding_is_stored_with_its_reason(askew, capsys):
    command = ["check", str(askew), "--accept", "gate-not-square", "gate-a"]
    assert run([*command, "--reason", "follows the kerb", "--by", "A. Invented", "--json"]) == 0
    (finding,) = told(capsys)

    assert finding["accepted"]
    (entry,) = read_track(askew).accepted
    assert (entry["rule"], entry["feature"]) == ("gate-not-square", "gate-a")
    assert (entry["reason"], entry["by"]) == ("follows the kerb", "A. Invented")
    assert "follows the kerb" in read_track(askew).history[-1]["what"]
    assert run(["check", str(askew), "--json"]) == 0
    assert told(capsys)[0]["accepted"]


def test_only_what_was_found_can_be_accepted_and_the_file_stays(askew, capsys):
    before = askew.read_bytes()

    assert run(["check", str(askew), "--accept", "gate-apex", "gate-a", "--reason", "x"]) == 1
    assert "there is: gate-not-square gate-a" in capsys.readouterr().err
    assert askew.read_bytes() == before


def test_no_finding_is_accepted_without_a_reason(askew):
    assert run(["check", str(askew), "--accept", "gate-not-square", "gate-a"]) == 2
    assert run(["check", str(askew), "--reason", "x"]) == 2


def test_check_takes_recordings(block, recording, tmp_path, capsys):
    from trackkit.recordings.write import write_recording

    path, drive_path = tmp_path / "t.geojson", tmp_path / "r.csv"
    write_track(block, path)
    write_recording(recording, drive_path)
    assert run(["check", str(path), "--recording", str(drive_path), "--json"]) == 0
    assert told(capsys) == []


def test_several_recordings_are_judged_together_and_what_each_shows_is_said(
    block, recording, tmp_path, capsys
):
    from trackkit.recordings.write import write_recording

    # So narrow, and to the left of where cars go, that laps miss it.
    left, _ = gate_ends(ROAD, 347.0, 2.0)
    _, right = gate_ends(ROAD, 347.0, 0.05)
    path = tmp_path / "t.geojson"
    write_track(moved(block, "gate-a", left=left, right=right), path)
    paths = [str(tmp_path / name) for name in ("one.csv", "two.csv")]
    for other in paths:
        write_recording(recording, other)
    assert run(["check", str(path), "--json"]) == 0
    alone = told(capsys)
    assert (
        run(["check", str(path), "--recording", paths[0], "--recording", paths[1], "--json"]) == 0
    )
    together = told(capsys)

    lost = [f["message"] for f in together if f["rule"] == "recording-lost"]
    assert [message.partition(":")[0] for message in lost] == paths
    geometry = [f["rule"] for f in together if not f["rule"].startswith("recording-")]
    assert len(geometry) == len(set(geometry))
    assert set(geometry) >= {f["rule"] for f in alone if f["rule"].startswith("gate-")}


def test_a_track_without_a_finish_gate_is_checked_with_a_recording_too(
    block, recording, tmp_path, capsys
):
    from trackkit.recordings.write import write_recording

    path, drive_path = tmp_path / "t.geojson", tmp_path / "r.csv"
    write_track(block.with_gates([g for g in block.gates if g.kind != "finish"]), path)
    write_recording(recording, drive_path)
    assert run(["check", str(path), "--recording", str(drive_path), "--json"]) == 1
    assert [f["rule"] for f in told(capsys)] == ["gate-missing"]


def test_files_beside_that_are_no_track_do_not_matter(askew, capsys):
    (Path(askew).parent / "other.geojson").write_text("{}", "utf-8")

    assert run(["check", str(askew)]) == 0
