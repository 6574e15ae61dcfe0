"""Drawings for surveyors, read back by ezdxf and GDAL."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace

import numpy as np
import pyogrio
import pytest
from pyproj import Geod, Transformer
from sample_circuits import FOLDER, track_of

from trackkit.errors import OutputError, PlaceError
from trackkit.export.dxf import dxf_drawing, edges_of, utm_zone
from trackkit.export.export import export_track

ezdxf = pytest.importorskip("ezdxf")


def read_again(track, tmp_path, crs=None):
    path = tmp_path / "ring.dxf"
    said = export_track(track, path, "dxf", crs=crs)
    drawing = ezdxf.readfile(path)
    assert not drawing.audit().has_errors
    return drawing, said


def lines_on(drawing, layer):
    space = drawing.modelspace()
    deep = space.query(f'POLYLINE[layer=="{layer}"]')
    flat = space.query(f'LWPOLYLINE[layer=="{layer}"]')
    lines = [np.array([vertex.dxf.location for vertex in line.vertices]) for line in deep]
    return [*lines, *(np.array(line.get_points("xy")) for line in flat)]


def test_layers_hold_the_line_its_edges_gates_pit_lane_and_corners(track, tmp_path):
    drawing, _ = read_again(track, tmp_path)
    count = {}
    for entity in drawing.modelspace():
        kind = entity.dxf.layer, entity.dxftype()
        count[kind] = count.get(kind, 0) + 1
    assert count == {
        ("centreline", "POLYLINE"): 1,
        ("edge-left", "LWPOLYLINE"): 1,
        ("edge-right", "LWPOLYLINE"): 1,
        ("gates", "LINE"): 3,
        ("gates", "TEXT"): 3,
        ("pit-lane", "LWPOLYLINE"): 1,
        ("corners", "POINT"): 1,
        ("corners", "TEXT"): 1,
    }
    texts = {entity.dxf.text for entity in drawing.modelspace().query("TEXT")}
    assert texts == {"Finish", "Half", "North", "Mill & Pond <bend>"}
    assert drawing.header["$INSUNITS"] == ezdxf.units.M


def test_the_line_is_where_proj_puts_it_with_its_heights(track, tmp_path):
    drawing, said = read_again(track, tmp_path, "EPSG:32657")
    (line,) = lines_on(drawing, "centreline")
    grid = Transformer.from_crs("EPSG:4326", "EPSG:32657", always_xy=True)
    stored = track.centreline
    east, north = grid.transform(stored.longitude_deg[:-1], stored.latitude_deg[:-1])
    assert line == pytest.approx(np.column_stack([east, north, stored.height_m[:-1]]), abs=1e-4)
    assert drawing.modelspace().query("POLYLINE")[0].is_closed
    assert "EPSG:32657 (WGS 84 / UTM zone 57N), unit metre" in said[0]
    assert dict(drawing.header.custom_vars)["CRS"].startswith("EPSG:32657")


def test_gates_go_from_their_left_to_their_right_ends(track, tmp_path):
    drawing, _ = read_again(track, tmp_path, "EPSG:32657")
    back = Transformer.from_crs("EPSG:32657", "EPSG:4326", always_xy=True)
    found = [
        [back.transform(end.x, end.y) for end in (line.dxf.start, line.dxf.end)]
        for line in drawing.modelspace().query("LINE")
    ]
    for gate, (left, right) in zip(track.gates, found, strict=True):
        assert left == pytest.approx(gate.left, abs=1e-9)
        assert right == pytest.approx(gate.right, abs=1e-9)


def test_edges_of_a_ring_are_circles_half_a_width_inside_and_outside(track):
    left, right = edges_of(track)
    for edge, radius_m in ((left, 95.0), (right, 105.0)):
        place = track.plane.to_plane(edge[:, 0], edge[:, 1])
        middle = track.plane.to_plane([161.0], [47.0])[0]
        away = np.hypot(*(place - middle).T)
        assert away == pytest.approx(np.full(len(away), radius_m), abs=0.02)


def test_an_edge_inside_a_bend_tighter_than_the_width_does_not_fold_over(track):
    """A ring of 100 m radius with edges 120 m off: there is no inside edge to fold."""
    profile = ((0.0, 20.0, 20.0), (300.0, 130.0, 20.0))
    wide = replace(track.centreline, width_profile=profile)
    left, right = edges_of(replace(track, centreline=wide))
    middle = track.plane.to_plane([161.0], [47.0])[0]
    inside = np.hypot(*(track.plane.to_plane(left[:, 0], left[:, 1]) - middle).T)
    # Beyond the middle of the ring an edge would come out on the other side.
    assert inside.max() < 82.0
    outside = np.hypot(*(track.plane.to_plane(right[:, 0], right[:, 1]) - middle).T)
    assert outside == pytest.approx(np.full(len(outside), 120.0), abs=0.05)


def test_a_track_of_no_known_width_has_no_edges_and_that_is_told(track, tmp_path):
    narrow = replace(track, centreline=replace(track.centreline, width_m=None))
    drawing, said = read_again(narrow, tmp_path)
    assert not drawing.modelspace().query('*[layer ? "edge"]')
    assert said[-1] == "edges are left out: the track file does not say how wide the track is"


@pytest.mark.parametrize(
    ("name", "zone"),
    [("pipwick-kart-circuit", 32644), ("twistlemoor", 32753), ("morrowfen", 32624)],
)
def test_without_a_grid_it_is_the_zone_of_utm(name, zone):
    """Zones are 6 degrees wide, zone 1 beginning at 180 degrees west (from memory)."""
    track = track_of(name)
    assert utm_zone(track) == f"EPSG:{zone}"
    west = -180 + 6 * (zone % 100 - 1)
    assert west <= float(np.mean(track.centreline.longitude_deg)) <= west + 6


def test_lengths_in_the_grid_differ_as_is_said(tmp_path):
    """The polyline's length in the drawing over its length on the ellipsoid."""
    track = track_of("morrowfen")
    drawing, said = read_again(track, tmp_path)
    (line,) = lines_on(drawing, "centreline")
    around = np.vstack([line, line[:1]])[:, :2]
    drawn_m = float(np.hypot(*np.diff(around, axis=0).T).sum())
    stored = track.centreline
    ground_m = Geod(ellps="WGS84").line_length(stored.longitude_deg, stored.latitude_deg)
    per_km = (ground_m - drawn_m) / ground_m * 1e3
    assert f"lengths in this grid are {per_km:.2f} m in a kilometre shorter" in said[1]


def test_a_grid_in_feet_is_drawn_in_feet(track, tmp_path):
    """EPSG:2263 is in US survey feet of 1200/3937 m (NGS; from memory); only its unit matters."""
    metres, _ = read_again(track, tmp_path, "EPSG:32657")
    (tmp_path / "ring.dxf").unlink()
    crs = "+proj=tmerc +lat_0=0 +lon_0=159 +k=0.9996 +x_0=500000 +y_0=0 +datum=WGS84 +units=us-ft"
    feet, said = read_again(track, tmp_path, crs)
    assert feet.header["$INSUNITS"] == 21
    (a,), (b,) = lines_on(metres, "centreline"), lines_on(feet, "centreline")
    assert b * 1200.0 / 3937.0 == pytest.approx(a, abs=1e-3)
    assert "unit US survey foot" in said[0]


def test_astride_the_antimeridian_the_line_is_whole(astride, tmp_path):
    drawing, _ = read_again(astride, tmp_path)
    (line,) = lines_on(drawing, "centreline")
    assert np.hypot(*np.diff(line[:, :2], axis=0).T).max() < 30.0
    with pytest.raises(PlaceError, match="ends at the antimeridian"):
        dxf_drawing(astride, "EPSG:3857")


def test_a_system_in_degrees_is_refused(track):
    with pytest.raises(PlaceError, match="is in degrees; give a grid such as EPSG:25832"):
        dxf_drawing(track, "EPSG:4326")


def test_other_formats_take_no_grid(track, tmp_path):
    with pytest.raises(OutputError, match="kml is always in WGS 84"):
        export_track(track, tmp_path / "ring.kml", "kml", crs="EPSG:32657")


def test_names_with_odd_characters_are_texts_of_one_line(oddly_named, tmp_path):
    drawing, _ = read_again(oddly_named, tmp_path)
    assert "Finish Ö" in {entity.dxf.text for entity in drawing.modelspace().query("TEXT")}


def test_gdal_reads_the_layers(track, tmp_path):
    path = tmp_path / "ring.dxf"
    export_track(track, path, "dxf")
    frame = pyogrio.read_dataframe(path)
    assert {"centreline", "edge-left", "edge-right", "gates"} <= set(frame["Layer"])


@pytest.mark.slow
def test_without_ezdxf_the_sentence_says_what_to_install():
    code = (
        "import sys; sys.modules['ezdxf'] = None\n"
        "import trackkit\n"
        "track = trackkit.read_track(sys.argv[1])\n"
        "try: trackkit.export_track(track, 'x.dxf', 'dxf')\n"
        "except trackkit.TrackkitError as error: print(error)\n"
    )
    path = FOLDER / "pipwick-kart-circuit.geojson"
    said = subprocess.run(
        [sys.executable, "-c", code, str(path)], check=True, capture_output=True, text=True
    ).stdout
    assert said.strip() == (
        "a drawing needs ezdxf to be written; install it: pip install 'trackkit[dxf]'"
    )
