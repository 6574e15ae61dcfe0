"""Extracts read by streaming: what is kept, what of several versions counts, what is refused."""

import numpy as np
import pytest
from map_extracts import RACEWAY, MapMaker, ring

from trackkit.errors import RecordingError
from trackkit.open_map import extract as extract_module
from trackkit.open_map.extract import read_extract
from trackkit.recordings import devices


def made(tmp_path, name="made.osm.pbf"):
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way([*nodes, nodes[0]], RACEWAY)
    maker.way(maker.places([(0.0, 0.0), (10.0, 0.0)]), {"highway": "residential"})
    return maker, maker.write(tmp_path / name)


@pytest.mark.parametrize("name", ["made.osm.pbf", "made.osm", "made.osm.gz", "made.osm.bz2"])
def test_only_what_is_tagged_is_kept_from_pbf_and_xml(name, tmp_path):
    maker, path = made(tmp_path, name)
    extract = read_extract(path)
    (way,) = extract.ways.values()
    assert way.tags == RACEWAY
    assert set(extract.places) == set(way.nodes)
    node = way.nodes[5]
    # OpenStreetMap keeps positions to 1e-7 of a degree.
    assert extract.places[node] == pytest.approx(maker.nodes[node], abs=6e-8)


def test_of_several_versions_the_newest_counts(tmp_path):
    path = tmp_path / "history.osm"
    path.write_text(
        '<osm version="0.6">'
        '<node id="1" version="1" lat="47.0" lon="162.0"/>'
        '<node id="1" version="2" lat="47.1" lon="162.0"/>'
        '<node id="2" version="1" lat="47.0" lon="162.1"/>'
        '<node id="2" version="2" visible="false"/>'
        '<way id="5" version="1"><nd ref="1"/><tag k="highway" v="raceway"/></way>'
        '<way id="5" version="2"><nd ref="1"/><tag k="highway" v="track"/></way>'
        '<way id="6" version="1"><nd ref="1"/><nd ref="2"/><tag k="highway" v="raceway"/></way>'
        '<way id="6" version="3"><nd ref="1"/><nd ref="2"/><tag k="highway" v="raceway"/></way>'
        "</osm>"
    )
    extract = read_extract(path)
    assert {way.id: way.version for way in extract.ways.values()} == {6: 3}
    assert extract.places == {1: (162.0, 47.1)}


def test_ids_far_apart_are_looked_for_in_rounds(tmp_path, monkeypatch):
    monkeypatch.setattr(extract_module, "_MOST_CHUNKS", 2)
    maker = MapMaker()
    nodes = maker.places(ring())
    far = {node: node + 40_000_000 * index for index, node in enumerate(nodes)}
    maker.nodes = {far[node]: maker.nodes[node] for node in nodes}
    maker.next_id = 10**12
    maker.way([far[node] for node in [*nodes, nodes[0]]], RACEWAY)
    extract = read_extract(maker.write(tmp_path / "far.osm.pbf"))
    assert set(extract.places) == set(far.values())


def test_rounds_hold_every_id_once():
    ids = {1, 2, 40_000_000, 80_000_000, 4_000_000_000, -7}
    parts = list(extract_module._rounds(ids))
    assert np.concatenate(parts).tolist() == sorted(ids - {-7})
    assert list(extract_module._rounds({-1, -2})) == []


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("none.osm.pbf", None),
        ("text.txt", b"nothing"),
        ("cut.osm", b'<osm version="0.6"><node id="1"'),
        ("cut.osm.pbf", b"\x00\x00\x00\x0d\x0a\x09OSMHeader\x18"),
    ],
)
def test_a_file_that_is_none_is_refused_in_one_sentence(name, content, tmp_path):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(RecordingError) as raised:
        read_extract(path)
    assert name in str(raised.value)
    assert "\n" not in str(raised.value)


@pytest.mark.slow
def test_a_pbf_cut_short_is_refused(tmp_path):
    maker = MapMaker()
    for north in range(0, 60_000, 1500):
        nodes = maker.places(ring(1000.0, 0.0, float(north), every_m=2.0))
        maker.way([*nodes, nodes[0]], RACEWAY)
    path = maker.write(tmp_path / "whole.osm.pbf")
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(RecordingError, match="cannot be read as OpenStreetMap data"):
        read_extract(path)


def test_without_the_extra_one_sentence_says_what_to_type(tmp_path, monkeypatch):
    def missing(name):
        raise ImportError(name)

    monkeypatch.setattr(devices, "import_module", missing)
    _, path = made(tmp_path)
    with pytest.raises(RecordingError, match=r"needs osmium .*pip install 'trackkit\[osm\]'"):
        read_extract(path)
