"""The licence of open map data, and its credit, in every file that is made from them."""

from __future__ import annotations

import csv
import json

import pytest
from checkout import TRACKS
from map_extracts import RACEWAY, MapMaker, ring

from trackkit.cli import run
from trackkit.library.folders import ENVIRONMENT_VARIABLE
from trackkit.open_map.import_circuits import import_open_map
from trackkit.open_map.tags import CREDIT, LICENCE
from trackkit.track.credit import credits_of
from trackkit.track.file import read_track

FORMATS = ("geojson", "gpx", "kml", "gpkg", "csv", "dxf")


@pytest.fixture(scope="module")
def imported(tmp_path_factory):
    """A circuit of a made extract, and four laps on it."""
    folder = tmp_path_factory.mktemp("rights")
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way([*nodes, nodes[0]], {**RACEWAY, "oneway": "yes", "name": "Gannet Ring"})
    maker.write(folder / "gannet.osm.pbf")
    (circuit,) = import_open_map(folder / "gannet.osm.pbf", folder / "world").circuits
    drive = folder / "drive.csv"
    words = ["simulate", str(circuit.path), "--laps", "3", "--rate", "5", "-o", str(drive)]
    assert run(words) == 0
    return circuit.path


def said(words, capsys):
    capsys.readouterr()
    assert run([str(word) for word in words]) == 0
    return capsys.readouterr().out


def has_rights(path):
    track = read_track(path)
    return track.licence == LICENCE and CREDIT in credits_of(track)


@pytest.mark.parametrize("kind", FORMATS)
def test_each_format_says_both(imported, tmp_path, kind):
    path = tmp_path / f"out.{kind}"
    assert run(["export", str(imported), "--to", kind, "-o", str(path)]) == 0
    content = path.read_bytes()
    assert LICENCE.encode() in content
    # A drawing has letters beyond ASCII as escapes (AutoCAD's DXF reference).
    assert CREDIT.lstrip("© ").encode() in content


@pytest.mark.parametrize("kind", ["gpx", "kml", "gpkg"])
def test_both_come_back_from_other_programs(imported, tmp_path, kind):
    path, back = tmp_path / f"out.{kind}", tmp_path / "back.geojson"
    assert run(["export", str(imported), "--to", kind, "-o", str(path)]) == 0
    assert run(["import", str(path), "-o", str(back)]) == 0
    assert has_rights(back)
    # Once: it does not grow with each way out and back.
    assert run(["export", str(back), "--to", kind, "-o", str(path), "--force"]) == 0
    assert run(["import", str(path), "--onto", str(back), "-o", str(tmp_path / "b.geojson")]) == 0
    assert [credits_of(read_track(one)) for one in (back, tmp_path / "b.geojson")] == [
        (CREDIT,)
    ] * 2


@pytest.mark.parametrize("kind", ["gpx", "kml"])
def test_a_line_built_of_one_that_was_exported_has_both(imported, tmp_path, kind):
    path, built = tmp_path / f"out.{kind}", tmp_path / "built.geojson"
    assert run(["export", str(imported), "--to", kind, "-o", str(path)]) == 0
    assert run(["build", "--from-line", str(path), "--name", "Ring", "-o", str(built)]) == 0
    assert has_rights(built)


def test_a_licence_that_is_given_goes_before_that_of_the_line(imported, tmp_path):
    path, built = tmp_path / "out.kml", tmp_path / "built.geojson"
    assert run(["export", str(imported), "--to", "kml", "-o", str(path)]) == 0
    words = ["build", "--from-line", str(path), "--name", "Ring", "--licence", "CC0-1.0"]
    assert run([*words, "-o", str(built)]) == 0
    assert read_track(built).licence == "CC0-1.0"


def test_a_line_of_nobody_has_neither(tmp_path):
    points = [[162.0, 47.0], [162.004, 47.0], [162.004, 47.003], [162.0, 47.003], [162.0, 47.0]]
    line = {"type": "LineString", "coordinates": points}
    (tmp_path / "line.geojson").write_text(json.dumps(line))
    built = tmp_path / "built.geojson"
    words = ["build", "--from-line", str(tmp_path / "line.geojson"), "--name", "Ring"]
    assert run([*words, "-o", str(built)]) == 0
    track = read_track(built)
    assert (track.licence, credits_of(track)) == (None, ())


@pytest.mark.parametrize(
    "words",
    [
        ["reverse", "{track}", "-o", "{out}"],
        ["build", "--revise", "{track}", "{drive}", "-o", "{out}"],
        ["export", "{track}", "--to", "geojson", "-o", "{out}"],
    ],
)
def test_track_files_made_of_it_have_both(imported, tmp_path, words):
    out = tmp_path / "out.geojson"
    named = {"track": imported, "drive": imported.parents[1] / "drive.csv", "out": out}
    assert run([word.format(**named) for word in words]) == 0
    assert has_rights(out)


@pytest.mark.parametrize("suffix", ["html", "svg"])
def test_pages_and_sheets_say_the_credit_which_names_the_licence(imported, tmp_path, suffix):
    page = tmp_path / f"page.{suffix}"
    assert run(["map", str(imported), "-o", str(page)]) == 0
    assert CREDIT in page.read_text("utf-8")
    assert "ODbL 1.0" in CREDIT


def test_describing_says_both(imported, capsys):
    shown = said(["describe", imported], capsys)
    assert f"licence: {LICENCE}\ndata: {CREDIT}\n" in shown
    row = json.loads(said(["describe", imported, "--json"], capsys))
    assert (row["licence"], row["credits"]) == (LICENCE, [CREDIT])


def test_times_on_it_say_both(imported, monkeypatch, capsys):
    monkeypatch.setenv(ENVIRONMENT_VARIABLE, str(imported.parent))
    drive = imported.parents[1] / "drive.csv"
    for words in (["laps", imported, drive], ["laps", drive]):
        row = json.loads(said([*words, "--json"], capsys))
        assert (row["licence"], row["credits"]) == (LICENCE, [CREDIT])


def test_tables_of_times_say_the_credit_in_each_line(imported, tmp_path):
    drive = imported.parents[1] / "drive.csv"
    tables = {option: tmp_path / f"{option}.csv" for option in ("csv", "summary", "traces")}
    given = [word for option, path in tables.items() for word in (f"--{option}", str(path))]
    assert run(["laps", str(imported), str(drive), *given]) == 0
    for path in tables.values():
        with path.open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert rows
        assert {row["credit"] for row in rows} == {CREDIT}
        assert not any(None in row for row in rows)


def test_tables_of_times_on_a_track_of_ones_own_have_no_such_column(tmp_path):
    track = str(TRACKS / "pipwick-kart-circuit.geojson")
    drive, table = str(tmp_path / "drive.csv"), tmp_path / "laps.csv"
    assert run(["simulate", track, "--laps", "1", "--rate", "5", "-o", drive]) == 0
    assert run(["laps", track, drive, "--csv", str(table)]) == 0
    assert "credit" not in table.read_text("utf-8")


def test_what_was_driven_on_it_says_both_in_each_file(imported, tmp_path):
    drive, out = imported.parents[1] / "drive.csv", tmp_path / "driven"
    assert run(["export", str(imported), str(drive), "--to", "csv", "-o", str(out)]) == 0
    for layer in ("laps", "traces", "crossings"):
        with (out / f"{layer}.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        assert {(row["licence"], row["credit"]) for row in rows} == {(LICENCE, CREDIT)}


@pytest.mark.parametrize("way", ["place", "drive"])
def test_locating_it_says_the_credit(imported, capsys, way):
    drive = str(imported.parents[1] / "drive.csv")
    longitude, latitude = read_track(imported).finish.left
    where = [str(latitude), str(longitude)] if way == "place" else [drive]
    words = ["locate", *where, "--library", str(imported.parent)]
    assert f"data: {CREDIT}\n" in said(words, capsys)
    row = json.loads(said([*words, "--json"], capsys))
    row = row["recordings"][0] if way == "drive" else row
    own = read_track(imported).id
    for candidate in row["candidates"]:
        assert candidate["credit"] == (CREDIT if candidate["id"] == own else None)


def test_the_list_of_a_library_says_the_credit_once(imported, capsys):
    words = ["library", "list", "--library", imported.parent]
    assert said(words, capsys).count(CREDIT) == 1
    rows = json.loads(said([*words, "--json"], capsys))["tracks"]
    credited = {row["name"]: row["credit"] for row in rows}
    assert credited["Gannet Ring"] == CREDIT
    assert credited["Morrowfen"] is None
