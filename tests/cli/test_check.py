"""``trackkit check``: findings printed, and accepted for a reason."""

import json
from pathlib import Path

import driven_block
import pytest
from checkout import TRACKS
from driven_block import ROAD, moved
from drives import gate_ends

from trackkit.cli import run
from trackkit.track.file import read_track, write_track


@pytest.fixture(scope="module")
def block():
    return driven_block.block()


@pytest.fixture(scope="module")
def recording():
    return driven_block.recording()


@pytest.mark.slow
@pytest.mark.parametrize("path", sorted(TRACKS.glob("*.geojson")), ids=lambda p: p.stem)
def test_the_samples_have_nothing_to_be_said_about_them(path, capsys):
    assert run(["check", str(path)]) == 0
    assert "nothing found" in capsys.readouterr().out


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
