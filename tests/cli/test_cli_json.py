"""The JSON of the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command_line import json_of

from trackkit.cli import run


class TestJson:
    """Keys that scripts rely on."""

    def test_build(
        self, bean_session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        target = str(tmp_path / "t.geojson")
        built = json_of(
            ["build", str(bean_session), "--name", "T", "-o", target, "--sectors", "3"], capsys
        )
        assert {
            "track",
            "id",
            "length_m",
            "direction",
            "closed",
            "laps_used",
            "removed",
            "gates",
            "remarks",
        } <= built.keys()
        assert built["track"] == target
        assert len(built["gates"]) == 3
        assert built["laps_used"] >= 3

    def test_gate_list(self, bean: Path, capsys: pytest.CaptureFixture[str]) -> None:
        gates = json_of(["gate", "list", str(bean)], capsys)["gates"]
        keys = {"id", "kind", "order", "name", "chainage_m", "width_m", "left", "right"}
        assert all(keys <= gate.keys() for gate in gates)
        assert [gate["order"] for gate in gates] == [0, 1, 2]

    def test_check(self, bean: Path, capsys: pytest.CaptureFixture[str]) -> None:
        judged = json_of(["check", str(bean)], capsys)
        assert judged["findings"] == []
        assert {"fit", "reasons", "next", "letters", "digest", "date"} <= judged["verdict"].keys()
        document = json.loads(bean.read_text())
        document["track"]["direction"] = "clockwise"
        bean.write_text(json.dumps(document))
        capsys.readouterr()
        assert run(["check", str(bean), "--json"]) == 1
        finding = json.loads(capsys.readouterr().out)["findings"][0]
        keys = {"severity", "rule", "feature", "chainage_m", "message", "remedy", "accepted"}
        assert keys <= finding.keys()
        assert finding["rule"] == "direction"

    @pytest.mark.slow
    def test_laps(self, bean: Path, bean_session: Path, capsys: pytest.CaptureFixture[str]) -> None:
        report = json_of(["laps", str(bean), str(bean_session)], capsys)
        assert report["track"] == "invented-bean"
        recording = report["recordings"][0]
        keys = {
            "file",
            "start",
            "laps",
            "best_lap_s",
            "theoretical_best_s",
            "continuous_best_s",
        }
        assert keys <= recording.keys()
        assert recording["start"].endswith("Z")
        flying = [lap for lap in recording["laps"] if lap["complete"]]
        assert [lap["number"] for lap in flying] == [1, 2, 3]
        keys = {"number", "kind", "complete", "start_s", "time_s", "sigma_s", "missed", "sectors"}
        assert all(keys <= lap.keys() for lap in recording["laps"])
        for lap in flying:
            assert {"time_s", "sigma_s", "split_s"} <= lap["sectors"][0].keys()
            assert sum(s["time_s"] for s in lap["sectors"]) == pytest.approx(lap["time_s"])

    def test_locate(
        self, bean_folder: Path, bean_session: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        found = json_of(["locate", str(bean_session), "--library", str(bean_folder)], capsys)
        assert found["recordings"][0]["file"] == str(bean_session)
        assert found["recordings"][0]["answer"] in ("at", "near")
        candidate = found["recordings"][0]["candidates"][0]
        keys = {"id", "name", "layout", "direction", "distance_m", "probability"}
        assert keys <= candidate.keys()

    def test_simulate_writes_the_truth_beside_the_recording(
        self, bean: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        target = tmp_path / "drive.csv"
        json_of(["simulate", str(bean), "-o", str(target), "--laps", "1"], capsys)
        truth = json.loads((tmp_path / "drive.csv.truth.json").read_text())
        assert {"gate", "time_s"} <= truth["crossings"][0].keys()
        assert {"number", "time_s", "sectors_s"} <= truth["laps"][0].keys()
