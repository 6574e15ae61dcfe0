"""``trackkit import``: what it shows, writes, keeps and refuses."""

from __future__ import annotations

import json
import shutil
import sys

import geopandas
import pytest
from checkout import TRACKS
from command_line import refused

from trackkit.cli import run
from trackkit.track.file import read_track

SAMPLE = TRACKS / "pipwick-kart-circuit.geojson"


@pytest.fixture
def edited(tmp_path):
    """A track file, and a GeoPackage of it in which a gate was moved."""
    track = tmp_path / "pipwick.geojson"
    shutil.copy(SAMPLE, track)
    layers = tmp_path / "pipwick.gpkg"
    assert run(["export", str(track), "--to", "gpkg", "-o", str(layers)]) == 0
    gates = geopandas.read_file(layers, layer="gates")
    here = gates.feature_id == "gate-cst9"
    gates.loc[here, "geometry"] = gates[here].translate(1e-6, 2e-6)
    gates.to_file(layers, layer="gates")
    return track, layers


def test_what_differs_is_shown_and_the_track_before_is_kept(edited, capsys):
    track, layers = edited
    before = track.read_bytes()
    capsys.readouterr()

    assert run(["import", str(layers), "--onto", str(track)]) == 0

    differs, wrote, _ = capsys.readouterr().out.partition("wrote")
    assert all(line.startswith("gate gate-cst9") for line in differs.splitlines())
    assert "moved" in differs
    assert wrote
    assert track.with_name("pipwick.geojson~").read_bytes() == before
    assert read_track(track).history[-1]["what"] == "imported from pipwick.gpkg"


def test_an_export_that_nobody_edited_leaves_the_file_alone(tmp_path, capsys):
    track, layers = tmp_path / "pipwick.geojson", tmp_path / "pipwick.kml"
    shutil.copy(SAMPLE, track)
    run(["export", str(track), "--to", "kml", "-o", str(layers)])
    capsys.readouterr()

    assert run(["import", str(layers), "--onto", str(track), "--json"]) == 0

    document = json.loads(capsys.readouterr().out)
    assert document["written"] is False
    assert document["moved"]["same"] is True
    assert track.read_bytes() == SAMPLE.read_bytes()
    assert not track.with_name("pipwick.geojson~").exists()


@pytest.mark.parametrize(("answer", "status"), [("n\n", 130), ("y\n", 0)])
def test_a_terminal_is_asked_before_the_track_is_replaced(
    answer, status, edited, monkeypatch, capsys
):
    import io

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    track, layers = edited
    before = track.read_bytes()
    monkeypatch.setattr(sys, "stdin", Terminal(answer))

    assert run(["import", str(layers), "--onto", str(track)]) == status
    assert (track.read_bytes() == before) is (status == 130)
    assert "Change" in capsys.readouterr().err


def test_another_file_is_written_only_where_there_is_none(edited, capsys):
    track, layers = edited
    other = track.with_name("other.geojson")
    words = ["import", str(layers), "--onto", str(track), "-o", str(other)]

    assert run(words) == 0
    assert track.read_bytes() == SAMPLE.read_bytes()
    assert "exists already" in refused(words, capsys)
    assert run([*words, "--force"]) == 0


def test_options_are_read_and_faults_of_the_command_line_have_status_2(edited, capsys):
    track, layers = edited
    assert run(["import", str(layers)]) == 2
    assert run(["import", str(layers), "--onto", str(track), "--layer", "gates"]) == 2
    twice = ["--field", "name=a", "--field", "name=b"]
    assert run(["import", str(layers), "--onto", str(track), *twice]) == 2
    capsys.readouterr()
    assert run(["import", str(layers), "--onto", str(track), "--crs", "EPSG:1"]) == 2
    assert "'EPSG:1' is no coordinate system PROJ knows" in capsys.readouterr().err
    words = ["import", str(layers), "--onto", str(track), "--layer"]
    assert "no layer called 'tor'" in refused([*words, "gates=tor"], capsys)
    assert run([*words, "tor=gates"]) == 2
    assert "'tor' is no part of a track; the parts are: centreline" in capsys.readouterr().err
    assert run(["import", str(layers), "--onto", str(track), "--field", "colour=a"]) == 2
    assert "'colour' is no member of a track's features" in capsys.readouterr().err


def test_what_to_type_is_said_where_a_file_has_no_line_or_no_grid(tmp_path, capsys):
    gates = tmp_path / "gates.csv"
    gates.write_text("kind,left_x,left_y,right_x,right_y\nfinish,162,47,162.0001,47\n")
    out = str(tmp_path / "out.geojson")
    assert "--onto TRACK" in refused(["import", str(gates), "-o", out], capsys)
    drawing = tmp_path / "drawing.dxf"
    ezdxf = pytest.importorskip("ezdxf")
    document = ezdxf.new()
    document.modelspace().add_line((0, 0), (100, 0))
    document.saveas(drawing)
    assert "--crs EPSG:..." in refused(["import", str(drawing), "-o", out], capsys)
    page = tmp_path / "page.html"
    page.write_text("<html></html>")
    sentence = refused(["import", str(page), "-o", out], capsys)
    assert "is a web page; tracks are imported from GeoPackage, GeoJSON" in sentence
    assert not (tmp_path / "out.geojson").exists()
