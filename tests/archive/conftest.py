"""What tests of the archive share: a season of few small recordings, added once."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from sample_circuits import track_of
from unknown_circuit import unknown_track

import trackkit
from trackkit.archive import add as adding
from trackkit.recordings.write import write_recording
from trackkit.simulation.simulate import simulate_drive

for name in ("dask", "deltalake", "duckdb", "pyarrow"):
    pytest.importorskip(name, reason=f"the extra archive, of which {name} is, is not installed")

PIPWICK, OVAL = "pipwick-kart-circuit", "gullhatch-oval"
DRIVERS = """file,driver,vehicle,class,notes,weather,temperature
a.nmea,Ada,7,Junior,new tyres,dry,21.5
b.csv,Bert,8,Senior,,wet,12
"""


@pytest.fixture(scope="session")
def season(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of three recordings, one driven nobody knows where, one broken, and a text."""
    folder = tmp_path_factory.mktemp("season")
    for name, circuit, seed in (("a.nmea", PIPWICK, 1), ("b.csv", PIPWICK, 2), ("c.gpx", OVAL, 3)):
        drive = simulate_drive(track_of(circuit), laps=2, rate_hz=5.0, seed=seed)
        write_recording(drive.recording, folder / name)
    drive = simulate_drive(unknown_track(), laps=1, rate_hz=2.0, seed=4)
    write_recording(drive.recording, folder / "elsewhere.csv")
    (folder / "broken.nmea").write_text("$GPRMC,1,2,3\n")
    (folder / "readme.txt").write_text("no recording\n")
    (folder / "drivers.csv").write_text(DRIVERS)
    return folder


@pytest.fixture
def home(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Path:
    """A user with no libraries and no archive."""
    monkeypatch.delenv("TRACKKIT_LIBRARY", raising=False)
    monkeypatch.delenv("TRACKKIT_ARCHIVE", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path


@pytest.fixture
def in_this_process(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Have recordings timed in the process of the test, and list the files that were."""
    files: list[str] = []

    def here(work: Callable, items: Sequence, done: Callable, **_: object) -> list[int]:
        for place, item in enumerate(items):
            files.append(Path(item.path).name)
            done(place, work(item))
        return []

    monkeypatch.setattr(adding, "spread", here)
    return files


@pytest.fixture(scope="session")
def stored(season: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, object]:
    """The season in an archive, added by Dask's processes, and what came of that."""
    at = tmp_path_factory.mktemp("stored") / "archive"
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("TRACKKIT_LIBRARY", raising=False)
        patch.setenv("XDG_DATA_HOME", str(at.parent / "data"))
        patch.setenv("XDG_CACHE_HOME", str(at.parent / "cache"))
        return at, trackkit.add_to_archive([season], at, traces=True, workers=2)


@pytest.fixture
def archive(stored: tuple[Path, object], tmp_path: Path) -> Path:
    """A copy of the season's archive to change."""
    return Path(shutil.copytree(stored[0], tmp_path / "archive"))
