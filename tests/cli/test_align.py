"""``trackkit gate align``: what it says, what it moves and what it refuses."""

import json
import re
import shutil
from pathlib import Path

import numpy as np
import official_session
import pytest
from official_session import AHEAD_M, KART, SECTORS

from trackkit.cli import run
from trackkit.recordings.write import write_recording
from trackkit.track.file import read_track


@pytest.fixture(scope="module")
def usual():
    return official_session.usual()


@pytest.fixture(scope="module")
def short():
    return official_session.short()


@pytest.fixture(scope="module")
def recorded(usual, short, tmp_path_factory):
    """A folder with the recordings of both sessions."""
    folder = tmp_path_factory.mktemp("align")
    write_recording(usual.recording, folder / "usual.nmea")
    write_recording(short.recording, folder / "short.nmea")
    return folder


@pytest.fixture
def files(recorded, tmp_path):
    """A track file to change, and the recording of the usual session."""
    return Path(shutil.copy(KART, tmp_path / "t.geojson")), recorded / "usual.nmea"


@pytest.fixture
def short_files(recorded, tmp_path):
    return Path(shutil.copy(KART, tmp_path / "t.geojson")), recorded / "short.nmea"


def align(track, drive, official, *options):
    return run(["gate", "align", str(track), str(drive), "--official", official, *options])


@pytest.mark.slow
def test_the_command_says_where_and_what_to_type(usual, files, tmp_path, capsys):
    track, drive = files
    before = track.read_bytes()
    official = usual.official(tmp_path / "o.csv", ["lap", "lap time"])

    assert align(track, drive, official, "--antenna-ahead", "0") == 0
    said = capsys.readouterr()
    assert "ahead of the finish gate" in said.out
    assert f"trackkit gate move {track} finish 1" in said.err
    assert "antenna" not in said.err
    assert track.read_bytes() == before


@pytest.mark.slow
def test_applied_it_moves_the_finish_gate_and_keeps_the_file_as_it_was(
    usual, files, tmp_path, capsys
):
    track, drive = files
    before, finish = track.read_bytes(), read_track(track).finish
    official = usual.official(tmp_path / "o.csv", ["lap", "lap time", "time of day"])

    assert align(track, drive, official, "--clock-within", "0", "--apply", "--json") == 0
    said = capsys.readouterr()
    told = json.loads(said.out)
    assert told["moved"]
    assert "--antenna-ahead" in said.err
    assert Path(f"{track}~").read_bytes() == before
    moved = read_track(track)
    plane = moved.plane
    ends = [
        plane.to_plane(*np.transpose([g.left, g.right])).mean(axis=0)
        for g in (finish, moved.finish)
    ]
    assert np.linalg.norm(ends[1] - ends[0]) == pytest.approx(told["ahead_m"], abs=0.1)
    assert "to the official line" in moved.history[-1]["what"]


@pytest.mark.slow
def test_a_time_zone_is_no_difference_of_clocks(usual, files, tmp_path, capsys):
    track, drive = files
    official = usual.official(tmp_path / "o.csv", ["lap", "time of day"], ahead_s=5.5 * 3600)

    assert align(track, drive, official, "--clock-within", "0", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["recordings"][0]["zone_s"] == 5.5 * 3600
    assert told["ahead_m"] == pytest.approx(AHEAD_M, abs=1.5)


@pytest.mark.slow
def test_sector_times_tell_more_than_lap_times_and_find_the_sector_lines(
    usual, files, tmp_path, capsys
):
    track, drive = files
    sigma = []
    for name, columns in (("l", []), ("s", [f"sector {i}" for i in range(1, SECTORS + 1)])):
        official = usual.official(tmp_path / f"{name}.csv", ["lap", "lap time", *columns])
        assert align(track, drive, official, "--json") == 0
        told = json.loads(capsys.readouterr().out)
        assert abs(told["ahead_m"] - AHEAD_M) < 4 * told["sigma_m"]
        sigma.append(told["sigma_m"])
    assert sigma[1] < 0.9 * sigma[0]
    assert all(abs(line["ahead_m"]) < 4.0 for line in told["sector_lines"])


@pytest.mark.slow
@pytest.mark.parametrize(
    ("text", "options", "said"),
    [
        ("driver,kart\nA,7\n", (), "which of its columns holds the lap time?"),
        ("lap,time\n1,91.2\n2,88.1\n3,95.4\n4,89.9\n5,90.5\n", (), "official laps? fit"),
        ("lap,time\n1,51000\n2,51900\n3,51400\n4,51100\n5,51200\n", (), "milliseconds"),
        ("lap,time of day\n1,9:61:00\n2,9:02:00\n", (), "line 2: '9:61:00' is no time of day"),
    ],
    ids=["no column", "other laps", "other unit", "no time of day"],
)
def test_what_cannot_be_used_is_said(short_files, tmp_path, capsys, text, options, said):
    (tmp_path / "o.csv").write_text(text, "utf-8")

    assert align(*short_files, str(tmp_path / "o.csv"), *options) == 1
    assert re.search(said, capsys.readouterr().err)


def test_a_clock_without_times_of_day_is_refused(short, short_files, tmp_path, capsys):
    official = short.official(tmp_path / "o.csv", ["lap", "lap time"])

    assert align(*short_files, official, "--clock-within", "0") == 1
    assert "has no times of day" in capsys.readouterr().err


def test_times_of_another_day_are_refused(short, short_files, tmp_path, capsys):
    official = tmp_path / "o.csv"
    short.official(official, ["lap", "lap time", "time of day"])
    head, *rows = official.read_text("utf-8").splitlines()
    dated = [",".join([*row.split(",")[:2], "2024-05-05 " + row.split(",")[2]]) for row in rows]
    official.write_text("\n".join([head, *dated]) + "\n", "utf-8")

    assert align(*short_files, str(official)) == 1
    assert "are of 2024-05-05, the recording of 2024-05-04" in capsys.readouterr().err


def test_a_clock_that_does_not_agree_after_all_is_refused(short, short_files, tmp_path, capsys):
    official = short.official(tmp_path / "o.csv", ["lap", "time of day"], ahead_s=41.3)

    assert align(*short_files, official, "--clock-within", "0") == 1
    assert "off the receiver's" in capsys.readouterr().err
