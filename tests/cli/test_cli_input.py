"""What the command line says of input that cannot be used."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from command_line import refused


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
        self, bean: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert "is a track file" in refused(["laps", str(bean), str(bean)], capsys)

    def test_a_recording_given_as_track_file_is_recognised(
        self, bean: Path, bean_session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert "no track file" in refused(["describe", str(bean_session)], capsys)

    @pytest.mark.skipif(os.geteuid() == 0, reason="root may read every file")
    def test_a_file_without_permission_is_answered_by_one_sentence(
        self, bean: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        bean.chmod(0)
        assert "may not be read" in refused(["describe", str(bean)], capsys)

    def test_a_recording_without_a_whole_lap_says_how_far_its_end_is_from_its_start(
        self, bean_folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        lines = (bean_folder / "s.nmea").read_text().splitlines()
        # 25 s parked and driven: the circuit takes about 40 s.
        half = tmp_path / "half.nmea"
        half.write_text("\n".join(lines[: 2 * 10 * 32]) + "\n")
        said = refused(
            ["build", str(half), "--name", "X", "-o", str(tmp_path / "x.geojson")], capsys
        )
        assert "holds no whole lap: its end lies" in said
        assert "from its start" in said
