"""The statuses that the command line exits with."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from command_line import json_of

from trackkit.cli import run


class TestStatus:
    def test_a_wrong_command_line_is_2(self, bean: Path) -> None:
        assert run(["frobnicate"]) == 2
        assert run(["build", "x.gpx"]) == 2
        assert run(["gate", "move", str(bean), "finish", "somewhere"]) == 2
        assert run(["locate", "91", "3"]) == 2
        assert run(["gate", "place", str(bean), "goal", "12m"]) == 2

    def test_help_is_0(self, capsys: pytest.CaptureFixture[str]) -> None:
        assert run(["--help"]) == 0
        assert "Usage: trackkit" in capsys.readouterr().out

    def test_no_circuit_near_is_an_answer(
        self, bean_folder: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        found = json_of(["locate", "10", "60", "--library", str(bean_folder)], capsys)
        assert found["answer"] == "none"

    def test_no_complete_lap_is_an_answer(
        self, bean_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        lines = (bean_folder / "s.nmea").read_text().splitlines()
        part = tmp_path / "part.nmea"
        part.write_text("\n".join(lines[:200]) + "\n")
        report = json_of(["laps", str(bean_folder / "bean.geojson"), str(part)], capsys)
        assert report["recordings"][0]["best_lap_s"] is None

    def test_of_several_files_the_good_ones_are_done_and_the_status_is_1(
        self, bean: Path, bean_session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run(["laps", str(bean), "missing.nmea", str(bean_session), "--json"]) == 1
        said = capsys.readouterr()
        assert "missing.nmea: no such file" in said.err
        assert [r["file"] for r in json.loads(said.out)["recordings"]] == [str(bean_session)]

    def test_check_is_1_when_an_error_is_not_accepted_and_0_when_it_is(
        self, bean: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run(["check", str(bean)]) == 0
        document = json.loads(bean.read_text())
        document["track"]["length_m"] += 100
        bean.write_text(json.dumps(document))
        assert run(["check", str(bean)]) == 1
        document["track"]["accepted"] = [
            {
                "rule": "length",
                "feature": "centreline",
                "reason": "measured by wheel",
                "by": None,
                "date": "2026-01-01",
            }
        ]
        bean.write_text(json.dumps(document))
        capsys.readouterr()
        assert run(["check", str(bean)]) == 0
        assert "error (accepted) length" in capsys.readouterr().out

    @pytest.mark.slow
    @pytest.mark.skipif(sys.platform == "win32", reason="POSIX signals")
    def test_stopping_with_ctrl_c_is_130(self, bean: Path, tmp_path: Path) -> None:
        pipe = tmp_path / "endless"
        os.mkfifo(pipe)
        process = subprocess.Popen(
            [sys.executable, "-m", "trackkit", "laps", str(bean), str(pipe)],
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

    @pytest.mark.slow
    def test_a_reader_that_has_seen_enough_is_no_error(self, bean: Path) -> None:
        done = subprocess.run(
            f"{sys.executable} -m trackkit describe {bean} | head -n 1",
            shell=True,
            capture_output=True,
            check=True,
        )
        assert done.stderr == b""
        assert done.stdout.startswith(b"Invented Bean")
