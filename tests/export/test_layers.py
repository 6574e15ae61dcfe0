"""The layers of KML and GeoPackage, read back by GDAL."""

import json
from dataclasses import replace
from xml.etree import ElementTree as ET

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest

from trackkit.export.export import export_track


@pytest.mark.parametrize("fmt", ["kml", "gpkg"])
def test_layers_are_those_the_track_has(track, exported, fmt):
    path = exported(track, fmt)
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
def test_layers_keep_geometry(track, exported, fmt):
    path = exported(track, fmt)
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
def test_layers_keep_attributes(track, exported, fmt):
    path = exported(track, fmt)
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
def test_layers_across_the_antimeridian_are_cut_in_parts(astride, exported, fmt):
    path = exported(astride, fmt)
    line = gpd.read_file(path, layer="centreline").geometry[0]
    assert line.geom_type == "MultiLineString"
    for part in line.geoms:
        west, _, east, _ = part.bounds
        assert -180 <= west <= east <= 180
        assert east - west < 0.01
    # Nothing is lost by cutting: GDAL's own length of the parts is the circuit's.
    metres = gpd.GeoSeries([line], crs=4326).to_crs("+proj=tmerc +lat_0=-27 +lon_0=180")
    assert metres.length[0] == pytest.approx(astride.length_m, abs=0.05)
    gates = gpd.read_file(path, layer="gates")
    assert len(gates) == 3
    assert gates.geometry.bounds.apply(lambda row: row.maxx - row.minx, axis=1).median() < 0.01


@pytest.mark.parametrize("fmt", ["kml", "gpkg"])
def test_characters_xml_cannot_hold_are_left_out_of_names(oddly_named, exported, fmt):
    assert read_layer(exported(oddly_named, fmt), "gates")["name"][0] == "Finish Ö"


def test_corners_without_a_name_are_named_in_kml_as_in_gpx(track, exported):
    nameless = replace(track, corners=tuple(replace(c, name="") for c in track.corners))
    names = [
        element.text
        for element in ET.parse(exported(nameless, "kml")).iter(
            "{http://www.opengis.net/kml/2.2}name"
        )
    ]
    assert [f"Corner {corner.number}" for corner in track.corners] == [
        name for name in names if name and name.startswith("Corner ")
    ]
    assert all(names)
