"""The index of a library folder: current without being asked, safe to lose, shared by processes."""

import json
import os
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

import numpy as np
import pytest
from drives import HOME, block_circuit, stadium, track_of

from trackkit.library.index import INDEX_NAME, boxes_within, open_index, tracks_of
from trackkit.library.known import circuit_of
from trackkit.library.lines import earth_centred
from trackkit.track.file import read_as_stated, read_track


@pytest.fixture(autouse=True)
def cache(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture
def folder(tmp_path):
    made = tmp_path / "tracks"
    made.mkdir()
    for n in range(4):
        put(made, f"t{n}", at=(161.0 + n, 47.0))
    return made


def put(folder, track_id, *, at=HOME, name="Invented", road=None):
    from dataclasses import replace

    from trackkit.track.file import track_text

    track = track_of(road or stadium(), at=at, name=name, spacing_m=20.0)
    path = folder / f"{track_id}.geojson"
    path.write_text(track_text(replace(track, id=track_id)), "utf-8")
    return path


def names(folder, **more):
    index = open_index(folder, **more)
    found = {one.id: one.name for one in tracks_of(index)}
    index.connection.close()
    return found


@pytest.fixture
def reads(monkeypatch):
    """The track files that are read, as they are."""
    seen = []

    def noted(path):
        seen.append(path.name)
        return read_as_stated(path)

    monkeypatch.setattr("trackkit.track.file.read_as_stated", noted)
    return seen


def old(path, seconds=60):
    """Let a file be older than any clock's tick."""
    at = time.time() - seconds
    os.utime(path, (at, at))


def test_the_index_gives_back_what_the_files_say(folder):
    path = put(folder, "date-line", at=(180.0, -27.0), road=block_circuit())
    expected = circuit_of(read_track(path), path)

    index = open_index(folder)
    (found,) = [one for one in tracks_of(index) if one.id == "date-line"]
    index.connection.close()

    for name in (
        *("name", "layout", "direction", "country", "closed", "length_m", "band_m", "path"),
        *("timezone", "valid_from", "valid_until", "replaces"),
    ):
        assert getattr(found, name) == getattr(expected, name)
    assert np.array_equal(found.longitude_deg, expected.longitude_deg)
    assert np.array_equal(found.latitude_deg, expected.latitude_deg)


def test_files_are_read_once(folder, reads):
    for path in folder.iterdir():
        old(path)
    names(folder)
    names(folder)

    assert sorted(reads) == [f"t{n}.geojson" for n in range(4)]


def test_a_changed_file_is_read_again_and_no_other(folder, reads):
    for path in folder.iterdir():
        old(path)
    names(folder)
    reads.clear()
    old(put(folder, "t2", name="Renamed"), 30)

    assert names(folder)["t2"] == "Renamed"
    assert reads == ["t2.geojson"]


def test_a_file_that_is_only_touched_is_not_read_again(folder, reads):
    for path in folder.iterdir():
        old(path)
    names(folder)
    reads.clear()
    old(folder / "t1.geojson", 20)
    names(folder)

    assert reads == []


def test_a_change_of_the_same_size_within_one_tick_of_the_clock_is_seen(folder):
    path = put(folder, "t3", name="AAAA")
    status = path.stat()
    assert names(folder)["t3"] == "AAAA"
    put(folder, "t3", name="BBBB")
    os.utime(path, ns=(status.st_atime_ns, status.st_mtime_ns))

    assert names(folder)["t3"] == "BBBB"


def test_new_and_removed_files_are_noticed(folder):
    names(folder)
    (folder / "t0.geojson").unlink()
    put(folder, "t9", at=(60.0, 10.0))

    assert sorted(names(folder)) == ["t1", "t2", "t3", "t9"]


def test_of_two_files_with_one_id_the_first_counts_until_it_goes(folder):
    text = put(folder, "t1", name="Second").read_text("utf-8")
    (folder / "a.geojson").write_text(text.replace("Second", "First"), "utf-8")
    assert names(folder)["t1"] == "First"
    (folder / "a.geojson").unlink()
    assert names(folder)["t1"] == "Second"


def test_deleting_the_index_loses_nothing(folder):
    before = names(folder)
    (folder / INDEX_NAME).unlink()

    assert names(folder) == before
    assert (folder / INDEX_NAME).is_file()


@pytest.mark.parametrize("content", [b"", b"not a database at all" * 99, None])
def test_a_damaged_index_is_made_again(folder, content):
    before = names(folder)
    path = folder / INDEX_NAME
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2] if content is None else content)

    assert names(folder) == before


def test_an_index_of_another_version_is_made_again(folder, monkeypatch):
    before = names(folder)
    monkeypatch.setattr("trackkit.library.index_tables.VERSION", "other")

    assert names(folder) == before
    with closing(sqlite3.connect(folder / INDEX_NAME)) as index:
        (identifier,) = index.execute(
            "SELECT identifier FROM gpkg_contents WHERE table_name = 'files'"
        ).fetchone()
    assert identifier == "trackkit-index-other"


def test_a_folder_that_cannot_be_written_has_its_index_in_the_users_cache(
    folder, cache, monkeypatch
):
    # Not by permissions, which mean nothing to root.
    real = sqlite3.connect

    def connect(name, **more):
        if str(folder) in str(name):
            raise sqlite3.OperationalError("attempt to write a readonly database")
        return real(name, **more)

    monkeypatch.setattr("sqlite3.connect", connect)
    index = open_index(folder)

    assert index.path is not None
    assert index.path.is_relative_to(cache)
    assert len(index) == 4
    index.connection.close()


def test_where_nothing_can_be_written_the_index_is_in_memory(folder, monkeypatch):
    real = sqlite3.connect

    def connect(name, **more):
        if str(name) != ":memory:":
            raise sqlite3.OperationalError("unable to open database file")
        return real(name, **more)

    monkeypatch.setattr("sqlite3.connect", connect)
    index = open_index(folder)

    assert index.path is None
    assert len(index) == 4
    index.connection.close()


def test_an_index_that_may_not_stand_beside_the_files_does_not(folder, cache):
    names(folder, beside=False)

    assert not (folder / INDEX_NAME).exists()
    assert len(list(cache.rglob("*.gpkg"))) == 1


BROKEN = [
    b"",
    b"\xff\xd8\xff\xe0JFIF",
    b'{"type": "FeatureCollection"',
    b"[]",
    b'{"track": {"format": "trackkit-track", "version": "9.0"}, "features": []}',
]


def test_every_broken_file_has_one_warning_read_anew_or_not(folder):
    for number, content in enumerate(BROKEN):
        (folder / f"bad{number}.geojson").write_bytes(content)
    (folder / "gone.geojson").symlink_to(folder / "nowhere")
    (folder / "folder.geojson").mkdir()

    for _ in range(2):
        index = open_index(folder)
        assert len(index) == 4
        assert len(index.warnings) == len(BROKEN) + 2
        for number in range(len(BROKEN)):
            (warning,) = [said for said in index.warnings if f"bad{number}.geojson" in said]
            assert warning.startswith(str(folder))
            assert "(left out)" in warning
        index.connection.close()


@pytest.mark.parametrize(
    ("member", "value"),
    [
        ("id", 5),
        ("name", ["a"]),
        ("length_m", "long"),
        ("country", {}),
        ("direction", 1),
        ("layout", None),
    ],
)
def test_members_of_the_wrong_kind_leave_a_file_out(folder, member, value):
    path = put(folder, "odd")
    document = json.loads(path.read_text("utf-8"))
    document["track"][member] = value
    path.write_text(json.dumps(document), "utf-8")

    index = open_index(folder)

    assert len(index) == 4
    assert len(index.warnings) == 1
    index.connection.close()


def test_it_is_a_geopackage_that_a_gis_opens(folder):
    # GDAL, by pyogrio, is the independent word.
    import pyogrio

    names(folder)
    frame = pyogrio.read_dataframe(folder / INDEX_NAME, layer="tracks")

    assert sorted(frame["id"]) == ["t0", "t1", "t2", "t3"]
    assert frame.crs.to_epsg() == 4326
    line = frame.geometry[frame["id"] == "t2"].iloc[0]
    assert line.bounds == pytest.approx((163.0, 47.0, 163.0, 47.0), abs=0.01)


@pytest.mark.parametrize("at", [(161.0, 47.0), (180.0, -27.0), (30.0, 89.999), (0.0, -89.999)])
def test_boxes_hold_their_lines_everywhere_on_earth(tmp_path, at):
    path = put(tmp_path, "one", at=at, road=block_circuit())
    line = read_track(path).centreline
    vertex = earth_centred(line.longitude_deg, line.latitude_deg)
    index = open_index(tmp_path)
    for away in (np.zeros(3), np.array([300.0, -2000.0, 50.0]), np.array([0.0, 9e4, 1e3])):
        position = vertex[7] + away
        true = float(np.linalg.norm(vertex - position, axis=1).min())
        for reach in (true + 1.0, np.inf):
            _, ids, nearest, farthest = boxes_within(index, position, reach)
            assert ids == ["one"]
            assert nearest[0] <= true <= farthest[0]
    index.connection.close()


OPENER = """
import sys
from pathlib import Path
from trackkit.library.index import open_index
print(len(open_index(Path(sys.argv[1]))))
"""


@pytest.mark.slow
def test_processes_that_build_it_at_once_all_get_it_whole(folder):
    for n in range(4, 60):
        put(folder, f"t{n}", at=(161.0 + n, 47.0))

    running = [
        subprocess.Popen([sys.executable, "-c", OPENER, str(folder)], stdout=subprocess.PIPE)
        for _ in range(4)
    ]
    said = [one.communicate(timeout=120)[0].strip() for one in running]

    assert said == [b"60"] * 4
    assert len(names(folder)) == 60
    assert [path.name for path in folder.iterdir() if path.suffix != ".geojson"] == [INDEX_NAME]


@pytest.mark.slow
def test_a_process_killed_while_it_builds_leaves_nothing_half_made(folder):
    for n in range(4, 120):
        put(folder, f"t{n}", at=(161.0 + n, 47.0))
    running = subprocess.Popen([sys.executable, "-c", OPENER, str(folder)], stdout=subprocess.PIPE)
    until = time.monotonic() + 20
    while not (folder / (INDEX_NAME + "-journal")).exists() and time.monotonic() < until:
        if running.poll() is not None:
            break
        time.sleep(0.005)
    running.kill()
    running.communicate()

    assert len(names(folder)) == 120
