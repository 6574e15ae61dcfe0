"""``trackkit library import``: what it prints, and its statuses."""

from __future__ import annotations

import json

import pytest
from command_line import refused

from trackkit.cli import run

pytest.importorskip("osmium")
from map_extracts import RACEWAY, MapMaker, ring


@pytest.fixture
def extract(home):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way([*nodes, nodes[0]], {**RACEWAY, "name": "Gannet Ring"})
    maker.way(maker.places([(2000.0, 0.0), (2300.0, 0.0)]), {**RACEWAY, "sport": "drag_racing"})
    return maker.write(home / "gannet.osm.pbf")


def test_circuits_are_listed_and_the_licence_and_the_caution_are_said(extract, home, capsys):
    words = ["library", "import", str(extract), "--library", str(home / "world")]
    assert run(words) == 0
    printed = capsys.readouterr()
    assert "gannet-ring-clockwise" in printed.out
    assert "both offered" in printed.out
    assert "2 added, 0 updated, 0 unchanged" in printed.out
    assert "not fit to hand on until driven" in printed.err
    assert "© OpenStreetMap contributors" in printed.err
    assert "1 way was left out: a drag strip" in printed.err

    assert run(words) == 0
    assert "0 added, 0 updated, 2 unchanged" in capsys.readouterr().out


def test_json_is_one_document(extract, home, capsys):
    words = ["library", "import", str(extract), "--library", str(home / "world"), "--json"]
    assert run(words) == 0
    document = json.loads(capsys.readouterr().out)
    assert [row["done"] for row in document["circuits"]] == ["added", "added"]
    assert document["licence"] == "ODbL-1.0"


def test_an_extract_without_circuits_is_a_good_answer(home, capsys):
    maker = MapMaker()
    maker.way(maker.places([(0.0, 0.0), (300.0, 0.0)]), {"highway": "residential"})
    path = maker.write(home / "roads.osm")
    assert run(["library", "import", str(path), "--library", str(home / "world")]) == 0
    assert "no circuit is in it" in capsys.readouterr().out


def test_a_file_that_cannot_be_read_has_status_1_and_one_sentence(home, capsys):
    words = ["library", "import", str(home / "none.osm.pbf"), "--library", str(home / "world")]
    assert "no such file" in refused(words, capsys)
