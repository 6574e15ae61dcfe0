"""A changed track as a layout of its own: nothing mixes with the one before."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from long_block import long_block, recorded

from trackkit.building.build import build_track
from trackkit.building.new_layout import as_new_layout
from trackkit.building.revise import revise_track
from trackkit.cli import run
from trackkit.errors import TrackFileError
from trackkit.recordings.write import write_recording
from trackkit.track.file import read_track, stored, write_track


@pytest.fixture(scope="module")
def first():
    return stored(build_track([recorded(long_block(), seed=11)], "Block", sectors=3).track)


DAY = datetime(2026, 4, 1, 9, 0, tzinfo=UTC)


def changed_day():
    return replace(recorded(long_block(12.0), seed=61, noise=0.3), start=DAY)


def test_a_changed_track_becomes_a_layout_that_replaces_the_one_before(first):
    day = changed_day()
    revision = revise_track(first, [day])

    made = as_new_layout(first, revision, "Detour", [day]).build.track
    made = stored(made)

    assert (made.id, made.name, made.layout) == ("block-detour", "Block", "Detour")
    assert (made.replaces, made.valid_from) == (first.id, "2026-04-01")
    assert made.version == "1.1"
    assert [g.id for g in made.gates] == [g.id for g in first.gates]
    assert made.curve.length_m > first.curve.length_m + 2.0
    assert made.history[-1]["what"].endswith(f"which replaces {first.id}")


def test_what_has_not_changed_is_no_other_layout(first):
    day = recorded(long_block(), seed=12)
    with pytest.raises(TrackFileError, match="so this is no other layout"):
        as_new_layout(first, revise_track(first, [day]), "Detour", [day])


def test_the_new_layout_needs_an_id_of_its_own(first):
    day = changed_day()
    old = replace(first, id="block-detour")
    with pytest.raises(TrackFileError, match="give the layout another name"):
        as_new_layout(old, revise_track(old, [day]), "Detour", [day])


@pytest.fixture
def files(first, tmp_path):
    write_track(first, tmp_path / "block.geojson")
    write_recording(changed_day(), tmp_path / "day.nmea")
    return tmp_path


def test_the_command_offers_it_where_the_track_has_changed(files, capsys):
    assert run(["build", "--revise", str(files / "block.geojson"), str(files / "day.nmea")]) == 0
    assert "--as-new-layout NAME makes it a layout of its own" in capsys.readouterr().err


def test_the_command_writes_it_beside_the_one_before_which_stays(files, first, capsys):
    path = files / "block.geojson"
    before = path.read_bytes()
    words = ["build", "--revise", str(path), str(files / "day.nmea"), "--as-new-layout", "Detour"]

    assert run([*words, "--json"]) == 0

    document = json.loads(capsys.readouterr().out)
    assert document["track"] == str(files / "block-detour.geojson")
    assert path.read_bytes() == before
    made = read_track(files / "block-detour.geojson")
    assert (made.replaces, made.valid_from) == (first.id, "2026-04-01")
    assert run(words) == 1
    assert "exists already" in capsys.readouterr().err
    assert run(["build", str(files / "day.nmea"), "--name", "x", "--as-new-layout", "y"]) == 2


@pytest.mark.slow
@pytest.mark.parametrize(("day", "layout"), [(31, "block"), (1, "block-detour")])
def test_a_drive_is_located_on_the_layout_of_its_day(files, capsys, monkeypatch, day, layout):
    monkeypatch.setenv("XDG_DATA_HOME", str(files / "data"))
    path = files / "block.geojson"
    words = ["build", "--revise", str(path), str(files / "day.nmea"), "--as-new-layout", "Detour"]
    assert run(words) == 0
    capsys.readouterr()
    start = DAY.replace(month=3, day=31) if day == 31 else DAY
    drive = files / "drive.nmea"
    # From the shared southern straight on, so that only the day can tell the layouts apart.
    write_recording(replace(recorded(long_block(), laps=0.25, seed=5), start=start), drive)

    assert run(["locate", str(drive), "--library", str(files), "--json"]) == 0
    (row,) = json.loads(capsys.readouterr().out)["recordings"]

    assert (row["answer"], row["candidates"][0]["id"], row["tied"]) == ("at", layout, [])
    assert {"block", "block-detour"} - {layout} not in [{c["id"]} for c in row["candidates"]]


def test_laps_says_where_the_track_was_another_one_on_the_day(files, capsys):
    path = files / "block.geojson"
    assert run(["set", str(path), "valid-until", "2026-03-31"]) == 0
    assert run(["laps", str(path), str(files / "day.nmea")]) == 0
    assert (
        "is valid until 2026-03-31, and this was recorded on 2026-04-01" in capsys.readouterr().err
    )
