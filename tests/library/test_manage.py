"""Track files added to a library and removed: what goes in, what is said, and nothing lost."""

import json
import os
import subprocess
import sys
import textwrap
from dataclasses import replace

import pytest
from drives import HOME, stadium, track_of
from library_entries import known_at, shifted
from library_files import added, listed, track_file
from two_layouts import BOTH

from trackkit.cli import run
from trackkit.errors import TrackkitError
from trackkit.library.folders import ENVIRONMENT_VARIABLE, open_library
from trackkit.library.manage import LOCK_NAME, add_to_library, overlaps, remove_from_library
from trackkit.track.file import write_track


@pytest.fixture(autouse=True)
def home(monkeypatch, tmp_path):
    """A machine with no other libraries, where nothing of the user's is touched."""
    monkeypatch.delenv(ENVIRONMENT_VARIABLE, raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr("trackkit.library.folders.shipped_folder", lambda: tmp_path / "shipped")
    monkeypatch.setattr("trackkit.library.manage.shipped_folder", lambda: tmp_path / "shipped")
    (tmp_path / "shipped").mkdir()
    return tmp_path


# Adding


def test_a_track_file_goes_into_the_users_folder_byte_for_byte(home, capsys):
    path = track_file(home / "new", "one")
    path.write_bytes(path.read_bytes().replace(b'"notes"', b'"club": "invented", "notes"'))

    (row,), _ = added(capsys, path)

    # XDG Base Directory Specification: data below $XDG_DATA_HOME.
    assert row["file"] == str(home / "data" / "trackkit" / "tracks" / "one.geojson")
    assert (home / "data" / "trackkit" / "tracks" / "one.geojson").read_bytes() == path.read_bytes()
    assert listed(capsys) == ["one"]


def test_a_track_whose_id_windows_keeps_for_a_device_lies_in_a_file_of_another_name(home, capsys):
    """Microsoft, "Naming Files, Paths, and Namespaces", from memory."""
    path = track_file(home / "new", "con")

    (row,), _ = added(capsys, path, "--library", home / "mine")

    assert (row["id"], row["file"]) == ("con", str(home / "mine" / "con_.geojson"))
    added(capsys, path, "--library", home / "mine", "--replace")
    assert sorted(found.name for found in (home / "mine").glob("*.geojson*")) == [
        "con_.geojson",
        "con_.geojson~",
    ]


def test_a_folder_given_counts_before_the_environments_and_that_before_the_users(
    home, capsys, monkeypatch
):
    (home / "club").mkdir()
    monkeypatch.setenv(ENVIRONMENT_VARIABLE, str(home / "club"))

    added(capsys, track_file(home / "new", "one"))
    added(capsys, track_file(home / "new", "two", at=(162.0, 47.0)), "--library", home / "mine")

    assert (home / "club" / "one.geojson").is_file()
    assert (home / "mine" / "two.geojson").is_file()


@pytest.mark.parametrize("broken", [b"", b"{}", b'{"track": {"format": "trackkit-track"}}'])
def test_what_is_no_valid_track_file_is_refused_and_the_others_are_added(home, capsys, broken):
    good = track_file(home / "new", "good")
    bad = home / "new" / "bad.geojson"
    bad.write_bytes(broken)

    rows, said = added(capsys, bad, good, status=1)

    assert [row["id"] for row in rows] == ["good"]
    assert "bad.geojson" in said
    assert listed(capsys) == ["good"]


def test_a_file_that_breaks_the_schema_is_refused(home, capsys):
    path = track_file(home / "new", "one")
    path.write_text(path.read_text("utf-8").replace('"closed": true', '"closed": "yes"'), "utf-8")

    rows, said = added(capsys, path, status=1)

    assert rows == []
    assert "closed" in said


def test_an_id_that_is_taken_is_refused_and_the_file_there_stays(home, capsys):
    added(capsys, track_file(home / "new", "one", name="First"))
    held = home / "data" / "trackkit" / "tracks" / "one.geojson"
    before = held.read_bytes()

    rows, said = added(capsys, track_file(home / "newer", "one", name="Second"), status=1)

    assert rows == []
    assert "the id one is taken by First" in said
    assert "--replace" in said
    assert held.read_bytes() == before


def test_an_id_that_only_a_sample_circuit_has_is_taken_too(home, capsys):
    track_file(home / "shipped", "one")

    rows, said = added(capsys, track_file(home / "new", "one"), status=1)

    assert rows == []
    assert "taken" in said


def test_with_replace_the_new_file_counts_and_the_one_before_is_kept(home, capsys):
    added(capsys, track_file(home / "new", "one", name="First"))
    held = home / "data" / "trackkit" / "tracks" / "one.geojson"
    before = held.read_bytes()

    (row,), said = added(capsys, track_file(home / "new", "one", name="Second"), "--replace")

    assert row["replaced"] == str(held)
    assert held.with_name("one.geojson~").read_bytes() == before
    assert "kept" in said
    run(["library", "list"])
    assert "Second" in capsys.readouterr().out


def test_a_file_there_under_the_name_that_holds_something_else_is_not_overwritten(home, capsys):
    (home / "mine").mkdir()
    other = home / "mine" / "one.geojson"
    other.write_text("my notes", "utf-8")

    rows, said = added(
        capsys, track_file(home / "new", "one"), "--library", home / "mine", "--replace", status=1
    )

    assert rows == []
    assert "holds something else" in said
    assert other.read_text("utf-8") == "my notes"


def test_the_same_line_under_another_name_is_recognised_and_said(home, capsys):
    added(capsys, track_file(home / "new", "airfield", name="Airfield"))

    # The same circuit, drawn by somebody else: 4 m to the side and begun elsewhere.
    (row,), said = added(
        capsys, track_file(home / "new", "aerodrome", name="Aerodrome", at=(161.00005, 47.0))
    )

    (overlap,) = row["overlaps"]
    assert overlap["id"] == "airfield"
    assert overlap["same_line"]
    assert overlap["share"] > 0.95
    assert "same line as airfield (Airfield)" in said


def test_the_same_line_the_other_way_round_is_no_duplicate(home, capsys):
    added(capsys, track_file(home / "new", "left", name="Ring"))
    mirrored = track_of(stadium(), gates=[("finish", "finish", 10.0)], spacing_m=10.0)
    line = mirrored.centreline
    turned = replace(
        line, longitude_deg=line.longitude_deg[::-1], latitude_deg=line.latitude_deg[::-1]
    )
    path = home / "new" / "right.geojson"
    write_track(
        replace(
            mirrored,
            id="right",
            name="Ring",
            centreline=turned,
            direction="clockwise",
            gates=(),
            revised="2024-01-01T00:00:00Z",
        ),
        path,
    )

    (row,), said = added(capsys, path)

    assert row["overlaps"][0]["opposite"]
    assert not row["overlaps"][0]["same_line"]
    assert "same line" not in said


def test_a_circuit_beside_another_shares_nothing(home, capsys):
    added(capsys, track_file(home / "new", "one"))

    (row,), said = added(capsys, track_file(home / "new", "two", at=(161.003, 47.0)))

    assert row["overlaps"] == []
    assert said == ""


ADDER = """
import sys
from trackkit.cli import run
sys.exit(run(["library", "add", *sys.argv[2:], "--library", sys.argv[1]]))
"""


def processes(arguments):
    """Run the same program with several lists of arguments at once."""
    running = [
        subprocess.Popen(
            [sys.executable, "-c", textwrap.dedent(ADDER), *map(str, words)],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            env=dict(os.environ),
        )
        for words in arguments
    ]
    return [(*one.communicate(timeout=120), one.returncode) for one in running]


@pytest.mark.slow
def test_processes_that_add_at_once_lose_nothing(home, capsys):
    mine = home / "mine"
    lots = [
        [
            track_file(home / f"lot{lot}", f"t{lot}-{n}", at=(161 + 0.1 * n, 44 + lot))
            for n in range(6)
        ]
        for lot in range(3)
    ]

    ended = processes([[mine, *lot] for lot in lots])

    assert [(err, status) for _, err, status in ended] == [("", 0)] * 3
    expected = sorted(path.stem for lot in lots for path in lot)
    assert sorted(path.stem for path in mine.glob("*.geojson")) == expected
    assert listed(capsys, "--library", str(mine)) == expected


@pytest.mark.slow
def test_of_processes_that_add_one_id_at_once_just_one_does(home):
    mine = home / "mine"
    rivals = [
        track_file(home / f"rival{n}", "same", name=f"Rival {n}", at=(161.0 + n, 47.0))
        for n in range(3)
    ]

    ended = processes([[mine, rival] for rival in rivals])

    assert sorted(status for *_, status in ended) == [0, 1, 1]
    winner = [status for *_, status in ended].index(0)
    assert (mine / "same.geojson").read_bytes() == rivals[winner].read_bytes()
    assert [path.name for path in mine.iterdir() if path.suffix != ".lock"] != []


def test_a_folder_that_cannot_be_written_is_said(home, capsys):
    (home / "file").write_text("", "utf-8")
    path = track_file(home / "new", "one")
    from trackkit.errors import OutputError
    from trackkit.library.folders import open_library
    from trackkit.library.manage import add_to_library

    with pytest.raises(OutputError, match="cannot be written"):
        add_to_library(path, home / "file" / "below", library=open_library([]))


# Removing


def test_removing_asks_first_and_no_means_no(home, capsys, monkeypatch):
    added(capsys, track_file(home / "new", "one"))
    monkeypatch.setattr("click.termui.visible_prompt_func", lambda _: "n")

    assert run(["library", "remove", "one"]) == 130

    assert listed(capsys) == ["one"] if capsys.readouterr() else False


def test_removing_keeps_the_file_under_another_name(home, capsys, monkeypatch):
    added(capsys, track_file(home / "new", "one"))
    held = home / "data" / "trackkit" / "tracks" / "one.geojson"
    before = held.read_bytes()
    monkeypatch.setattr("click.termui.visible_prompt_func", lambda _: "y")

    assert run(["library", "remove", "one"]) == 0
    capsys.readouterr()

    assert listed(capsys) == []
    assert held.with_name("one.geojson~").read_bytes() == before


def test_yes_asks_nothing(home, capsys):
    added(capsys, track_file(home / "new", "one"))

    assert run(["library", "remove", "one", "--yes", "--json"]) == 0

    assert json.loads(capsys.readouterr().out)["removed"] == "one"
    assert listed(capsys) == []


def test_a_sample_circuit_cannot_be_removed(home, capsys):
    path = track_file(home / "shipped", "sample")

    assert run(["library", "remove", "sample", "--yes"]) == 1

    assert "comes with trackkit" in capsys.readouterr().err
    assert path.is_file()


def test_an_unknown_id_is_said(home, capsys):
    assert run(["library", "remove", "nothing", "--yes"]) == 1
    assert "no known track has the id nothing" in capsys.readouterr().err


def test_the_lock_is_no_track_file(home, capsys):
    added(capsys, track_file(home / "new", "one"))
    assert not LOCK_NAME.endswith(".geojson")


# Lines that run on the same tarmac


@pytest.mark.parametrize(
    ("north_m", "shared"), [(0.0, True), (8.0, True), (12.0, False), (300.0, False)]
)
def test_lines_within_ten_metres_of_each_other_run_on_the_same_tarmac(north_m, shared):
    one = known_at(HOME, "one", road=stadium(800.0, 100.0))
    other = known_at(shifted(HOME, north_m, 0.0), "other", road=stadium(800.0, 100.0))

    found = overlaps(one, [other])

    if not shared:
        assert all(overlap.share < 0.6 for overlap in found)
    else:
        (overlap,) = found
        assert (overlap.share, overlap.share_back) == pytest.approx((1.0, 1.0), abs=0.02)
        assert overlap.same_line
        assert not overlap.opposite


def test_a_layout_that_shares_its_straight_shares_so_much_of_both_lengths():
    long, short = BOTH.circuits

    (overlap,) = overlaps(long, [short])

    # Two straights of 250 m and the half circle between them, 157 m; and where they part what is
    # within 10 m, sqrt(2 * 50 * 10) = 32 m on either side.
    assert overlap.share * long.length_m == pytest.approx(721.0, abs=15.0)
    assert overlap.share_back * short.length_m == pytest.approx(721.0, abs=15.0)
    assert not overlap.same_line


# By name from Python


def test_a_track_is_removed_by_its_id_and_its_file_is_kept_beside(home):
    for name in ("one", "two"):
        add_to_library(track_file(home / "new", name), home / "club")
    library = open_library([home / "club"])

    first, second = (
        circuit.id for circuit in library.tracks() if circuit.path.parent == home / "club"
    )
    kept = remove_from_library(first, library=library)

    assert kept.is_file()
    assert kept.name.endswith(".geojson~")
    left = open_library([home / "club"])
    assert left.find(first) is None
    assert left.find(second) is not None


def test_an_id_that_no_track_has_is_told(home):
    (home / "club").mkdir()
    with pytest.raises(TrackkitError, match="no known track has the id nowhere; list the library"):
        remove_from_library("nowhere", library=open_library([home / "club"]))
