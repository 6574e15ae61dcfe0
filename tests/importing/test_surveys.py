"""Tracks laid out elsewhere: drawings in a grid, layers with names of their own, tables of ends."""

from __future__ import annotations

import json

import numpy as np
import pyogrio
import pytest
from pyproj import Transformer

from trackkit.errors import RecordingError, TrackFileError
from trackkit.importing.import_track import import_track
from trackkit.recordings.drawn_lines import read_line

# UTM zone 58 north, whose false easting is at 165 degrees east.
GRID = "EPSG:32658"
_TO_GRID = Transformer.from_crs("EPSG:4326", GRID, always_xy=True)
MIDDLE = np.array(_TO_GRID.transform(162.0, 47.0))
"""Easting and northing in the open Pacific."""
ALONG_M, RADIUS_M = 300.0, 60.0
LENGTH_M = 2.0 * ALONG_M + 2.0 * np.pi * RADIUS_M


@pytest.fixture
def drawing(tmp_path):
    """A stadium, anticlockwise, of lines and arcs in pieces, as a surveyor draws it."""
    ezdxf = pytest.importorskip("ezdxf")
    document = ezdxf.new()
    document.header["$INSUNITS"] = 6
    space = document.modelspace()
    east, north = MIDDLE

    def at(x, y):
        return float(east + x), float(north + y)

    half = ALONG_M / 2.0
    road = {"layer": "A_ROAD"}
    space.add_line(at(-half, -RADIUS_M), at(half, -RADIUS_M), dxfattribs=road)
    # Arcs run anticlockwise; this line is drawn against the direction of the lap.
    space.add_line(at(-half, RADIUS_M), at(half, RADIUS_M), dxfattribs=road)
    space.add_arc(at(half, 0.0), RADIUS_M, -90.0, 90.0, dxfattribs=road)
    space.add_arc(at(-half, 0.0), RADIUS_M, 90.0, 270.0, dxfattribs=road)
    # The first from right to left.
    space.add_lwpolyline(
        [at(-half, -RADIUS_M - 6.0), at(-half, -RADIUS_M + 6.0)], dxfattribs={"layer": "FINISH"}
    )
    space.add_line(
        at(0.0, RADIUS_M - 6.0), at(0.0, RADIUS_M + 6.0), dxfattribs={"layer": "SECTOR_1"}
    )
    space.add_line(at(500.0, 500.0), at(520.0, 500.0), dxfattribs={"layer": "FENCE"})
    path = tmp_path / "survey.dxf"
    document.saveas(path)
    return path


def test_a_surveyors_drawing_of_pieces_becomes_a_track(drawing):
    imported = import_track(drawing, crs=GRID, layers={"centreline": "A_ROAD"}, name="Stadium")

    track = imported.track
    # The stadium's own perimeter; a grid's metre is 1/0.9996 of one, and less west of its middle.
    scale = _scale()
    assert track.length_m == pytest.approx(LENGTH_M / scale, abs=0.1)
    assert track.closed
    assert track.direction == "anticlockwise"
    assert [gate.kind for gate in track.gates] == ["finish", "sector"]
    halfway_m = 0.5 * LENGTH_M + 0.5 * ALONG_M
    assert track.gates[1].chainage_m == pytest.approx(halfway_m / scale, abs=0.1)
    assert track.gates[0].width_m == pytest.approx(12.0 / scale, abs=0.001)
    assert any("right to left" in remark for remark in imported.remarks)


def _scale() -> float:
    from pyproj import Proj

    return float(Proj(GRID).get_factors(162.0, 47.0).meridional_scale)


def test_a_drawing_asks_for_its_grid(drawing):
    with pytest.raises(RecordingError, match="names no coordinate system"):
        import_track(drawing)


def test_a_layer_that_is_not_there_is_refused_with_those_that_are(drawing):
    with pytest.raises(TrackFileError, match="no layer called 'ROAD'; its layers are: A_ROAD, FIN"):
        import_track(drawing, crs=GRID, layers={"centreline": "ROAD"})


def test_a_line_is_built_from_the_same_formats(drawing, tmp_path):
    import geopandas
    from shapely import LineString

    corners = np.add(MIDDLE, [[0.0, 0.0], [400.0, 0.0], [400.0, 300.0], [0.0, 300.0], [0.0, 0.0]])
    frame = geopandas.GeoDataFrame({"name": ["box"]}, geometry=[LineString(corners)], crs=GRID)
    for name in ("box.gpkg", "box.shp", "box.fgb"):
        frame.to_file(tmp_path / name)
        line = read_line(tmp_path / name)
        back = np.column_stack(_TO_GRID.transform(line.longitude_deg, line.latitude_deg))
        assert np.abs(back - corners).max() < 0.001


def test_fields_and_layers_of_other_names_are_read_where_they_are_named(tmp_path):
    import geopandas
    from shapely import LineString

    angle = np.linspace(0.0, 2.0 * np.pi, 90)
    ring = MIDDLE + 200.0 * np.column_stack([np.cos(angle), np.sin(angle)])
    across = [
        LineString(MIDDLE + np.outer(r, [np.cos(a), np.sin(a)]))
        for r, a in (([190.0, 210.0], 0.0), ([190.0, 210.0], 2.0))
    ]
    path = tmp_path / "layout.gpkg"
    geopandas.GeoDataFrame({"n": [1]}, geometry=[LineString(ring)], crs=GRID).to_file(
        path, layer="lijn"
    )
    geopandas.GeoDataFrame(
        {"soort": ["finish", "Sector"], "naam": ["Aankomst", "Half"]}, geometry=across, crs=GRID
    ).to_file(path, layer="dwars")

    track = import_track(
        path,
        layers={"centreline": "lijn", "gates": "dwars"},
        fields={"kind": "soort", "name": "naam"},
    ).track

    assert [(gate.kind, gate.name) for gate in track.gates] == [
        ("finish", "Aankomst"),
        ("sector", "Half"),
    ]
    assert track.name == "layout"


def test_a_table_without_columns_of_ends_is_refused_with_what_to_name(tmp_path):
    path = tmp_path / "gates.csv"
    path.write_text("gate,a,b\nfinish,1,2\n")
    with pytest.raises(RecordingError, match="does not say which columns hold the two ends"):
        import_track(path)


def test_a_line_that_a_wrong_grid_shrinks_to_a_point_is_refused(tmp_path):
    # Degrees taken for metres.
    path = tmp_path / "line.geojson"
    positions = [[162.0, 47.0], [162.01, 47.0], [162.01, 47.01], [162.0, 47.01], [162.0, 47.0]]
    line = {"type": "LineString", "coordinates": positions}
    feature = {"type": "Feature", "geometry": line, "properties": {}}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    with pytest.raises(TrackFileError, match=r"its line (has|is) .*name the grid"):
        import_track(path, crs=GRID)


def test_gates_without_a_line_need_a_track(tmp_path):
    path = tmp_path / "gates.csv"
    path.write_text("kind;left x;left y;right x;right y\nfinish;162,0;47,0;162,0001;47,0\n")
    with pytest.raises(TrackFileError, match="without a line that could be the centreline"):
        import_track(path)


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("empty.gpkg", b"", "is empty"),
        ("short.shp", b"\x00\x00\x27\x0a" + bytes(20), "is damaged or breaks off"),
        ("short.dxf", b"  0\nSECTION\n  2\nENTITIES\n", "is a DXF drawing without|is damaged"),
        ("a.geojson", b'{"type": "FeatureCollection", "features": []}', "without a line"),
        ("a.json", b'{"a": 1}', "no GeoJSON FeatureCollection"),
        ("a.kml", b"<kml><Placemark>", "XML is broken"),
        ("a.zip", b"PK\x03\x04" + bytes(30), "ZIP archive is damaged"),
        ("a.nmea", b"$GPRMC,120000.00,A,4700.0,N,16200.0,E,1.0,0.0,010126,,,A*00\r\n", "recording"),
    ],
)
def test_what_cannot_be_imported_is_refused_in_a_sentence_that_names_it(
    name, content, words, tmp_path
):
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises((RecordingError, TrackFileError), match=words) as refused:
        import_track(path)
    assert refused.value.file == path.as_posix()


def test_nothing_outside_the_folder_is_written_by_an_archive(tmp_path):
    import zipfile

    with zipfile.ZipFile(tmp_path / "bad.zip", "w") as archive:
        archive.writestr("../../outside.shp", b"\x00\x00\x27\x0a")
    with pytest.raises(RecordingError):
        import_track(tmp_path / "bad.zip")
    assert not list(tmp_path.parent.parent.glob("outside.shp"))


def test_layers_that_gdal_lists_are_all_read_or_told(tmp_path, drawing):
    assert [name for name, _ in pyogrio.list_layers(drawing)] == ["entities"]
    imported = import_track(drawing, crs=GRID, layers={"centreline": "A_ROAD"})
    assert any("FENCE" in remark for remark in imported.remarks)


def test_a_drawing_with_a_number_that_is_none_is_refused_by_its_line(drawing):
    text = drawing.read_text()
    number = f"{MIDDLE[0] - ALONG_M / 2.0}"
    assert number in text
    damaged = text.replace(number, f"{number[:3]}y{number[4:]}", 1)
    drawing.write_text(damaged)
    line = 1 + damaged[: damaged.index(f"{number[:3]}y")].count("\n")

    with pytest.raises(RecordingError, match=r"its DXF is damaged: '\d+y[\d.]+' is no number") as e:
        import_track(drawing, crs=GRID, layers={"centreline": "A_ROAD"})

    # ezdxf counts to the end of the position, of three numbers and their codes.
    assert 0 <= int(e.value.place.removeprefix("near line ")) - line <= 5


@pytest.mark.parametrize(
    ("whole", "damaged"),
    [("AcDbLayout\n  1\nModel", "AcDbLayout\n -1\nModel"), ("\nLayout1\n 70", "\n\n 70")],
)
def test_a_drawing_with_a_damaged_object_is_refused_in_a_sentence(whole, damaged, drawing):
    text = drawing.read_text()
    assert whole in text
    drawing.write_text(text.replace(whole, damaged))
    with pytest.raises(RecordingError, match="its DXF is damaged: objects"):
        import_track(drawing, crs=GRID, layers={"centreline": "A_ROAD"})


@pytest.mark.parametrize("crs", [None, GRID])
def test_a_table_without_a_row_is_said_to_hold_no_line(crs, tmp_path):
    path = tmp_path / "gates.csv"
    path.write_text("left x,left y,right x,right y\n")

    with pytest.raises(TrackFileError, match="is CSV without a line that could be the centreline"):
        import_track(path, crs=crs)
