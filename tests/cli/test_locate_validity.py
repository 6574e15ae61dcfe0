"""``trackkit locate`` of a bare position, where layouts are no more or are not yet."""

import json
from dataclasses import replace

import pytest
from drives import block_circuit, track_of

from trackkit.cli import run
from trackkit.track.file import read_track, write_track

pytestmark = pytest.mark.usefixtures("home")


@pytest.fixture
def layouts(tmp_path):
    """Three layouts on the same ground: of long ago, of now, and of a day that is far off."""
    folder = tmp_path / "layouts"
    folder.mkdir()
    line = track_of(block_circuit(), gates=[("finish", "finish", 0.0)], spacing_m=2.0)
    for name, begun, ended in [
        ("past", "1998-04-01", "1999-12-31"),
        ("present", "2000-01-01", None),
        ("future", "2900-01-01", None),
    ]:
        track = replace(line, id=name, layout=name, valid_from=begun, valid_until=ended)
        write_track(track, folder / f"{name}.geojson")
    where = line.centreline
    return folder, [f"{where.latitude_deg[0]:.7f}", f"{where.longitude_deg[0]:.7f}"]


def test_json_says_which_layouts_are_not_valid_today(layouts, capsys):
    folder, position = layouts
    assert run(["locate", *position, "--library", str(folder), "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    said = {row["id"]: row for row in found["candidates"]}
    assert {key: row["validity"] for key, row in said.items()} == {
        "past": "no longer",
        "present": "valid",
        "future": "not yet",
    }
    assert said["past"]["valid_until"] == "1999-12-31"
    assert said["future"]["valid_from"] == "2900-01-01"
    assert set(found["tied"]) == set(said)  # named all the same


def test_the_table_marks_them_and_a_remark_names_them(layouts, capsys):
    folder, position = layouts
    assert run(["locate", *position, "--library", str(folder)]) == 0
    out, remarks = capsys.readouterr()
    (row,) = (line for line in out.splitlines() if line.strip().startswith("past"))
    assert row.strip().endswith("no longer, until 1999-12-31")
    assert "[future] is not valid today: not before 2900-01-01" in remarks
    assert "[present]" not in remarks


def test_a_layout_that_another_one_replaces_is_no_longer_valid(layouts, capsys):
    folder, position = layouts
    present = read_track(folder / "present.geojson")
    write_track(
        replace(present, id="newest", layout="newest", replaces="present"),
        folder / "newest.geojson",
    )
    assert run(["locate", *position, "--library", str(folder), "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)["candidates"]
    said = {row["id"]: row["validity"] for row in rows}
    assert (said["newest"], said["present"]) == ("valid", "no longer")
