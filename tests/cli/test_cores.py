"""Work shared out among processes: what comes of it is as if it were done here."""

from __future__ import annotations

import os

import pytest
from sample_circuits import track_of

from trackkit.apart import each
from trackkit.cli import cores
from trackkit.cli.cores import ONE_PROCESS_UP_TO, on_all_cores
from trackkit.errors import TrackFileError
from trackkit.simulation.simulate import simulate_drive
from trackkit.timing.lap_times import timed_over
from trackkit.track.file import read_track


@pytest.mark.slow
def test_outcomes_come_in_order_and_an_error_with_all_it_knows(monkeypatch, tmp_path) -> None:
    monkeypatch.setattr(cores, "cores", lambda: 2)
    items = list(range(-ONE_PROCESS_UP_TO - 2, 1))
    missing = tmp_path / "missing.geojson"
    with on_all_cores():
        assert list(each(abs, items, "counting")) == [abs(item) for item in items]
        with pytest.raises(TrackFileError) as raised:
            list(each(read_track, [missing] * len(items), "reading"))
    with pytest.raises(TrackFileError) as here:
        read_track(missing)
    assert str(raised.value) == str(here.value)
    assert list(each(abs, [-1], "counting")) == [1]


def test_each_process_keeps_to_one_core(monkeypatch) -> None:
    monkeypatch.setattr(cores, "cores", lambda: 2)
    monkeypatch.delenv("OMP_NUM_THREADS", raising=False)
    names = ["OMP_NUM_THREADS"] * (ONE_PROCESS_UP_TO + 1)
    with on_all_cores():
        assert set(each(os.getenv, names, "asking")) == {"1"}
    assert "OMP_NUM_THREADS" not in os.environ


def test_a_recording_timed_over_a_copy_of_the_track_is_not_timed_again() -> None:
    import pickle

    track = track_of("pipwick-kart-circuit")
    recording = simulate_drive(track, laps=2, rate_hz=5.0, seed=9).recording
    timed = pickle.loads(pickle.dumps(timed_over(track, recording))).again_over(track)
    drive = timed.drive
    report = timed.report(track)
    assert timed.drive is drive
    assert report.track is track
    expected = timed_over(track, recording).report(track)
    assert [lap.as_row() for lap in report.laps] == [lap.as_row() for lap in expected.laps]
