"""Files changed in place by many at once: every change is in the file, or refused and told."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from checkout import TRACKS

from trackkit.errors import OutputError
from trackkit.held_files import ChangedMeanwhileError, digest_of, hold
from trackkit.track.file import read_track

PROCESSES, CHANGES = 8, 50


@pytest.fixture(autouse=True)
def cache(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache"


def test_a_change_keeps_the_file_before_it(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("old")
    with hold(path) as held:
        held.replace("new")
    assert path.read_text() == "new"
    assert (tmp_path / "a.txt~").read_text() == "old"


def test_several_changes_while_a_file_is_held_are_written(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("old")
    with hold(path) as held:
        held.replace("newer")
        held.replace("newest")
    assert path.read_text() == "newest"


def test_a_file_that_somebody_else_wrote_meanwhile_is_left_alone(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("old")
    with hold(path) as held:
        path.write_text("from another machine")
        with pytest.raises(ChangedMeanwhileError, match=r"a\.txt: was changed meanwhile; nothing"):
            held.replace("new")
    assert path.read_text() == "from another machine"


def test_a_file_that_somebody_else_deleted_meanwhile_is_not_made_again(tmp_path):
    path = tmp_path / "a.txt"
    path.write_text("old")
    with hold(path) as held:
        path.unlink()
        with pytest.raises(ChangedMeanwhileError, match="was deleted or moved meanwhile"):
            held.replace("new")
    assert not path.exists()


def test_a_file_held_too_long_by_another_is_refused_in_words(tmp_path, monkeypatch):
    monkeypatch.setattr("trackkit.held_files.PATIENCE_S", 0.1)
    path = tmp_path / "a.txt"
    path.write_text("old")
    with (
        hold(path),
        pytest.raises(OutputError, match=r"a\.txt: is being changed by another trackkit"),
        hold(path),
    ):
        pytest.fail("held twice")


def test_a_link_and_the_file_it_leads_to_are_held_together(tmp_path, monkeypatch):
    monkeypatch.setattr("trackkit.held_files.PATIENCE_S", 0.1)
    path, link = tmp_path / "a.txt", tmp_path / "link.txt"
    path.write_text("old")
    link.symlink_to(path)
    with hold(link), pytest.raises(OutputError, match="is being changed"), hold(path):
        pytest.fail("held twice")


def test_a_cache_folder_that_cannot_be_made_does_not_matter(tmp_path, cache):
    cache.write_text("a file where the folder should be")
    path = tmp_path / "a.txt"
    path.write_text("old")
    with hold(path) as held:
        held.replace("new")
    assert path.read_text() == "new"


def test_the_digest_is_of_what_is_there(tmp_path):
    path = tmp_path / "a.txt"
    assert digest_of(path) is None
    path.write_bytes(b"abc")
    # FIPS 180-4's example of one block.
    assert digest_of(path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


CHANGING = """
import json, sys
from pathlib import Path
from trackkit.held_files import hold

path, process, changes = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
for change in range(changes):
    with hold(path) as held:
        held.replace(json.dumps([*json.loads(path.read_text()), [process, change]]))
"""
PLACING = """
import sys
from trackkit.cli import run

path, process, gates = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
for number in range(gates):
    place = f"{30 + 97 * process + 19 * number}m"
    if run(["gate", "place", path, "speed", place]):
        sys.exit(f"{place} was not placed")
"""


def at_once(program: str, path: Path, processes: int, changes: int) -> None:
    """Run a program in several processes, and see that each ends well."""
    running = [
        subprocess.Popen(
            [sys.executable, "-c", program, str(path), str(n), str(changes)],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        for n in range(processes)
    ]
    for process in running:
        _, said = process.communicate(timeout=240)
        assert process.returncode == 0, said


@pytest.mark.slow
def test_eight_processes_that_change_one_file_fifty_times_each_lose_nothing(tmp_path):
    path = tmp_path / "names.json"
    path.write_text("[]")
    at_once(CHANGING, path, PROCESSES, CHANGES)
    made = sorted(json.loads(path.read_text()))
    assert made == [[n, change] for n in range(PROCESSES) for change in range(CHANGES)]


@pytest.mark.slow
def test_gates_that_several_commands_place_at_once_are_all_in_the_file(tmp_path):
    path = tmp_path / "track.geojson"
    shutil.copy(TRACKS / "pipwick-kart-circuit.geojson", path)
    before = len(read_track(path).gates)
    at_once(PLACING, path, 4, 3)
    assert len(read_track(path).gates) == before + 12
