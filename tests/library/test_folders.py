"""Libraries of track files, and which known circuit a place is at."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drives import block_circuit, hill_course, on_earth, stadium, track_of
from geographiclib.geodesic import Geodesic
from hypothesis import given, settings
from hypothesis import strategies as st

from trackkit.errors import TrackkitError
from trackkit.geometry.geodesy import distance_to_polyline, wrap_longitude
from trackkit.library.folders import (
    ENVIRONMENT_VARIABLE,
    folders,
    open_library,
    shipped_folder,
    user_folder,
)
from trackkit.library.known import Atlas, known_from
from trackkit.library.locate_drive import locate_drive
from trackkit.recordings.recording import Recording
from trackkit.track.file import write_track

EARTH = Geodesic.WGS84


def track_at(at, *, track_id="invented", name="Invented", road=None, **more):
    road = road or stadium()
    track = track_of(road, gates=[("finish", "finish", 10.0)], at=at, name=name, spacing_m=10.0)
    return replace(track, id=track_id, revised="2024-01-01T00:00:00Z", **more)


def known_at(at, track_id="invented", **more):
    return known_from(track_at(at, track_id=track_id, **more), Path(f"{track_id}.geojson"))


def locate(known, longitude_deg, latitude_deg, **more):
    return Atlas.of(known).locate(longitude_deg, latitude_deg, **more)


def distance_by_geographiclib(longitude, latitude, line):
    """Distance to a polyline of geodesics: every vertex, then ternary search beside the nearest.

    Karney, Algorithms for geodesics, 2013; geographiclib is his own implementation.
    """
    vertex = list(
        zip(wrap_longitude(line.longitude_deg).tolist(), line.latitude_deg.tolist(), strict=True)
    )
    away = [EARTH.Inverse(latitude, longitude, lat, lon)["s12"] for lon, lat in vertex]
    best = min(away)
    for index in np.argsort(away)[:3].tolist():
        for a, b in ((index - 1, index), (index, index + 1)):
            if a < 0 or b >= len(vertex):
                continue
            (lon1, lat1), (lon2, lat2) = vertex[a], vertex[b]
            segment = EARTH.InverseLine(lat1, lon1, lat2, lon2)

            def at(share, segment=segment):
                place = segment.Position(share * segment.s13)
                return EARTH.Inverse(latitude, longitude, place["lat2"], place["lon2"])["s12"]

            low, high = 0.0, 1.0
            for _ in range(16):
                third = (high - low) / 3
                if at(low + third) < at(high - third):
                    high -= third
                else:
                    low += third
            best = min(best, at(0.5 * (low + high)))
    return best


# Folders


@pytest.fixture
def no_other_folders(monkeypatch, tmp_path):
    monkeypatch.delenv(ENVIRONMENT_VARIABLE, raising=False)
    monkeypatch.setattr("trackkit.library.folders.user_folder", lambda: tmp_path / "user")
    monkeypatch.setattr("trackkit.library.folders.shipped_folder", lambda: tmp_path / "shipped")
    return tmp_path


def test_folders_given_come_first_then_the_environments_the_users_and_the_shipped_one(
    no_other_folders, monkeypatch
):
    for name in ("given", "first", "second", "user", "shipped"):
        (no_other_folders / name).mkdir()
    both = f"{no_other_folders / 'first'}:{no_other_folders / 'second'}"
    monkeypatch.setattr("os.pathsep", ":")
    monkeypatch.setenv(ENVIRONMENT_VARIABLE, both)

    found = folders([no_other_folders / "given"])

    assert [f.name for f in found] == ["given", "first", "second", "user", "shipped"]


def test_the_users_and_the_shipped_folder_may_be_absent(no_other_folders):
    assert folders() == []


def test_a_folder_named_that_is_none_is_refused(no_other_folders, monkeypatch):
    with pytest.raises(TrackkitError, match="is no folder"):
        folders([no_other_folders / "nowhere"])
    monkeypatch.setenv(ENVIRONMENT_VARIABLE, str(no_other_folders / "nowhere"))
    with pytest.raises(TrackkitError, match="is no folder"):
        folders()


def test_the_users_folder_is_where_the_platform_keeps_data(monkeypatch, tmp_path):
    # XDG Base Directory Specification: data below $XDG_DATA_HOME.
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))

    assert user_folder() == tmp_path / "trackkit" / "tracks"


def test_the_shipped_folder_is_beside_the_package_or_the_repository():
    assert shipped_folder().name == "tracks"


# Reading


def test_every_track_file_of_every_folder_is_read(tmp_path):
    for folder, name in (("a", "one"), ("a", "two"), ("b", "three")):
        (tmp_path / folder).mkdir(exist_ok=True)
        write_track(track_at((11.0, 47.0), track_id=name), tmp_path / folder / f"{name}.geojson")
    (tmp_path / "a" / "notes.txt").write_text("not a track file")

    library = open_library([tmp_path / "a", tmp_path / "b"])

    tracks = library.tracks()
    assert [one.id for one in tracks] == ["one", "two", "three"]
    assert tracks[2].path == tmp_path / "b" / "three.geojson"
    assert library.warnings == ()


def test_of_two_tracks_with_one_id_the_first_folders_counts(tmp_path):
    for folder in ("mine", "shipped"):
        (tmp_path / folder).mkdir()
        write_track(track_at((11.0, 47.0), name=folder), tmp_path / folder / "x.geojson")

    (found,) = open_library([tmp_path / "mine", tmp_path / "shipped"]).tracks()
    (other,) = open_library([tmp_path / "shipped", tmp_path / "mine"]).tracks()

    assert found.name == "mine"
    assert other.name == "shipped"


@pytest.mark.parametrize(
    "broken",
    [b"", b"\xff\xd8\xff\xe0JFIF", b'{"type": "FeatureCollection"', b"[]",
     b'{"type": "FeatureCollection", "features": []}',
     b'{"track": {"format": "trackkit-track", "version": "1.0"}}',
     b'{"track": {"format": "trackkit-track", "version": "9.0"}, "features": []}'],
    ids=["empty", "jpeg", "cut-short", "list", "other-geojson", "no-features", "newer"],
)  # fmt: skip
def test_a_broken_file_is_left_out_with_one_warning_that_names_it(tmp_path, broken):
    write_track(track_at((11.0, 47.0), track_id="good"), tmp_path / "good.geojson")
    (tmp_path / "bad.geojson").write_bytes(broken)

    library = open_library([tmp_path])

    assert [one.id for one in library.tracks()] == ["good"]
    (warning,) = library.warnings
    assert "bad.geojson" in warning
    assert "(left out)" in warning


def test_a_track_whose_latitude_is_impossible_is_left_out_with_one_warning(tmp_path):
    good = tmp_path / "good.geojson"
    write_track(track_at((11.0, 47.0), track_id="good"), good)
    text = good.read_text("utf-8").replace("46.99", "146.99").replace('"good"', '"bad"')
    (tmp_path / "bad.geojson").write_text(text, "utf-8")

    library = open_library([tmp_path])

    assert [one.id for one in library.tracks()] == ["good"]
    assert len(library.warnings) == 1


def test_an_empty_folder_is_an_empty_library(tmp_path):
    library = open_library([tmp_path])

    assert library.tracks() == []
    assert library.warnings == ()


def test_an_empty_library_knows_no_circuit():
    found = locate([], 11.0, 47.0)

    assert (found.answer, found.candidates, found.tied) == ("none", (), ())


# Distance


def shifted(at, north_m, east_m):
    place = EARTH.Direct(at[1], at[0], float(np.degrees(np.arctan2(east_m, north_m))),
                         float(np.hypot(north_m, east_m)))  # fmt: skip
    return place["lon2"], place["lat2"]


@pytest.mark.parametrize(
    "at", [(11.0, 47.0), (180.0, -17.0), (-179.9995, 52.0), (25.7, 70.0), (30.0, 89.99),
           (0.0, -89.995)],
    ids=["home", "antimeridian", "east-of-it", "70-north", "north-pole", "south-pole"],
)  # fmt: skip
@pytest.mark.parametrize(
    ("north_m", "east_m"), [(0.0, 0.0), (37.0, 12.0), (-30.0, 95.0), (800.0, -650.0), (0.0, 4e4)]
)
def test_distance_is_the_geodesic_to_the_nearest_point_of_the_line(at, north_m, east_m):
    known = known_at(at)
    longitude, latitude = shifted(at, north_m, east_m)

    (candidate,) = locate([known], longitude, latitude).candidates

    assert candidate.distance_m == pytest.approx(
        distance_by_geographiclib(longitude, latitude, known), abs=0.1
    )


@pytest.mark.parametrize("where", [(0.0, 90.0), (123.0, -90.0), (-169.0, -47.0), (179.99, 0.0)])
def test_distance_is_true_from_the_poles_and_from_the_other_side_of_the_earth(where):
    known = known_at((11.0, 47.0))

    (candidate,) = locate([known], *where).candidates

    assert candidate.distance_m == pytest.approx(distance_by_geographiclib(*where, known), abs=0.1)


def test_longitudes_of_360_degrees_more_are_the_same_place():
    known = known_at((180.0, -17.0))

    far = [locate([known], longitude, -17.01).candidates[0].distance_m for longitude in (-180, 180)]

    assert far[0] == pytest.approx(far[1], abs=1e-6)


SPREAD = [
    known_at((11.0 + 0.011 * n, 47.0 + 0.007 * ((n * 5) % 7)), f"t{n}", road=road)
    for n, road in enumerate([stadium(), block_circuit(), hill_course()] * 4)
] + [known_at((179.999, -17.0), "date-line"), known_at((-60.0, 1.0), "south-american")]


@settings(max_examples=40, deadline=None)
@given(
    st.one_of(
        st.tuples(st.floats(10.95, 11.2), st.floats(46.95, 47.1)),
        st.tuples(st.floats(-180, 180), st.floats(-90, 90)),
    )
)
def test_the_nearest_three_of_many_are_those_of_measuring_every_one(place):
    every = {
        one.id: distance_to_polyline(*place, one.longitude_deg, one.latitude_deg) for one in SPREAD
    }

    found = locate(SPREAD, *place).candidates

    # Of circuits equally far, to a centimetre or two, any may be named.
    assert [c.distance_m for c in found[:3]] == pytest.approx(sorted(every.values())[:3], abs=0.02)
    assert [c.distance_m for c in found] == pytest.approx([every[c.id] for c in found], abs=0.02)


def test_a_wrong_declared_length_hides_no_circuit():
    # At the far side of a circuit whose file declares 1 m, and whose first position is some 260 m
    # away; three others are a little farther than its line.
    wrong = replace(known_at((11.0, 47.0), "wrong", road=block_circuit()), length_m=1.0)
    longitude, latitude = on_earth(block_circuit().at(694.0)[0] + np.array([0.0, 5.0]))
    near = [
        known_at(shifted((float(longitude), float(latitude)), 120.0, 130.0 * n), f"near-{n}")
        for n in range(3)
    ]

    found = locate([*near, wrong], float(longitude), float(latitude))

    assert found.candidates[0].id == "wrong"


# The answer


@pytest.mark.parametrize(
    ("away_m", "answer"),
    [(0.0, "at"), (29.0, "at"), (31.0, "near"), (4_990.0, "near"), (5_010.0, "none")],
)
def test_at_within_30_m_near_within_the_radius_else_none(away_m, answer):
    # South of the straight that runs along y = -36.80 m.
    known = known_at((11.0, 47.0))
    longitude, latitude = shifted((11.0, 47.0), -36.80 - away_m, 0.0)

    found = locate([known], longitude, latitude)

    assert found.answer == answer
    assert found.candidates[0].distance_m == pytest.approx(away_m, abs=0.3)


def test_a_band_wider_than_60_m_makes_at_wider():
    track = track_at((11.0, 47.0))
    line = replace(track.centreline, width_m=90.0)
    known, wide = (
        known_from(each, Path("invented.geojson"))
        for each in (track, replace(track, centreline=line))
    )
    longitude, latitude = shifted((11.0, 47.0), -36.80 - 40.0, 0.0)

    assert locate([known], longitude, latitude).answer == "near"
    assert locate([wide], longitude, latitude).answer == "at"


def test_the_radius_may_be_given():
    longitude, latitude = shifted((11.0, 47.0), -636.8, 0.0)

    assert locate([known_at((11.0, 47.0))], longitude, latitude, radius_m=500.0).answer == "none"
    assert locate([known_at((11.0, 47.0))], longitude, latitude, radius_m=700.0).answer == "near"


def test_layouts_that_share_tarmac_are_a_tie_and_all_named():
    layouts = [known_at((11.0, 47.0), f"home-{n}", layout=f"Layout {n}") for n in range(5)]
    elsewhere = known_at((11.2, 47.0), "elsewhere")
    longitude, latitude = shifted((11.0, 47.0), -36.80, 5.0)

    found = locate([elsewhere, *layouts], longitude, latitude)

    assert found.answer == "at"
    assert sorted(found.tied) == [f"home-{n}" for n in range(5)]
    assert sorted(c.id for c in found.candidates) == [f"home-{n}" for n in range(5)]
    assert {c.layout for c in found.candidates} == {f"Layout {n}" for n in range(5)}


def test_one_circuit_is_no_tie():
    known = [known_at((11.0, 47.0), "here"), known_at((11.1, 47.0), "there")]

    assert locate(known, 11.0, 46.99967).tied == ()


def test_candidates_carry_what_tells_layouts_apart():
    (candidate,) = locate([known_at((11.0, 47.0), layout="Long")], 11.0, 47.0).candidates

    assert (candidate.id, candidate.name, candidate.layout, candidate.direction) == (
        "invented", "Invented", "Long", "anticlockwise",
    )  # fmt: skip


# Recordings


def test_a_recording_that_does_not_move_is_located_by_its_first_fixes():
    # In the paddock, 100 m south of the straight that runs along y = -36.80 m.
    longitude, latitude = shifted((11.0, 47.0), -136.80, 0.0)
    shake = np.random.default_rng(1).normal(size=(2, 20)) * 1e-6
    still = Recording("still", np.arange(20.0), longitude + shake[0], latitude + shake[1])

    found = locate_drive(Atlas.of([known_at((11.0, 47.0))]), still)

    assert found.answer == "near"
    assert found.candidates[0].distance_m == pytest.approx(100.0, abs=0.5)


def test_one_stray_fix_at_the_start_does_not_mislead():
    latitude = np.full(20, 47.0)
    latitude[0] = 0.0
    stray = Recording("stray", np.arange(20.0), np.full(20, 11.0), latitude)
    atlas = Atlas.of([known_at((11.0, 47.0))])

    assert locate_drive(atlas, stray) == atlas.locate(11.0, 47.0)
