"""The command line: what it promises about files, statuses, sentences and JSON."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from checkout import TRACKS

from trackkit.building.from_line import build_from_line
from trackkit.cli import run
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.file import read_track, write_track

SENTENCE_START = "trackkit: "


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an invented circuit of about 1 km, and a practice session driven over it."""
    made = tmp_path_factory.mktemp("cli")
    turn = np.linspace(0, 2 * np.pi, 400)
    bean = np.stack([180 * np.cos(turn) + 25 * np.cos(2 * turn), 110 * np.sin(turn)], axis=-1)
    longitude, latitude = LocalPlane(-30.5, -41.2).to_geographic(bean)
    built = build_from_line(longitude, latitude, "Invented Bean", sectors=3)
    write_track(built.track, made / "bean.geojson")
    assert (
        run(["simulate", str(made / "bean.geojson"), "-o", str(made / "s.nmea"), "--laps", "3"])
        == 0
    )
    return made


@pytest.fixture
def track(folder: Path, tmp_path: Path) -> Path:
    """A copy of the circuit to change."""
    return Path(shutil.copy(folder / "bean.geojson", tmp_path / "bean.geojson"))


@pytest.fixture
def session(folder: Path) -> Path:
    return folder / "s.nmea"


def json_of(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> dict:
    """Run a command with --json: one document on standard output and nothing else."""
    capsys.readouterr()
    assert run([*arguments, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Run a command that cannot be done: status 1, nothing on stdout, one sentence on stderr."""
    capsys.readouterr()
    assert run(arguments) == 1
    said = capsys.readouterr()
    assert said.out == ""
    lines = [line for line in said.err.splitlines() if line.startswith(SENTENCE_START)]
    assert len(lines) == 1
    return lines[0]


class TestBadInput:
    @pytest.fixture
    def bad(self, tmp_path: Path) -> dict[str, Path]:
        files = {
            "empty": b"",
            "picture": b"\xff\xd8\xff\xe0\x00\x10JFIF" + bytes(range(200)),
            "cut": b'<?xml version="1.0"?><gpx version="1.1" creator="x"><trk><trkseg><trkpt lat="',
            "timeless": b'<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'
            b'<trk><trkseg><trkpt lat="1" lon="2"/><trkpt lat="1.1" lon="2"/></trkseg></trk></gpx>',
        }
        for name, content in files.items():
            (tmp_path / name).write_bytes(content)
        (tmp_path / "folder").mkdir()
        return {name: tmp_path / name for name in [*files, "folder", "missing"]}

    @pytest.mark.parametrize(
        ("name", "says"),
        [
            ("empty", "is empty"),
            ("picture", "picture"),
            ("cut", "line 1"),
            ("timeless", "--from-line"),
            ("folder", "is a folder"),
            ("missing", "no such file"),
        ],
    )
    def test_a_file_that_is_no_recording_is_answered_by_one_sentence(
        self, bad: dict[str, Path], name: str, says: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        target = bad["folder"] / "out.geojson"
        sentence = refused(["build", str(bad[name]), "--name", "X", "-o", str(target)], capsys)
        assert says in sentence
        assert str(bad[name]) in sentence
        assert not target.exists()

    @pytest.mark.parametrize("name", ["empty", "picture", "cut", "folder", "missing"])
    @pytest.mark.parametrize("command", ["describe", "check"])
    def test_a_file_that_is_no_track_file_is_answered_by_one_sentence(
        self,
        bad: dict[str, Path],
        name: str,
        command: str,
        capsys: pytest.CaptureFixture[str],
    ) -> None:
        assert str(bad[name]) in refused([command, str(bad[name])], capsys)

    def test_a_track_file_given_as_recording_is_recognised(
        self, track: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert "is a track file" in refused(["laps", str(track), str(track)], capsys)

    def test_a_recording_given_as_track_file_is_recognised(
        self, track: Path, session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert "no track file" in refused(["laps", str(session), str(session)], capsys)

    @pytest.mark.skipif(os.geteuid() == 0, reason="root may read every file")
    def test_a_file_without_permission_is_answered_by_one_sentence(
        self, track: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        track.chmod(0)
        assert "may not be read" in refused(["describe", str(track)], capsys)

    def test_a_recording_without_a_whole_lap_says_how_far_its_end_is_from_its_start(
        self, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        lines = (folder / "s.nmea").read_text().splitlines()
        # 25 s parked and driven: the circuit takes about 40 s.
        half = tmp_path / "half.nmea"
        half.write_text("\n".join(lines[: 2 * 10 * 32]) + "\n")
        said = refused(
            ["build", str(half), "--name", "X", "-o", str(tmp_path / "x.geojson")], capsys
        )
        assert "holds no whole lap: its end lies" in said
        assert "from its start" in said


class TestStatus:
    def test_a_wrong_command_line_is_2(self, track: Path) -> None:
        assert run(["frobnicate"]) == 2
        assert run(["build", "x.gpx"]) == 2
        assert run(["gate", "move", str(track), "finish", "somewhere"]) == 2
        assert run(["locate", "91", "3"]) == 2
        assert run(["gate", "place", str(track), "goal", "12m"]) == 2

    def test_help_is_0(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert run(["--help"]) == 0
        assert "Usage: trackkit" in capsys.readouterr().out

    def test_no_circuit_near_is_an_answer(
        self, folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        found = json_of(["locate", "10", "10", "--library", str(folder)], capsys)
        assert found["answer"] == "none"

    def test_no_complete_lap_is_an_answer(
        self, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        lines = (folder / "s.nmea").read_text().splitlines()
        part = tmp_path / "part.nmea"
        part.write_text("\n".join(lines[:200]) + "\n")
        report = json_of(["laps", str(folder / "bean.geojson"), str(part)], capsys)
        assert report["recordings"][0]["best_lap_s"] is None

    def test_of_several_files_the_good_ones_are_done_and_the_status_is_1(
        self, track: Path, session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run(["laps", str(track), "missing.nmea", str(session), "--json"]) == 1
        said = capsys.readouterr()
        assert "missing.nmea: no such file" in said.err
        assert [r["file"] for r in json.loads(said.out)["recordings"]] == [str(session)]

    def test_check_is_1_when_an_error_is_not_accepted_and_0_when_it_is(
        self, track: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run(["check", str(track)]) == 0
        document = json.loads(track.read_text())
        document["track"]["length_m"] += 100
        track.write_text(json.dumps(document))
        assert run(["check", str(track)]) == 1
        document["track"]["accepted"] = [
            {"rule": "length", "feature": "centreline", "reason": "measured by wheel", "by": None,
             "date": "2026-01-01"}
        ]  # fmt: skip
        track.write_text(json.dumps(document))
        capsys.readouterr()
        assert run(["check", str(track)]) == 0
        assert "error (accepted) length" in capsys.readouterr().out

    @pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
    def test_stopping_with_ctrl_c_is_130(self, track: Path, tmp_path: Path) -> None:
        pipe = tmp_path / "endless"
        os.mkfifo(pipe)
        process = subprocess.Popen(
            [sys.executable, "-m", "trackkit", "laps", str(track), str(pipe)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            # A test run in the background has Ctrl-C switched off, and its children inherit that.
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        )
        with process, pipe.open("w"):  # opens once the command reads it, so it is under way
            time.sleep(0.2)
            process.send_signal(signal.SIGINT)
            _, said = process.communicate(timeout=20)
        assert process.returncode == 130
        assert said.decode().strip() == "trackkit: stopped"

    def test_a_reader_that_has_seen_enough_is_no_error(self, track: Path) -> None:
        done = subprocess.run(
            f"{sys.executable} -m trackkit describe {track} | head -n 1",
            shell=True, capture_output=True, check=True,
        )  # fmt: skip
        assert done.stderr == b""
        assert done.stdout.startswith(b"Invented Bean")


class TestFiles:
    def test_a_new_file_never_replaces_one_without_force(
        self, track: Path, session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        before = track.read_bytes()
        page = track.with_suffix(".html")
        page.write_text("mine")
        for command in (
            ["build", str(session), "--name", "X", "-o", str(track)],
            ["map", str(track), "-o", str(page)],
            ["export", str(track), "--to", "kml", "-o", str(track)],
            ["simulate", str(track), "-o", str(session)],
        ):
            assert "exists already" in refused(command, capsys)
        assert track.read_bytes() == before
        assert page.read_text() == "mine"

    def test_force_replaces_it(self, track: Path, session: Path) -> None:
        assert run(["build", str(session), "--name", "Other", "-o", str(track), "--force"]) == 0
        assert read_track(track).name == "Other"

    def test_a_change_in_place_keeps_the_previous_file(self, track: Path) -> None:
        before = track.read_bytes()
        assert run(["gate", "place", str(track), "speed", "100m"]) == 0
        assert track.with_name("bean.geojson~").read_bytes() == before
        assert len(read_track(track).gates) == 4

    def test_a_change_that_is_refused_changes_nothing(
        self, track: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        before = track.read_bytes()
        refused(["gate", "move", str(track), "finish", "100000m"], capsys)
        refused(["gate", "remove", str(track), "finish"], capsys)
        assert track.read_bytes() == before
        assert not track.with_name("bean.geojson~").exists()

    def test_a_folder_that_does_not_exist_is_said(
        self, track: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        target = tmp_path / "none" / "map.html"
        assert str(target) in refused(["map", str(track), "-o", str(target)], capsys)


class TestNegativeNumbers:
    def test_a_position_is_taken_as_typed(
        self, folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        found = json_of(["locate", "-41.2", "-30.5", "--library", str(folder)], capsys)
        assert found["candidates"][0]["id"] == "invented-bean"

    def test_a_place_before_the_finish_is_taken_as_typed(
        self, track: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        length = read_track(track).length_m
        json_of(["gate", "place", str(track), "speed", "-20m"], capsys)
        assert read_track(track).gates[-1].chainage_m == pytest.approx(length - 20, abs=0.01)

    def test_a_surveyed_gate_in_the_south_west_is_taken_as_typed(
        self, track: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        finish = read_track(track).finish
        ends = "/".join(f"{lat:.7f},{lon:.7f}" for lon, lat in (finish.left, finish.right))
        assert ends.startswith("-")
        json_of(["gate", "move", str(track), "finish", ends], capsys)
        assert read_track(track).finish.surveyed


class TestJson:
    """Keys that scripts rely on."""

    def test_build(self, session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        target = str(tmp_path / "t.geojson")
        built = json_of(
            ["build", str(session), "--name", "T", "-o", target, "--sectors", "3"], capsys
        )
        assert {
            "track", "id", "length_m", "direction", "closed", "laps_used", "removed", "gates",
            "remarks",
        } <= built.keys()  # fmt: skip
        assert built["track"] == target
        assert len(built["gates"]) == 3
        assert built["laps_used"] >= 3

    def test_gate_list(self, track: Path, capsys: pytest.CaptureFixture[str]) -> None:
        gates = json_of(["gate", "list", str(track)], capsys)["gates"]
        keys = {"id", "kind", "order", "name", "chainage_m", "width_m", "left", "right"}
        assert all(keys <= gate.keys() for gate in gates)
        assert [gate["order"] for gate in gates] == [0, 1, 2]

    def test_check(self, track: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert json_of(["check", str(track)], capsys) == {"findings": []}
        document = json.loads(track.read_text())
        document["track"]["direction"] = "clockwise"
        track.write_text(json.dumps(document))
        capsys.readouterr()
        assert run(["check", str(track), "--json"]) == 1
        finding = json.loads(capsys.readouterr().out)["findings"][0]
        keys = {"severity", "rule", "feature", "chainage_m", "message", "remedy", "accepted"}
        assert keys <= finding.keys()
        assert finding["rule"] == "direction"

    def test_laps(self, track: Path, session: Path, capsys: pytest.CaptureFixture[str]) -> None:
        report = json_of(["laps", str(track), str(session)], capsys)
        assert report["track"] == "invented-bean"
        recording = report["recordings"][0]
        keys = {
            "file", "start", "laps", "best_lap_s", "theoretical_best_s", "continuous_best_s",
        }  # fmt: skip
        assert keys <= recording.keys()
        assert recording["start"].endswith("Z")
        flying = [lap for lap in recording["laps"] if lap["complete"]]
        assert [lap["number"] for lap in flying] == [1, 2, 3]
        keys = {"number", "kind", "complete", "start_s", "time_s", "sigma_s", "missed", "sectors"}
        assert all(keys <= lap.keys() for lap in recording["laps"])
        for lap in flying:
            assert {"time_s", "sigma_s", "split_s"} <= lap["sectors"][0].keys()
            assert sum(s["time_s"] for s in lap["sectors"]) == pytest.approx(lap["time_s"])

    def test_locate(self, folder: Path, session: Path, capsys: pytest.CaptureFixture[str]) -> None:
        found = json_of(["locate", str(session), "--library", str(folder)], capsys)
        assert found["recordings"][0]["file"] == str(session)
        assert found["recordings"][0]["answer"] in ("at", "near")
        candidate = found["recordings"][0]["candidates"][0]
        keys = {"id", "name", "layout", "direction", "distance_m", "probability"}
        assert keys <= candidate.keys()

    def test_simulate_writes_the_truth_beside_the_recording(
        self, track: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        target = tmp_path / "drive.csv"
        json_of(["simulate", str(track), "-o", str(target), "--laps", "1"], capsys)
        truth = json.loads((tmp_path / "drive.csv.truth.json").read_text())
        assert {"gate", "time_s"} <= truth["crossings"][0].keys()
        assert {"number", "time_s", "sectors_s"} <= truth["laps"][0].keys()


class TestOutput:
    def test_names_are_printed_as_they_are(
        self, session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        odd = "[bold]Odd[/bold] <b>ring</b>"
        target = str(tmp_path / "odd.geojson")
        assert run(["build", str(session), "--name", odd, "-o", target]) == 0
        assert odd in capsys.readouterr().out
        assert run(["locate", "-41.2", "-30.5", "--library", str(tmp_path)]) == 0
        assert odd in capsys.readouterr().out

    def test_the_caution_follows_every_build(
        self, session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run(["build", str(session), "--name", "X", "-o", str(tmp_path / "x.geojson")]) == 0
        said = capsys.readouterr().err
        assert "while driving" in said
        assert "licensed timekeepers" in said

    def test_the_best_of_a_column_has_a_mark_in_text(
        self, track: Path, session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run(["laps", str(track), str(session)]) == 0
        out = capsys.readouterr().out
        assert out.count("*") >= 4  # the lap, three sectors, and the line that explains the mark

    def test_the_finish_gate_is_explained(
        self, session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run(["build", str(session), "--name", "X", "-o", str(tmp_path / "x.geojson")]) == 0
        said = capsys.readouterr().err
        assert "finish gate at" in said
        assert "km/h" in said


def test_locate_loads_no_pandas_geopandas_or_matplotlib(folder: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "trackkit", "locate", "-41.2", "-30.5",
         "--library", str(folder)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    loaded = {
        line.rpartition("|")[2].strip().partition(".")[0] for line in done.stderr.splitlines()
    }
    assert "trackkit" in loaded
    assert not loaded & {"pandas", "geopandas", "matplotlib", "scipy"}


def test_help_loads_no_numerics() -> None:
    done = subprocess.run(
        [sys.executable, "-X", "importtime", "-m", "trackkit", "--help"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    loaded = {
        line.rpartition("|")[2].strip().partition(".")[0] for line in done.stderr.splitlines()
    }
    assert not loaded & {"pandas", "geopandas", "matplotlib", "scipy", "numpy"}


def test_a_negative_value_of_an_option_is_told_as_it_was_typed(tmp_path, capsys):
    track = str(TRACKS / "pipwick-kart-circuit.geojson")

    assert run(["simulate", track, "-o", str(tmp_path / "x.csv"), "--laps", "-1"]) == 2
    assert "-1 is not in the range" in capsys.readouterr().err
