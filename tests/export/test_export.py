"""Tracks in other formats: each read back by a reader that is not ours."""

import csv
import json
from dataclasses import replace
from xml.etree import ElementTree as ET

import geopandas as gpd
import gpxpy
import numpy as np
import pandas as pd
import pyogrio
import pytest
from geographiclib.geodesic import Geodesic

from trackkit.errors import OutputError
from trackkit.export.export import EXPORT_FORMATS, export_track, gate_bearing_deg, gate_middle
from trackkit.geometry.curve import Curve
from trackkit.geometry.geodesy import LocalPlane
from trackkit.track.model import Centreline, Corner, Gate, PitLane, Track


def make_track(at=(11.0, 47.0)):
    """An invented ring, 628 m round, driven anticlockwise, with one of each feature."""
    plane = LocalPlane(*at)
    angle = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    curve = Curve.through(np.column_stack([100 * np.cos(angle), 100 * np.sin(angle)]), closed=True)
    chainage = np.append(curve.sampled(), 0.0)
    longitude, latitude = plane.to_geographic(curve.position(chainage))
    quarter = curve.length_m / 4

    def gate(name, kind, place_m):
        ends = curve.position(place_m) + [[6.0], [-6.0]] * curve.left(place_m)
        lon, lat = plane.to_geographic(ends)
        left, right = zip(lon.tolist(), lat.tolist(), strict=True)
        return Gate(name.lower(), kind, name, left, right, chainage_m=place_m)

    apex_lon, apex_lat = plane.to_geographic(curve.position(30.0))
    corner = Corner(
        1, "Mill & Pond <bend>", "left", (float(apex_lon), float(apex_lat)), 10.0, 30.0, 60.0, 99.5,
        properties={"banked": [1, 2]},
    )  # fmt: skip
    pit_lon, pit_lat = plane.to_geographic(curve.position(np.linspace(-20, 20, 5)) * 0.9)
    line = Centreline(
        longitude, latitude, True, height_m=500 + 5 * np.sin(chainage / 100), width_m=10.0
    )
    return Track(
        "ring",
        "Invented Ring",
        line,
        curve.length_m,
        layout="short",
        direction="anticlockwise",
        country="AT",
        notes="An invented circuit: nobody races here.",
        corners=(corner,),
        pit_lanes=(PitLane("pit", pit_lon, pit_lat),),
    ).with_gates([gate("Finish", "finish", 0.0), gate("Half", "sector", 2 * quarter),
                  gate("North", "sector", quarter)])  # fmt: skip


@pytest.fixture(scope="module")
def track():
    return make_track()


@pytest.fixture(scope="module")
def astride():
    """Centred on the antimeridian: the gate at the north is cut in two by it."""
    return make_track(at=(180.0, -17.0))


def exported(track, tmp_path, fmt):
    path = tmp_path / f"ring.{fmt}"
    export_track(track, path, fmt)
    return path


# GeoJSON


def test_geojson_is_the_track_file_itself(track, tmp_path):
    document = json.loads(exported(track, tmp_path, "geojson").read_text("utf-8"))
    assert document["track"]["name"] == "Invented Ring"
    assert gpd.read_file(tmp_path / "ring.geojson").geometry.iloc[0].geom_type == "LineString"


# GPX


def test_gpx_has_the_centreline_and_pit_lane_as_tracks_with_heights(track, tmp_path):
    gpx = gpxpy.parse(exported(track, tmp_path, "gpx").read_text("utf-8"))
    assert gpx.version == "1.1"
    assert gpx.name == "Invented Ring, short"
    assert [(t.name, t.type) for t in gpx.tracks] == [
        ("Invented Ring, short", "centreline"),
        ("pit", "pit-lane"),
    ]
    (segment,) = gpx.tracks[0].segments
    line = track.centreline
    assert [p.longitude for p in segment.points] == pytest.approx(line.longitude_deg, abs=1e-9)
    assert [p.latitude for p in segment.points] == pytest.approx(line.latitude_deg, abs=1e-9)
    assert [p.elevation for p in segment.points] == pytest.approx(line.height_m, abs=5e-4)


def test_gpx_has_gates_as_routes_from_left_to_right_and_waypoints_between(track, tmp_path):
    gpx = gpxpy.parse(exported(track, tmp_path, "gpx").read_text("utf-8"))
    assert [route.name for route in gpx.routes] == [gate.name for gate in track.gates]
    for route, gate in zip(gpx.routes, track.gates, strict=True):
        left, right = route.points
        assert (left.longitude, left.latitude) == pytest.approx(gate.left, abs=1e-9)
        assert (right.longitude, right.latitude) == pytest.approx(gate.right, abs=1e-9)
    finish = gpx.waypoints[0]
    assert finish.type == "finish gate"
    assert finish.description.startswith("finish gate at 0.0 m, 12.0 m wide")
    corner = gpx.waypoints[-1]
    assert (corner.name, corner.type) == ("Mill & Pond <bend>", "corner")


def test_gpx_across_the_antimeridian_is_cut_in_segments_that_meet_there(astride, tmp_path):
    gpx = gpxpy.parse(exported(astride, tmp_path, "gpx").read_text("utf-8"))
    segments = gpx.tracks[0].segments
    for segment in segments:
        longitude = np.array([p.longitude for p in segment.points])
        # GPX 1.1 schema: -180 <= longitude < 180.
        assert longitude.min() >= -180
        assert longitude.max() < 180
        assert np.ptp(longitude) < 0.01
    ends = [segment.points[i].longitude for segment in segments for i in (0, -1)]
    assert sum(abs(abs(longitude) - 180) < 2e-9 for longitude in ends) == 4


# KML and GeoPackage


@pytest.mark.parametrize("fmt", ["kml", "gpkg"])
def test_layers_are_those_the_track_has(track, tmp_path, fmt):
    path = exported(track, tmp_path, fmt)
    names = [name for name, _ in pyogrio.list_layers(path)]
    assert names == ["centreline", "gates", "corners", "pit_lane"]
    bare = replace(track, corners=(), pit_lanes=())
    export_track(bare, path, fmt, force=True)
    assert [name for name, _ in pyogrio.list_layers(path)] == ["centreline", "gates"]


def read_layer(path, layer):
    """Geometries by GDAL; KML's attributes by the standard library, since one of GDAL's two
    drivers for KML, which older builds of pyogrio have alone, does not read them."""
    frame = gpd.read_file(path, layer=layer)
    if path.suffix == ".gpkg":
        return frame
    kml = "{http://www.opengis.net/kml/2.2}"
    rows = []
    for folder in ET.parse(path).iter(f"{kml}Folder"):
        if folder.findtext(f"{kml}name") == layer:
            for placemark in folder.iter(f"{kml}Placemark"):
                row = {data.get("name"): data.text for data in placemark.iter(f"{kml}SimpleData")}
                rows.append({"name": placemark.findtext(f"{kml}name"), **row})
    return gpd.GeoDataFrame(rows, geometry=frame.geometry, crs=frame.crs)


@pytest.mark.parametrize("fmt", ["kml", "gpkg"])
def test_layers_keep_geometry(track, tmp_path, fmt):
    path = exported(track, tmp_path, fmt)
    line = gpd.read_file(path, layer="centreline")
    assert line.crs == "EPSG:4326"
    vertices = np.array(line.geometry[0].coords)
    assert vertices[:, 0] == pytest.approx(track.centreline.longitude_deg, abs=1e-9)
    assert vertices[:, 1] == pytest.approx(track.centreline.latitude_deg, abs=1e-9)
    assert vertices[:, 2] == pytest.approx(track.centreline.height_m, abs=1e-6)
    gates = gpd.read_file(path, layer="gates")
    for shape, gate in zip(gates.geometry, track.gates, strict=True):
        assert np.array(shape.coords)[:, :2] == pytest.approx(
            np.array([gate.left, gate.right]), abs=1e-9
        )
    corners = gpd.read_file(path, layer="corners")
    assert (corners.geometry[0].x, corners.geometry[0].y) == pytest.approx(
        track.corners[0].apex, abs=1e-9
    )


@pytest.mark.parametrize("fmt", ["kml", "gpkg"])
def test_layers_keep_attributes(track, tmp_path, fmt):
    path = exported(track, tmp_path, fmt)
    line = read_layer(path, "centreline").iloc[0]
    assert line["name"] == "Invented Ring"
    assert line["direction"] == "anticlockwise"
    assert float(line["length_m"]) == pytest.approx(track.length_m)
    assert float(line["width_m"]) == 10.0
    assert pd.isna(line.get("accuracy_m"))

    gates = read_layer(path, "gates")
    assert gates["name"].tolist() == ["Finish", "North", "Half"]
    assert gates["kind"].tolist() == ["finish", "sector", "sector"]
    assert gates["order"].astype(int).tolist() == [0, 1, 2]
    assert gates["chainage_m"].astype(float).to_numpy() == pytest.approx(
        [gate.chainage_m for gate in track.gates]
    )

    corner = read_layer(path, "corners").iloc[0]
    assert corner["name"] == "Mill & Pond <bend>"
    assert int(corner["number"]) == 1
    assert float(corner["min_radius_m"]) == 99.5
    assert json.loads(corner["other"]) == {"banked": [1, 2]}


@pytest.mark.parametrize("fmt", ["kml", "gpkg"])
def test_layers_across_the_antimeridian_are_cut_in_parts(astride, tmp_path, fmt):
    path = exported(astride, tmp_path, fmt)
    line = gpd.read_file(path, layer="centreline").geometry[0]
    assert line.geom_type == "MultiLineString"
    for part in line.geoms:
        west, _, east, _ = part.bounds
        assert -180 <= west <= east <= 180
        assert east - west < 0.01
    # Nothing is lost by cutting: GDAL's own length of the parts is the circuit's.
    metres = gpd.GeoSeries([line], crs=4326).to_crs("+proj=tmerc +lat_0=-17 +lon_0=180")
    assert metres.length[0] == pytest.approx(astride.length_m, abs=0.05)
    gates = gpd.read_file(path, layer="gates")
    assert len(gates) == 3
    assert gates.geometry.bounds.apply(lambda row: row.maxx - row.minx, axis=1).median() < 0.01


@pytest.mark.parametrize("name", ["ring", "ring.zip", "ring.kmz"])
def test_a_geopackage_may_have_any_name(track, tmp_path, name):
    export_track(track, tmp_path / name, "gpkg")
    # SQLite's file header (sqlite.org/fileformat.html; from memory).
    assert (tmp_path / name).read_bytes()[:15] == b"SQLite format 3"
    assert [path.name for path in tmp_path.iterdir()] == [name]


# Gates as CSV


def test_csv_has_one_row_a_gate_with_numbers_pandas_reads(track, tmp_path):
    frame = pd.read_csv(exported(track, tmp_path, "csv"))
    assert frame["id"].tolist() == ["finish", "north", "half"]
    assert frame["kind"].tolist() == ["finish", "sector", "sector"]
    assert frame["order"].tolist() == [0, 1, 2]
    assert frame["width_m"].to_numpy() == pytest.approx([12.0] * 3, abs=1e-3)
    assert frame["left_longitude_deg"].to_numpy() == pytest.approx(
        [gate.left[0] for gate in track.gates], abs=1e-9
    )
    # By hand: anticlockwise round a ring from its east end, a driver heads north there, west at
    # the north end and south at the west end.
    assert frame["bearing_deg"].to_numpy() == pytest.approx([0.0, 270.0, 180.0], abs=0.05)


def test_middle_and_bearing_agree_with_geographiclib(track):
    for gate in track.gates:
        way = Geodesic.WGS84.Inverse(gate.left[1], gate.left[0], gate.right[1], gate.right[0])
        middle = Geodesic.WGS84.InverseLine(
            gate.left[1], gate.left[0], gate.right[1], gate.right[0]
        ).Position(way["s12"] / 2)
        assert gate_middle(gate) == pytest.approx((middle["lon2"], middle["lat2"]), abs=1e-10)
        turned = (gate_bearing_deg(gate) - (middle["azi2"] - 90) + 180) % 360 - 180
        assert turned == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    "name", ['=HYPERLINK("http://example.invalid")', "+1", "-1+2", "@SUM(1)", "\t=1", "  =1"]
)
def test_csv_keeps_a_spreadsheet_from_running_a_name_as_a_formula(track, tmp_path, name):
    # OWASP, CSV injection (from memory): cells must not begin with = + - @ or a tab.
    finish, *others = track.gates
    path = exported(track.with_gates([replace(finish, name=name), *others]), tmp_path, "csv")
    with path.open(newline="", encoding="utf-8") as file:
        row = next(csv.DictReader(file))
    assert row["name"] == f"'{name}"


def test_csv_quotes_commas_quotes_and_line_ends_in_names(track, tmp_path):
    finish, *others = track.gates
    name = 'Start, "Finish"\nand pit'
    path = exported(track.with_gates([replace(finish, name=name), *others]), tmp_path, "csv")
    assert pd.read_csv(path)["name"][0] == name


def test_csv_across_the_antimeridian_has_the_middle_between_the_ends(astride, tmp_path):
    frame = pd.read_csv(exported(astride, tmp_path, "csv"))
    longitudes = frame.filter(like="longitude").to_numpy()
    assert np.abs(longitudes).max() <= 180
    assert np.abs(longitudes).min() > 179.99
    north = frame[frame["id"] == "north"].iloc[0]
    assert abs(north["middle_longitude_deg"]) == pytest.approx(180, abs=1e-6)
    assert north["bearing_deg"] == pytest.approx(270.0, abs=0.05)


# All formats


@pytest.mark.parametrize("fmt", EXPORT_FORMATS)
def test_a_file_that_exists_is_replaced_only_by_force(track, tmp_path, fmt):
    path = tmp_path / f"ring.{fmt}"
    path.write_text("precious")
    with pytest.raises(OutputError, match="exists already"):
        export_track(track, path, fmt)
    assert path.read_text() == "precious"
    export_track(track, path, fmt, force=True)
    assert b"precious" not in path.read_bytes()
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize("fmt", EXPORT_FORMATS)
def test_a_folder_that_is_not_there_is_said_in_a_sentence(track, tmp_path, fmt):
    with pytest.raises(OutputError, match="cannot be written"):
        export_track(track, tmp_path / "nowhere" / "ring", fmt)


def test_a_failure_half_way_leaves_nothing_behind(track, tmp_path, monkeypatch):
    def fail(frame, path, *, layer, **_):
        path.write_text("half")
        if layer == "gates":
            raise pyogrio.errors.DataLayerError("the disk is full")

    monkeypatch.setattr(pyogrio, "write_dataframe", fail)
    with pytest.raises(OutputError, match="the disk is full"):
        export_track(track, tmp_path / "ring.gpkg", "gpkg")
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_format_is_refused_with_those_that_are_known(track, tmp_path):
    with pytest.raises(OutputError, match="geojson, gpx, kml, gpkg, csv"):
        export_track(track, tmp_path / "ring.dxf", "dxf")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("fmt", ["gpx", "kml", "gpkg", "csv"])
def test_characters_xml_cannot_hold_are_left_out_of_names(track, tmp_path, fmt):
    finish, *others = track.gates
    odd = track.with_gates([replace(finish, name="Fin\x00i\x1bsh \ud800Ö"), *others])
    path = exported(odd, tmp_path, fmt)
    if fmt == "gpx":
        name = gpxpy.parse(path.read_text("utf-8")).routes[0].name
    elif fmt == "csv":
        name = pd.read_csv(path)["name"][0]
    else:
        name = read_layer(path, "gates")["name"][0]
    assert name == "Finish Ö"
