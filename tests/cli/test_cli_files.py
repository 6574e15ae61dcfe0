"""What the command line does to files: never over one that exists, or changed and kept."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from command_line import refused

from trackkit.cli import run
from trackkit.track.file import read_track


class TestFiles:
    def test_a_new_file_never_replaces_one_without_force(
        self, bean: Path, bean_session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        before = bean.read_bytes()
        page = bean.with_suffix(".html")
        page.write_text("mine")
        for command in (
            ["build", str(bean_session), "--name", "X", "-o", str(bean)],
            ["map", str(bean), "-o", str(page)],
            ["export", str(bean), "--to", "kml", "-o", str(bean)],
            ["simulate", str(bean), "-o", str(bean_session)],
        ):
            assert "exists already" in refused(command, capsys)
        assert bean.read_bytes() == before
        assert page.read_text() == "mine"

    def test_force_replaces_it(self, bean: Path, bean_session: Path) -> None:
        assert run(["build", str(bean_session), "--name", "Other", "-o", str(bean), "--force"]) == 0
        assert read_track(bean).name == "Other"

    def test_what_force_replaces_stays_beside_it(self, bean: Path, bean_session: Path) -> None:
        before = bean.read_bytes()
        assert run(["build", str(bean_session), "--name", "Other", "-o", str(bean), "--force"]) == 0
        assert bean.with_name("bean.geojson~").read_bytes() == before

    def test_a_device_is_written_to_and_never_in_the_way(self, bean_session: Path) -> None:
        assert run(["build", str(bean_session), "--name", "X", "-o", "/dev/null"]) == 0
        assert not Path("/dev/null").is_file()

    @pytest.mark.slow
    def test_a_table_for_standard_output_stands_before_what_is_printed(
        self, bean: Path, bean_session: Path, tmp_path: Path
    ) -> None:
        # Standard output may be a file: what is written by either way must not go over the other.
        target = tmp_path / "all.txt"
        with target.open("wb") as output:
            subprocess.run(
                [
                    sys.executable,
                    "-m",
                    "trackkit",
                    "laps",
                    bean,
                    bean_session,
                    "--csv",
                    "/dev/stdout",
                ],
                stdout=output,
                check=True,
            )
        rows, laps = target.read_text("utf-8").split(f"\n{bean_session}: 3 complete flying laps")
        assert rows.startswith("file,label,lap,")
        assert "flying" in laps

    def test_two_outputs_of_one_name_are_refused_before_anything_is_written(
        self, bean: Path, bean_session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        before = bean.read_bytes()
        build = ["build", str(bean_session), "--name", "X", "-o", str(bean), "--force"]
        assert run([*build, "--explain", str(bean)]) == 2
        assert "--output and --explain name the same file" in capsys.readouterr().err
        assert bean.read_bytes() == before

    def test_a_change_in_place_keeps_the_previous_file(self, bean: Path) -> None:
        before = bean.read_bytes()
        assert run(["gate", "place", str(bean), "speed", "100m"]) == 0
        assert bean.with_name("bean.geojson~").read_bytes() == before
        assert len(read_track(bean).gates) == 4

    def test_a_change_that_is_refused_changes_nothing(
        self, bean: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        before = bean.read_bytes()
        refused(["gate", "move", str(bean), "finish", "100000m"], capsys)
        refused(["gate", "remove", str(bean), "finish"], capsys)
        assert bean.read_bytes() == before
        assert not bean.with_name("bean.geojson~").exists()

    def test_a_folder_that_does_not_exist_is_said(
        self, bean: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        target = tmp_path / "none" / "map.html"
        assert str(target) in refused(["map", str(bean), "-o", str(target)], capsys)
