"""Edits made in geopandas and other programs: they come back, and nothing else does."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import geopandas
import numpy as np
import pandas as pd
import pyogrio
import pytest
from nasty_track import nasty_track
from round_trips import exported
from sample_circuits import track_of
from shapely.geometry import LinearRing, LineString

from trackkit.cli import run
from trackkit.errors import PlaceError, RecordingError, TrackFileError
from trackkit.gates.edit import place_gate
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.importing.import_track import import_track
from trackkit.recordings.drawn_lines import read_line
from trackkit.track.band import band_sides

ANGLE = np.linspace(0.0, 2.0 * np.pi, 200)
_FIVE_METRES_NORTH_DEG = 5.0 / 110_900.0


def only_gate(lines: list[str], gate_id: str) -> bool:
    return bool(lines) and all(line.startswith(f"gate {gate_id}") for line in lines)


def edited(track, folder, edit, layer="gates"):
    """A GeoPackage of a track, one layer of which was edited with geopandas."""
    path = exported(track, folder, "gpkg")
    frame = edit(geopandas.read_file(path, layer=layer))
    frame.to_file(path, layer=layer, driver="GPKG")
    return path


@pytest.mark.parametrize("name", ["pipwick-kart-circuit", "nasty"])
def test_a_gate_moved_in_a_geopackage_comes_back_moved_and_nothing_else(name, tmp_path):
    track = nasty_track() if name == "nasty" else track_of(name)
    moved = track.gates_of_kind("sector")[0]

    def edit(frame):
        here = frame.feature_id == moved.id
        frame.loc[here, "geometry"] = frame[here].translate(3e-6, 4e-6)
        return frame

    imported = import_track(edited(track, tmp_path, edit), onto=track)

    assert only_gate(imported.moved.lines(), moved.id)
    back = imported.track.gate(moved.id)
    # By shapely's own shift of the positions.
    assert back.left == pytest.approx(np.add(moved.left, (3e-6, 4e-6)), abs=1e-8)
    assert [g for g in imported.track.gates if g.id != moved.id] == [
        g for g in track.gates if g.id != moved.id
    ]


def test_a_gate_moved_in_a_table_of_its_ends_comes_back_moved(tmp_path):
    track = track_of("morrowfen")
    table = pd.read_csv(exported(track, tmp_path, "csv"))
    table.loc[1, ["left_latitude_deg", "right_latitude_deg"]] += 2e-6
    table.to_csv(tmp_path / "moved.csv", index=False)

    imported = import_track(tmp_path / "moved.csv", onto=track)

    assert only_gate(imported.moved.lines(), track.gates[1].id)


def test_a_finish_gate_moved_in_geojson_begins_the_lap_where_it_is(tmp_path):
    track = track_of("gullhatch-oval")
    frame = geopandas.read_file(exported(track, tmp_path, "geojson"))
    ahead = place_gate(track, "speed", 20.0).gate
    finish = frame["id"] == "finish"
    there = geopandas.GeoSeries.from_wkt(
        ["LINESTRING ({} {}, {} {})".format(*ahead.left, *ahead.right)], crs=4326
    )
    frame.loc[finish, "geometry"] = list(there)
    frame.to_file(tmp_path / "moved.geojson", driver="GeoJSON")

    track_back = import_track(tmp_path / "moved.geojson", onto=track).track

    assert track_back.finish.chainage_m == 0.0
    first = track_back.centreline.longitude_deg[0], track_back.centreline.latitude_deg[0]
    middle = np.mean([ahead.left, ahead.right], axis=0)
    assert geodesic_distance(*first, *middle) < 0.05
    # Everything else is 20 m nearer to it.
    for gate in track.gates[1:]:
        assert track_back.gate(gate.id).chainage_m == pytest.approx(gate.chainage_m - 20.0, abs=0.1)


def test_gates_that_were_renamed_copied_and_deleted_are_so(tmp_path):
    track = track_of("ruddlebeck-full")
    _, first, second = track.gates

    def edit(frame):
        frame.loc[frame.feature_id == first.id, "name"] = "Bridge"
        copy = frame[frame.feature_id == first.id].copy()
        copy["geometry"] = copy.translate(2e-6, 2e-6)
        return pd.concat([frame[frame.feature_id != second.id], copy], ignore_index=True)

    imported = import_track(edited(track, tmp_path, edit), onto=track)

    assert imported.track.gate(first.id).name == "Bridge"
    assert imported.track.gate(first.id).left == first.left
    assert imported.moved.gates_removed == (second.id,)
    (new,) = imported.moved.gates_added
    assert new not in (first.id, second.id)


def test_ids_that_a_program_lost_are_found_again_by_place(tmp_path):
    track = nasty_track()

    def edit(frame):
        return frame.drop(columns=["feature_id", "name"]).sample(frac=1.0, random_state=3)

    imported = import_track(edited(track, tmp_path, edit), onto=track)

    assert imported.moved.same


@pytest.mark.slow
def test_a_bend_moved_in_the_line_leaves_the_rest_of_it(tmp_path):
    track = track_of("pipwick-kart-circuit")

    def edit(frame):
        from shapely import get_coordinates, set_coordinates

        line = frame.geometry.iloc[0]
        place = get_coordinates(line)
        place[40:46, 1] += 1.5e-5
        frame.loc[0, "geometry"] = set_coordinates(line, place)
        return frame

    imported = import_track(edited(track, tmp_path, edit, "centreline"), onto=track)

    line, before = imported.track.centreline, track.centreline
    still = np.r_[0:40, 46 : len(before.latitude_deg)]
    assert np.array_equal(line.latitude_deg[still], before.latitude_deg[still])
    moved = before.latitude_deg[40:46] + 1.5e-5
    assert line.latitude_deg[40:46] == pytest.approx(moved, abs=1e-8)
    assert 0.5 < imported.moved.line.max_m <= 1.5e-5 * 111_200.0
    assert [gate.id for gate in imported.track.gates] == [gate.id for gate in track.gates]


@pytest.mark.parametrize("fmt", ["geojson", "gpkg", "kml"])
def test_an_export_alone_has_geometry_within_a_millimetre_ids_and_names(fmt, tmp_path):
    track = nasty_track()

    back = import_track(exported(track, tmp_path, fmt)).track

    assert (back.id, back.name, back.layout) == (track.id, track.name, track.layout)
    line, before = back.centreline, track.centreline
    apart = geodesic_distance(
        line.longitude_deg, line.latitude_deg, before.longitude_deg, before.latitude_deg
    )
    assert np.max(apart) < 0.001
    assert np.allclose(line.height_m, before.height_m, atol=0.001)
    for gate, old in zip(back.gates, track.gates, strict=True):
        assert gate.id == old.id
        assert max(geodesic_distance(*gate.left, *old.left), 0) < 0.001
        assert max(geodesic_distance(*gate.right, *old.right), 0) < 0.001
    assert [corner.id for corner in back.corners] == [corner.id for corner in track.corners]
    assert [corner.name for corner in back.corners] == [corner.name for corner in track.corners]
    assert [lane.id for lane in back.pit_lanes] == [lane.id for lane in track.pit_lanes]


def test_a_gate_dragged_off_the_track_is_refused_by_its_place(tmp_path):
    track = track_of("pipwick-kart-circuit")

    def edit(frame):
        frame["geometry"] = frame.translate(0.0, 4.0 * _FIVE_METRES_NORTH_DEG)
        return frame

    path = edited(track, tmp_path, edit)
    with pytest.raises(PlaceError, match=r"layer gates, feature \d: .*does not cross the centre"):
        import_track(path, onto=track)


def test_a_kind_that_is_none_is_refused_by_its_place(tmp_path):
    track = track_of("pipwick-kart-circuit")

    def edit(frame):
        frame.loc[1, "kind"] = "chicane"
        return frame

    path = edited(track, tmp_path, edit)
    with pytest.raises(TrackFileError, match="layer gates, feature 2: its kind is 'chicane'"):
        import_track(path, onto=track)


def moved_line(track, folder, north_m):
    """A GeoPackage of a track with some vertices of its line moved north."""

    def edit(frame):
        from shapely import get_coordinates, set_coordinates

        line = frame.geometry.iloc[0]
        place = get_coordinates(line, include_z=line.has_z)
        third = len(place) // 3
        place[third : third + 6, 1] += north_m / 111_200.0
        frame.loc[0, "geometry"] = set_coordinates(line, place)
        return frame

    return edited(track, folder, edit, "centreline")


@pytest.mark.slow
@pytest.mark.parametrize("north_m", [0.5, 2.0, -2.0])
def test_where_a_line_was_not_moved_its_widths_and_accuracy_stay(north_m, tmp_path):
    track = nasty_track()

    imported = import_track(moved_line(track, tmp_path, north_m), onto=track)

    back, before = imported.track.centreline, track.centreline
    at = np.arange(0.0, track.curve.length_m, 10.0)
    place = before.plane.to_geographic(track.curve.position(at))
    there, aside = back.curve.project(back.plane.to_plane(*place), track.curve.direction(at))
    sigma, kind = back.accuracy_at(there)
    was, kind_was = before.accuracy_at(at)
    still = kind != "drawn"
    assert 0.8 < still.mean() < 0.95
    assert (np.abs(aside[still]) < 0.06).all()
    assert sigma[still] == pytest.approx(was[still], rel=0.05)
    assert (kind[still] == kind_was[still]).mean() > 0.98
    assert (sigma[np.abs(aside) > 0.3] > was[np.abs(aside) > 0.3]).all()
    # The edges of the road stay on the ground wherever the line is drawn.
    left, right = band_sides(imported.track, there)
    left_was, right_was = band_sides(track, at)
    # Less than 5 cm is no move, and rows are written to a centimetre.
    assert left == pytest.approx(left_was + aside, abs=0.06)
    assert right == pytest.approx(right_was - aside, abs=0.06)


def test_a_line_that_lost_its_heights_has_those_of_the_line_before(tmp_path):
    track = nasty_track()

    def edit(frame):
        from shapely import force_2d

        frame["geometry"] = force_2d(frame.geometry)
        return frame

    path = moved_line(track, tmp_path, 0.5)
    frame = edit(geopandas.read_file(path, layer="centreline"))
    frame.to_file(path, layer="centreline", driver="GPKG")

    imported = import_track(path, onto=track)

    back, before = imported.track.centreline, track.centreline
    assert len(back.height_m) == len(before.height_m)
    assert back.height_m == pytest.approx(before.height_m, abs=0.03)
    assert any("has no heights" in remark for remark in imported.remarks)


def test_widths_are_bridged_where_a_line_was_drawn_beyond_the_edges(tmp_path):
    track = nasty_track()

    imported = import_track(moved_line(track, tmp_path, 30.0), onto=track)

    rows = imported.track.centreline.width_profile
    assert all(left >= 0.0 and right >= 0.0 for _, left, right in rows)
    drawn = [row for row in imported.track.centreline.accuracy_profile if row.kind == "drawn"]
    # What is drawn from a picture of the ground is known to 3 m (docs/methods.md).
    assert max(row.sigma_m for row in drawn) == pytest.approx(3.0, abs=0.1)


def test_an_accuracy_that_a_program_changed_is_taken_as_it_is(tmp_path):
    track = replace(track_of("pipwick-kart-circuit"), accuracy_m=0.8)
    path = moved_line(track, tmp_path, 0.5)

    def edit(frame):
        frame["accuracy_m"] = 0.02
        return frame

    frame = edit(geopandas.read_file(path, layer="centreline"))
    frame.to_file(path, layer="centreline", driver="GPKG")

    assert import_track(path, onto=track).track.accuracy_m == 0.02


def test_another_line_is_not_known_as_the_one_before_was(tmp_path):
    track = nasty_track()

    longitude, latitude = 180.0 + 0.003 * np.cos(ANGLE), -27.0 + 0.002 * np.sin(ANGLE)
    frame = geopandas.GeoDataFrame(
        {"kind": ["line"]}, geometry=[LinearRing(np.column_stack([longitude, latitude]))], crs=4326
    )
    frame.to_file(tmp_path / "other.fgb", driver="FlatGeobuf")

    imported = import_track(
        tmp_path / "other.fgb", onto=replace(track, gates=()), layers={"centreline": "other"}
    )

    line = imported.track.centreline
    assert (line.width_profile, line.accuracy_profile) == (None, None)
    assert imported.track.accuracy_m is None
    assert any("the profile of width and of accuracy was left out" in r for r in imported.remarks)


@pytest.mark.parametrize("fmt", ["geojson", "gpkg", "kml", "gpx"])
def test_names_that_a_person_gave_stay_though_they_look_like_trackkits(fmt, tmp_path):
    track = track_of("pipwick-kart-circuit")
    for place_m in (100.0, 800.0):
        track = place_gate(track, "sector", place_m, name="Sector 2 end").track
    names = [gate.name for gate in track.gates]

    back = import_track(exported(track, tmp_path, fmt)).track

    assert [gate.name for gate in back.gates] == names
    # Neither does the next gate rename them.
    after = place_gate(back, "sector", 700.0).track
    assert [after.gate(gate.id).name for gate in back.gates if gate.name_given] == [
        gate.name for gate in back.gates if gate.name_given
    ]
    assert sum(gate.name_given for gate in back.gates) == 2


def test_a_copy_of_a_gate_takes_the_name_of_its_place_and_a_new_one_keeps_its_own(tmp_path):
    track = track_of("pipwick-kart-circuit")
    first = track.gates_of_kind("sector")[0]
    far = place_gate(track, "sector", 800.0).gate
    end = place_gate(track, "sector", 900.0).gate

    def edit(frame):
        copies = [frame[frame.feature_id == first.id].copy() for _ in range(2)]
        for copy, gate, name in zip(copies, (far, end), (first.name, "Sector 9 end"), strict=True):
            copy["geometry"] = [LineString([gate.left, gate.right])]
            copy["feature_id"] = None
            copy["name"] = name
        return pd.concat([frame, *copies], ignore_index=True)

    track_back = import_track(edited(track, tmp_path, edit), onto=track).track

    assert [gate.name for gate in track_back.gates] == [
        *("Finish", "Sector 1 end", "Sector 2 end", "Sector 3 end", "Sector 9 end")
    ]


def test_a_gpx_alone_has_the_corners_that_it_was_exported_with(tmp_path):
    track = track_of("morrowfen")
    odd = [replace(corner, entry_m=corner.entry_m + 3.25) for corner in track.corners]
    track = replace(track, corners=tuple(odd))

    back = import_track(exported(track, tmp_path, "gpx")).track

    assert [corner.id for corner in back.corners] == [corner.id for corner in track.corners]
    for corner, before in zip(back.corners, track.corners, strict=True):
        assert (corner.number, corner.name, corner.turn) == (
            *(before.number, before.name, before.turn),
        )
        for name in ("entry_m", "apex_m", "exit_m", "min_radius_m"):
            assert getattr(corner, name) == pytest.approx(getattr(before, name), abs=0.006)


@pytest.mark.parametrize("packed", [False, True])
def test_a_folder_holds_the_line_in_a_grid_and_its_gates_in_a_table(packed, tmp_path):
    track = track_of("pipwick-kart-circuit")
    folder = tmp_path / "survey"
    folder.mkdir()
    frame = geopandas.read_file(exported(track, tmp_path, "gpkg"), layer="centreline")
    frame[["name", "geometry"]].to_crs("EPSG:32644").to_file(folder / "line.shp")
    exported(track, tmp_path, "csv").rename(folder / "gates.csv")
    (folder / "laps.csv").write_text("lap,time\n1,52.3\n")
    source = folder
    if packed:
        source = Path(shutil.make_archive(str(tmp_path / "sent"), "zip", folder))

    imported = import_track(source, crs="EPSG:32644")

    assert imported.track.name == track.name
    for gate, old in zip(imported.track.gates, track.gates, strict=True):
        assert (gate.id, gate.kind, gate.name) == (old.id, old.kind, old.name)
        assert geodesic_distance(*gate.left, *old.left) < 0.001
    assert any("its columns hold degrees" in remark for remark in imported.remarks)


@pytest.mark.slow
@pytest.mark.parametrize("grid", [None, "EPSG:32644"])
def test_tables_of_well_known_text_that_gdal_writes_come_back_as_the_track(grid, tmp_path):
    track = track_of("pipwick-kart-circuit")
    folder = tmp_path / "tables"
    folder.mkdir()
    file = exported(track, tmp_path, "gpkg")
    for layer in ("centreline", "gates", "corners"):
        frame = geopandas.read_file(file, layer=layer)
        pyogrio.write_dataframe(
            frame.to_crs(grid) if grid else frame,
            folder / f"{layer}.csv",
            driver="CSV",
            GEOMETRY="AS_WKT",
            SEPARATOR="SEMICOLON" if grid else "COMMA",
        )

    alone = import_track(folder, crs=grid).track
    onto = import_track(folder, crs=grid, onto=track)
    words = [
        "build",
        "--from-line",
        str(folder),
        "--name",
        "Folder",
        "-o",
        f"{tmp_path}/of.geojson",
    ]
    assert run([*words, *(["--crs", grid] if grid else [])]) == 0

    assert onto.moved.same
    assert (alone.id, alone.name) == (track.id, track.name)
    assert [corner.name for corner in alone.corners] == [corner.name for corner in track.corners]
    for gate, old in zip(alone.gates, track.gates, strict=True):
        assert (gate.id, gate.kind, gate.name) == (old.id, old.kind, old.name)
        assert geodesic_distance(*gate.left, *old.left) < 0.001


def test_a_table_of_well_known_text_says_its_system_before_each_geometry(tmp_path):
    """PostGIS's ST_AsEWKT writes it so (its manual, section 4.1.2; from memory)."""
    track = track_of("pipwick-kart-circuit")
    frame = geopandas.read_file(exported(track, tmp_path, "gpkg"), layer="centreline")
    frame["the_geom"] = "SRID=32644;" + frame.to_crs("EPSG:32644").geometry.to_wkt()
    path = tmp_path / "line.csv"
    frame[["name", "the_geom"]].to_csv(path, index=False)

    drawn = read_line(path)

    assert len(drawn.longitude_deg) == len(track.centreline.longitude_deg)
    assert drawn.latitude_deg[0] == pytest.approx(track.centreline.latitude_deg[0], abs=1e-8)
    path.write_text(path.read_text("utf-8").replace("LINESTRING (", "LINESTRING (x "), "utf-8")
    with pytest.raises(RecordingError, match="geometry cannot be read") as refusal:
        read_line(path)
    assert refusal.value.place == "row 1 below the header"


def test_a_whole_number_larger_than_any_float_is_no_coordinate(tmp_path):
    path = tmp_path / "line.geojson"
    too_large = 10**400
    geometry = {"type": "MultiLineString", "coordinates": [[[162, 47], [too_large, 47]]]}
    feature = {"type": "Feature", "properties": {}, "geometry": geometry}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    with pytest.raises(RecordingError, match="geometry cannot be read"):
        import_track(path)


@pytest.mark.parametrize("kind", ["", "2024-05-04T24:00:00Z", "Circle"])
def test_a_geometry_of_no_kind_that_geojson_has_is_told(tmp_path, kind):
    """RFC 7946, section 1.4, names seven."""
    path = tmp_path / "line.geojson"
    feature = {"type": "Feature", "properties": {}, "geometry": {"type": kind, "coordinates": []}}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    with pytest.raises(RecordingError, match="geometry cannot be read"):
        import_track(path)
