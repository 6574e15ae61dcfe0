"""An archive that was made before tables and columns were added serves every command."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from deltalake import DeltaTable, write_deltalake
from killed_adds import every_row

import trackkit
from trackkit.archive import add as adding
from trackkit.archive import refresh as refreshing
from trackkit.archive.columns import RECORDINGS, TABLES, TRACES
from trackkit.archive.store import dataset_of, rows_of
from trackkit.cli import run

LACKING = ("circuits_around", "gate_names")


@pytest.fixture
def old(archive: Path, home: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The season's archive as it was when it kept no drives, nor what located recordings."""

    def in_place(work: Callable, items: Sequence, done: Callable, **_: object) -> list[int]:
        for place, item in enumerate(items):
            done(place, work(item))
        return []

    monkeypatch.setattr(adding, "spread", in_place)
    monkeypatch.setattr(refreshing, "spread", in_place)
    shutil.rmtree(archive / "drives")
    now = DeltaTable(str(archive / "recordings"))
    rows = dataset_of(now).to_table().drop_columns(list(LACKING))
    about = now.metadata()
    shutil.rmtree(archive / "recordings")
    table = DeltaTable.create(
        str(archive / "recordings"), rows.schema, name=about.name, description=about.description
    )
    write_deltalake(table, rows, mode="append")
    return archive


def answer(capsys: pytest.CaptureFixture[str], *words: str, status: int = 0) -> dict:
    assert run(["archive", *words, "--json"]) == status
    return json.loads(capsys.readouterr().out)


@pytest.mark.slow
def test_it_is_asked_and_added_to(old, season, capsys):
    at = ("--at", str(old))
    before = answer(capsys, "laps", *at, "--every")["laps"]
    assert len(before) > 0
    assert len(answer(capsys, "summary", *at)["summary"]) == 2
    assert len(answer(capsys, "unknown", *at)["places"]) == 1
    connection = trackkit.open_archive(old).connection()
    assert connection.sql("SELECT DISTINCT gate_names FROM recordings").fetchall() == [(None,)]
    copy = season.parent / "copy.nmea"
    copy.write_bytes((season / "a.nmea").read_bytes() + b"\n")
    assert answer(capsys, "add", str(season), str(copy), *at)["timed"] == 1
    # Files with and without the columns beside each other.
    connection = trackkit.open_archive(old).connection()
    named = connection.sql("SELECT gate_names FROM recordings WHERE state = 'timed'").fetchall()
    assert sorted(name is None for (name,) in named) == [False, True, True, True]
    after = answer(capsys, "laps", *at, "--every")["laps"]
    assert [lap for lap in after if lap in before] == before
    assert len(after) > len(before)


@pytest.mark.slow
def test_it_is_refreshed_from_the_recordings_and_then_like_any_other(old, stored, season, capsys):
    at = ("--at", str(old))
    assert run(["archive", "refresh", *at]) == 0
    printed = capsys.readouterr()
    assert "3 recordings timed again" in printed.out
    assert "3 of them from their files" in printed.out
    assert "how 3 recordings had been timed was not kept" in printed.err
    assert repr(every_row(old)) == repr(every_row(stored[0]))
    assert set(every_row(old)) == {table.name for table in TABLES}
    assert rows_of(str(old), TRACES, ("recording",)).num_rows > 0
    assert answer(capsys, "refresh", *at)["current"] == 3


def test_a_driver_is_forgotten_in_it(old, capsys):
    before = rows_of(str(old), RECORDINGS, RECORDINGS.names).num_rows
    forgotten = answer(capsys, "forget", "--at", str(old), "--driver", "Ada", "--yes")
    assert forgotten["drivers"] == ["Ada"]
    assert rows_of(str(old), RECORDINGS, RECORDINGS.names).num_rows == before - 1
