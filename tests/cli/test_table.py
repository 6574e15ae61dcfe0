"""Tables on a terminal line up, whatever names hold."""

from __future__ import annotations

from trackkit.cli.common import table


def lines_of(capsys, headings, rows):
    table(headings, rows)
    return [line for line in capsys.readouterr().out.split("\n") if line.strip()]


def test_columns_of_numbers_are_set_right_and_others_left(capsys):
    _, _, first, second = lines_of(
        capsys, ["name", "length"], [["Oval", "950.5"], ["Long circuit", "12,000.0"]]
    )
    assert first.index("Oval") == second.index("Long circuit")
    assert len(first.rstrip()) == len(second.rstrip())


def test_wide_letters_take_two_places(capsys):
    # Unicode Standard Annex 11: these are wide.
    _, _, wide, narrow = lines_of(capsys, ["name", "n"], [["円円", "1"], ["oval", "2"]])
    assert len(narrow) - len(wide) == 2


def test_a_name_of_two_lines_stays_in_its_row(capsys):
    lines = lines_of(capsys, ["name", "n"], [["one\nline", "1"], ["other", "2"]])
    assert len(lines) == 4
    assert "one line" in lines[2]


def test_a_name_that_looks_like_markup_is_shown_as_it_is(capsys):
    assert "[bold]Oval[/bold]" in lines_of(capsys, ["name"], [["[bold]Oval[/bold]"]])[2]


def test_without_rows_there_are_the_headings_alone(capsys):
    assert len(lines_of(capsys, ["name", "n"], [])) == 2
