"""Libraries as folders: which there are, what is read of them, and where a recording began."""

import pytest
from library_entries import track_at

from trackkit.errors import TrackkitError
from trackkit.library.folders import (
    ENVIRONMENT_VARIABLE,
    folders,
    open_library,
    shipped_folder,
    user_folder,
)
from trackkit.track.file import write_track

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
        write_track(track_at((161.0, 47.0), track_id=name), tmp_path / folder / f"{name}.geojson")
    (tmp_path / "a" / "notes.txt").write_text("not a track file")

    library = open_library([tmp_path / "a", tmp_path / "b"])

    tracks = library.tracks()
    assert [one.id for one in tracks] == ["one", "two", "three"]
    assert tracks[2].path == tmp_path / "b" / "three.geojson"
    assert library.warnings == ()


def test_of_two_tracks_with_one_id_the_first_folders_counts(tmp_path):
    for folder in ("mine", "shipped"):
        (tmp_path / folder).mkdir()
        write_track(track_at((161.0, 47.0), name=folder), tmp_path / folder / "x.geojson")

    (found,) = open_library([tmp_path / "mine", tmp_path / "shipped"]).tracks()
    (other,) = open_library([tmp_path / "shipped", tmp_path / "mine"]).tracks()

    assert found.name == "mine"
    assert other.name == "shipped"


def test_a_folder_that_is_named_twice_is_searched_where_it_is_named_first(tmp_path):
    """The sample circuits' folder is always the last too, given with --library or not."""
    for folder in ("mine", "shipped"):
        (tmp_path / folder).mkdir()
        write_track(track_at((161.0, 47.0), name=folder), tmp_path / folder / "x.geojson")
    given = [tmp_path / "shipped", tmp_path / "mine", tmp_path / "mine" / ".." / "shipped"]

    library = open_library(given)

    assert [folder.folder.name for folder in library.folders] == ["shipped", "mine"]
    assert library.tracks()[0].name == "shipped"


@pytest.mark.parametrize(
    "broken",
    [
        b"",
        b"\xff\xd8\xff\xe0JFIF",
        b'{"type": "FeatureCollection"',
        b"[]",
        b'{"type": "FeatureCollection", "features": []}',
        b'{"track": {"format": "trackkit-track", "version": "1.0"}}',
        b'{"track": {"format": "trackkit-track", "version": "9.0"}, "features": []}',
    ],
    ids=["empty", "jpeg", "cut-short", "list", "other-geojson", "no-features", "newer"],
)
def test_a_broken_file_is_left_out_with_one_warning_that_names_it(tmp_path, broken):
    write_track(track_at((161.0, 47.0), track_id="good"), tmp_path / "good.geojson")
    (tmp_path / "bad.geojson").write_bytes(broken)

    library = open_library([tmp_path])

    assert [one.id for one in library.tracks()] == ["good"]
    (warning,) = library.warnings
    assert "bad.geojson" in warning
    assert "(left out)" in warning


def test_a_track_whose_latitude_is_impossible_is_left_out_with_one_warning(tmp_path):
    good = tmp_path / "good.geojson"
    write_track(track_at((161.0, 47.0), track_id="good"), good)
    text = good.read_text("utf-8").replace("46.99", "146.99").replace('"good"', '"bad"')
    (tmp_path / "bad.geojson").write_text(text, "utf-8")

    library = open_library([tmp_path])

    assert [one.id for one in library.tracks()] == ["good"]
    assert len(library.warnings) == 1


def test_an_empty_folder_is_an_empty_library(tmp_path):
    library = open_library([tmp_path])

    assert library.tracks() == []
    assert library.warnings == ()
