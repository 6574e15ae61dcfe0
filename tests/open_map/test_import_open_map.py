"""An extract imported into a library, and a newer one: what is written, kept and told."""

import json
from dataclasses import replace

import numpy as np
import pytest
from map_extracts import RACEWAY, MapMaker, eight, ring

from trackkit.checks.check import check_track
from trackkit.checks.verdict import judge_track
from trackkit.gates.edit import move_gate, place_gate
from trackkit.library.folders import open_library
from trackkit.open_map.import_circuits import import_open_map
from trackkit.open_map.tags import CREDIT
from trackkit.track.credit import credits_of, is_map_drawn
from trackkit.track.facts import set_fact
from trackkit.track.file import read_track, write_track

ONE_WAY = {**RACEWAY, "oneway": "yes", "name": "Gannet Ring"}


class Drawn:
    """A ring on the map, whose nodes may move."""

    def __init__(self, folder):
        self.folder, self.path = folder / "world", folder / "gannet.osm.pbf"
        self.maker = MapMaker()
        self.nodes = self.maker.places(ring())
        self.way = self.maker.way([*self.nodes, self.nodes[0]], ONE_WAY)

    def imported(self):
        self.maker.write(self.path)
        return import_open_map(self.path, self.folder)

    def moved_north(self, metres):
        shift = metres / 111_170.0
        for node in self.nodes:
            longitude, latitude = self.maker.nodes[node]
            self.maker.nodes[node] = (longitude, latitude + shift)

    @property
    def file(self):
        return self.folder / "gannet-ring.geojson"


@pytest.fixture
def drawn(tmp_path):
    return Drawn(tmp_path)


def test_a_file_says_where_it_is_from_and_under_which_licence(drawn):
    (circuit,) = drawn.imported().circuits
    track = read_track(circuit.path)
    assert track.licence == "ODbL-1.0"
    assert credits_of(track) == (CREDIT,)
    (source,) = track.sources
    assert source["file"] == "gannet.osm.pbf"
    assert source["ways"] == [[drawn.way, 1]]
    assert source["tags"]["name"] == "Gannet Ring"


def test_the_line_is_drawn_and_the_finish_gate_a_suggestion(drawn):
    drawn.imported()
    track = read_track(drawn.file)
    assert track.centreline.metres_of_kinds()["drawn"] == pytest.approx(track.length_m, rel=1e-6)
    assert track.finish.suggested
    assert json.loads(drawn.file.read_text())["features"][1]["properties"]["suggested"] is True
    assert track.direction == "anticlockwise"
    assert track.length_m == pytest.approx(1000.0, rel=2e-3)


def test_it_is_not_fit_to_hand_on_until_driven(drawn):
    drawn.imported()
    track = read_track(drawn.file)
    judgement = judge_track(track, check_track(track))
    assert not judgement.fit
    assert judgement.verdict.reasons == (
        "its line is as drawn in open map data: not fit to hand on until driven",
    )
    assert judgement.next_step.do == "build revise"
    assert any("suggestion" in remark for remark in judgement.remarks)


def test_a_gate_that_somebody_moves_is_no_suggestion_any_longer(drawn):
    drawn.imported()
    change = move_gate(read_track(drawn.file), "finish", "5m")
    assert not change.gate.suggested


@pytest.mark.slow
def test_the_layer_says_which_passage_of_a_figure_of_eight_is_above(tmp_path):
    line = eight()
    half = len(line) // 2
    for bridge_first in (True, False):
        maker = MapMaker()
        nodes = maker.places(line)
        middles = [
            min(part, key=lambda i: np.hypot(*line[i]))
            for part in (range(half), range(half, len(line)))
        ]
        at = middles[0 if bridge_first else 1]
        over = {node: nodes[(at + k) % len(nodes)] for k, node in enumerate(range(-3, 4), start=-3)}
        tags = {**RACEWAY, "oneway": "yes", "name": f"Eight {bridge_first}"}
        maker.way([over[k] for k in range(-3, 4)], {**tags, "layer": "1"})
        turned = [nodes[(at + 3 + k) % len(nodes)] for k in range(len(nodes) - 5)]
        maker.way(turned, tags)
        path = maker.write(tmp_path / f"{bridge_first}.osm.pbf")
        (circuit,) = import_open_map(path, tmp_path / "world").circuits
        track = read_track(circuit.path)
        (bridge,) = track.crossovers
        # North-going or south-going: what the bridge's own nodes do.
        ahead = track.curve.direction(bridge.over_m)
        drawn_ahead = np.subtract(line[(at + 3) % len(line)], line[at - 3])
        assert ahead @ drawn_ahead / np.hypot(*drawn_ahead) > 0.9


def test_both_directions_are_files_of_their_own(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way([*nodes, nodes[0]], {**RACEWAY, "name": "Either Way"})
    done = import_open_map(maker.write(tmp_path / "e.osm"), tmp_path / "world")
    assert [(c.id, c.direction, c.one_way) for c in done.circuits] == [
        ("either-way-anticlockwise", "anticlockwise", False),
        ("either-way-clockwise", "clockwise", False),
    ]


def test_a_name_without_latin_letters_gets_an_id_of_its_way(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    way = maker.way([*nodes, nodes[0]], {**ONE_WAY, "name": "広場", "sport": "karting"})
    (circuit,) = import_open_map(maker.write(tmp_path / "e.osm"), tmp_path / "world").circuits
    assert (circuit.name, circuit.id) == ("広場", f"kart-circuit-without-a-name-way-{way}")


def test_namesakes_get_ids_of_their_own(tmp_path):
    maker = MapMaker()
    for east in (0.0, 40_000.0):
        nodes = maker.places(ring(1000.0, east))
        maker.way([*nodes, nodes[0]], ONE_WAY)
    done = import_open_map(maker.write(tmp_path / "e.osm"), tmp_path / "world")
    assert len({circuit.id for circuit in done.circuits}) == 2
    assert len(open_library([tmp_path / "world"]).tracks()) == 2


def test_the_same_extract_again_changes_nothing(drawn):
    drawn.imported()
    before = drawn.file.read_bytes()
    done = drawn.imported()
    assert [circuit.done for circuit in done.circuits] == ["unchanged"]
    assert drawn.file.read_bytes() == before
    assert not drawn.file.with_name("gannet-ring.geojson~").exists()


@pytest.mark.slow
def test_a_newer_extract_moves_the_line_and_keeps_gates_that_people_placed(drawn):
    drawn.imported()
    track = move_gate(read_track(drawn.file), "finish", "40m").track
    track = place_gate(track, "sector", "300m", name="Harbour").track
    track = set_fact(track, "notes", "ours").track
    track = set_fact(track, "name", "Our Ring").track
    track = write_track(track, drawn.file, force=True)
    drawn.moved_north(1.5)

    done = drawn.imported()

    assert [circuit.done for circuit in done.circuits] == ["updated"]
    newer = read_track(drawn.file)
    assert (newer.id, newer.name, newer.notes) == (track.id, "Our Ring", "ours")
    assert [(g.id, g.name, g.left, g.right) for g in newer.gates] == [
        (g.id, g.name, g.left, g.right) for g in track.gates
    ]
    assert newer.finish.chainage_m == 0.0
    assert newer.gate("Harbour").chainage_m == pytest.approx(300.0, abs=2.0)
    moved = newer.curve.project(
        newer.plane.to_plane(*track.plane.to_geographic(track.curve.position([10.0])))
    )[1]
    assert abs(moved[0]) == pytest.approx(1.5, abs=0.1)
    assert newer.history[-1]["what"] == "brought up to date from a newer extract"
    assert drawn.imported().summary == "0 added, 0 updated, 1 unchanged"


def test_a_suggested_finish_gate_that_the_new_line_passes_is_suggested_anew(drawn):
    drawn.imported()
    first = read_track(drawn.file).finish
    drawn.moved_north(25.0)
    done = drawn.imported()
    track = read_track(drawn.file)
    assert "suggested anew" in done.circuits[0].remarks[0]
    assert track.finish.id == first.id
    assert track.finish.suggested
    assert len(track.curve.crossed_by(*track.gate_ends(track.finish))) == 1


def test_a_placed_gate_that_the_new_line_passes_stays_and_is_told(drawn):
    drawn.imported()
    track = place_gate(read_track(drawn.file), "sector", "300m", name="Harbour").track
    track = write_track(track, drawn.file, force=True)
    drawn.moved_north(25.0)
    done = drawn.imported()
    assert "gate Harbour does not cross the new line" in " ".join(done.circuits[0].remarks)
    newer = read_track(drawn.file)
    assert newer.gate("Harbour").left == track.gate("Harbour").left


def test_a_way_that_was_split_is_the_same_circuit(drawn):
    drawn.imported()
    maker = drawn.maker
    _, nodes, tags = maker.ways.pop(drawn.way)
    maker.way(nodes[:40], tags)
    maker.way(nodes[39:], tags)
    drawn.moved_north(1.0)
    done = drawn.imported()
    assert [(c.id, c.done) for c in done.circuits] == [("gannet-ring", "updated")]
    assert done.not_there == ()


@pytest.mark.slow
def test_the_two_directions_keep_their_files(tmp_path):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way([*nodes, nodes[0]], {**RACEWAY, "name": "Either Way"})
    path = maker.write(tmp_path / "e.osm.pbf")
    before = {c.id: c.direction for c in import_open_map(path, tmp_path / "world").circuits}
    longitude, latitude = maker.nodes[nodes[3]]
    maker.nodes[nodes[3]] = (longitude, latitude + 1e-5)
    done = import_open_map(maker.write(path), tmp_path / "world")
    assert {c.id: c.direction for c in done.circuits} == before
    assert done.summary == "0 added, 2 updated, 0 unchanged"


def test_a_line_that_laps_have_revised_stays(drawn):
    drawn.imported()
    track = read_track(drawn.file)
    write_track(replace(track, line="driven"), drawn.file, force=True)
    drawn.moved_north(3.0)
    done = drawn.imported()
    assert done.circuits[0].remarks == ("laps have revised its line, which stays",)
    newer = read_track(drawn.file)
    assert newer.centreline.latitude_deg.tolist() == track.centreline.latitude_deg.tolist()
    assert not is_map_drawn(newer)


def test_what_a_newer_extract_lacks_stays_and_is_told(drawn):
    drawn.imported()
    drawn.maker.deleted.append(("w", drawn.way, 2))
    done = drawn.imported()
    assert done.circuits == ()
    assert done.not_there == ("gannet-ring",)
    assert drawn.file.is_file()


def beside(drawn, names):
    """Add rings of these names beside a drawn one, and list their ways."""
    ways = []
    for number, name in enumerate(names, start=1):
        nodes = drawn.maker.places(ring(east_m=2000.0 * number))
        ways.append(drawn.maker.way([*nodes, nodes[0]], {**ONE_WAY, "name": name}))
    return ways


def test_what_a_newer_extract_of_another_name_lacks_is_told_too(drawn):
    gone, _ = beside(drawn, ["Fulmar Ring", "Petrel Ring"])
    drawn.imported()
    drawn.maker.deleted.append(("w", gone, 2))
    drawn.path = drawn.path.with_name("gannet-251127.osm.pbf")
    assert drawn.imported().not_there == ("fulmar-ring",)


def test_circuits_of_another_region_are_not_told_as_gone(drawn):
    away = beside(drawn, ["Fulmar Ring", "Petrel Ring"])
    drawn.imported()
    drawn.maker.deleted += [("w", way, 2) for way in away]
    drawn.path = drawn.path.with_name("next-door.osm.pbf")
    done = drawn.imported()
    assert ([circuit.id for circuit in done.circuits], done.not_there) == (["gannet-ring"], ())


def test_a_track_of_the_users_own_is_left_alone(drawn):
    drawn.imported()
    own = replace(read_track(drawn.file), id="own", sources=())
    path = drawn.folder / "own.geojson"
    write_track(own, path)
    before = path.read_bytes()
    drawn.moved_north(1.0)
    drawn.imported()
    assert path.read_bytes() == before


@pytest.mark.slow
def test_several_processes_make_the_same_tracks_in_the_same_order(tmp_path, monkeypatch):
    monkeypatch.setattr("trackkit.open_map.import_circuits._WORTH_A_PROCESS", 1)
    maker = MapMaker()
    for east in (0.0, 40_000.0, 80_000.0):
        nodes = maker.places(ring(1000.0 + east / 100.0, east))
        maker.way([*nodes, nodes[0]], ONE_WAY)
    # Too short for a track: told, whichever process finds it.
    nodes = maker.places(ring(60.0, 120_000.0, every_m=5.0))
    maker.way([*nodes, nodes[0]], ONE_WAY)
    extract = maker.write(tmp_path / "e.osm")
    alone = import_open_map(extract, tmp_path / "alone")
    shared = import_open_map(extract, tmp_path / "shared", processes=2)
    assert [circuit.id for circuit in alone.circuits] == [circuit.id for circuit in shared.circuits]
    assert alone.remarks == shared.remarks
    for circuit in alone.circuits:
        # The rest of a file tells the time of day.
        here, there = (
            json.loads((tmp_path / name / circuit.path.name).read_text("utf-8"))["features"]
            for name in ("alone", "shared")
        )
        assert here == there
