"""After a gate was moved the archive is what adding to an empty one would make."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from killed_adds import every_row
from sample_circuits import track_of

import trackkit
from trackkit.archive import add as adding
from trackkit.archive import refresh as refreshing
from trackkit.archive.store import replace_rows
from trackkit.cli import run
from trackkit.errors import TrackkitError

PIPWICK, OVAL = "pipwick-kart-circuit", "gullhatch-oval"
TIMES = {"time_s": 1e-4, "sigma_s": 1e-5, "split_s": 1e-4, "elapsed_s": 1e-4}
"""Drives are kept to a hundredth of a millimetre; a finish gate that is moved cuts the line anew,
whose laps then tell a tenth of a millimetre otherwise how far the drive is off."""


def in_place(work: Callable, items: Sequence, done: Callable, **_: object) -> list[int]:
    """Do in the process of the test what is otherwise spread over others."""
    for place, item in enumerate(items):
        done(place, work(item))
    return []


@pytest.fixture(scope="module")
def base(season: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of two recordings, their circuits, and an archive of them."""
    folder = tmp_path_factory.mktemp("refreshed")
    for name in ("tracks", "day"):
        (folder / name).mkdir()
    for circuit in (PIPWICK, OVAL):
        trackkit.write_track(track_of(circuit), folder / "tracks" / f"{circuit}.geojson")
    for name in ("a.nmea", "c.gpx", "drivers.csv"):
        shutil.copy2(season / name, folder / "day" / name)
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("TRACKKIT_LIBRARY", raising=False)
        patch.setenv("XDG_DATA_HOME", str(folder / "data"))
        patch.setenv("XDG_CACHE_HOME", str(folder / "cache"))
        patch.setattr(adding, "spread", in_place)
        trackkit.add_to_archive([folder / "day"], folder / "at", library=[folder / "tracks"])
    return folder


@pytest.fixture
def day(base: Path) -> Path:
    return base / "day"


@pytest.fixture
def library(base: Path, home: Path) -> Path:
    return Path(shutil.copytree(base / "tracks", home / "tracks"))


@pytest.fixture
def added(base: Path, home: Path, library: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(refreshing, "spread", in_place)
    monkeypatch.setattr(adding, "spread", in_place)
    return Path(shutil.copytree(base / "at", home / "archive"))


def move(library: Path, circuit: str, gate: int, by_m: float) -> None:
    path = library / f"{circuit}.geojson"
    track = trackkit.read_track(path)
    at_m = (track.gates[gate].chainage_m + by_m) % track.length_m
    changed = trackkit.move_gate(track, track.gates[gate].id, f"{at_m:.1f}m")
    trackkit.write_track(changed.track, path, force=True)


def rows(at: Path, table: str) -> list[dict]:
    relation = trackkit.open_archive(at).connection().sql(f"SELECT * FROM {table} ORDER BY ALL")
    return [dict(zip(relation.columns, row, strict=True)) for row in relation.fetchall()]


def assert_as_fresh(at: Path, day: Path, library: Path) -> None:
    trackkit.add_to_archive([day], at.parent / "fresh", library=[library])
    for table in ("sessions", "laps", "sectors", "crossings"):
        again, fresh = rows(at, table), rows(at.parent / "fresh", table)
        assert len(again) == len(fresh) > 0
        for own, expected in zip(again, fresh, strict=True):
            for name in ("recording", "geometry", "session", "lap", "kind", "counts", "missed"):
                assert own.get(name) == expected.get(name)
            for name in ("driver", "temperature_degc", "remarks", "best", "gate", "gate_name"):
                assert own.get(name) == expected.get(name)
            for name, within in TIMES.items():
                if expected.get(name) is not None:
                    assert own[name] == pytest.approx(expected[name], abs=within), (table, name)


@pytest.mark.slow
def test_moved_gates_are_timed_from_drives(added, day, library):
    before = every_row(added)
    move(library, PIPWICK, 0, 25.0)  # the finish gate
    move(library, OVAL, 1, 12.0)
    moved = {path.name: path.read_bytes() for path in day.iterdir() if path.suffix != ".csv"}
    for name in moved:
        (day / name).unlink()
    done = trackkit.refresh_archive(added, library=[library])
    assert (done.from_drives, done.from_recordings, done.current, done.left) == (2, 0, 0, ())
    assert every_row(added) != before
    for name, content in moved.items():
        (day / name).write_bytes(content)
    assert_as_fresh(added, day, library)
    again = trackkit.refresh_archive(added, library=[library])
    assert (again.current, again.from_drives, again.laps) == (2, 0, 0)


@pytest.mark.slow
def test_another_line_needs_the_recordings(added, day, library, capsys):
    path = library / f"{OVAL}.geojson"
    track = trackkit.read_track(path)
    wider = replace(track, centreline=replace(track.centreline, width_m=20.0))
    trackkit.write_track(wider, path, force=True)
    move(library, OVAL, 1, 12.0)
    (day / "c.gpx").rename(day / "moved.gpx")
    command = ["archive", "refresh", "--at", str(added), "--library", str(library), "--json"]
    assert run(command) == 1
    printed = capsys.readouterr()
    answer = json.loads(printed.out)
    assert (answer["from_drives"], answer["from_recordings"], answer["current"]) == (0, 0, 1)
    assert "cannot be read where it lay" in answer["left"][0]["text"]
    assert "c.gpx" in printed.err
    (day / "moved.gpx").rename(day / "c.gpx")
    assert run(command) == 0
    assert json.loads(capsys.readouterr().out)["from_recordings"] == 1
    assert_as_fresh(added, day, library)


@pytest.mark.slow
def test_stopped_between_tables_it_goes_on(added, day, library, monkeypatch):
    move(library, OVAL, 1, 12.0)

    def killed(archive, table, *rest):
        if table.name == "crossings":
            raise RuntimeError("stopped")
        replace_rows(archive, table, *rest)

    with monkeypatch.context() as patch:
        patch.setattr("trackkit.archive.write.replace_rows", killed)
        with pytest.raises(RuntimeError, match="stopped"):
            trackkit.refresh_archive(added, library=[library])
    trackkit.refresh_archive(added, library=[library])
    assert_as_fresh(added, day, library)


def test_without_an_archive_it_says_so(home):
    with pytest.raises(TrackkitError, match="no archive with laps"):
        trackkit.refresh_archive(home / "nothing")
