"""Tracks in other formats: what holds for every one of them."""

import json

import geopandas as gpd
import pytest

from trackkit.errors import OutputError
from trackkit.export.export import EXPORT_FORMATS, export_track


def test_geojson_is_the_track_file_itself(track, exported):
    path = exported(track, "geojson")
    document = json.loads(path.read_text("utf-8"))
    assert document["track"]["name"] == "Invented Ring"
    assert gpd.read_file(path).geometry.iloc[0].geom_type == "LineString"


@pytest.mark.parametrize("fmt", EXPORT_FORMATS)
def test_a_file_that_exists_is_replaced_only_by_force(track, tmp_path, fmt):
    path = tmp_path / f"ring.{fmt}"
    path.write_text("precious")
    with pytest.raises(OutputError, match="exists already"):
        export_track(track, path, fmt)
    assert path.read_text() == "precious"
    export_track(track, path, fmt, force=True)
    assert b"precious" not in path.read_bytes()
    # What a track file takes the place of stays beside it; other formats can be made again.
    beside = [tmp_path / "ring.geojson~"] if fmt == "geojson" else []
    assert sorted(tmp_path.iterdir()) == [path, *beside]


@pytest.mark.parametrize("fmt", EXPORT_FORMATS)
def test_a_folder_that_is_not_there_is_said_in_a_sentence(track, tmp_path, fmt):
    with pytest.raises(OutputError, match="cannot be written"):
        export_track(track, tmp_path / "nowhere" / "ring", fmt)


def test_an_unknown_format_is_refused_with_those_that_are_known(track, tmp_path):
    with pytest.raises(OutputError, match="geojson, gpx, kml, gpkg, csv"):
        export_track(track, tmp_path / "ring.dwg", "dwg")
    assert list(tmp_path.iterdir()) == []
