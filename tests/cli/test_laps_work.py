"""Many recordings are timed by several processes, with the same answer as by one."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest
import two_sessions

from trackkit.cli import laps_work, run
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.file import write_track

COUNT = laps_work.ONE_PROCESS_UP_TO + 1


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """One recording more than a single process takes, a copy of one, and one that is broken."""
    made = tmp_path_factory.mktemp("many")
    track = two_sessions.block()
    write_track(track, made / "block.geojson")
    for number in range(COUNT - 1):
        begun = datetime(2024, 5, 4, 8, tzinfo=UTC) + timedelta(hours=number)
        drive = simulate_drive(track, laps=1, rate_hz=2.0, seed=number, start=begun)
        write_recording(drive.recording, made / f"r{number}.csv")
    (made / "r1-copy.csv").write_bytes((made / "r1.csv").read_bytes())
    (made / "r2-broken.gpx").write_text("<gpx><trk>")
    return made


@pytest.mark.slow
def test_other_processes_time_what_one_would(folder, monkeypatch, capfd, tmp_path):
    monkeypatch.chdir(folder)

    def answer(*options):
        capfd.readouterr()
        assert run(["laps", "block.geojson", ".", *options]) == 1
        said = capfd.readouterr()
        return said.out, said.err

    def not_here(*_):
        raise AssertionError("timed in this process")

    traces = tmp_path / "traces.csv"
    with monkeypatch.context() as elsewhere:
        elsewhere.setattr(laps_work, "cores", lambda: 2)
        elsewhere.setattr(laps_work, "_timed", not_here)
        many = answer("--json", "--traces", str(traces)), traces.read_bytes()
    monkeypatch.setattr(laps_work, "ONE_PROCESS_UP_TO", 2 * COUNT)
    alone = answer("--json", "--traces", str(traces), "--force"), traces.read_bytes()

    assert many == alone
    (out, err), _ = many
    assert [row["file"] for row in json.loads(out)["recordings"]] == sorted(
        path.name for path in folder.glob("*.csv")
    )
    assert err.count("r2-broken.gpx") == 1
    assert "r1-copy.csv" in err
