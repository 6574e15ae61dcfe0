"""What the command line does to files: never over one that exists, or changed and kept."""

from __future__ import annotations

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
