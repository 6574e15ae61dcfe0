"""Gate sets: one's own sector gates laid over a track file that stays as it is."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from sample_circuits import track_of

import trackkit
from trackkit.errors import PlaceError, TrackFileError


@pytest.fixture(scope="module")
def track():
    return track_of("pipwick-kart-circuit")


def document_of(track, places_m, **described):
    """A gate set with gates square to the track at places."""
    gates = [
        trackkit.place_gate(track, "sector", trackkit.Place(chainage_m=at)).gate for at in places_m
    ]
    return {
        "type": "FeatureCollection",
        "gates": {"format": "trackkit-gates", "version": "1.0", "track": track.id} | described,
        "features": [
            {
                "type": "Feature",
                "geometry": {"type": "LineString", "coordinates": [gate.left, gate.right]},
                "properties": {"kind": "sector"},
            }
            for gate in gates
        ],
    }


def written(tmp_path, document):
    path = tmp_path / "own.geojson"
    path.write_text(json.dumps(document), "utf-8")
    return path


def test_its_gates_take_the_place_of_the_sector_gates(track, tmp_path) -> None:
    before = trackkit.read_track(trackkit.open_library().find(track.id).path)
    own = trackkit.with_gate_set(track, written(tmp_path, document_of(track, [500.0, 250.0])))
    sectors = own.gates_of_kind("sector")
    assert [gate.chainage_m for gate in sectors] == pytest.approx([250.0, 500.0], abs=0.01)
    assert [gate.name for gate in sectors] == ["Sector 1 end", "Sector 2 end"]
    assert own.finish == track.finish
    assert not any(gate.surveyed for gate in sectors)
    assert [gate.left for gate in before.gates] == [gate.left for gate in track.gates]


def test_a_set_without_gates_leaves_whole_laps(track, tmp_path) -> None:
    own = trackkit.with_gate_set(track, written(tmp_path, document_of(track, [])))
    assert not own.gates_of_kind("sector")


def test_a_name_of_its_own_is_kept(track, tmp_path) -> None:
    document = document_of(track, [300.0])
    document["features"][0]["properties"]["name"] = "The tree"
    own = trackkit.with_gate_set(track, written(tmp_path, document))
    assert own.gates_of_kind("sector")[0].name == "The tree"


def test_ends_the_wrong_way_round_are_put_right(track, tmp_path) -> None:
    document = document_of(track, [300.0])
    right_way = trackkit.with_gate_set(track, written(tmp_path, document))
    document["features"][0]["geometry"]["coordinates"].reverse()
    other_way = trackkit.with_gate_set(track, written(tmp_path, document))
    assert other_way.gates[1].left == right_way.gates[1].left


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda d: d["gates"].update(track="elsewhere"), "not of 'pipwick-kart-circuit'"),
        (lambda d: d["gates"].update(version="2.0"), "of version 2.0"),
        (lambda d: d.pop("gates"), "no member `gates`"),
        (lambda d: d.pop("features"), "no list `features`"),
        (lambda d: d["features"][0].pop("geometry"), "no line of two positions"),
        (lambda d: d["features"].append(7), "no line of two positions"),
        (lambda d: d["features"][0]["properties"].update(name=3), "a name that is no text"),
        (lambda d: d.update(features=[d["features"][0]] * 101), "101"),
    ],
)
def test_a_fault_is_told_with_its_file(track, tmp_path, change, words) -> None:
    document = document_of(track, [300.0])
    change(document)
    path = written(tmp_path, document)
    with pytest.raises(TrackFileError, match=words) as raised:
        trackkit.with_gate_set(track, path)
    assert raised.value.file == str(path)


@pytest.mark.parametrize("text", ["", "nothing", "[]", "[" * 100_000])
def test_what_is_no_gate_set_is_told(track, tmp_path, text) -> None:
    path = tmp_path / "own.geojson"
    path.write_text(text, "utf-8")
    with pytest.raises(TrackFileError, match="no gate set"):
        trackkit.with_gate_set(track, path)


def test_a_missing_file_is_told(track, tmp_path) -> None:
    with pytest.raises(TrackFileError, match="no such file"):
        trackkit.with_gate_set(track, tmp_path / "none.geojson")


def test_a_gate_that_crosses_nothing_is_told(track, tmp_path) -> None:
    document = document_of(track, [300.0])
    line = document["features"][0]["geometry"]["coordinates"]
    line[:] = [(lon + 0.01, lat) for lon, lat in line]
    path = written(tmp_path, document)
    with pytest.raises(PlaceError) as raised:
        trackkit.with_gate_set(track, path)
    assert raised.value.file == str(path)


@pytest.mark.slow
def test_laps_are_timed_at_its_gates_and_the_file_stays(track, tmp_path, capsys) -> None:
    from trackkit.cli import run

    path, drive = tmp_path / "track.geojson", tmp_path / "drive.csv"
    trackkit.write_track(replace(track), path)
    before = path.read_bytes()
    trackkit.write_simulation(trackkit.simulate_drive(track, laps=2, rate_hz=5.0, seed=3), drive)
    own = written(tmp_path, document_of(track, [200.0, 400.0, 700.0]))
    assert run(["laps", str(path), str(drive), "--gates", str(own), "--json"]) == 0
    laps = json.loads(capsys.readouterr().out)["recordings"][0]["laps"]
    assert {len(lap["sectors"]) for lap in laps} == {4}
    page = tmp_path / "map.html"
    assert run(["map", str(path), str(drive), "--gates", str(own), "-o", str(page)]) == 0
    assert "Sector 3 end" in page.read_text("utf-8")
    assert path.read_bytes() == before
