"""What a library's index holds of a track file, written and read again."""

import sqlite3
import struct
from contextlib import closing
from dataclasses import replace

import numpy as np
import pytest
from drives import HOME
from library_entries import EARTH, known_at, track_at

from trackkit.errors import TrackFileError
from trackkit.library.index_tables import (
    COLUMNS,
    _box,
    _sound,
    _to_blob,
    circuit_from_row,
    forget_files,
    line_from_blob,
    listing_digest,
    make_tables,
    store_file,
)
from trackkit.library.lines import earth_centred
from trackkit.track.file import write_track


@pytest.fixture
def index(tmp_path):
    write_track(track_at(HOME), tmp_path / "one.geojson")
    with closing(sqlite3.connect(":memory:")) as connection:
        make_tables(connection)
        yield connection, tmp_path


def rows(connection, what, table):
    return connection.execute(f"SELECT {what} FROM {table}").fetchall()


def test_a_track_comes_back_as_its_file_has_it(index):
    connection, folder = index
    store_file(connection, folder, "one.geojson", (1234, 55, 66))

    ((*described, blob),) = connection.execute(
        f"SELECT {COLUMNS}, t.centreline FROM tracks t"
    ).fetchall()
    found = circuit_from_row(folder, (*described, blob))

    known = known_at(HOME)
    for name in ("id", "name", "layout", "direction", "country", "closed", "length_m", "band_m"):
        assert getattr(found, name) == pytest.approx(getattr(known, name), abs=1e-3), name
    assert found.path == folder / "one.geojson"
    assert found.longitude_deg == pytest.approx(known.longitude_deg, abs=1e-8)
    assert rows(connection, "file, size, modified_ns, read_ns, fault", "files") == [
        ("one.geojson", 1234, 55, 66, None)
    ]


def test_a_file_of_the_same_content_is_not_read_again(index):
    connection, folder = index
    store_file(connection, folder, "one.geojson", (1, 2, 3))
    (before,) = rows(connection, "fid", "tracks")

    store_file(connection, folder, "one.geojson", (4, 5, 6))

    assert rows(connection, "fid", "tracks") == [before]
    assert rows(connection, "size, modified_ns, read_ns", "files") == [(4, 5, 6)]


def test_a_file_of_other_content_takes_the_place_of_the_one_before(index):
    connection, folder = index
    store_file(connection, folder, "one.geojson", (1, 2, 3))
    (folder / "one.geojson").unlink()
    write_track(track_at((HOME[0] + 1.0, HOME[1]), name="Moved"), folder / "one.geojson")

    store_file(connection, folder, "one.geojson", (1, 9, 9))

    assert rows(connection, "name", "tracks") == [("Moved",)]
    assert [len(rows(connection, "*", table)) for table in ("files", "tracks", "boxes")] == [1] * 3


def test_a_file_that_is_forgotten_leaves_nothing(index):
    connection, folder = index
    store_file(connection, folder, "one.geojson", (1, 2, 3))

    forget_files(connection, ["one.geojson", "never.geojson"])

    assert [rows(connection, "*", table) for table in ("files", "tracks", "boxes")] == [[]] * 3


@pytest.mark.parametrize(("content", "words"), [("{", "one.geojson"), (None, "left out")])
def test_a_file_that_cannot_be_read_is_kept_with_its_fault_alone(index, content, words):
    connection, folder = index
    if content is None:
        (folder / "one.geojson").unlink()
    else:
        (folder / "one.geojson").write_text(content, "utf-8")

    store_file(connection, folder, "one.geojson", (1, 2, 3))

    ((fault,),) = rows(connection, "fault", "files")
    assert fault.startswith("one.geojson")
    assert words in fault
    assert "(left out)" in fault
    assert str(folder) not in fault
    assert rows(connection, "*", "tracks") == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"id": 7},
        {"name": None},
        {"layout": ["x"]},
        {"direction": 3},
        {"country": 1.5},
        {"length_m": "long"},
        {"band_m": None},
        {"length_m": 2e9},
        {"length_m": float("nan")},
    ],
)
def test_members_of_the_wrong_kind_are_refused(wrong):
    with pytest.raises(TrackFileError, match="wrong kind"):
        _sound(replace(known_at(HOME), **wrong))


def test_members_that_may_be_absent_may(monkeypatch):
    absent = replace(known_at(HOME), direction=None, country=None)

    assert _sound(absent) is absent


def test_a_box_holds_its_line_and_hardly_more():
    known = known_at(HOME)
    vertex = earth_centred(known.longitude_deg, known.latitude_deg)

    low, high = np.reshape(_box(known), (3, 2)).T

    assert np.all(low < vertex.min(axis=0))
    assert np.all(high > vertex.max(axis=0))
    # Segments of 10 m rise 2 micrometres above their chords; a centimetre is added to that.
    assert vertex.min(axis=0) - low == pytest.approx(0.01, abs=1e-4)
    assert high - vertex.max(axis=0) == pytest.approx(0.01, abs=1e-4)


def test_a_box_of_long_segments_holds_what_geodesics_rise_above_their_chords():
    known = replace(
        known_at(HOME),
        longitude_deg=HOME[0] + np.array([0.0, 1.0]),
        latitude_deg=np.full(2, HOME[1]),
    )
    vertex = earth_centred(known.longitude_deg, known.latitude_deg)

    low, high = np.reshape(_box(known), (3, 2)).T

    # A geodesic rises a (1 - cos(half a degree)) = 243 m above a chord of one degree at most.
    half = EARTH.InverseLine(HOME[1], HOME[0], HOME[1], HOME[0] + 1.0)
    place = half.Position(0.5 * half.s13)
    middle = earth_centred(place["lon2"], place["lat2"])
    assert np.all((low <= middle) & (middle <= high))
    assert float((high - vertex.max(axis=0)).max()) < 2.0 * 243.0


def test_lines_are_written_as_geopackage_has_them():
    blob = _to_blob(np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 6.0]))

    # OGC GeoPackage 1.3, section 2.1.3: "GP", version 0, flags (little-endian, no envelope),
    # EPSG code; then well-known binary: little-endian, LineString (2), how many points.
    assert struct.unpack("<2sBBi", blob[:8]) == (b"GP", 0, 1, 4326)
    assert struct.unpack("<BII", blob[8:17]) == (1, 2, 3)
    assert struct.unpack("<6d", blob[17:]) == (1.0, 4.0, 2.0, 5.0, 3.0, 6.0)
    assert line_from_blob(blob).tolist() == [[1.0, 4.0], [2.0, 5.0], [3.0, 6.0]]


def test_an_index_that_is_none_has_no_digest(index):
    connection, _ = index
    with closing(sqlite3.connect(":memory:")) as empty:
        assert listing_digest(empty) is None
    connection.execute("UPDATE gpkg_contents SET description = 'abc' WHERE table_name = 'files'")
    assert listing_digest(connection) == "abc"

    make_tables(connection)

    assert listing_digest(connection) == ""


def test_what_a_track_says_of_its_time_comes_back(index):
    connection, folder = index
    dated = track_at(
        HOME, track_id="dated", timezone="Etc/GMT-11", valid_from="2020-01-02", replaces="before"
    )
    write_track(dated, folder / "dated.geojson")
    store_file(connection, folder, "dated.geojson", (1, 2, 3))
    query = f"SELECT {COLUMNS}, t.centreline FROM tracks t"

    found = circuit_from_row(folder, connection.execute(query).fetchone())

    assert (found.timezone, found.valid_from, found.valid_until, found.replaces) == (
        "Etc/GMT-11",
        "2020-01-02",
        None,
        "before",
    )


def test_a_file_that_still_cannot_be_read_keeps_its_fault(index):
    connection, folder = index
    (folder / "one.geojson").unlink()
    for status in ((1, 2, 3), (4, 5, 6)):
        store_file(connection, folder, "one.geojson", status)

    assert rows(connection, "size, modified_ns, read_ns", "files") == [(4, 5, 6)]
    assert len(rows(connection, "fault", "files")) == 1
