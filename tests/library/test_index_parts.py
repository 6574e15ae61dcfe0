"""What an index looks at: which files, which of them anew, which rows, and whose boxes."""

from __future__ import annotations

import sqlite3
from contextlib import closing

import numpy as np
import pytest
from drives import HOME
from library_entries import shifted, track_at

from trackkit.library import index as module
from trackkit.library.index import boxes_within, has_id, open_index, tracks_of
from trackkit.library.index_tables import make_tables
from trackkit.library.lines import earth_centred
from trackkit.track.file import write_track

TICK_NS = 2_000_000_000
"""FAT keeps the time of a file's last change to two seconds (from memory)."""


def test_only_track_files_that_are_not_hidden_are_listed(tmp_path):
    for name in ("a.geojson", ".b.geojson", "c.json", ".d", "e.geojson~"):
        (tmp_path / name).write_text("12345", "utf-8")

    listing, warnings = module._files(tmp_path)

    assert list(listing) == ["a.geojson"]
    assert listing["a.geojson"][0] == 5
    assert warnings == []


@pytest.fixture
def connection():
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as made:
        make_tables(made)
        yield made


@pytest.mark.parametrize(
    ("stored", "now", "again"),
    [
        # Read long after its last change, and unchanged since.
        ((9, 1000, 1000 + TICK_NS), (9, 1000), False),
        ((9, 1000, 1000 + TICK_NS - 1), (9, 1000), True),
        ((9, 1000, 1000), (9, 1000), True),
        # A clock that was set back says nothing of what happened after.
        ((9, 1000, 999), (9, 1000), False),
        ((9, 1000, 1000 + TICK_NS), (8, 1000), True),
        ((9, 1000, 1000 + TICK_NS), (9, 1001), True),
    ],
)
def test_a_file_is_looked_into_again_where_it_may_have_changed_within_a_tick(
    connection, stored, now, again
):
    connection.execute(
        "INSERT INTO files (file, size, modified_ns, read_ns, sha256) VALUES ('a', ?, ?, ?, x'')",
        stored,
    )

    read, gone = module._differences(connection, {"a": now, "new": (1, 1)})

    assert read == (["a", "new"] if again else ["new"])
    assert gone == []
    assert module._differences(connection, {})[1] == ["a"]


@pytest.mark.parametrize(
    ("age_ns", "sure"), [(-5, True), (0, False), (TICK_NS - 1, False), (TICK_NS, True)]
)
def test_the_listing_is_trusted_next_time_if_no_file_is_younger_than_a_tick(
    connection, monkeypatch, tmp_path, age_ns, sure
):
    now = 10 * TICK_NS
    monkeypatch.setattr(module, "_files", lambda _: ({"a": (1, now - age_ns)}, []))
    monkeypatch.setattr(module, "store_file", lambda *_: None)
    monkeypatch.setattr(module.time, "time_ns", lambda: now)

    module._update(connection, tmp_path, None)

    assert bool(module.listing_digest(connection)) is sure


@pytest.mark.parametrize(("count", "words"), [(500, []), (501, ["reading 501 track files"])])
def test_many_files_to_read_are_told_of(connection, monkeypatch, tmp_path, count, words):
    there = {f"{number}.geojson": (1, 1) for number in range(count)}
    monkeypatch.setattr(module, "_files", lambda _: (there, []))
    monkeypatch.setattr(module, "store_file", lambda *_: None)
    sentences = []

    module._update(connection, tmp_path, sentences.append)

    assert [sentence[: len("reading 501 track files")] for sentence in sentences] == words
    module._update(connection, tmp_path, None)


@pytest.fixture(scope="module")
def opened(tmp_path_factory):
    folder = tmp_path_factory.mktemp("tracks")
    for name, north in (("a", 0.0), ("b", 2_000.0), ("c", 60_000.0)):
        write_track(track_at(shifted(HOME, north, 0.0), track_id=name), folder / f"{name}.geojson")
    write_track(track_at(HOME, track_id="a"), folder / "z.geojson")
    return open_index(folder)


def test_rows_are_those_asked_for_in_that_order(opened):
    fids, ids, _, _ = boxes_within(opened, earth_centred(*HOME), np.inf)
    by_id = dict(zip(ids, fids, strict=True))

    assert [t.id for t in tracks_of(opened, [by_id["c"], by_id["a"]])] == ["c", "a"]
    assert [t.id for t in tracks_of(opened)] == ["a", "b", "c"]


def test_of_two_files_with_one_id_the_first_by_name_counts(opened):
    (first, *_) = tracks_of(opened)

    assert (first.id, first.path.name, len(opened)) == ("a", "a.geojson", 3)
    assert has_id(opened, "a")
    assert not has_id(opened, "z")


@pytest.mark.parametrize(
    ("reach_m", "ids"), [(500.0, {"a"}), (2_500.0, {"a", "b"}), (np.inf, {"a", "b", "c"})]
)
def test_boxes_are_found_by_how_near_they_come(opened, reach_m, ids):
    fids, names, nearest, farthest = boxes_within(opened, earth_centred(*HOME), reach_m)

    assert set(names) == ids
    assert len(fids) == len(set(fids)) == len(nearest) == len(farthest) == len(ids)


def test_far_from_every_box_there_is_none(opened):
    fids, ids, nearest, farthest = boxes_within(opened, earth_centred(0.0, 0.0), 1e4)

    assert (fids, ids, nearest.tolist(), farthest.tolist()) == ([], [], [], [])


def test_an_open_index_serves_other_threads_too(opened):
    # The editing page answers requests from threads of its own.
    import threading

    names = []
    thread = threading.Thread(target=lambda: names.extend(t.id for t in tracks_of(opened)))
    thread.start()
    thread.join()

    assert names == ["a", "b", "c"]
