"""What the tests of `trackkit locate` share: a user without libraries, two layouts, a session."""

import pytest
from long_and_short import LAYOUTS

from trackkit.library.folders import ENVIRONMENT_VARIABLE
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive
from trackkit.track.file import write_track


@pytest.fixture
def home(monkeypatch, tmp_path):
    monkeypatch.delenv(ENVIRONMENT_VARIABLE, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path


@pytest.fixture
def library(home):
    folder = home / "tracks"
    folder.mkdir()
    for track in LAYOUTS.values():
        write_track(track, folder / f"{track.id}.geojson")
    return folder


@pytest.fixture
def session(home):
    path = home / "session.nmea"
    write_recording(simulate_drive(LAYOUTS["long"], laps=1, rate_hz=5).recording, path)
    return path
