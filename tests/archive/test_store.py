"""Several writers change one table at once: nothing is lost, and nothing is there twice."""

from __future__ import annotations

from collections import Counter
from threading import Thread

import pytest
from deltalake import DeltaTable
from deltalake.exceptions import CommitFailedError, DeltaError

from trackkit.archive.address import archive_address
from trackkit.archive.columns import IN_THE_LOG, LAPS, SESSIONS
from trackkit.archive.rows import table_of_rows
from trackkit.archive.store import changed, put_together, replace_rows, rows_of
from trackkit.errors import OutputError

WRITERS, ROUNDS = 4, 6


def laps_of(recording: str, count: int = 3, time_s: float = 60.0):
    rows = [{"recording": recording, "lap": lap, "time_s": time_s} for lap in range(count)]
    return table_of_rows(LAPS, rows)


@pytest.mark.slow
def test_writers_at_once_lose_nothing_and_write_nothing_twice(tmp_path):
    """Each writes a recording of its own, and all write the same one, in every round."""
    faults: list[BaseException] = []

    def write(writer: int) -> None:
        try:
            for number in range(ROUNDS):
                for recording in (f"{writer * 100 + number + 1:064x}", f"{number + 1_000:064x}"):
                    replace_rows(str(tmp_path), LAPS, laps_of(recording), [recording])
        except BaseException as error:  # noqa: BLE001 - told below
            faults.append(error)

    threads = [Thread(target=write, args=(writer,)) for writer in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    rows = rows_of(str(tmp_path), LAPS, ("recording", "lap")).to_pylist()
    count = Counter((row["recording"], row["lap"]) for row in rows)
    assert set(count.values()) == {1}
    assert len(count) == 3 * (WRITERS * ROUNDS + ROUNDS)


def test_rows_take_the_place_of_all_rows_of_their_recordings_and_of_no_others(tmp_path):
    first, second = f"{1:064x}", f"{2:064x}"
    for recording in (first, second):
        replace_rows(str(tmp_path), LAPS, laps_of(recording, 3), [recording])
    replace_rows(str(tmp_path), LAPS, laps_of(first, 2, time_s=50.0), [first])
    rows = rows_of(str(tmp_path), LAPS, ("recording", "time_s")).to_pylist()
    count = Counter((row["recording"], row["time_s"]) for row in rows)
    assert count == {(first, 50.0): 2, (second, 60.0): 3}
    replace_rows(str(tmp_path), LAPS, laps_of(first, 0), [first])
    assert rows_of(str(tmp_path), LAPS, ("recording",)).num_rows == 3


def test_a_writer_who_always_loses_gives_up_with_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setattr("trackkit.archive.store.time.sleep", lambda _: None)

    def lose(_: DeltaTable) -> None:
        raise CommitFailedError("another one")

    with pytest.raises(OutputError, match="run the same again when others are done"):
        changed(str(tmp_path), LAPS, lose)


def test_a_table_that_another_writer_makes_at_the_same_moment_is_taken(tmp_path, monkeypatch):
    create = DeltaTable.create

    def be_slower(*arguments: object, **options: object) -> None:
        create(*arguments, **options)
        raise DeltaError("version 0 already exists")

    monkeypatch.setattr(DeltaTable, "create", be_slower)
    recording = f"{1:064x}"
    replace_rows(str(tmp_path), LAPS, laps_of(recording), [recording])
    assert rows_of(str(tmp_path), LAPS, ("recording",)).num_rows == 3


def test_a_table_that_nobody_can_make_is_refused(tmp_path, monkeypatch):
    def fail(*_: object, **__: object) -> None:
        raise DeltaError("no room")

    monkeypatch.setattr(DeltaTable, "create", fail)
    recording = f"{1:064x}"
    with pytest.raises(OutputError, match="no room"):
        replace_rows(str(tmp_path), LAPS, laps_of(recording), [recording])


def test_what_names_a_recording_is_a_hash(tmp_path):
    with pytest.raises(ValueError, match="is no SHA-256"):
        replace_rows(str(tmp_path), LAPS, laps_of("' OR true", 0), ["' OR true"])


def test_the_log_of_a_table_holds_no_name_of_anybody(tmp_path):
    """Delta keeps least and largest values of columns in its log, those of texts too."""
    recording = f"{1:064x}"
    row = {"recording": recording, "driver": "Zebedee", "notes": "Zebedee again", "session": 1}
    replace_rows(str(tmp_path), SESSIONS, table_of_rows(SESSIONS, [row]), [recording])
    log = b"".join(path.read_bytes() for path in (tmp_path / "sessions" / "_delta_log").iterdir())
    assert recording.encode() in log
    assert b"Zebedee" not in log
    assert not {"driver", "vehicle", "notes", "file"} & set(IN_THE_LOG)


def test_small_files_are_put_together(tmp_path, monkeypatch):
    monkeypatch.setattr("trackkit.archive.store._SMALL_FILES", 2)
    for number in range(4):
        recording = f"{number:064x}"
        replace_rows(str(tmp_path), LAPS, laps_of(recording), [recording])
    before = rows_of(str(tmp_path), LAPS, ("recording", "lap")).sort_by("recording")
    put_together(str(tmp_path))
    assert len(DeltaTable(str(tmp_path / "laps")).file_uris()) == 1
    after = rows_of(str(tmp_path), LAPS, ("recording", "lap")).sort_by("recording")
    assert after.equals(before)


def test_an_archive_lies_where_it_is_said_to(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.delenv("TRACKKIT_ARCHIVE", raising=False)
    monkeypatch.chdir(tmp_path)
    assert archive_address() == str(tmp_path / "trackkit" / "archive")
    assert archive_address("season") == str(tmp_path / "season")
    assert archive_address("s3://club/season/") == "s3://club/season"
    monkeypatch.setenv("TRACKKIT_ARCHIVE", "s3://club/season")
    assert archive_address() == "s3://club/season"
    assert archive_address("season") == str(tmp_path / "season")
