"""What --json prints is as its schema says, and the schema would notice a key that is another.

Every document that any test of this folder has printed is held to its schema too (conftest.py).
"""

from __future__ import annotations

import copy
import importlib
import json
import re
from collections.abc import Iterator
from datetime import timedelta
from typing import get_args

import click
import pytest
from command_line import json_of
from output_schemas import validator
from PIL import Image
from sample_circuits import FOLDER
from unknown_circuit import unknown_track

import trackkit
from trackkit.archive import add as adding
from trackkit.cli import cli, run
from trackkit.recordings.write import write_recording
from trackkit.remedies import Deed
from trackkit.schemas.read import output_schema, schema_names
from trackkit.simulation.simulate import simulate_drive

PIPWICK = FOLDER / "pipwick-kart-circuit.geojson"
OPEN = ("removed", "value", "members", "before", "after")
"""Members whose keys are not ours: reasons, values of remedies, members of a track file."""


def commands(group: click.Group, words: str = "") -> Iterator[tuple[str, click.Command]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        if isinstance(command, click.Group):
            yield from commands(command, f"{words}{name} ")
        else:
            yield f"{words}{name}", command


def test_every_command_with_json_has_a_schema_and_no_other_has():
    with_json = {
        name
        for name, command in commands(cli)
        if any("--json" in param.opts for param in command.params)
    }
    assert set(schema_names()) == with_json


@pytest.mark.parametrize("name", schema_names())
def test_a_schema_stands_by_itself_and_describes_each_key(name):
    """In the draft that it names, with no reference to another file."""
    schema = output_schema(name)
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    assert schema["title"] == f"trackkit {name} --json"
    validator(name)
    for node in nodes(schema):
        assert str(node.get("$ref", "#/$defs/")).startswith("#/$defs/")
        if node.get("$ref"):
            assert node["$ref"].rpartition("/")[2] in schema["$defs"]
        if node.get("type") == "object" and "properties" in node:
            assert node["additionalProperties"] is False
            assert set(node["required"]) <= set(node["properties"])
        for key, value in node.get("properties", {}).items():
            described = [value, resolved(value, schema)]
            assert any("description" in part for part in described), key


def nodes(node: object) -> Iterator[dict]:
    if isinstance(node, list):
        for item in node:
            yield from nodes(item)
    elif isinstance(node, dict):
        yield node
        for value in node.values():
            yield from nodes(value)


def resolved(node: dict, schema: dict) -> dict:
    return schema["$defs"][node["$ref"].rpartition("/")[2]] if "$ref" in node else node


@pytest.mark.parametrize("name", schema_names())
def test_a_key_with_a_unit_in_its_name_is_described_with_it(name):
    units = {"_s": "s", "_m": "m", "_mps": "m/s", "_mps2": "m/s^2", "_deg": "degrees"}
    for node in nodes(output_schema(name)):
        for key, value in node.get("properties", {}).items():
            unit = units.get(key[key.rfind("_") :]) if "_" in key else None
            if unit and value.get("type") != "array" and "anyOf" not in value:
                words = re.split(r"[ ,;:]+", value["description"])
                assert unit in words, f"{key}: {value['description']}"


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """Two recordings with channels, one of elsewhere and one that is broken, official times, a
    circuit as KML, a plan with its points, and open map data."""
    for name in ("dask", "deltalake", "duckdb", "osmium", "rasterio"):
        pytest.importorskip(name)
    from map_extracts import RACEWAY, MapMaker, ring

    folder = tmp_path_factory.mktemp("day")
    for name, seed in (("a.csv", "1"), ("b.csv", "2")):
        command = ["simulate", str(PIPWICK), "-o", str(folder / name), "--laps", "2", "--channels"]
        assert run([*command, "--rate", "5", "--seed", seed]) == 0
    (folder / "broken.csv").write_text("time,latitude,longitude\nx,y,z\n")
    (folder / "official.txt").write_text("lap,time\n1,51.0\n2,51.2\n")
    long = folder / "long" / "c.nmea"
    long.parent.mkdir()
    command = ["simulate", str(PIPWICK), "-o", str(long), "--laps", "7", "--seed", "3"]
    assert run([*command, "--rate", "5"]) == 0
    long.with_name("clock.csv").write_text(passings(long), "utf-8")
    write_recording(
        simulate_drive(unknown_track(), laps=1, rate_hz=2.0, seed=4).recording,
        folder / "elsewhere.csv",
    )
    assert run(["export", str(PIPWICK), "--to", "kml", "-o", str(folder / "layers.kml")]) == 0
    Image.new("L", (400, 250), 200).save(folder / "plan.png")
    (folder / "points.csv").write_text(POINTS)
    maker = MapMaker()
    nodes = maker.places(ring())
    maker.way([*nodes, nodes[0]], {**RACEWAY, "name": "Gannet Ring"})
    maker.way(maker.places([(2000.0, 0.0), (2300.0, 0.0)]), {**RACEWAY, "sport": "drag_racing"})
    maker.write(folder / "gannet.osm.pbf")
    return folder


def passings(recording) -> str:
    """Times of day at which a practice drive truly passed the finish line, lap by lap."""
    truth = json.loads(recording.with_name(f"{recording.name}.truth.json").read_text("utf-8"))
    start = trackkit.read_recording(recording).start
    assert start is not None
    finish = [row["time_s"] for row in truth["crossings"] if row["gate"] == "finish"]
    days = [start + timedelta(seconds=time) for time in finish]
    rows = [f"{lap},{moment:%H:%M:%S.%f}" for lap, moment in enumerate(days)]
    return "\n".join(["lap,time of day", *rows])


POINTS = """x,y,place,name
0,0,38.7230 83.3500,north-west
400,0,38.7230 83.3560,north-east
0,250,38.7201 83.3500,south-west
400,250,38.7201 83.3560,south-east
200,125,38.7216 83.3531,middle
"""


def scenes(day, folder) -> dict[str, list[list[str]]]:
    """Command lines by the name of the command, each with --json still to come.

    Dates, layouts, units and the like as people give them; status 0 or 1.
    """
    track, a, b, broken = str(PIPWICK), *(str(day / f"{n}.csv") for n in ("a", "b", "broken"))
    mine = str(folder / "mine.geojson")
    other = str(FOLDER / "morrowfen.geojson")
    built, placed = str(folder / "built.geojson"), str(folder / "plan.tif")
    official, layers = str(day / "official.txt"), str(day / "layers.kml")
    long, clock = str(day / "long" / "c.nmea"), str(day / "long" / "clock.csv")
    archive = ["--at", str(folder / "archive")]
    plan = ["underlay", str(day / "plan.png"), "--points", str(day / "points.csv"), "-o", placed]
    world = ["--library", str(folder / "world")]
    return {
        "laps": [
            ["laps", track, a],
            ["laps", track, a, b, "--losses"],
            ["laps", track, a, broken, "--details"],
            ["laps", other, a],
            ["laps", a, b],
            ["laps", track, broken],
            ["laps", track, a, "--official", official],
            ["laps", track, str(day), "--all-laps", "--within", "101", "--skipped"],
            ["laps", track, a, a, "--label", "Ann", "--label", "Ann", "--units", "imperial"],
        ],
        "build": [
            ["build", a, "--name", "Invented", "-o", built, "--sectors", "3", "--details"],
            ["build", "--from-line", layers, "--name", "Drawn", "-o", built, "--force"],
            ["build", "--revise", built, b, broken],
        ],
        "import": [
            ["import", track, "-o", str(folder / "imported.geojson"), "--name", "Invented"],
            ["import", layers, "--onto", mine, "--yes"],
        ],
        "underlay": [
            [*plan, "--credit", "A. Painter"],
            [*plan, "--credit", "A. Painter", "--fit", "projective", "--force"],
        ],
        "describe": [["describe", track], ["describe", track, other], ["describe", other]],
        "check": [["check", track], ["check", track, other], ["check", track, "--recording", a]],
        "gate list": [["gate", "list", track]],
        "gate place": [["gate", "place", mine, "speed", "100m", "--name", "Trap"]],
        "gate move": [["gate", "move", mine, "finish", "5m"]],
        "gate remove": [["gate", "remove", mine, "Trap"]],
        "gate align": [
            ["gate", "align", mine, long, "--official", clock],
            ["gate", "align", mine, long, "--official", clock, "--clock-within", "0", "--apply"],
        ],
        "gate suggest": [["gate", "suggest", track, "--sectors", "3"]],
        "set": [["set", mine, "name", "Another"], ["set", mine, "corner:1", "Bend"]],
        "diff": [["diff", track, mine], ["diff", track, other], ["diff", track, track]],
        "locate": [["locate", "38.7215", "83.3521"], ["locate", "0", "0"], ["locate", a, broken]],
        "reverse": [["reverse", track, "-o", str(folder / "back.geojson")]],
        "simulate": [
            ["simulate", track, "-o", str(folder / "p.csv"), "--laps", "1", "--channels"],
            ["simulate", track, "-o", str(folder / "q.nmea"), "--laps", "1", "--rate", "1"],
        ],
        "library list": [["library", "list"], ["library", "list", "--near", "38.7", "83.4"]],
        "library path": [["library", "path"]],
        "library import": [["library", "import", str(day / "gannet.osm.pbf"), *world]] * 2,
        "library add": [["library", "add", mine, "--library", str(folder / "mine")]],
        "library remove": [
            ["library", "remove", "invented-kart", "--library", str(folder / "mine"), "--yes"]
        ],
        "archive add": [["archive", "add", str(day), *archive, "--driver", "Ann", "--traces"]] * 2,
        "archive laps": [["archive", "laps", *archive, "--every"], ["archive", "laps", *archive]],
        "archive refresh": [["archive", "refresh", *archive]],
        "archive summary": [["archive", "summary", *archive, "--by", "driver", "--by", "day"]],
        "archive unknown": [["archive", "unknown", *archive]],
        "archive forget": [["archive", "forget", *archive, "--driver", "Ann", "--yes"]],
    }


def test_every_command_with_json_has_its_scene(tmp_path):
    assert set(scenes(tmp_path, tmp_path)) == set(schema_names())


@pytest.mark.slow
def test_documents_of_every_kind_are_as_their_schemas_say(day, home, capsys, monkeypatch):
    """Several recordings, some that fail, none that is on the track, channels, losses; the status
    is that of the command, and the document is printed all the same."""
    # Recordings of an archive are timed in this process: how they are spread is not what is tested.
    monkeypatch.setattr(adding, "spread", timed_here)
    text = PIPWICK.read_text("utf-8").replace('"pipwick-kart-circuit"', '"invented-kart"', 1)
    (home / "mine.geojson").write_text(text, "utf-8")
    (home / "mine").mkdir()
    samples: dict[str, list] = {}
    for name, lines in scenes(day, home).items():
        for line in lines:
            capsys.readouterr()
            assert run([*line, "--json"]) in (0, 1), line
            printed = capsys.readouterr()
            document = json.loads(printed.out)
            assert list(validator(name).iter_errors(document)) == [], line
            samples.setdefault(name, []).append(document)
    noticed = 0
    for name, documents in samples.items():
        seen: set[str] = set()
        for document in documents:
            for changed, path in renamed(few(document), seen):
                noticed += 1
                assert not validator(name).is_valid(changed), f"{name}: {path} may be renamed"
    assert noticed > 300


def timed_here(work, items, done, **_):
    for place, item in enumerate(items):
        done(place, work(item))
    return []


def few(node: object) -> object:
    """A document with two of the many things that it lists."""
    if isinstance(node, list):
        listed = node[:2] if all(isinstance(item, dict) for item in node) else node
        return [few(item) for item in listed]
    if isinstance(node, dict):
        return {key: few(value) for key, value in node.items()}
    return node


def renamed(document: object, seen: set[str]) -> Iterator[tuple[object, str]]:
    """Copies of a document, each with one key called another; one of each kind not yet seen."""
    for path in paths(document):
        kind = "/".join("*" if isinstance(step, int) else step for step in path)
        if kind in seen or any(step in OPEN for step in path[:-1]):
            continue
        seen.add(kind)
        changed = copy.deepcopy(document)
        parent = changed
        for step in path[:-1]:
            parent = parent[step]
        parent[f"{path[-1]}_"] = parent.pop(path[-1])
        yield changed, kind


def paths(node: object, before: tuple = ()) -> Iterator[tuple]:
    if isinstance(node, list):
        for index, item in enumerate(node):
            yield from paths(item, (*before, index))
    elif isinstance(node, dict):
        for key, value in node.items():
            yield (*before, key)
            yield from paths(value, (*before, key))


def test_what_remedies_can_have_done_is_listed():
    action = output_schema("check")["$defs"]["shared-action"]
    assert set(action["properties"]["do"]["enum"]) == set(get_args(Deed))


def test_what_fails_altogether_prints_no_document(tmp_path, capsys):
    assert run(["describe", str(tmp_path / "gone.geojson"), "--json"]) == 1
    assert capsys.readouterr().out == ""


def test_the_command_prints_the_schema_or_the_names(capsys):
    assert run(["schema"]) == 0
    assert capsys.readouterr().out.splitlines() == list(schema_names())
    assert run(["schema", "gate", "list"]) == 0
    assert json.loads(capsys.readouterr().out) == trackkit.output_schema("gate list")
    assert run(["schema", "map"]) == 2
    assert "'map' prints JSON" in " ".join(capsys.readouterr().err.split())
    with pytest.raises(trackkit.TrackkitError, match="no command 'map' prints JSON"):
        trackkit.output_schema("map")


def test_what_a_caller_does_to_a_schema_is_not_seen_by_the_next():
    output_schema("laps")["properties"].clear()
    assert "recordings" in output_schema("laps")["properties"]


def test_documents_of_a_stream_are_as_their_schema_says(capsys, monkeypatch):
    import io
    import sys
    from types import SimpleNamespace

    sentence = b"$GPGGA,120000.00,3843.2900,N,08321.1260,E,1,08,1.0,10.0,M,0.0,M,,*"
    body = sentence[1:-1]
    total = 0
    for byte in body:
        total ^= byte
    monkeypatch.setattr(
        sys, "stdin", SimpleNamespace(buffer=io.BytesIO(sentence + b"%02X\r\n" % total))
    )
    document = json_of(["locate", "-"], capsys)
    assert document["fixes"] == 1


def test_schemas_are_handed_out_with_the_package():
    module = importlib.import_module("trackkit.schemas.read")
    files = {path.name for path in module._FOLDER.glob("*.json")}
    assert files == {f"{name.replace(' ', '-')}.schema.json" for name in schema_names()} | {
        "shared.schema.json"
    }
