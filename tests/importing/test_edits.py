"""Edits made in geopandas and other programs: they come back, and nothing else does."""

from __future__ import annotations

import geopandas
import numpy as np
import pandas as pd
import pytest
from nasty_track import nasty_track
from round_trips import exported
from sample_circuits import track_of

from trackkit.errors import PlaceError, TrackFileError
from trackkit.gates.edit import place_gate
from trackkit.geometry.geodesy import geodesic_distance
from trackkit.importing.import_track import import_track

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
