"""Files are written whole or not at all, and errors are sentences."""

import errno
import os
import re
import shutil
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from trackkit.errors import (
    NoLapError,
    NoTimesError,
    OutputError,
    PlaceError,
    RecordingError,
    TrackFileError,
    TrackkitError,
    reading_failed,
)
from trackkit.files import whole_file, write_whole


def listing(folder):
    return sorted(path.name for path in folder.iterdir())


# Writing


def test_a_new_file_holds_what_was_written(tmp_path):
    write_whole(tmp_path / "a.txt", "Bière\n")
    assert (tmp_path / "a.txt").read_bytes() == "Bière\n".encode()
    assert listing(tmp_path) == ["a.txt"]


def test_a_file_that_exists_is_not_replaced_without_force(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("old")
    with pytest.raises(OutputError, match=r"a\.txt: exists already; .*replace it") as caught:
        write_whole(target, "new")
    assert caught.value.remedy.do == "replace file"
    assert target.read_text() == "old"
    assert listing(tmp_path) == ["a.txt"]


def test_a_file_that_exists_is_replaced_with_force(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("old, and longer than the new one")
    write_whole(target, "new", force=True)
    assert target.read_text() == "new"
    assert listing(tmp_path) == ["a.txt"]


def test_the_previous_file_is_kept_under_its_name_with_a_tilde(tmp_path):
    target = tmp_path / "a.geojson"
    target.write_text("first")
    write_whole(target, "second", force=True, keep_previous=True)
    assert (tmp_path / "a.geojson~").read_text() == "first"
    write_whole(target, "third", force=True, keep_previous=True)
    assert target.read_text() == "third"
    assert (tmp_path / "a.geojson~").read_text() == "second"


def test_a_new_file_has_no_previous_one(tmp_path):
    write_whole(tmp_path / "a.txt", "new", keep_previous=True)
    assert listing(tmp_path) == ["a.txt"]


def test_a_write_that_fails_half_way_leaves_the_old_file_and_nothing_else(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("old")

    def run_out_of_space():
        with whole_file(target, force=True, keep_previous=True) as scratch:
            scratch.write_text("half of the n")
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with pytest.raises(OutputError, match=r"a\.txt: cannot be written \(No space left on device\)"):
        run_out_of_space()
    assert target.read_text() == "old"
    assert listing(tmp_path) == ["a.txt"]


def test_a_write_that_the_system_cuts_short_leaves_the_old_file_and_nothing_else(tmp_path):
    # The system's own limit on file size makes the write fail after 1,000 bytes.
    resource = pytest.importorskip("resource")
    target = tmp_path / "a.txt"
    target.write_text("old")
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, limits[1]))
    try:
        with pytest.raises(OutputError, match=r"a\.txt: cannot be written \(File too large\)"):
            write_whole(target, "new and long " * 1000, force=True, keep_previous=True)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert target.read_text() == "old"
    assert listing(tmp_path) == ["a.txt"]


@pytest.mark.parametrize("stop", [KeyboardInterrupt, ValueError])
def test_a_write_that_is_broken_off_leaves_nothing(tmp_path, stop):
    def break_off():
        with whole_file(tmp_path / "a.txt") as scratch:
            scratch.write_text("half")
            raise stop

    with pytest.raises(stop):
        break_off()
    assert listing(tmp_path) == []


def test_a_rename_that_fails_leaves_the_old_file_in_place(tmp_path, monkeypatch):
    target = tmp_path / "a.txt"
    target.write_text("old")
    rename = Path.replace

    def refuse(self, to):
        if Path(to) == target:
            raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
        return rename(self, to)

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match="Permission denied"):
        write_whole(target, "new", force=True, keep_previous=True)
    assert target.read_text() == "old"
    assert set(listing(tmp_path)) <= {"a.txt", "a.txt~"}


def test_a_symbolic_link_is_followed_and_stays_a_link(tmp_path):
    (tmp_path / "real").mkdir()
    real = tmp_path / "real" / "a.txt"
    real.write_text("old")
    link = tmp_path / "link.txt"
    link.symlink_to(real)
    write_whole(link, "new", force=True)
    assert link.is_symlink()
    assert real.read_text() == "new"


def test_a_symbolic_link_to_a_file_is_not_written_through_without_force(tmp_path):
    real = tmp_path / "a.txt"
    real.write_text("old")
    link = tmp_path / "link.txt"
    link.symlink_to(real)
    with pytest.raises(OutputError, match=r"link\.txt: exists already"):
        write_whole(link, "new")


def test_a_symbolic_link_to_a_file_not_there_yet_makes_that_file(tmp_path):
    link = tmp_path / "link.txt"
    link.symlink_to(tmp_path / "a.txt")
    write_whole(link, "new")
    assert (tmp_path / "a.txt").read_text() == "new"
    assert link.is_symlink()


def test_a_replaced_file_keeps_its_permissions(tmp_path):
    target = tmp_path / "a.txt"
    target.write_text("old")
    target.chmod(0o640)
    write_whole(target, "new", force=True)
    assert stat.S_IMODE(target.stat().st_mode) == 0o640


def test_a_new_file_has_the_permissions_of_any_new_file(tmp_path):
    (tmp_path / "plain.txt").write_text("x")
    write_whole(tmp_path / "a.txt", "x")
    assert (tmp_path / "a.txt").stat().st_mode == (tmp_path / "plain.txt").stat().st_mode


def test_a_folder_is_refused_as_an_output(tmp_path):
    with pytest.raises(OutputError, match="is a folder, not a file; name a file in it"):
        write_whole(tmp_path, "new", force=True)


def test_an_output_in_a_folder_that_does_not_exist_is_refused(tmp_path):
    with pytest.raises(OutputError, match=r"nowhere/a\.txt: cannot be written \(No such file"):
        write_whole(tmp_path / "nowhere" / "a.txt", "new")
    assert listing(tmp_path) == []


# Errors


def test_an_error_says_file_place_what_and_remedy_in_one_sentence():
    error = TrackkitError("has no name", file="a.geojson", place="line 3", remedy="give it one")
    assert str(error) == "a.geojson, line 3: has no name; give it one"


@pytest.mark.parametrize(
    ("parts", "sentence"),
    [
        ({}, "has no name"),
        ({"file": Path("b") / "a.gpx"}, "b/a.gpx: has no name"),
        ({"place": "gate finish"}, "gate finish: has no name"),
        ({"remedy": "give it one"}, "has no name; give it one"),
    ],
)
def test_an_error_leaves_out_what_it_does_not_know(parts, sentence):
    assert str(TrackkitError("has no name", **parts)) == sentence


def test_one_except_clause_catches_every_error_of_trackkit():
    kinds = [NoLapError, NoTimesError, OutputError, PlaceError, RecordingError, TrackFileError]
    assert all(issubclass(kind, TrackkitError) for kind in kinds)
    assert issubclass(NoTimesError, RecordingError)


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (FileNotFoundError(errno.ENOENT, "No such file or directory"), "no such file"),
        (IsADirectoryError(errno.EISDIR, "Is a directory"), "is a folder, not a file"),
        (PermissionError(errno.EACCES, "Permission denied"), "may not be read by this user"),
        (OSError(errno.EIO, "Input/output error"), "cannot be read (Input/output error)"),
    ],
)
def test_a_file_that_cannot_be_opened_is_reported_in_words(error, words):
    assert reading_failed("a.gpx", error) == words


# Power cuts and kills

CRASHING = """
import os, signal, sys
from pathlib import Path
from trackkit.files import write_whole
import shutil, tempfile, filelock

folder, steps = Path(sys.argv[1]), 0

def try_once(last):
    global steps
    steps = 0
    def count(event, arguments):
        global steps
        if event.startswith(("open", "os.", "shutil.")) and str(folder) in str(arguments[:1]):
            steps += 1
            if steps == last:
                os.kill(os.getpid(), signal.SIGKILL)
    sys.addaudithook(count)
    write_whole(folder / "a.txt", "new" * 1000, force=True, keep_previous=True)

for last in range(1, 1000):
    for left in folder.iterdir():
        shutil.rmtree(left) if left.is_dir() else left.unlink()
    (folder / "a.txt").write_text("old")
    (folder / "a.txt~").write_text("older")
    child = os.fork()
    if child == 0:
        try_once(last)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    whole = (folder / "a.txt").read_text() in ("old", "new" * 1000)
    before = (folder / "a.txt~").read_text() in ("older", "old")
    for left in folder.glob(".trackkit-*"):
        os.utime(left, (0, 0))
    write_whole(folder / "b.txt", "another", force=True)
    swept = not list(folder.glob(".trackkit-*"))
    if not (whole and before and swept):
        sys.exit(f"killed at step {last}: {whole=} {before=} {swept=} {sorted(os.listdir(folder))}")
    if os.WIFEXITED(status):
        print(last - 1)
        break
"""


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
def test_a_kill_at_any_step_leaves_a_whole_file_and_nothing_that_stays(tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", CRASHING, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) > 10


def test_a_scratch_folder_in_use_is_not_swept(tmp_path):
    with whole_file(tmp_path / "a.txt") as scratch:
        scratch.write_text("half")
        os.utime(scratch.parent, (0, 0))
        write_whole(tmp_path / "b.txt", "other")
        scratch.write_text("whole")
    assert (tmp_path / "a.txt").read_text() == "whole"
    assert listing(tmp_path) == ["a.txt", "b.txt"]


def test_a_scratch_folder_that_may_just_have_been_made_is_not_swept(tmp_path):
    (tmp_path / ".trackkit-new").mkdir()
    write_whole(tmp_path / "a.txt", "x")
    assert (tmp_path / ".trackkit-new").is_dir()


@pytest.mark.skipif(shutil.which("strace") is None, reason="strace is not installed")
def test_file_and_folder_are_synced_around_the_rename(tmp_path):
    (tmp_path / "a.txt").write_text("old")
    program = (
        "import sys; from trackkit.files import write_whole; "
        "write_whole(sys.argv[1], 'new', force=True, keep_previous=True)"
    )
    trace = tmp_path / "trace"
    traced = ["strace", "-y", "-o", str(trace), "-e", "trace=fsync,rename,renameat,renameat2"]
    subprocess.run([*traced, sys.executable, "-c", program, str(tmp_path / "a.txt")], check=True)
    calls = [line for line in trace.read_text().splitlines() if str(tmp_path) in line]
    kinds = [
        "sync folder"
        if re.search(rf"fsync\(\d+<{re.escape(str(tmp_path))}>\)", line)
        else line.partition("(")[0].rstrip("at2")
        for line in calls
    ]
    assert kinds == ["fsync", "fsync", "rename", "rename", "sync folder"]


# Pipes, devices and links


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs pipes with names")
def test_a_pipe_is_written_to_and_stays_a_pipe(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    received = []
    reader = threading.Thread(target=lambda: received.append(pipe.read_text()))
    reader.start()
    write_whole(pipe, "new")
    reader.join(10)
    assert received == ["new"]
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    assert listing(tmp_path) == ["pipe"]


def test_standard_output_is_written_to(tmp_path):
    program = "from trackkit.files import write_whole; write_whole('/dev/stdout', 'new')"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, check=True)
    assert done.stdout == b"new"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
def test_a_device_that_takes_nothing_is_told():
    with pytest.raises(OutputError, match=r"/dev/full: cannot be written \(No space left"):
        write_whole("/dev/full", "new")
    assert stat.S_ISCHR(Path("/dev/full").stat().st_mode)


def test_a_link_that_leads_back_to_itself_is_refused_and_stays(tmp_path):
    link = tmp_path / "a.txt"
    link.symlink_to(tmp_path / "b.txt")
    (tmp_path / "b.txt").symlink_to(link)
    with pytest.raises(OutputError, match=r"a\.txt: is a symbolic link that leads back to itself"):
        write_whole(link, "new", force=True)
    assert link.is_symlink()
