"""``trackkit set``: what it changes in the file, and what it says."""

from __future__ import annotations

import json

import numpy as np
import pytest
from command_line import json_of, refused

from trackkit.cli import run
from trackkit.gates.pit_lane import set_pit_lane
from trackkit.track.file import read_track, write_track


def test_a_corner_gets_a_name_and_every_table_shows_it(bean, capsys):
    before = bean.read_bytes()

    assert run(["set", str(bean), "corner:2", "Kelp", "Turn", "--by", "Ada"]) == 0

    assert capsys.readouterr().out == "renamed corner 2 from nothing to Kelp Turn\n"
    assert bean.with_name("bean.geojson~").read_bytes() == before
    entry = read_track(bean).history[-1]
    assert (entry["by"], entry["what"]) == ("Ada", "renamed corner 2 from nothing to Kelp Turn")
    assert run(["describe", str(bean)]) == 0
    assert "Kelp Turn" in capsys.readouterr().out
    described = json_of(["describe", str(bean)], capsys)
    assert described["corners"][1]["name"] == "Kelp Turn"


def test_a_gate_is_renamed_by_its_id_or_its_name(bean, capsys):
    gate = read_track(bean).gates[1]

    assert run(["set", str(bean), f"gate:{gate.id}", "Kelp", "end"]) == 0
    document = json_of(["set", str(bean), "gate:kelp END", "Sandbank"], capsys)

    assert document["key"] == f"gate:{gate.id}"
    assert (document["before"], document["after"]) == ("Kelp end", "Sandbank")
    assert read_track(bean).gate(gate.id).name == "Sandbank"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("name", "Sandbar Ring"),
        ("layout", "Long"),
        ("country", "XZ"),
        ("timezone", "Etc/GMT+3"),
        ("licence", "CC0-1.0"),
        ("valid-from", "2026-04-01"),
        ("notes", "Nothing is there but the sea."),
    ],
)
def test_every_fact_can_be_changed(bean, capsys, key, value):
    document = json_of(["set", str(bean), key, *value.split()], capsys)

    assert document["after"] == value
    assert document["remarks"] == []
    assert getattr(read_track(bean), key.replace("-", "_")) == value
    assert run(["check", str(bean)]) == 0


def test_two_apostrophes_take_a_fact_away(bean):
    assert run(["set", str(bean), "country", "XZ"]) == 0
    assert run(["set", str(bean), "country", ""]) == 0
    assert read_track(bean).country is None


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("colour", "red"), "no fact of a track; the facts are: name, layout, country"),
        (("country", "UK"), "no country code of ISO 3166-1; give two capital letters"),
        (("timezone", "Sea/Nowhere"), "no time zone"),
        (("valid-from", "1", "April"), "'1 April' is no day; write year, month and day"),
        (("corner:9", "Kelp"), "no corner '9'; its corners are numbered 1 to"),
        (("gate:nobody", "Kelp"), "no gate is called 'nobody'"),
        (("length_m", "-20"), "not -20.00 m"),
    ],
)
def test_a_value_that_cannot_be_is_one_sentence_and_changes_nothing(bean, capsys, words, sentence):
    before = bean.read_bytes()
    assert sentence in refused(["set", str(bean), *words], capsys)
    assert bean.read_bytes() == before
    assert not bean.with_name("bean.geojson~").exists()


def test_a_key_without_a_value_is_no_command_line(bean, capsys):
    assert run(["set", str(bean), "layout"]) == 2
    assert "VALUE" in capsys.readouterr().err


def test_placing_a_gate_says_whose_name_it_changed(bean, capsys):
    document = json.loads(bean.read_text("utf-8"))
    names = {
        f["id"]: f["properties"]["name"]
        for f in document["features"]
        if f["properties"].get("kind") == "sector"
    }
    kept = next(iter(names))
    assert run(["set", str(bean), f"gate:{kept}", "Sector 1 end"]) == 0
    capsys.readouterr()

    assert run(["gate", "place", str(bean), "sector", "20m"]) == 0

    said = capsys.readouterr().err
    after = {gate.id: gate.name for gate in read_track(bean).gates}
    assert after[kept] == "Sector 1 end"
    for gate, name in names.items():
        if gate != kept:
            assert after[gate] != name
            assert f"gate {gate}, which was {name}, is now {after[gate]}" in said


def test_a_line_through_the_pits_becomes_the_pit_lane_and_pit_gates_go_to_it(
    bean, tmp_path, capsys
):
    track = read_track(bean)
    along = track.curve.chainages(5.0)[10:30]
    beside = track.curve.position(along) + 25.0 * track.curve.left(along)
    line = [[float(x), float(y)] for x, y in zip(*track.plane.to_geographic(beside), strict=True)]
    path = tmp_path / "pits.geojson"
    path.write_text(json.dumps({"type": "LineString", "coordinates": line}))

    document = json_of(["set", str(bean), "pit-lane", str(path), "--by", "Ada"], capsys)

    (lane,) = read_track(bean).pit_lanes
    assert document["after"] == lane.id
    assert document["done"].startswith("added a pit lane of ")
    assert read_track(bean).history[-1]["by"] == "Ada"
    assert run(["gate", "place", str(bean), "pit-entry", f"{along[5]:.1f}m"]) == 0
    gate = read_track(bean).gates_of_kind("pit-entry")[0]
    middle = track.plane.to_plane(*np.mean([gate.left, gate.right], axis=0))
    assert np.min(np.hypot(*(beside - middle).T)) < 3.0


def test_two_apostrophes_take_the_pit_lane_away(bean, capsys):
    track = read_track(bean)
    with_lane, _ = set_pit_lane(
        track, *track.plane.to_geographic(track.curve.position([0.0, 90.0]))
    )
    write_track(with_lane, bean, force=True)

    document = json_of(["set", str(bean), "pit-lane", ""], capsys)

    assert (document["after"], document["done"]) == (None, "removed the pit lane")
    assert read_track(bean).pit_lanes == ()
    assert "has no pit lane" in refused(["set", str(bean), "pit-lane", ""], capsys)


def test_a_pit_lane_that_is_no_line_changes_nothing(bean, tmp_path, capsys):
    before = bean.read_bytes()
    path = tmp_path / "pits.geojson"
    path.write_text("{}")

    assert str(path) in refused(["set", str(bean), "pit-lane", str(path)], capsys)
    assert bean.read_bytes() == before


def test_a_recording_of_a_visit_gives_the_pit_lane_and_says_so(bean, tmp_path, capsys):
    track = read_track(bean)
    along = np.arange(0.0, track.curve.length_m, 3.0)
    # Out to 20 m beside the line and back, from 60 to 260 m.
    aside = np.interp(along, [60.0, 90.0, 230.0, 260.0], [0.0, 20.0, 20.0, 0.0])
    way = track.curve.position(along) - aside[:, None] * track.curve.left(along)
    step_s = np.where(aside > 0.0, 3.0 / 6.0, 3.0 / 12.0)
    time_s = np.concatenate([[0.0], np.cumsum(step_s)[:-1]])
    longitude, latitude = track.plane.to_geographic(way)
    rows = [
        f"{time:.3f},{lat:.8f},{lon:.8f}"
        for time, lat, lon in zip(time_s, latitude, longitude, strict=True)
    ]
    path = tmp_path / "visit.csv"
    path.write_text("\n".join(["time_s,latitude,longitude", *rows]))

    document = json_of(["set", str(bean), "pit-lane", str(path), "--by", "Ada"], capsys)

    assert document["done"].endswith(", from 1 visit in visit.csv")
    (remark,) = [text for text in document["remarks"] if "pit lane" in text]
    assert "found from 1 visit: on the right" in remark
    (lane,) = read_track(bean).pit_lanes
    vertex = track.plane.to_plane(lane.longitude_deg, lane.latitude_deg)
    _, offset = track.curve.project(vertex)
    assert np.abs(offset).max() == pytest.approx(20.0, abs=1.5)


def test_a_recording_without_a_visit_is_one_sentence_and_changes_nothing(
    bean, bean_session, capsys
):
    before = bean.read_bytes()

    sentence = refused(["set", str(bean), "pit-lane", str(bean_session)], capsys)

    assert f"{bean_session}: holds no visit of the pit lane of" in sentence
    assert bean.read_bytes() == before
