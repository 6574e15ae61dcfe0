"""``trackkit demo``: the whole job on an invented circuit."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from trackkit.cli import run
from trackkit.track.file import read_track

SENTENCE_START = "trackkit: "


def refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Run a command that cannot be done: status 1, nothing on stdout, one sentence on stderr."""
    capsys.readouterr()
    assert run(arguments) == 1
    said = capsys.readouterr()
    assert said.out == ""
    lines = [line for line in said.err.splitlines() if line.startswith(SENTENCE_START)]
    assert len(lines) == 1
    return lines[0]


class TestDemo:
    @pytest.mark.slow
    def test_it_does_the_whole_job_with_its_commands_shown(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        work = tmp_path / "work"
        began = time.perf_counter()
        assert run(["demo", "--out", str(work)]) == 0
        assert time.perf_counter() - began < 60  # 15 s alone on two cores; tests share them
        out = capsys.readouterr().out
        for step in ("simulate", "build", "gate place", "check", "laps", "locate", "map"):
            assert f"$ trackkit {step}" in out
        track = read_track(work / "circuit.geojson")
        assert [gate.kind for gate in track.gates] == ["finish", "sector", "sector"]
        assert "nothing found" in out
        assert f"at {track.name}" in out
        assert "5 complete flying laps" in out
        assert (work / "map.html").stat().st_size > 100_000

    def test_a_folder_with_something_in_it_is_refused(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        (tmp_path / "mine").write_text("mine")
        assert "is not empty" in refused(["demo", "--out", str(tmp_path)], capsys)
