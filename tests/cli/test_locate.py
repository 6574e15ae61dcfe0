"""`trackkit locate` with drives: from files, many files, and standard input as it comes."""

import csv
import io
import json
import os
import subprocess
import sys
import threading
from dataclasses import replace

import pytest
from drives import arc, straight, track_of

from trackkit.cli import run
from trackkit.library.folders import ENVIRONMENT_VARIABLE
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.file import write_track


@pytest.fixture(autouse=True)
def home(monkeypatch, tmp_path):
    monkeypatch.delenv(ENVIRONMENT_VARIABLE, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path


def layout(track_id, length_m):
    from drives import Road

    road = Road(
        (straight(length_m), arc(50, 180), straight(length_m), arc(50, 180)), start=(-200.0, -50.0)
    )
    track = track_of(road, gates=[("finish", "finish", 10.0)], spacing_m=5.0, name="Invented")
    return replace(track, id=track_id, layout=track_id.title(), revised="2024-01-01T00:00:00Z")


LAYOUTS = {"long": layout("long", 400.0), "short": layout("short", 250.0)}


@pytest.fixture
def library(home):
    folder = home / "tracks"
    folder.mkdir()
    for track in LAYOUTS.values():
        write_track(track, folder / f"{track.id}.geojson")
    return folder


@pytest.fixture
def session(home):
    path = home / "session.nmea"
    write_recording(simulate_drive(LAYOUTS["long"], laps=1, rate_hz=5).recording, path)
    return path


def test_a_recording_is_at_the_layout_that_was_driven(library, session, capsys):
    assert run(["locate", str(session), "--library", str(library), "--json"]) == 0
    (found,) = json.loads(capsys.readouterr().out)["recordings"]
    first = found["candidates"][0]
    assert found["answer"] == "at"
    assert (first["id"], first["direction"], first["reversed"]) == ("long", "anticlockwise", False)
    assert first["probability"] > 0.95
    assert first["distance_m"] < 10.0

    assert run(["locate", str(session), "--library", str(library)]) == 0
    assert "at Invented (Long), anticlockwise" in capsys.readouterr().out


def test_csv_has_a_line_for_each_recording_in_the_order_given(library, session, capsys):
    other = session.with_name("other.csv")
    write_recording(simulate_drive(LAYOUTS["short"], laps=1, rate_hz=2).recording, other)
    assert run(["locate", str(other), str(session), "--library", str(library), "--csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert [(row["file"], row["answer"], row["id"]) for row in rows] == [
        (str(other), "at", "short"), (str(session), "at", "long"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    "words", [["--csv", "--json", "a.gpx"], ["--csv", "47", "11"], ["--csv", "-"]]
)
def test_csv_where_it_makes_no_sense_is_a_fault_of_the_command_line(words):
    assert run(["locate", *words]) == 2


def test_many_recordings_are_shared_among_processes_and_a_bad_one_stops_none(
    library, session, capsys
):
    paths = []
    for number in range(11):
        path = session.with_name(f"copy-{number}.nmea")
        path.write_bytes(b"no recording" if number == 5 else session.read_bytes())
        paths.append(str(path))

    assert run(["locate", *paths, "--library", str(library), "--json"]) == 1

    said = capsys.readouterr()
    found = json.loads(said.out)["recordings"]
    assert [row["file"] for row in found] == [*paths[:5], *paths[6:]]
    assert {row["candidates"][0]["id"] for row in found} == {"long"}
    assert said.err.count("copy-5.nmea") == 1


def test_a_broken_track_file_is_warned_of_once_however_many_recordings(library, session, capsys):
    (library / "bad.geojson").write_text("{", "utf-8")
    assert run(["locate", *[str(session)] * 9, "--library", str(library), "--csv"]) == 0
    said = capsys.readouterr()
    assert said.err.count("bad.geojson") == 1
    assert len(said.out.splitlines()) == 10


def stream(library, *words):
    return subprocess.Popen(
        [sys.executable, "-m", "trackkit", "locate", "-", "--library", str(library), *words],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=dict(os.environ),
    )  # fmt: skip


def test_a_stream_is_answered_before_it_ends(library, session):
    # Like a serial device: written bit by bit and never closed until the answer has come.
    process = stream(library)
    lines = session.read_bytes().splitlines(keepends=True)
    said = []

    def listen():
        for line in process.stdout:
            said.append(line.decode())
            if "at Invented (Long)" in said[-1]:
                break

    listener = threading.Thread(target=listen)
    listener.start()
    process.stdin.write(b"".join(lines))
    process.stdin.flush()
    listener.join(timeout=60)
    still_running = process.poll() is None
    process.communicate()

    assert still_running
    assert said[0].startswith("fix 1: at one of ")
    assert any("still open between" in line and "they part at" in line for line in said)
    assert "[long]" in said[-1]


def test_a_stream_changes_its_mind(library, session):
    short = simulate_drive(LAYOUTS["short"], laps=1, rate_hz=5).recording
    other = session.with_name("short.nmea")
    write_recording(short, other)

    out, _ = stream(library).communicate(session.read_bytes() + other.read_bytes(), timeout=60)

    answers = [line for line in out.decode().splitlines() if ": at Invented" in line]
    assert "[long]" in answers[0]
    assert "[short]" in answers[-1]


def test_a_stream_in_json_is_one_document_at_its_end(library, session):
    out, err = stream(library, "--json").communicate(session.read_bytes(), timeout=60)
    found = json.loads(out)
    assert err == b""
    assert found["settled"] == "long"
    assert found["answer"] == "at"
    assert found["candidates"][0]["id"] == "long"
    assert found["answers"][-1]["settled"]


def test_a_stream_without_a_fix_is_said(library):
    process = stream(library)
    out, err = process.communicate(b"hello\n", timeout=60)
    assert process.returncode == 1
    assert out == b""
    assert b"standard input: holds no fix" in err
