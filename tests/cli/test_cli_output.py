"""What the command line prints for people."""

from __future__ import annotations

from pathlib import Path

import pytest

from trackkit.cli import run


class TestOutput:
    def test_names_are_printed_as_they_are(
        self, bean_session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        odd = "[bold]Odd[/bold] <b>ring</b>"
        target = str(tmp_path / "odd.geojson")
        assert run(["build", str(bean_session), "--name", odd, "-o", target]) == 0
        assert odd in capsys.readouterr().out
        assert run(["locate", "-41.2", "-30.5", "--library", str(tmp_path)]) == 0
        assert odd in capsys.readouterr().out

    def test_the_caution_follows_every_build(
        self, bean_session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert (
            run(["build", str(bean_session), "--name", "X", "-o", str(tmp_path / "x.geojson")]) == 0
        )
        said = capsys.readouterr().err
        assert "while driving" in said
        assert "licensed timekeepers" in said

    def test_the_best_of_a_column_has_a_mark_in_text(
        self, bean: Path, bean_session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert run(["laps", str(bean), str(bean_session)]) == 0
        out = capsys.readouterr().out
        assert out.count("*") >= 4  # the lap, three sectors, and the line that explains the mark

    def test_the_finish_gate_is_explained(
        self, bean_session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert (
            run(["build", str(bean_session), "--name", "X", "-o", str(tmp_path / "x.geojson")]) == 0
        )
        said = capsys.readouterr().err
        assert "finish gate at" in said
        assert "km/h" in said
