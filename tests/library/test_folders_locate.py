"""Tracks of folders found by place and by id, with hardly more read of the indexes than is told."""

from __future__ import annotations

from pathlib import Path

import pytest
from drives import HOME
from library_entries import shifted, track_at

from trackkit.library import folders as module
from trackkit.library.folders import Library, open_library, shipped_folder
from trackkit.library.known import Atlas
from trackkit.track.file import write_track

AWAY_M = {"here": 0.0, "close": 1_000.0, "town": 15_000.0, "land": 150_000.0, "far": 340_000.0}


@pytest.fixture(scope="module")
def library(tmp_path_factory):
    """Circuits northward of a place in one folder, and one more behind them in a second."""
    first, second = (tmp_path_factory.mktemp(name) for name in ("first", "second"))
    for name, away in AWAY_M.items():
        write_track(track_at(shifted(HOME, -away, 0.0), track_id=name), first / f"{name}.geojson")
    # One that is hidden by a track of the same id, and one that is not.
    write_track(track_at(shifted(HOME, -100.0, 0.0), track_id="far"), second / "far.geojson")
    write_track(track_at(shifted(HOME, 0.0, 3_000.0), track_id="east"), second / "east.geojson")
    return open_library([first, second])


@pytest.fixture
def reads(monkeypatch):
    """Which tracks are read from the indexes."""
    names = []

    def counting(folder, fids=None):
        tracks = real(folder, fids)
        names.extend(track.id for track in tracks)
        return tracks

    real = module.tracks_of
    monkeypatch.setattr(module, "tracks_of", counting)
    return names


@pytest.mark.parametrize("most", [1, 2, 3, 4, 5, 6, 9])
def test_the_nearest_from_the_indexes_are_those_of_all_in_memory(library, most):
    expected = Atlas.of(library.tracks()).locate(*HOME, most=most)

    assert library.locate(*HOME, most=most).candidates == expected.candidates


@pytest.mark.parametrize(
    ("most", "needed"),
    [
        (1, {"here"}),
        (2, {"here", "close"}),
        (4, {"here", "close", "east", "town"}),
        (5, {"here", "close", "east", "town", "land"}),
    ],
)
def test_only_what_may_be_among_the_nearest_is_read(library, reads, most, needed):
    library.locate(*HOME, most=most)

    assert set(reads) == needed


def test_of_two_equally_near_for_all_their_boxes_tell_both_are_read(library, reads):
    # Midway between two circuits: which one is nearer only measuring tells.
    between = shifted(HOME, -500.0, 0.0)

    found = library.locate(*between, most=1)

    assert set(reads) == {"here", "close"}
    assert len(found.candidates) == 1


@pytest.mark.parametrize(
    ("radius_m", "near"),
    [
        (500.0, ["here"]),
        (2_000.0, ["close", "here"]),
        (4_000.0, ["close", "here", "east"]),
        (20_000.0, ["close", "here", "town", "east"]),
    ],
)
def test_near_are_the_tracks_whose_boxes_are_in_order_of_the_folders(library, radius_m, near):
    assert [track.id for track in library.near(*HOME, radius_m)] == near


def test_a_box_at_the_very_distance_is_near(library):
    from trackkit.library.index import boxes_within
    from trackkit.library.lines import earth_centred

    _, ids, nearest, _ = boxes_within(library.folders[0], earth_centred(*HOME), 2e4)
    away = float(nearest[ids.index("close")])

    assert "close" in [track.id for track in library.near(*HOME, away)]
    assert "close" not in [track.id for track in library.near(*HOME, away - 0.001)]


def test_a_track_hidden_by_one_of_the_same_id_is_not_found(library):
    # The second folder's "far" lies 100 m away; the first folder's, 340 km away, counts.
    found = library.locate(*HOME, most=6)

    (far,) = [candidate for candidate in found.candidates if candidate.id == "far"]
    assert far.distance_m > 300_000.0
    assert "far" not in [track.id for track in library.near(*HOME, 1_000.0)]
    assert library.find("far").path.parent == library.folders[0].folder


def test_a_track_is_found_by_its_id_in_whichever_folder(library):
    assert library.find("east").id == "east"
    assert library.find("east").path.parent == library.folders[1].folder
    assert library.find("nowhere") is None
    assert repr(library) == "Library(2 folders)"


def test_the_radius_says_what_is_near(library):
    place = shifted(HOME, 636.8, 0.0)

    assert library.locate(*place, radius_m=500.0).answer == "none"
    assert library.locate(*place, radius_m=700.0).answer == "near"


def test_no_folders_know_no_tracks():
    assert Library(()).locate(*HOME).answer == "none"
    assert Library(()).near(*HOME, 1e3) == []


def test_the_shipped_folder_is_in_the_package_where_that_carries_it(monkeypatch, tmp_path):
    # A clone has it beside the package, an installed wheel inside.
    package = tmp_path / "trackkit"
    monkeypatch.setattr(module, "__file__", str(package / "library" / "folders.py"))
    assert shipped_folder() == tmp_path / "tracks"

    (package / "tracks").mkdir(parents=True)
    assert shipped_folder() == package / "tracks"


def test_the_index_of_the_shipped_folder_alone_stands_elsewhere(monkeypatch, tmp_path):
    beside = {}

    def opened(path, *, beside: bool, say):
        there[Path(path).name] = beside

    there = beside
    monkeypatch.setattr(module, "open_index", opened)
    monkeypatch.setattr(module, "shipped_folder", lambda: tmp_path / "shipped")
    for name in ("mine", "shipped"):
        (tmp_path / name).mkdir()

    open_library([tmp_path / "mine", tmp_path / "shipped"])

    assert there == {"mine": True, "shipped": False}
