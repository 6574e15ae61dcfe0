"""Which files of a folder are recordings, and what tables of drivers beside them say."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from trackkit.errors import TrackkitError
from trackkit.timing.driven_files import Entry, Listed, entries_of, files_of


@pytest.fixture
def day(tmp_path):
    """A day's folder with recordings, and much that is none."""
    for name in (
        "b.gpx",
        "a.csv",
        "morning/kart 7.nmea",
        "morning/late/c.csv",
        ".hidden.csv",
        ".cache/d.csv",
        "a.csv~",
        "a.truth.json",
        "Drivers.CSV",
        "morning/drivers.csv",
        "notes.json",
    ):
        path = tmp_path / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("file\n" if name.lower().endswith("drivers.csv") else "x")
    (tmp_path / "track.geojson").write_text(json.dumps({"type": "X", "track": {"id": "t"}}))
    return tmp_path


def names(listed, folder):
    return [Path(file.path).relative_to(folder).as_posix() for file in listed]


def test_recordings_in_a_folder_are_listed_by_name_and_nothing_else_is(day):
    listed = files_of([str(day)])

    assert names(listed, day) == [
        "a.csv",
        "b.gpx",
        "morning/kart 7.nmea",
        "morning/late/c.csv",
        "notes.json",
    ]
    assert all(file.in_folder and file.folder == str(day) for file in listed)


def test_a_file_that_is_named_is_taken_whatever_it_is_called(day):
    listed = files_of([str(day / "a.csv~"), str(day / "nowhere.csv")])

    assert listed == [Listed(str(day / "a.csv~")), Listed(str(day / "nowhere.csv"))]
    assert not any(file.in_folder for file in listed)


def test_a_file_that_is_named_and_in_a_folder_is_listed_once_where_it_was_named(day):
    listed = files_of([str(day), str(day / "morning" / ".." / "b.gpx")])

    assert [Path(file.path).name for file in listed] == [
        "a.csv",
        "kart 7.nmea",
        "c.csv",
        "notes.json",
        "b.gpx",
    ]
    assert not listed[-1].in_folder


def test_a_hidden_folder_that_is_named_itself_is_listed(day):
    assert names(files_of([str(day / ".cache")]), day) == [".cache/d.csv"]


def table(folder, text, name="drivers.csv"):
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(text)


def entries(folder, *words, say=None):
    found = entries_of(files_of([str(word) for word in words] or [str(folder)]), say)
    return {Path(path).relative_to(folder).as_posix(): entry for path, entry in found.items()}


WHOLE = "file,driver,vehicle,class,notes,weather,temperature\n"


def test_a_table_tells_of_each_recording_what_its_columns_say(tmp_path):
    table(tmp_path, WHOLE + "a.csv, Ada ,kart 7,junior,new tyres,dry,21\nb.csv,,,,,,\n")
    for name in ("a.csv", "b.csv", "c.csv"):
        (tmp_path / name).write_text("x")

    found = entries(tmp_path)

    assert found["a.csv"] == Entry("Ada", "kart 7", "junior", "new tyres", "dry", "21")
    assert found["b.csv"] == Entry()
    assert "c.csv" not in found


def test_columns_come_in_any_order_and_may_be_left_out(tmp_path):
    table(tmp_path, "Vehicle , FILE\nkart 7,a.csv\n")
    (tmp_path / "a.csv").write_text("x")

    assert entries(tmp_path) == {"a.csv": Entry(vehicle="kart 7")}


def test_a_label_is_driver_and_vehicle_as_far_as_they_are_given():
    assert Entry("Ada", "kart 7").label == "Ada, kart 7"
    assert Entry("Ada").label == "Ada"
    assert Entry(vehicle="kart 7").label == "kart 7"
    assert Entry(notes="x").label == ""


def test_as_json_what_a_table_leaves_empty_is_null():
    assert Entry("Ada", class_="junior").as_row() == {
        "driver": "Ada",
        "vehicle": None,
        "class": "junior",
        "notes": None,
    }
    assert Entry(vehicle="kart", notes="wet").as_row() == {
        "driver": None,
        "vehicle": "kart",
        "class": None,
        "notes": "wet",
    }


def test_the_nearest_table_that_names_a_recording_counts_up_to_the_folder_that_was_named(tmp_path):
    day = tmp_path / "day"
    table(tmp_path, "file,driver\nday/a.csv,too far up\nday/in/b.csv,too far up\n")
    table(day, "file,driver\na.csv,from above\nin/b.csv,from above\nin/c.csv,from above\n")
    table(day / "in", "file,driver\nb.csv,from beside\n")
    for name in ("a.csv", "in/b.csv", "in/c.csv", "in/d.csv"):
        (day / name).write_text("x")

    found = entries(day)

    assert {name: entry.driver for name, entry in found.items()} == {
        "a.csv": "from above",
        "in/b.csv": "from beside",
        "in/c.csv": "from above",
    }


def test_of_a_file_that_is_named_only_the_table_beside_it_is_read(tmp_path):
    table(tmp_path, "file,driver\nin/a.csv,from above\n")
    table(tmp_path / "in", "file,driver\nb.csv,from beside\n")
    for name in ("a.csv", "b.csv"):
        (tmp_path / "in" / name).write_text("x")

    found = entries(tmp_path, tmp_path / "in" / "a.csv", tmp_path / "in" / "b.csv")

    assert {name: entry.driver for name, entry in found.items()} == {"in/b.csv": "from beside"}


def test_files_that_a_table_names_and_that_are_not_there_are_told_once(tmp_path):
    table(tmp_path, "file,driver\na.csv,Ada\nx.csv,Bo\ny.csv,Cy\n,Dee\n")
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("x")
    told = []

    entries(tmp_path, say=told.append)

    assert told == [
        f"{tmp_path / 'drivers.csv'}: names x.csv, y.csv, and there is no such file beside it"
    ]
    assert entries(tmp_path)["a.csv"].driver == "Ada"


def test_where_every_file_is_there_nothing_is_told(tmp_path):
    table(tmp_path, "file,driver\na.csv,Ada\n")
    (tmp_path / "a.csv").write_text("x")
    told = []

    entries(tmp_path, say=told.append)

    assert told == []


@pytest.mark.parametrize("between", [",", ";", "\t", "|"])
def test_columns_are_parted_by_what_parts_the_headings(tmp_path, between):
    line = between.join(["a.csv", "Ada", ""])
    table(tmp_path, f"{between.join(['file', 'driver', 'vehicle'])}\n{line}\n")
    (tmp_path / "a.csv").write_text("x")

    assert entries(tmp_path)["a.csv"].driver == "Ada"


def test_what_parts_cells_further_down_parts_nothing(tmp_path):
    table(tmp_path, "file;notes\na.csv;new, soft, wide, and worn, tyres\nb.csv;x, y, z\n")
    (tmp_path / "a.csv").write_text("x")

    assert entries(tmp_path)["a.csv"].notes == "new, soft, wide, and worn, tyres"


def test_a_spreadsheets_empty_cells_at_the_ends_of_lines_and_empty_lines_are_nothing(tmp_path):
    table(tmp_path, "file,driver,,\na.csv,Ada,,\n,,,\n\nb.csv\n")
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("x")

    assert entries(tmp_path) == {"a.csv": Entry("Ada"), "b.csv": Entry()}


def test_a_path_may_be_written_as_on_windows(tmp_path):
    table(tmp_path, "file,driver\nin\\a.csv,Ada\n")
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.csv").write_text("x")

    assert entries(tmp_path)["in/a.csv"].driver == "Ada"


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("driver\nAda\n", "has no column 'file', and is no table of drivers"),
        ("", "has no column 'file', and is no table of drivers"),
        ("file,pilot,age\na.csv,Ada,9\n", "has a column 'age', and is no table of drivers"),
        ("file,driver,driver\na.csv,A,B\n", "has two columns 'driver'"),
        ("file,driver\na.csv,Ada,kart\n", "line 2: has 3 cells under 2 columns"),
        ("file\n\na.csv,Ada\n", "line 3: has 2 cells under 1 column;"),
        ("file,driver\na.csv,Ada\nb.csv,\na.csv,Bo\n", "line 4: names a.csv once more"),
        ('file,driver\n"a.csv,Ada\n' + "x" * 200_000, "cannot be read as CSV"),
    ],
)
def test_a_table_that_cannot_be_meant_says_what_is_wrong_and_where(tmp_path, text, what):
    table(tmp_path, text)
    for name in ("a.csv", "b.csv"):
        (tmp_path / name).write_text("x")

    with pytest.raises(TrackkitError) as raised:
        entries(tmp_path)
    assert what in str(raised.value)
    assert str(tmp_path / "drivers.csv") in str(raised.value)


def test_a_folder_without_tables_has_no_entries(day):
    (day / "Drivers.CSV").unlink()

    assert entries_of(files_of([str(day / "a.csv")])) == {}
