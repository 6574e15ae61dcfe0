"""What is asked of an archive has the right answer, and other programs read its tables as well."""

from __future__ import annotations

import math
import shutil
import statistics

import duckdb
import numpy as np
import pandas as pd
import pytest
from deltalake import DeltaTable

import trackkit
from trackkit.archive.ask import conditions
from trackkit.archive.columns import LAPS, RECORDINGS, SESSIONS, TABLES
from trackkit.archive.rows import table_of_rows
from trackkit.archive.store import VERSION, replace_rows
from trackkit.errors import TrackkitError

PIPWICK, OVAL = "pipwick-kart-circuit", "gullhatch-oval"
KEYS = ("recording", "session", "lap")


def dicts(relation):
    return [dict(zip(relation.columns, row, strict=True)) for row in relation.fetchall()]


@pytest.fixture(scope="module")
def asked(stored):
    return trackkit.open_archive(stored[0])


def test_laps_are_those_that_count_or_all(asked, stored):
    assert len(dicts(asked.laps())) == 6
    assert len(dicts(asked.laps(every=True))) == stored[1].laps == 12


@pytest.mark.slow
@pytest.mark.parametrize(
    ("chosen", "drivers"),
    [
        ({"circuit": "PIPWICK kart circuit"}, {"Ada", "Bert"}),
        ({"circuit": OVAL}, {None}),
        ({"driver": "ada"}, {"Ada"}),
        ({"vehicle": "8"}, {"Bert"}),
        ({"class_": "junior"}, {"Ada"}),
        ({"warmer_than_degc": 20.0}, {"Ada"}),
        ({"colder_than_degc": 20.0}, {"Bert"}),
        ({"since": "2024-05-04", "until": "2024-05-04"}, {"Ada", "Bert", None}),
        ({"since": "2024-05-05"}, set()),
        ({"until": "2024-05-03"}, set()),
        ({"driver": "Ad"}, set()),
        ({"driver": "' OR true --"}, set()),
    ],
)
def test_laps_are_chosen_by_what_is_asked(asked, chosen, drivers):
    assert {row["driver"] for row in dicts(asked.laps(**chosen))} == drivers


def test_a_day_that_is_none_is_refused():
    with pytest.raises(TrackkitError, match="is no day"):
        conditions(since="2026-02-30")


def test_an_archive_that_is_none_is_refused(tmp_path):
    with pytest.raises(TrackkitError, match="is no archive yet"):
        trackkit.open_archive(tmp_path / "none").laps()


def made(at, times):
    """Write an archive of laps: recording, day, driver, time and sigma of each."""
    names = sorted({row[0] for row in times})
    hashes = {name: f"{place:064x}" for place, name in enumerate(names)}
    same = {name: {"recording": hashes[name], "track": "t", "geometry": "g"} for name in names}
    laps = [
        same[name]
        | {"session": 1, "lap": lap, "counts": True, "kind": "flying", "complete": True}
        | {"time_s": time_s, "sigma_s": sigma_s}
        for lap, (name, _, _, time_s, sigma_s) in enumerate(times, start=1)
    ]
    said = {row[0]: {"day": row[1], "driver": row[2]} for row in times}
    sessions = [
        same[name] | {"session": 1, "name": "T", "layout": "", "reversed": False} | said[name]
        for name in names
    ]
    rows = [same[name] | {"state": "timed"} for name in names]
    for table, of_table in ((LAPS, laps), (SESSIONS, sessions), (RECORDINGS, rows)):
        replace_rows(str(at), table, table_of_rows(table, of_table), list(hashes.values()))
    return trackkit.open_archive(at)


TIMES = (
    ("a", "2026-03-01", "Ada", 60.0, 0.03),
    ("a", "2026-03-01", "Ada", 61.0, 0.03),
    ("a", "2026-03-01", "Ada", 62.5, 0.03),
    ("b", "2026-04-01", "Ada", 59.5, 0.04),
    ("b", "2026-04-01", "Ada", 60.5, 0.04),
    ("c", "2026-03-01", "Bert", 59.54, 0.03),
)


def test_a_summary_is_what_the_textbook_says(tmp_path):
    """Pooled variance: (sum of (n - 1) s^2) / (sum of (n - 1)), by the statistics module."""
    asked = made(tmp_path, TIMES)
    ada, bert = dicts(asked.summary(["driver"]))
    times = [[row[3] for row in TIMES if row[0] == name] for name in "ab"]
    pooled = sum((len(t) - 1) * statistics.variance(t) for t in times) / sum(
        len(t) - 1 for t in times
    )
    assert (ada["driver"], bert["driver"]) == ("Ada", "Bert")
    assert (ada["laps"], ada["sessions"], ada["days"]) == (5, 2, 2)
    assert (ada["first_day"], ada["last_day"]) == ("2026-03-01", "2026-04-01")
    assert (ada["best_s"], ada["best_sigma_s"], ada["equal"]) == (59.5, 0.04, 1)
    assert ada["median_s"] == statistics.median([t for some in times for t in some])
    assert ada["consistency_s"] == pytest.approx(math.sqrt(pooled))
    assert ada["progress_s"] == pytest.approx(-0.5)
    assert ada["progress_sigma_s"] == pytest.approx(0.05)
    assert (bert["consistency_s"], bert["progress_s"]) == (None, None)


def test_laps_that_cannot_be_told_from_a_record_stand_beside_it(tmp_path):
    """0.04 s apart, each known to 0.03 and 0.04 s: their difference to 0.05 s."""
    asked = made(tmp_path, TIMES)
    (whole,) = dicts(asked.summary())
    assert (whole["laps"], whole["equal"]) == (6, 2)
    records = [(row["place"], row["driver"], row["day"]) for row in dicts(asked.records())]
    assert records == [(1, "Ada", "2026-04-01"), (2, "Bert", "2026-03-01")]
    by_day = [(row["day"], row["best_s"]) for row in dicts(asked.summary(["day"]))]
    assert sorted(by_day) == [("2026-03-01", 59.54), ("2026-04-01", 59.5)]


def test_laps_cannot_be_told_apart_by_anything_else(asked):
    with pytest.raises(TrackkitError, match="apart by 'shoe size'; use some of class, driver"):
        asked.summary(["shoe size"])


def test_rows_of_a_recording_that_is_not_wholly_there_do_not_count(tmp_path):
    """Nor do those that were timed with another geometry than the recording's row tells."""
    asked = made(tmp_path, TIMES)
    row = {"recording": f"{0:064x}", "state": "timed", "track": "t", "geometry": "another"}
    replace_rows(str(tmp_path), RECORDINGS, table_of_rows(RECORDINGS, [row]), [row["recording"]])
    assert {row["driver"] for row in dicts(asked.laps(driver="Ada"))} == {"Ada"}
    assert len(dicts(asked.laps())) == len(TIMES) - 3


def test_recordings_nobody_knows_the_circuit_of_are_listed_by_place(asked):
    (place,) = asked.unknown()
    assert [file.rpartition("/")[2] for file in place.files] == ["elsewhere.csv"]
    assert abs(place.longitude_deg - 5.0) < 0.01
    assert abs(place.latitude_deg - 24.0) < 0.01
    assert "no known circuit" in place.reasons[0]


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_a_table_is_read_without_trackkit(table, stored):
    """By deltalake into pandas, by DuckDB and by Polars: the same rows and columns."""
    polars = pytest.importorskip("polars", reason="Polars is not installed")
    place = str(stored[0] / table.name)
    dataset = DeltaTable(place).to_pyarrow_dataset()
    frame = dataset.to_table().to_pandas()
    assert set(frame.columns) == set(table.names)
    rows = duckdb.sql("SELECT count(*) FROM dataset").fetchall()[0][0]
    scanned = polars.scan_pyarrow_dataset(dataset).collect()
    assert len(frame) == rows == scanned.height > 0
    for column in table.columns:
        name = column.name
        if column.kind == "number":
            values = scanned[name].to_numpy()
            np.testing.assert_array_equal(pd.to_numeric(frame[name]).to_numpy(float), values)
        elif column.kind in ("numbers", "wholes"):
            for own, values in zip(frame[name], scanned[name], strict=True):
                assert (own is None) == (values is None)
                if own is not None:
                    np.testing.assert_array_equal(own, values.to_numpy())


def test_a_newer_archive_is_refused(archive, monkeypatch):
    monkeypatch.setattr("trackkit.archive.store.VERSION", VERSION - 1)
    with pytest.raises(TrackkitError, match="install a newer trackkit"):
        trackkit.open_archive(archive).laps()


def test_a_delta_table_of_others_is_refused(tmp_path):
    DeltaTable.create(str(tmp_path / "recordings"), RECORDINGS.schema)
    with pytest.raises(TrackkitError, match="no archive of trackkit"):
        trackkit.open_archive(tmp_path).laps()


def test_a_missing_extra_is_said_in_one_sentence(stored, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "duckdb", None)
    with pytest.raises(TrackkitError) as caught:
        trackkit.open_archive(stored[0]).laps()
    assert str(caught.value) == (
        "an archive needs duckdb, which is not installed; "
        "install it: pip install 'trackkit[archive]'"
    )


@pytest.mark.slow
@pytest.mark.parametrize("name", ["Ada's 50%", "some[1]*"])
def test_folders_of_odd_names_are_read_whole(name, stored, tmp_path):
    """A blank, an apostrophe and a percent sign; what DuckDB would take for a pattern."""
    place = shutil.copytree(stored[0], tmp_path / name)
    connection = trackkit.open_archive(place).connection()
    for table in TABLES:
        rows = DeltaTable(str(place / table.name)).to_pyarrow_dataset().to_table()
        ordered = connection.from_arrow(rows.select(list(table.names)))
        expected = sorted(map(repr, ordered.fetchall()))
        view = connection.sql(f"FROM {table.name}")
        assert tuple(view.columns) == table.names
        assert sorted(map(repr, view.fetchall())) == expected
