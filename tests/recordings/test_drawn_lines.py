"""Lines already drawn: GeoJSON, KML and GPX, in any grid."""

from __future__ import annotations

import json

import numpy as np
import pytest
from geojson_features import POSITIONS, TIMES, feature
from pyproj import Geod, Transformer

from trackkit.errors import PlaceError, RecordingError
from trackkit.recordings.drawn_lines import read_line


@pytest.fixture
def kml(tmp_path):
    def write(body: str, before: str = ""):
        path = tmp_path / "line.kml"
        path.write_text(
            f'{before}<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{body}</Document></kml>',
            encoding="utf-8",
        )
        return path

    return write


def placemark(name: str, coordinates: str) -> str:
    return (
        f"<Placemark><name>{name}</name><LineString><coordinates>{coordinates}</coordinates>"
        "</LineString></Placemark>"
    )


def test_a_drawn_line_is_read_with_name_and_heights(geojson):
    line = read_line(geojson(feature("LineString", POSITIONS, name="Invented Loop")))
    np.testing.assert_array_equal(line.longitude_deg, [161.0, 161.001, 161.001])
    np.testing.assert_array_equal(line.latitude_deg, [48.0, 48.0, 48.001])
    np.testing.assert_array_equal(line.elevation_m, [500.0, 501.0, 502.0])
    assert (line.name, line.remarks) == ("Invented Loop", ())


def test_a_bare_geometry_is_a_line_too(tmp_path):
    path = tmp_path / "line.json"
    path.write_text(json.dumps({"type": "LineString", "coordinates": [[161, 48], [161, 48.1]]}))
    line = read_line(path)
    assert line.elevation_m is None
    assert line.name is None


def test_the_ring_of_an_area_is_a_line_and_its_inner_edge_a_question(geojson):
    ring = [*POSITIONS, POSITIONS[0]]
    line = read_line(geojson(feature("Polygon", [ring])))
    assert len(line.longitude_deg) == 4
    with pytest.raises(RecordingError, match="has an inner edge as well"):
        read_line(geojson(feature("Polygon", [ring, ring])))


def test_neighbours_that_are_the_same_are_made_one(geojson):
    line = read_line(geojson(feature("LineString", [POSITIONS[0], *POSITIONS, POSITIONS[2]])))
    assert len(line.longitude_deg) == 3
    with pytest.raises(RecordingError, match="fewer than two different positions"):
        read_line(geojson(feature("LineString", [[161, 48], [161, 48]])))


@pytest.mark.parametrize("crs", [None, "EPSG:25832"])
@pytest.mark.parametrize(
    ("kind", "coordinates"), [("LineString", []), ("Polygon", []), ("MultiPolygon", [5])]
)
def test_a_line_without_positions_is_refused(geojson, kind, coordinates, crs):
    with pytest.raises(RecordingError, match="fewer than two different positions"):
        read_line(geojson(feature(kind, coordinates)), crs=crs)


def test_a_line_cut_at_the_antimeridian_is_joined_again(geojson):
    # As RFC 7946, section 3.1.9, asks for cutting it.
    parts = [[[179.99, -27.0], [180.0, -27.0]], [[-180.0, -27.0], [-179.99, -27.0]]]
    line = read_line(geojson(feature("MultiLineString", parts)))
    np.testing.assert_allclose(line.longitude_deg, [179.99, 180.0, 180.01])


def test_several_lines_are_a_question_with_names_and_lengths(geojson):
    metres = Geod(ellps="WGS84").line_length(*zip(*[p[:2] for p in POSITIONS], strict=True))
    path = geojson(
        feature("LineString", POSITIONS, name="One"),
        feature("LineString", POSITIONS[::-1], name="Other"),
    )
    with pytest.raises(
        RecordingError, match=rf"holds 2 lines .*One: {metres:,.0f} m; Other: {metres:,.0f} m"
    ):
        read_line(path)


def test_a_line_ten_times_as_long_as_every_other_one_is_the_track(geojson):
    # A track exported with its gates holds them as lines as well.
    track = [[161.0, 48.0], [161.1, 48.0]]
    gates = [[[161.0, 47.9999], [161.0, 48.0001]], [[161.05, 47.9999], [161.05, 48.0001]]]
    path = geojson(
        *(feature("LineString", gate, name="Gate") for gate in gates),
        feature("LineString", track, name="Track"),
    )
    assert read_line(path).name == "Track"


def test_no_line_is_told(geojson):
    with pytest.raises(RecordingError, match="holds no line"):
        read_line(geojson(feature("Point", POSITIONS[0])))


def test_times_in_a_drawn_line_are_remarked(geojson):
    line = read_line(geojson(feature("LineString", POSITIONS, coordTimes=TIMES)))
    assert line.remarks == (
        "its times were not used, since it was read as a drawn line and not as a recording",
    )


def test_a_recording_in_text_is_no_drawn_line(tmp_path):
    path = tmp_path / "drive.csv"
    path.write_text("time,lat,lon\n0,48,161\n1,48,161\n")
    with pytest.raises(RecordingError, match="is text, not a drawn line"):
        read_line(path)


def test_gpx_tracks_and_routes_are_lines(tmp_path):
    path = tmp_path / "line.gpx"
    points = '<rtept lat="48" lon="161"><ele>5</ele></rtept><rtept lat="48.1" lon="161"/>'
    path.write_text(f'<gpx version="1.1"><rte><name>R</name>{points}</rte></gpx>')
    line = read_line(path)
    np.testing.assert_array_equal(line.latitude_deg, [48.0, 48.1])
    np.testing.assert_array_equal(line.elevation_m, [5.0, np.nan])
    assert line.name == "R"
    path.write_text(path.read_text().replace("rtept", "trkpt").replace("rte>", "trk>"))
    path.write_text(
        path.read_text().replace("</name>", "</name><trkseg>").replace("</trk>", "</trkseg></trk>")
    )
    assert read_line(path).name == "R"


def test_a_kml_line_is_read(kml):
    line = read_line(kml(placemark("Loop", "161,48,500 161.001,48,501 161.001,48.001,502")))
    np.testing.assert_array_equal(line.longitude_deg, [161.0, 161.001, 161.001])
    np.testing.assert_array_equal(line.latitude_deg, [48.0, 48.0, 48.001])
    np.testing.assert_array_equal(line.elevation_m, [500.0, 501.0, 502.0])
    assert line.name == "Loop"


def test_lines_in_all_folders_of_a_kml_are_seen(kml):
    body = "".join(
        f"<Folder><name>F{n}</name>{placemark(f'L{n}', '161,48 161.001,48')}</Folder>"
        for n in (1, 2)
    )
    with pytest.raises(RecordingError, match=r"holds 2 lines .*L1: 75 m; L2: 75 m"):
        read_line(kml(body))


def test_entities_in_kml_are_refused(kml):
    path = kml(placemark("L", "161,48 162,48"), before='<!DOCTYPE kml [<!ENTITY a "b">]>')
    with pytest.raises(RecordingError, match="defines entities"):
        read_line(path)


def test_a_truncated_kml_is_told(kml):
    path = kml(placemark("L", "161,48 162,48"))
    path.write_text(path.read_text()[:-30])
    with pytest.raises(RecordingError, match="line 1: its XML is broken or breaks off"):
        read_line(path)


@pytest.mark.parametrize("crs", ["EPSG:25832", "EPSG:4326"])
def test_kml_and_gpx_are_wgs_84_by_their_standards(kml, crs):
    with pytest.raises(
        RecordingError, match="is KML, which is always in WGS 84; name no"
    ) as caught:
        read_line(kml(placemark("L", "161,48 162,48")), crs=crs)
    assert caught.value.remedy.value == {"argument": "crs"}


def test_a_line_in_a_grid_comes_out_where_pyproj_puts_it(geojson):
    to_grid = Transformer.from_crs("EPSG:4326", "EPSG:32657", always_xy=True)
    grid = [to_grid.transform(x, y) for x, y, _ in POSITIONS]
    line = read_line(geojson(feature("LineString", grid)), crs="EPSG:32657")
    np.testing.assert_allclose(line.longitude_deg, [161.0, 161.001, 161.001], rtol=0, atol=1e-10)
    np.testing.assert_allclose(line.latitude_deg, [48.0, 48.0, 48.001], rtol=0, atol=1e-10)
    assert line.remarks == ()


def test_grid_coordinates_without_a_grid_are_a_question(geojson):
    grid = [[400_000, 6_200_000], [400_100, 6_200_000]]
    with pytest.raises(RecordingError, match="such as 400000, 6200000, are not degrees; name the"):
        read_line(geojson(feature("LineString", grid)))
    declared = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::25832"}}
    with pytest.raises(RecordingError, match=r"says its coordinates .*; name the grid") as caught:
        read_line(geojson(feature("LineString", grid), crs=declared))
    assert caught.value.remedy.value == {"crs": "EPSG:25832"}


def test_an_unknown_grid_is_told_with_the_file(geojson):
    with pytest.raises(PlaceError, match=r"drive\.geojson: 'EPSG:1' is no coordinate system"):
        read_line(geojson(feature("LineString", POSITIONS)), crs="EPSG:1")


def test_a_position_that_is_nowhere_is_told_by_its_number(geojson):
    with pytest.raises(RecordingError, match="position 2: nan, nan is no longitude and latitude"):
        read_line(geojson(feature("LineString", [POSITIONS[0], [None, None], POSITIONS[1]])))


def test_lines_beyond_all_numbers_are_refused(tmp_path):
    path = tmp_path / "lines.kml"
    line = "<Placemark><LineString><coordinates>{}</coordinates></LineString></Placemark>"
    lines = 2 * line.format("-1.7e308,1 1.7e308,-1")
    kml = f'<kml xmlns="http://www.opengis.net/kml/2.2"><Document>{lines}</Document></kml>'
    path.write_text(kml)
    with pytest.raises(RecordingError, match=r"-1.7e\+308, 1 is no longitude"):
        read_line(path)


def test_a_drawn_height_that_is_nowhere_on_earth_is_left_out(geojson):
    high = [[*position[:2], 1e308] for position in POSITIONS]
    assert read_line(geojson(feature("LineString", high))).elevation_m is None


@pytest.mark.parametrize("space", ["", " ", "\t", "\n  "])
def test_space_within_a_position_of_kml_is_read_over(tmp_path, space):
    path = tmp_path / "line.kml"
    positions = f"-128,{space}43 -127.998,{space}43\n-127.998,{space}43.002"
    path.write_text(
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark><LineString><coordinates>'
        f"{positions}</coordinates></LineString></Placemark></kml>"
    )

    line = read_line(path)

    assert line.longitude_deg.tolist() == [-128.0, -127.998, -127.998]
    assert line.latitude_deg.tolist() == [43.0, 43.0, 43.002]
