"""What the command line tells people to type, and that nothing below it speaks its language."""

from __future__ import annotations

import ast
import json
import re
import shlex

import pytest
from checkout import ROOT, TRACKS

from trackkit import cli
from trackkit.cli import run
from trackkit.cli.remedies import About, command, sentence
from trackkit.remedies import Remedy
from trackkit.track.file import read_track

KART = TRACKS / "pipwick-kart-circuit.geojson"
COMMANDS = "|".join(cli.cli.list_commands(None))
SHELL = re.compile(rf"(?:trackkit (?:{COMMANDS})\b)|`trackkit|(?<![\w-])--[a-z]")


def texts(path):
    """Strings of a module with their lines; not those that only describe."""
    tree = ast.parse(path.read_text("utf-8"))
    described = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    for node in ast.walk(tree):
        text = node.value if isinstance(node, ast.Constant) else None
        if isinstance(text, str) and id(node) not in described:
            yield node.lineno, text


@pytest.mark.slow
def test_no_text_of_a_command_stands_outside_the_command_line():
    package = ROOT / "trackkit"
    modules = [p for p in package.rglob("*.py") if "cli" not in p.relative_to(package).parts]
    assert len(modules) > 100
    found = [
        f"{path.relative_to(ROOT)}:{line}: {text}"
        for path in modules
        for line, text in texts(path)
        if SHELL.search(text)
    ]
    assert found == []


@pytest.mark.parametrize("text", ["run `trackkit check`", "trackkit gate move", "with --force"])
def test_the_text_of_a_command_would_be_found(text):
    assert SHELL.search(text)


def test_no_text_of_a_command_stands_in_the_page():
    folder = ROOT / "trackkit" / "pages" / "web"
    files = [*(folder / "src").glob("*.js"), *folder.glob("*.html")]
    assert len(files) > 5
    commands = re.compile(rf"trackkit (?:{COMMANDS})\b")
    said = [
        f"{path.name}: {line}"
        for path in files
        for line in path.read_text("utf-8").splitlines()
        if commands.search(line) and not line.lstrip().startswith(("//", "*", "/*"))
    ]
    assert said == []


ENDS = {"left": [104.9, -37.8], "right": [104.95, -37.85]}


@pytest.mark.parametrize(
    ("remedy", "typed"),
    [
        (
            Remedy("", "gate move", "gate-k3f9", 431.0),
            "trackkit gate move 'my track.geojson' gate-k3f9 431.0m",
        ),
        (
            Remedy("", "gate move", "Gate 1", 0.04, {"width_m": 12.5}),
            "trackkit gate move 'my track.geojson' 'Gate 1' 0.0m --width 12.5",
        ),
        (
            Remedy("", "gate move", "finish", None, ENDS),
            (
                "trackkit gate move 'my track.geojson' finish "
                "-37.80000000,104.90000000/-37.85000000,104.95000000"
            ),
        ),
        (
            Remedy("", "gate place", None, 0.0, {"kind": "finish"}),
            "trackkit gate place 'my track.geojson' finish 0.0m",
        ),
        (Remedy("", "gate remove", "g"), "trackkit gate remove 'my track.geojson' g"),
        (
            Remedy("", "accept", "g", None, {"rule": "kink"}),
            "trackkit check 'my track.geojson' --accept kink g --reason TEXT",
        ),
        (
            Remedy("", "reverse"),
            "trackkit reverse 'my track.geojson' -o 'my track-reversed.geojson'",
        ),
        (Remedy("", "locate", value={"recording": "a b.csv"}), "trackkit locate 'a b.csv'"),
        (Remedy("", "check"), "trackkit check 'my track.geojson'"),
        (
            Remedy("", "set", value={"length_m": 1021.4}),
            "trackkit set 'my track.geojson' length_m 1021.40",
        ),
        (
            Remedy("", "set", value={"direction": None}),
            "trackkit set 'my track.geojson' direction ''",
        ),
        (
            Remedy("", "set", "corner-7xax", value={"apex_m": 40.125}),
            "trackkit set 'my track.geojson' apex_m:corner-7xax 40.12",
        ),
    ],
)
def test_a_remedy_is_a_command_that_can_be_pasted(remedy, typed):
    assert command(remedy, About("my track.geojson")) == typed


def test_a_file_that_begins_with_a_minus_is_not_taken_for_an_option():
    typed = command(Remedy("", "gate remove", "g"), About("-x.geojson"))
    assert typed == "trackkit gate remove ./-x.geojson g"


def test_a_remedy_of_an_archive_names_it():
    about = About(file="a season")
    typed = command(Remedy("", "finish forgetting"), about)
    assert typed == "trackkit archive forget --at 'a season'"
    typed = command(Remedy("", "list drivers"), about)
    assert typed == "trackkit archive summary --by driver --at 'a season'"


def test_a_remedy_that_takes_a_person_names_no_command():
    assert sentence(Remedy("mend the line"), About("t.geojson")) == "mend the line"


# Errors, as a command says them


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "my track.geojson").write_bytes(KART.read_bytes())
    return tmp_path


def refused(capsys, *words, status=1):
    assert run(words) == status
    return capsys.readouterr().err.strip().splitlines()[-1]


def pasted(said, capsys):
    typed = said[said.rindex("trackkit ") :]
    assert run(shlex.split(typed)[1:]) == 0, typed
    return capsys.readouterr()


def changed(folder, change):
    path = folder / "my track.geojson"
    document = json.loads(path.read_text("utf-8"))
    change(document)
    path.write_text(json.dumps(document), "utf-8")


def line_file(folder, name, coordinates, **members):
    geometry = {"type": "LineString", "coordinates": coordinates}
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    document = {"type": "FeatureCollection", "features": [feature], **members}
    (folder / name).write_text(json.dumps(document), "utf-8")


def test_a_file_that_exists_is_replaced_with_an_option_that_is_named(folder, capsys):
    words = ["export", "my track.geojson", "--to", "csv", "-o", "gates.csv"]
    assert run(words) == 0
    assert refused(capsys, *words).endswith("or replace it with --force")
    assert run([*words, "--force"]) == 0


def test_a_finish_gate_there_is_can_be_moved_to_where_another_was_to_go(folder, capsys):
    said = refused(capsys, "gate", "place", "my track.geojson", "finish", "20m")

    pasted(said, capsys)
    assert "move it there: trackkit gate move 'my track.geojson' finish 20.0m" in said
    assert "made its new place chainage 0" not in said
    assert len(read_track("my track.geojson").gates_of_kind("finish")) == 1


def test_a_finish_gate_there_is_can_be_moved_to_surveyed_ends_as_they_were_given(folder, capsys):
    finish = read_track("my track.geojson").finish
    ends = "/".join(f"{lat:.8f},{lon:.8f}" for lon, lat in (finish.left, finish.right))

    said = refused(capsys, "gate", "place", "my track.geojson", "finish", ends)

    pasted(said, capsys)
    assert read_track("my track.geojson").finish.surveyed


def test_a_track_without_a_finish_is_given_one_by_what_any_command_says(folder, capsys):
    def drop_finish(document):
        document["features"] = [f for f in document["features"] if f["id"] != "finish"]

    changed(folder, drop_finish)
    words = ["gate", "suggest", "my track.geojson", "--sectors", "2"]
    said = refused(capsys, *words)

    assert "trackkit gate place 'my track.geojson' finish 0.0m" in said
    pasted(said, capsys)
    assert run(words) == 0


def test_the_only_finish_gate_is_not_removed_and_a_second_one_is(folder, capsys):
    said = refused(capsys, "gate", "remove", "my track.geojson", "finish")
    assert said.endswith("move it instead: trackkit gate move 'my track.geojson' finish PLACE")

    def add_finish(document):
        finish = next(f for f in document["features"] if f["id"] == "finish")
        document["features"].append({**finish, "id": "finish-2"})

    changed(folder, add_finish)
    assert run(["gate", "remove", "my track.geojson", "finish-2"]) == 0
    assert [gate.id for gate in read_track("my track.geojson").gates_of_kind("finish")] == [
        "finish"
    ]


def test_a_damaged_track_file_is_sent_to_check(folder, capsys):
    changed(folder, lambda document: document["track"].pop("name"))
    said = refused(capsys, "describe", "my track.geojson")

    assert said.endswith("a check lists every fault: trackkit check 'my track.geojson'")
    assert run(["check", "my track.geojson"]) == 1
    assert "'name' is a required property" in capsys.readouterr().out


def test_a_recording_given_as_a_track_is_built_from(folder, capsys):
    assert run(["simulate", "my track.geojson", "-o", "one lap.nmea", "--laps", "1"]) == 0
    said = refused(capsys, "describe", "one lap.nmea")

    assert said.endswith(
        "build a track file from it: trackkit build 'one lap.nmea' --name 'one lap'"
    )
    assert "wrote one-lap.geojson" in pasted(said, capsys).out


def test_a_line_without_times_is_built_from_as_a_line(folder, capsys):
    line = next(
        f for f in json.loads(KART.read_text("utf-8"))["features"] if f["id"] == "centreline"
    )
    line_file(folder, "drawn line.geojson", line["geometry"]["coordinates"])
    said = refused(capsys, "build", "drawn line.geojson", "--name", "X")

    assert "trackkit build --from-line 'drawn line.geojson' --name 'drawn line'" in said
    assert "wrote drawn-line.geojson" in pasted(said, capsys).out


def test_a_line_that_does_not_close_may_be_a_course(folder, capsys):
    line_file(folder, "hill line.geojson", [[161.0 + 0.0005 * n, 47.0] for n in range(40)])
    words = ["build", "--from-line", "hill line.geojson", "--name", "Hill"]

    assert refused(capsys, *words).endswith("from one point to another with --open")
    assert run([*words, "--open"]) == 0
    said = capsys.readouterr().err
    for kind in ("start", "finish"):
        assert (
            f"move the {kind} gate to the real line: trackkit gate move hill.geojson {kind} PLACE"
            in said
        )


@pytest.mark.parametrize(
    ("crs", "says"),
    [
        ({}, "name the grid they are in with --crs EPSG:..., such as EPSG:25832"),
        (
            {"crs": {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}},
            "name the grid with --crs EPSG:25832",
        ),
    ],
)
def test_a_line_in_a_grid_asks_for_it(folder, capsys, crs, says):
    line_file(folder, "grid.geojson", [[400_000, 6_200_000], [400_100, 6_200_000]], **crs)
    said = refused(capsys, "build", "--from-line", "grid.geojson", "--name", "X")
    assert said.endswith(says)


def test_options_that_do_not_fit_are_to_be_left_out(folder, capsys):
    (folder / "drive.csv").write_text("time,lat,lon\n0,48,161\n1,48,161\n")
    said = refused(capsys, "build", "--from-line", "drive.csv", "--name", "X")
    assert said.endswith("read this as a recording: leave --from-line out")

    (folder / "l.kml").write_text('<kml xmlns="http://www.opengis.net/kml/2.2"/>')
    said = refused(capsys, "build", "--from-line", "l.kml", "--name", "X", "--crs", "EPSG:25832")
    assert said.endswith("always in WGS 84; name no grid: leave --crs out")

    words = ["build", "lap.gpx", "--name", "X", "--columns", "time=t"]
    (folder / "lap.gpx").write_text("<gpx/>")
    assert refused(capsys, *words).endswith("name none: leave --columns out")


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("time,lat,latitude (deg),lon", "say which with --columns latitude=NAME"),
        (
            "a,b,c,d",
            (
                "say which, by name or by number from 1 with "
                "--columns time=...,latitude=...,longitude=..."
            ),
        ),
    ],
)
def test_columns_that_are_not_clear_are_asked_for(folder, capsys, header, says):
    (folder / "drive.csv").write_text(f"{header}\n0,48,48,161\n1,48,48,161\n")
    assert refused(capsys, "build", "drive.csv", "--name", "X").endswith(says)


def test_a_place_that_may_be_in_a_grid_says_so(folder, capsys):
    said = refused(capsys, "gate", "move", "my track.geojson", "finish", "5180000,650000", status=2)
    assert said.endswith("that positions are in with --crs EPSG:..., such as EPSG:25832")
