"""What is done in Python writes, byte for byte, the file that the command writes."""

import json
import shutil
from datetime import UTC, datetime

import pytest
from checkout import TRACKS

import trackkit
from trackkit.cli import run

KART = TRACKS / "pipwick-kart-circuit.geojson"


@pytest.fixture(autouse=True)
def frozen(monkeypatch):
    """Time stands still: history says when something was done."""

    class Frozen(datetime):
        @classmethod
        def now(cls, tz=None):
            assert tz is UTC
            return cls(2031, 5, 17, 9, 30, tzinfo=UTC)

    monkeypatch.setattr("trackkit.track.history.datetime", Frozen)


def placed(track):
    return trackkit.place_gate(track, "speed", "301.2345m", name="Dip", width_m=13.1).track


def moved(track):
    first = track.gates_of_kind("sector")[0]
    return trackkit.move_gate(track, first.id, first.chainage_m + 7.77).track


def moved_finish(track):
    return trackkit.move_gate(track, "finish", 11.111).track


def removed(track):
    return trackkit.remove_gate(track, track.gates_of_kind("sector")[0].id).track


def suggested(track):
    return trackkit.apply_suggestions(track, trackkit.suggest_gates(track, 4, "length"))[0]


def command_of(change, track):
    first = track.gates_of_kind("sector")[0]
    return {
        placed: ["place", "TRACK", "speed", "301.2345m", "--name", "Dip", "--width", "13.1"],
        moved: ["move", "TRACK", first.id, f"{first.chainage_m + 7.77!r}m"],
        moved_finish: ["move", "TRACK", "finish", "11.111m"],
        removed: ["remove", "TRACK", first.id],
        suggested: ["suggest", "TRACK", "--sectors", "4", "--by", "length", "--apply"],
    }[change]


@pytest.mark.slow
@pytest.mark.parametrize("change", [placed, moved, moved_finish, removed, suggested])
def test_gates_changed_in_python_are_those_of_the_command(change, tmp_path):
    by_command, by_python = tmp_path / "command.geojson", tmp_path / "python.geojson"
    shutil.copy(KART, by_command)
    track = trackkit.read_track(KART)
    words = [str(by_command) if w == "TRACK" else w for w in command_of(change, track)]

    assert run(["gate", *words]) == 0
    written = trackkit.write_track(change(track), by_python)

    assert by_python.read_bytes() == by_command.read_bytes()
    assert by_python.read_bytes() != KART.read_bytes()
    assert b"2031-05-17T09:30:00Z" in by_python.read_bytes()
    again = trackkit.read_track(by_python)
    assert [gate.as_row() for gate in written.gates] == [gate.as_row() for gate in again.gates]


def test_a_track_reversed_in_python_is_that_of_the_command(tmp_path):
    by_command, by_python = tmp_path / "command.geojson", tmp_path / "python.geojson"

    assert run(["reverse", str(KART), "-o", str(by_command)]) == 0
    turned, _ = trackkit.reverse_track(trackkit.read_track(KART))
    trackkit.write_track(turned, by_python)

    assert by_python.read_bytes() == by_command.read_bytes()


def test_a_finding_accepted_in_python_is_that_of_the_command(tmp_path):
    by_command, by_python = tmp_path / "command.geojson", tmp_path / "python.geojson"
    track = trackkit.place_gate(trackkit.read_track(KART), "sector", "60m", width_m=2.0).track
    track = trackkit.write_track(track, by_command)
    found = trackkit.check_track(track)[0]

    command = ["check", str(by_command), "--accept", found.rule, found.feature, "--reason", "kerb"]
    assert run([*command, "--by", "A. Invented"]) in (0, 1)
    accepted = trackkit.accept_finding(
        track, [found], found.rule, found.feature, reason="kerb", by="A. Invented"
    )
    trackkit.write_track(accepted, by_python)

    assert by_python.read_bytes() == by_command.read_bytes()
    assert any(one.accepted for one in trackkit.check_track(accepted))


def test_what_is_described_listed_and_located_in_python_is_the_json_of_the_commands(
    tmp_path, monkeypatch, capsys
):
    monkeypatch.delenv("TRACKKIT_LIBRARY", raising=False)
    monkeypatch.setattr("trackkit.library.folders.user_folder", lambda: tmp_path / "none")
    track = trackkit.read_track(KART)
    place = (float(track.centreline.longitude_deg[0]), float(track.centreline.latitude_deg[0]))
    words = [repr(place[1]), repr(place[0])]

    def told(command):
        assert run([*command, "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    verdict = trackkit.judge_track(track, trackkit.check_track(track)).as_row()
    described = told(["describe", str(KART)])
    # What to do next each face says in its own words; what it is made of is `action`.
    assert {**described.pop("verdict"), "next": ""} == {**verdict, "next": ""}
    assert described == trackkit.describe_track(track).as_row()
    assert told(["locate", *words]) == trackkit.locate(place).as_row()
    listed = trackkit.list_library(near=place, within_m=50_000.0)
    command = ["library", "list", "--near", *words, "--within", "50"]
    assert told(command) == {"tracks": [one.as_row() for one in listed]}
    assert listed[0].circuit.id == track.id


def test_a_library_is_added_to_and_removed_from_in_python(tmp_path, monkeypatch):
    monkeypatch.delenv("TRACKKIT_LIBRARY", raising=False)
    monkeypatch.setattr("trackkit.library.folders.user_folder", lambda: tmp_path / "none")
    mine = tmp_path / "mine"
    nothing = trackkit.open_library([])

    added = trackkit.add_to_library(KART, mine, library=nothing)
    assert added.path.read_bytes() == KART.read_bytes()
    library = trackkit.open_library([str(mine)])
    assert [entry.circuit.id for entry in trackkit.list_library(library)] == [added.track.id]
    with pytest.raises(trackkit.TrackkitError, match="no known track has the id elsewhere"):
        trackkit.remove_from_library("elsewhere", library=library)
    kept = trackkit.remove_from_library(added.track.id, library=library)
    assert kept.read_bytes() == KART.read_bytes()
    assert not added.path.exists()


def test_a_place_with_its_latitude_first_is_refused():
    with pytest.raises(trackkit.TrackkitError, match="give the longitude first"):
        trackkit.locate((10.0, 144.0), trackkit.open_library([]))


def test_an_alignment_is_refused_without_a_lap_or_without_lists_that_go_with_the_recordings():
    hill = trackkit.read_track(TRACKS / "orrinback-hill.geojson")
    with pytest.raises(trackkit.TrackkitError, match="only on a closed track"):
        trackkit.align_finish(hill, [], [])
    with pytest.raises(trackkit.TrackkitError, match="0 recordings and 0 lists"):
        trackkit.align_finish(trackkit.read_track(KART), [], [])


def test_a_distance_from_no_place_is_refused():
    with pytest.raises(trackkit.TrackkitError, match="say near which place"):
        trackkit.list_library(trackkit.open_library([]), within_m=5.0)
