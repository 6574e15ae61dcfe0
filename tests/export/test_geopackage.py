"""GeoPackages: their names, and what is left where writing one fails."""

import pyogrio
import pytest

from trackkit.errors import OutputError
from trackkit.export.export import export_track


@pytest.mark.parametrize("name", ["ring", "ring.zip", "ring.kmz"])
def test_a_geopackage_may_have_any_name(track, tmp_path, name):
    export_track(track, tmp_path / name, "gpkg")
    # SQLite's file header (sqlite.org/fileformat.html; from memory).
    assert (tmp_path / name).read_bytes()[:15] == b"SQLite format 3"
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_failure_half_way_leaves_nothing_behind(track, tmp_path, monkeypatch):
    def fail(frame, path, *, layer, **_):
        path.write_text("half")
        if layer == "gates":
            raise pyogrio.errors.DataLayerError("the disk is full")

    monkeypatch.setattr(pyogrio, "write_dataframe", fail)
    with pytest.raises(OutputError, match="the disk is full"):
        export_track(track, tmp_path / "ring.gpkg", "gpkg")
    assert list(tmp_path.iterdir()) == []
