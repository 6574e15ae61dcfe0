"""Files are written whole or not at all, and errors are sentences."""

import csv
import errno
import io
import math
import os
import re
import shutil
import stat
import subprocess
import sys
import threading
from pathlib import Path

import pytest

import trackkit.files
from trackkit.errors import OutputError
from trackkit.files import csv_text, sha256_of, whole_file, write_whole


def listing(folder):
    return sorted(path.name for path in folder.iterdir())


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


# CSV and digests


def test_csv_keeps_a_spreadsheet_from_running_any_text_as_a_formula():
    # OWASP, CSV injection (from memory): cells must not begin with = + - @ or a tab.
    texts = ["=1+1", "+1", "-1+2", "@SUM(1)", "\t=1", "  =1"]
    text = csv_text(["name"], [[name] for name in texts])
    assert list(csv.reader(io.StringIO(text)))[1:] == [[f"'{name}"] for name in texts]


def test_numbers_below_0_are_no_formulas_and_what_is_not_known_is_empty():
    row = [-1.25, -1.25, math.nan, None, -3, True, math.inf]
    header = ["all", "two", "nan", "none", "whole", "truth", "infinite"]
    text = csv_text(header, [row], {"two": 1, "nan": 3})
    assert text.splitlines() == [",".join(header), "-1.25,-1.2,,,-3,true,"]


def test_csv_is_written_in_one_place():
    package = Path(trackkit.files.__file__).parent
    writing = [path.name for path in package.rglob("*.py") if "csv.writer" in path.read_text()]
    assert writing == ["files.py"]


def test_the_digest_is_that_of_the_standard(tmp_path):
    # NIST's example for SHA-256 (FIPS 180-4; from memory): of the message "abc".
    path = tmp_path / "abc"
    path.write_bytes(b"abc")
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert sha256_of(path) == digest


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


def test_what_rounds_to_nothing_has_no_sign():
    assert csv_text(["elapsed_s"], [[-1e-7], [-1e-6]], {"elapsed_s": 6}) == (
        "elapsed_s\n0.000000\n-0.000001\n"
    )
