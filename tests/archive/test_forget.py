"""Nothing in an archive tells of a recording that was forgotten, and all others are as before."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from archive_bytes import tells_of
from deltalake import DeltaTable
from killed_adds import every_row

import trackkit
from trackkit.archive import forget as forgetting
from trackkit.archive import hold, purge
from trackkit.archive.columns import LAPS, RECORDINGS, SESSIONS, TABLES
from trackkit.archive.rows import table_of_rows
from trackkit.archive.store import put_together, replace_rows, rows_of
from trackkit.errors import OutputError, TrackkitError

DRIVERS = "SELECT driver FROM all_laps"
DRIVER = "Wilhelmina Quillfeather"


def hash_of(at: Path, name: str) -> str:
    rows = rows_of(str(at), RECORDINGS, ("recording", "file")).to_pylist()
    (recording,) = (row["recording"] for row in rows if Path(row["file"]).name == name)
    return recording


def driven_by(at: Path, recording: str, drivers: list[str | None]) -> None:
    """Write that a recording has so many sessions, driven by these."""
    rows = rows_of(str(at), SESSIONS, SESSIONS.names).to_pylist()
    (row,) = (row for row in rows if row["recording"] == recording)
    own = [row | {"session": n, "driver": name} for n, name in enumerate(drivers, start=1)]
    replace_rows(str(at), SESSIONS, table_of_rows(SESSIONS, own), [recording])


@pytest.fixture
def telling(archive, monkeypatch) -> tuple[Path, list[str]]:
    """An archive with old versions, a checkpoint and what killed writers left, and what tells."""
    recording = hash_of(archive, "a.nmea")
    driven_by(archive, recording, [DRIVER])
    monkeypatch.setattr("trackkit.archive.store._SMALL_FILES", 0)
    put_together(str(archive))
    DeltaTable(str(archive / "sessions")).create_checkpoint()
    driven_by(archive, recording, [DRIVER, DRIVER.upper()])
    file = next((archive / "sessions").glob("*.parquet"))
    shutil.copy(file, file.with_name("part-orphan.parquet"))
    shutil.copy(file, file.with_name(f"{file.name}#1"))
    log = archive / "sessions" / "_delta_log"
    shutil.copy(log / f"{1:020d}.json", log / f"{99:020d}.json#1")
    (path,) = (
        row["file"]
        for row in rows_of(str(archive), RECORDINGS, ("recording", "file")).to_pylist()
        if row["recording"] == recording
    )
    words = [DRIVER, path, recording]
    assert all(tells_of(archive, words).values())
    return archive, words


def others(at: Path, recording: str) -> dict[str, list[tuple]]:
    return {
        name: [row for row in rows if recording not in row] for name, rows in every_row(at).items()
    }


def assert_forgotten(at: Path, words: list[str], before: dict[str, list[tuple]]) -> None:
    assert tells_of(at, words) == {word: [] for word in words}
    assert repr(every_row(at)) == repr(before)
    assert not (at / "forgetting").exists()


@pytest.mark.slow
def test_no_byte_of_any_file_tells_of_a_driver_who_is_forgotten(telling, home, in_this_process):
    """Name, path and hash, in rows, dictionaries, statistics and logs; other rows stay."""
    at, words = telling
    before = others(at, words[2])
    forgotten = trackkit.forget_in_archive(at=at, driver=DRIVER.lower())
    assert forgotten.recordings == (words[2],)
    assert (forgotten.files, forgotten.sessions, forgotten.laps) == ((words[1],), 2, 4)
    assert_forgotten(at, words, before)
    for table in TABLES:
        assert len(DeltaTable(str(at / table.name)).history()) == 1
    with pytest.raises(TrackkitError, match="holds no session of a driver"):
        trackkit.forget_in_archive(at=at, driver=DRIVER)
    # What is added again is there again.
    assert trackkit.add_to_archive([words[1]], at).timed == 1


@pytest.mark.slow
@pytest.mark.parametrize("share", [0.0, 0.15, 0.6, 0.99])
def test_what_is_broken_off_is_finished_by_the_same_again(
    share, telling, home, season, in_this_process, monkeypatch
):
    """Before each commit, and before each file that is removed."""
    at, words = telling
    before = others(at, words[2])
    steps: list[int] = [0]
    last = [10**9]

    def stepping(function):
        def step(*arguments):
            steps[0] += 1
            if steps[0] > last[0]:
                raise KeyboardInterrupt
            return function(*arguments)

        return step

    for module, name in ((purge, "changed"), (purge, "remove_file"), (hold, "remove_file")):
        monkeypatch.setattr(module, name, stepping(getattr(module, name)))
    trial = shutil.copytree(at, home / "trial")
    trackkit.forget_in_archive([words[2]], trial)
    last[0], steps[0] = int(share * steps[0]), 0
    with pytest.raises(KeyboardInterrupt):
        trackkit.forget_in_archive(at=at, driver=DRIVER)
    # Nothing of it counts from the first commit on.
    names = {row[0] for row in trackkit.open_archive(at).connection().sql(DRIVERS).fetchall()}
    assert (DRIVER in names) == (last[0] == 0)
    with pytest.raises(OutputError, match="run the same again when that is finished"):
        trackkit.add_to_archive([season], at)
    last[0] = 10**9
    forgotten = trackkit.forget_in_archive(at=at, driver=DRIVER)
    assert forgotten.recordings == (words[2],)
    assert_forgotten(at, words, before)


@pytest.mark.slow
def test_an_archive_that_is_added_to_is_left_alone_and_the_other_way_round(
    archive, season, home, in_this_process, monkeypatch
):
    monkeypatch.setattr(hold, "_PATIENCE_S", 0.1)
    before = every_row(archive)
    with hold.held_with_others(str(archive)), hold.held_with_others(str(archive)):
        with pytest.raises(OutputError, match="is being added to"):
            trackkit.forget_in_archive(at=archive, driver="Ada")
        trackkit.add_to_archive([season], archive)
    with (
        hold.held_alone(str(archive)),
        pytest.raises(OutputError, match="which forgets recordings"),
    ):
        trackkit.add_to_archive([season], archive)
    assert repr(every_row(archive)) == repr(before)
    assert list(archive.glob(".adding-*")) == []


@pytest.mark.slow
def test_in_an_object_store_a_mark_keeps_others_away(telling, home, season, in_this_process):
    """A folder by its address, which is read and written as a store is: without locks."""
    at, words = telling
    before = others(at, words[2])
    (at / "sessions" / "part-orphan.parquet").unlink()
    for left in at.rglob("*#1"):
        # A store has no such files.
        left.unlink()
    address = at.as_uri()
    hold.mark_forgetting(address, [words[2]])
    with pytest.raises(OutputError, match="are being forgotten there"):
        trackkit.add_to_archive([season], address)
    with pytest.raises(OutputError, match="no mark could be made"):
        hold.mark_forgetting(address, [words[2]])
    assert trackkit.forget_in_archive(at=address).finished
    (at / "forgetting" / "_delta_log").rmdir()
    (at / "forgetting").rmdir()
    assert_forgotten(at, words, before)


def test_recordings_are_named_by_file_by_content_and_by_the_beginning_of_their_hash(
    archive, season, home, monkeypatch
):
    rows = rows_of(str(archive), RECORDINGS, ("recording", "file", "state")).to_pylist()
    sessions = rows_of(str(archive), SESSIONS, ("recording", "driver")).to_pylist()
    first = hash_of(archive, "a.nmea")
    copy = shutil.copy(season / "a.nmea", home / "copy.nmea")
    for word in (season / "a.nmea", copy, first[:6], first.upper()):
        assert forgetting._named(str(word), rows, sessions) == {first}
    for word in (home / "none.nmea", "0" * 64, first[:5]):
        assert forgetting._named(str(word), rows, sessions) == set()
    like = [*rows, {"recording": first[:63] + "x", "file": "x", "state": "timed"}]
    with pytest.raises(TrackkitError, match="begins the SHA-256 of 2 recordings; give more"):
        forgetting._named(first[:8], like, sessions)


@pytest.mark.slow
def test_what_is_not_agreed_to_or_not_there_changes_nothing(archive):
    before = every_row(archive)

    def refuse(plan):
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        trackkit.forget_in_archive(at=archive, driver="Ada", agreed=refuse)
    with pytest.raises(TrackkitError, match=r"no recording nothing\.nmea"):
        trackkit.forget_in_archive(["nothing.nmea"], archive, driver="Ada")
    with pytest.raises(TrackkitError, match="nothing is named to forget"):
        trackkit.forget_in_archive(at=archive)
    with pytest.raises(TrackkitError, match="is no archive yet"):
        trackkit.forget_in_archive(at=archive / "none", driver="Ada")
    assert repr(every_row(archive)) == repr(before)
    assert not (archive / "none").exists()


def test_a_recording_that_others_drove_too_goes_whole_and_other_mentions_are_named(archive):
    first, second = hash_of(archive, "a.nmea"), hash_of(archive, "b.csv")
    driven_by(archive, first, ["Zoe Marsh", "Bert"])
    rows = rows_of(str(archive), SESSIONS, SESSIONS.names).to_pylist()
    own = [
        row | {"notes": "behind zoe marsh, all day"} for row in rows if row["recording"] == second
    ]
    replace_rows(str(archive), SESSIONS, table_of_rows(SESSIONS, own), [second])
    plans = []
    forgotten = trackkit.forget_in_archive(at=archive, driver="ZOE MARSH", agreed=plans.append)
    assert plans == [forgotten]
    assert forgotten.drivers == ("Bert", "Zoe Marsh")
    assert [Path(file).name for file in forgotten.mentions] == ["b.csv"]
    assert forgotten.untimed == 2
    left = {row["recording"] for row in rows_of(str(archive), LAPS, ("recording",)).to_pylist()}
    assert first not in left
    assert second in left
