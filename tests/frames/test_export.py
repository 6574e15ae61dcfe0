"""What was driven, written for geographic systems and read back by programs that are not ours."""

from __future__ import annotations

import shutil
import subprocess

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
from pyproj import Transformer
from sample_circuits import track_of

import trackkit
from trackkit.errors import OutputError, PlaceError, TrackkitError
from trackkit.frames.export import DRIVE_FORMATS

ATOLL = track_of("saltpenny-atoll-clockwise")
"""Astride the antimeridian."""
PIPWICK = track_of("pipwick-kart-circuit")
SUFFIX = {"fgb": "fgb", "csv": "csv", "geoparquet": "parquet", "parquet": "parquet"}
LAYERS = ("laps", "traces", "crossings")


def timed(track, name, seed):
    drive = trackkit.simulate_drive(track, laps=1, rate_hz=2.0, seed=seed)
    return trackkit.time_laps(track, drive.recording.renamed(name))


@pytest.fixture(scope="module")
def reports():
    return [timed(ATOLL, "atoll.csv", 3), timed(PIPWICK, "kart.csv", 4)]


@pytest.fixture(scope="module")
def frames(reports):
    drivers = {"kart.csv": "Ada"}
    return {
        "laps": trackkit.laps_frame(reports, drivers=drivers),
        "traces": trackkit.traces_frame(reports, drivers=drivers),
        "crossings": trackkit.crossings_frame(reports, drivers=drivers),
    }


@pytest.fixture(scope="module")
def written(reports, tmp_path_factory):
    """Every format, on WGS 84."""
    folder = tmp_path_factory.mktemp("written")
    exported = {}
    for fmt in DRIVE_FORMATS:
        if SUFFIX.get(fmt) == "parquet":
            pytest.importorskip("pyarrow")
        path = folder / ("drives.gpkg" if fmt == "gpkg" else fmt)
        exported[fmt] = (
            path,
            trackkit.export_drives(reports, path, fmt, drivers={"kart.csv": "Ada"}),
        )
    return exported


def read(written, fmt, layer):
    path, _ = written[fmt]
    if fmt == "gpkg":
        return gpd.read_file(path, layer=layer)
    file = path / f"{layer}.{SUFFIX[fmt]}"
    if fmt == "geoparquet":
        return gpd.read_parquet(file)
    if fmt == "parquet":
        return pd.read_parquet(file)
    return pd.read_csv(file) if fmt == "csv" else gpd.read_file(file)


@pytest.mark.slow
@pytest.mark.parametrize("layer", LAYERS)
@pytest.mark.parametrize("fmt", DRIVE_FORMATS)
def test_columns_and_rows_are_those_of_the_frames(written, frames, fmt, layer):
    expected = frames[layer]
    if layer == "traces":
        expected = expected[expected["longitude_deg"].notna()]
    found = read(written, fmt, layer)
    if fmt == "fgb":
        # FlatGeobuf sorts features by place, for its index.
        keys = ["recording", "lap", *(["chainage_m", "time_s"] if layer != "laps" else [])]
        keys = [key for key in keys if key in found]
        found, expected = found.sort_values(keys), expected.sort_values(keys)

    last = {"csv": ["WKT"], "parquet": []}.get(fmt, ["geometry"])
    assert list(found.columns) == [*expected.columns, "licence", "credit", *last]
    assert set(found["licence"]) == {"CC0-1.0"}
    assert found["credit"].isna().all()
    assert len(found) == len(expected) == written[fmt][1].rows[layer]
    for name in expected:
        values, other = expected[name], found[name]
        if pd.api.types.is_float_dtype(values):
            assert other.to_numpy(float) == pytest.approx(values.to_numpy(), abs=6e-5, nan_ok=True)
        elif name in ("begun", "time_of_day"):
            moments, expected_moments = (
                pd.to_datetime(some.reset_index(drop=True), utc=True).dt.tz_localize(None)
                for some in (other, values)
            )
            apart = (moments - expected_moments).to_numpy()
            assert np.nanmax(np.abs(apart / np.timedelta64(1, "ms"))) <= 1.0
        else:
            texts = [None if value in ("", None) else value for value in values.astype(object)]
            again = other.astype(object)
            assert [None if pd.isna(v) or v == "" else v for v in again] == [
                None if pd.isna(value) else value for value in texts
            ]


@pytest.mark.parametrize("fmt", ["gpkg", "fgb", "geoparquet"])
def test_points_lie_at_their_longitudes_and_latitudes(written, fmt):
    for layer in ("traces", "crossings"):
        frame = read(written, fmt, layer)
        assert frame.crs.to_epsg() == 4326
        assert frame.geometry.x.to_numpy() == pytest.approx(frame["longitude_deg"].to_numpy())
        assert frame.geometry.y.to_numpy() == pytest.approx(frame["latitude_deg"].to_numpy())


def test_a_lap_astride_the_antimeridian_is_cut_and_is_as_long_as_the_track(written):
    laps = read(written, "gpkg", "laps").query("counts").set_index("track")
    atoll = laps.loc[ATOLL.id].geometry
    bounds = [part.bounds for part in atoll.geoms]
    assert len(bounds) > 1
    assert all(east - west < 0.1 for west, _, east, _ in bounds)
    assert {round(abs(edge), 6) for west, _, east, _ in bounds for edge in (west, east)} >= {180.0}
    for track in (ATOLL, PIPWICK):
        lap = laps.loc[track.id].geometry
        around = sum(_geodesic_m(part) for part in lap.geoms)
        assert around == pytest.approx(track.length_m, rel=0.01)


def _geodesic_m(line):
    from pyproj import Geod

    return Geod(ellps="WGS84").geometry_length(line)


def test_ogr2ogr_from_elsewhere_reads_layers_and_csv_with_geometry(written, tmp_path):
    if shutil.which("ogrinfo") is None:
        pytest.skip("GDAL's commands are not installed")
    for fmt in ("gpkg", "fgb", "csv"):
        said = subprocess.run(
            ["ogrinfo", "-so", "-al", str(written[fmt][0])],
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        for layer in LAYERS:
            assert f"Layer name: {layer}" in said
        assert "Geometry: None" not in said


def test_geometry_in_a_grid_is_where_proj_puts_it_and_lines_are_not_torn(reports, tmp_path):
    path = tmp_path / "grid.gpkg"
    trackkit.export_drives(reports[0], path, "gpkg", crs="EPSG:32701")
    crossings = gpd.read_file(path, layer="crossings")
    assert crossings.crs.to_epsg() == 32701
    grid = Transformer.from_crs("EPSG:4326", "EPSG:32701", always_xy=True)
    east, north = grid.transform(crossings["longitude_deg"], crossings["latitude_deg"])
    assert crossings.geometry.x.to_numpy() == pytest.approx(np.array(east), abs=1e-4)
    assert crossings.geometry.y.to_numpy() == pytest.approx(np.array(north), abs=1e-4)
    lap = gpd.read_file(path, layer="laps").query("counts").geometry.iloc[0]
    assert lap.length == pytest.approx(ATOLL.length_m, rel=0.01)


def test_a_grid_on_another_datum_is_told(reports, tmp_path):
    done = trackkit.export_drives(reports[1], tmp_path / "f.gpkg", "gpkg", crs="EPSG:3857")
    assert done.remarks == ()
    done = trackkit.export_drives(reports[1], tmp_path / "g.gpkg", "gpkg", crs="EPSG:28414")
    assert "datum Pulkovo 1942" in done.remarks[0]
    with pytest.raises(PlaceError, match="no coordinate system PROJ knows"):
        trackkit.export_drives(reports[1], tmp_path / "h.gpkg", "gpkg", crs="EPSG:99")
    assert not (tmp_path / "h.gpkg").exists()


@pytest.mark.slow
def test_one_drive_is_in_memory_at_a_time(tmp_path):
    """No report that was handed over lives on with its drive when the next is asked for."""
    import gc
    import weakref

    drives = []

    def one_by_one():
        for seed in range(3):
            gc.collect()
            assert not any(drive() for drive in drives)
            report = timed(PIPWICK, f"{seed}.csv", seed)
            drives.append(weakref.ref(report.drive))
            yield report
            del report

    done = trackkit.export_drives(one_by_one(), tmp_path / "d.gpkg", "gpkg")
    assert len(drives) == 3
    assert done.rows["laps"] == len(gpd.read_file(tmp_path / "d.gpkg", layer="laps"))


@pytest.mark.parametrize("fmt", ["gpkg", "csv"])
def test_nothing_half_written_is_left_behind(reports, tmp_path, fmt):
    def broken():
        yield reports[1]
        raise TrackkitError("the second recording is nothing")

    target = tmp_path / ("d.gpkg" if fmt == "gpkg" else "folder")
    with pytest.raises(TrackkitError, match="is nothing"):
        trackkit.export_drives(broken(), target, fmt)
    assert list(tmp_path.iterdir()) == []


def test_files_that_exist_are_replaced_only_by_force(reports, tmp_path):
    folder = tmp_path / "tables"
    folder.mkdir()
    (folder / "crossings.csv").write_text("precious")
    with pytest.raises(OutputError, match=r"crossings\.csv: exists already"):
        trackkit.export_drives(reports[1], folder, "csv")
    assert [path.name for path in folder.iterdir()] == ["crossings.csv"]
    trackkit.export_drives(reports[1], folder, "csv", force=True)
    assert (folder / "crossings.csv").read_text("utf-8").startswith("track,recording,driver")


def test_a_file_in_the_place_of_the_folder_is_said(reports, tmp_path):
    (tmp_path / "tables").write_text("precious")
    with pytest.raises(OutputError, match="each layer needs a file of its own"):
        trackkit.export_drives(reports[1], tmp_path / "tables", "csv")


def test_what_makes_no_sense_is_refused(reports, tmp_path):
    with pytest.raises(OutputError, match=r"no format of what was driven is called 'kml'.*gpkg"):
        trackkit.export_drives(reports, tmp_path / "x", "kml")
    with pytest.raises(OutputError, match="no geometry"):
        trackkit.export_drives(reports, tmp_path / "x", "parquet", crs="EPSG:3857")
    with pytest.raises(OutputError, match="no report"):
        trackkit.export_drives([], tmp_path / "x.gpkg", "gpkg")
    assert list(tmp_path.iterdir()) == []


def test_layers_of_a_geopackage_are_there_where_no_gate_was_crossed(tmp_path):
    drive = trackkit.simulate_drive(PIPWICK, laps=1, rate_hz=2.0, seed=9)
    elsewhere = trackkit.time_laps(ATOLL, drive.recording)
    done = trackkit.export_drives(elsewhere, tmp_path / "far.gpkg", "gpkg")
    assert set(done.rows.values()) == {0}
    assert {name for name, _ in pyogrio.list_layers(tmp_path / "far.gpkg")} == set(LAYERS)


def test_a_gap_in_the_fixes_parts_the_line_of_its_lap(tmp_path):
    drive = trackkit.simulate_drive(PIPWICK, laps=1, rate_hz=2.0, seed=9)
    recording = drive.recording
    begun_s = next(c["time_s"] for c in drive.truth["crossings"] if c["gate"] == "finish")
    kept = np.abs(recording.time_s - begun_s - 17.0) > 7.0
    broken = trackkit.Recording.from_arrays(
        recording.time_s[kept], recording.longitude_deg[kept], recording.latitude_deg[kept]
    )
    report = trackkit.time_laps(PIPWICK, broken)
    trackkit.export_drives(report, tmp_path / "gap.gpkg", "gpkg")
    line = gpd.read_file(tmp_path / "gap.gpkg", layer="laps").query("lap == 1").geometry.iloc[0]
    assert len(line.geoms) == 2
