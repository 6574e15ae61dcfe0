"""What was written is known to whoever asked for it, and to nobody else."""

import pytest

from trackkit.errors import OutputError
from trackkit.files import write_whole
from trackkit.written import written_files


def test_files_are_listed_once_in_the_order_they_were_written(tmp_path):
    first, second = tmp_path / "a", tmp_path / "b"
    with written_files() as paths:
        write_whole(second, "x")
        write_whole(first, "x")
        write_whole(second, "y", force=True)

    assert paths == [str(second), str(first)]


def test_what_could_not_be_written_is_not_listed(tmp_path):
    (tmp_path / "a").write_text("x")
    with written_files() as paths, pytest.raises(OutputError, match="exists already"):
        write_whole(tmp_path / "a", "y")

    assert paths == []


def test_each_list_holds_what_was_written_within_it(tmp_path):
    with written_files() as outer:
        with written_files() as inner:
            write_whole(tmp_path / "a", "x")
        write_whole(tmp_path / "b", "x")
    write_whole(tmp_path / "c", "x")

    assert inner == [str(tmp_path / "a")]
    assert outer == [str(tmp_path / "b")]
