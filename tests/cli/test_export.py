"""``trackkit export`` of what was driven, and of drawings."""

from __future__ import annotations

import json
import shutil

import geopandas as gpd
import pytest
from checkout import TRACKS
from command_line import refused

from trackkit.caution import TRAINING
from trackkit.cli import run

PIPWICK = TRACKS / "pipwick-kart-circuit.geojson"
ATOLL = TRACKS / "saltpenny-atoll-clockwise.geojson"


@pytest.fixture(scope="module")
def recorded(tmp_path_factory):
    """Two recordings of a kart circuit, with a table of drivers and a file that is neither."""
    folder = tmp_path_factory.mktemp("day")
    for name, seed in (("a.csv", "1"), ("b.nmea", "2")):
        command = ["simulate", str(PIPWICK), "-o", str(folder / name), "--laps", "1"]
        assert run([*command, "--rate", "2", "--seed", seed]) == 0
    (folder / "drivers.csv").write_text("file,driver,vehicle\nb.nmea,Ada,kart 7\n")
    (folder / "readme.txt").write_text("nothing to see")
    return folder


@pytest.mark.slow
def test_a_folder_of_recordings_is_exported_with_the_drivers_of_its_table(
    recorded, tmp_path, capsys
):
    target = tmp_path / "day.gpkg"
    assert run(["export", str(PIPWICK), str(recorded), "--to", "gpkg", "-o", str(target)]) == 0
    said = capsys.readouterr()
    assert said.out == f"wrote {target}\n"
    laps = gpd.read_file(target, layer="laps")
    assert list(laps.groupby("recording")["driver"].first().dropna()) == ["Ada, kart 7"]
    assert laps["recording"].nunique() == 2
    assert f"rows: {len(laps)} laps, " in said.err
    assert "1 file is no recording (--skipped names them)" in said.err
    assert said.err.splitlines()[-1] == TRAINING


def test_labels_name_drivers_and_the_track_may_be_left_out(recorded, tmp_path, capsys, monkeypatch):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    target = tmp_path / "tables"
    words = ["export", str(recorded / "a.csv"), "--label", "Bo", "--to", "csv", "-o", str(target)]
    assert run(words) == 0
    files = [target / f"{layer}.csv" for layer in ("laps", "traces", "crossings")]
    assert capsys.readouterr().out == "".join(f"wrote {file}\n" for file in files)
    header, first = files[2].read_text("utf-8").splitlines()[:2]
    cells = dict(zip(header.split(","), first.split(","), strict=False))
    assert (cells["track"], cells["driver"]) == ("pipwick-kart-circuit", "Bo")


def test_what_cannot_be_read_is_said_and_the_rest_is_written(recorded, tmp_path, capsys):
    broken = tmp_path / "broken.csv"
    broken.write_text("time,lat\n1,2\n")
    target = tmp_path / "day.gpkg"
    words = [str(PIPWICK), str(broken), str(recorded / "a.csv")]
    assert run(["export", *words, "--to", "gpkg", "-o", str(target)]) == 1
    assert "broken.csv" in capsys.readouterr().err
    assert set(gpd.read_file(target, layer="laps")["recording"]) == {str(recorded / "a.csv")}
    assert run(["export", str(PIPWICK), str(broken), "--to", "csv", "-o", str(tmp_path / "x")]) == 1
    assert "no recording could be timed: nothing is written" in capsys.readouterr().err
    assert not (tmp_path / "x").exists()


def test_a_file_that_exists_is_refused_before_anything_is_timed(recorded, tmp_path, capsys):
    target = tmp_path / "tables"
    target.mkdir()
    (target / "traces.csv").write_text("precious")
    words = ["export", str(PIPWICK), str(recorded / "gone.csv"), "--to", "csv", "-o", str(target)]
    sentence = refused(words, capsys)
    assert "traces.csv: exists already" in sentence
    assert "--force" in sentence


@pytest.mark.slow
def test_a_folder_of_tracks_is_of_tracks_also_where_recordings_lie_beside_them(
    recorded, tmp_path, capsys
):
    both = tmp_path / "both"
    shutil.copytree(recorded, both)
    shutil.copy(PIPWICK, both)
    out = tmp_path / "out"
    assert run(["export", str(both), "--to", "gpkg", "-o", str(out)]) == 0
    assert [path.name for path in out.iterdir()] == ["pipwick-kart-circuit.gpkg"]
    # With the track named, it is the recordings of the folder.
    target = tmp_path / "day.gpkg"
    assert run(["export", str(PIPWICK), str(both), "--to", "gpkg", "-o", str(target)]) == 0
    assert gpd.read_file(target, layer="laps")["recording"].nunique() == 2


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--to", "fgb"], "name a recording"),
        (["--to", "kml", "--label", "x"], "--label is for recordings"),
        (["--to", "gpkg", "--crs", "EPSG:3857"], "--crs is for recordings and for --to dxf"),
        (["--to", "dxf", "--crs", "EPSG:4326"], "is in degrees"),
        (["--to", "dxf", "--crs", "EPSG:99"], "no coordinate system PROJ knows"),
    ],
)
def test_what_makes_no_sense_of_a_track_is_a_wrong_command_line(words, sentence, tmp_path, capsys):
    assert run(["export", str(PIPWICK), *words, "-o", str(tmp_path / "x")]) == 2
    assert sentence in " ".join(capsys.readouterr().err.split())
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--to", "parquet", "--crs", "EPSG:3857"], "--to parquet has no geometry"),
        (["--to", "csv", "--crs", "EPSG:99"], "no coordinate system PROJ knows"),
    ],
)
def test_a_wrong_grid_is_said_before_anything_is_timed(words, sentence, tmp_path, capsys):
    command = ["export", str(PIPWICK), "gone.csv", *words, "-o", str(tmp_path / "x")]
    assert run(command) == 2
    assert sentence in " ".join(capsys.readouterr().err.split())


def test_a_drawing_says_which_grid_it_is_in(tmp_path, capsys):
    pytest.importorskip("ezdxf")
    target = tmp_path / "atoll.dxf"
    assert run(["export", str(ATOLL), "--to", "dxf", "-o", str(target)]) == 0
    said = capsys.readouterr()
    assert said.out == f"wrote {target}\n"
    zone = "EPSG:32701 (WGS 84 / UTM zone 1S), unit metre"
    assert f"{target}: the drawing is in {zone}" in said.err
    both = tmp_path / "both"
    assert run(["export", str(ATOLL), str(PIPWICK), "--to", "dxf", "-o", str(both)]) == 0
    assert sorted(path.suffix for path in both.iterdir()) == [".dxf", ".dxf"]


def test_tracks_alone_are_exported_as_ever(tmp_path):
    target = tmp_path / "kart.csv"
    assert run(["export", "pipwick-kart-circuit", "--to", "csv", "-o", str(target)]) == 0
    gates = json.loads(PIPWICK.read_text("utf-8"))["features"]
    count = sum(feature["properties"]["role"] == "gate" for feature in gates)
    assert len(target.read_text("utf-8").splitlines()) == 1 + count
