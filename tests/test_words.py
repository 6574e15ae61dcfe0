"""What trackkit says is short, on one line, and holds nothing that a terminal obeys."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trackkit.cli.remedies import error_sentence
from trackkit.errors import TrackkitError
from trackkit.remedies import Remedy
from trackkit.words import LONGEST_SENTENCE, printable

# Unicode's own categories: controls, formats, surrogates, and the two separators of lines.
OBEYED = {"Cc", "Cf", "Cs", "Zl", "Zp"}
TEXTS = st.text(max_size=900)


@given(TEXTS, TEXTS, TEXTS, TEXTS)
def test_a_sentence_is_short_and_holds_no_control_characters(file, place, what, remedy):
    error = TrackkitError(what, file=file, place=place, remedy=remedy)
    columns = TrackkitError(
        what,
        file=file,
        remedy=Remedy(remedy, do="name columns", value={"columns": {"time": place}}),
    )
    for sentence in (str(error), error.fault, error_sentence(error), error_sentence(columns)):
        assert len(sentence) <= LONGEST_SENTENCE
        assert not {unicodedata.category(character) for character in sentence} & OBEYED


@given(st.text(alphabet=st.characters(categories=["L", "N", "P", "S", "Zs"])))
def test_a_text_that_can_be_shown_is_left_as_it_is(text):
    assert printable(text) == text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("a\nb\tc", "a b c"),
        ("\x1b[2J", "\\x1b[2J"),
        ("\u202eoval", "\\u202eoval"),
        ("oval\udcff.csv", "oval\\udcff.csv"),
    ],
)
def test_what_a_terminal_obeys_is_written_as_python_escapes_it(text, shown):
    assert printable(text) == shown


def test_of_a_long_sentence_the_list_is_cut_and_what_to_do_stays():
    columns = ", ".join(f"'Height {n}'" for n in range(80))
    error = TrackkitError(
        f"80 columns could be the height: {columns}", file="a.csv", remedy="name the right one"
    )

    assert str(error).startswith("a.csv: 80 columns could be the height: 'Height 0', ")
    assert str(error).endswith("'Height 78', 'Height 79'; name the right one")


def test_of_a_long_cell_the_end_of_the_sentence_stays():
    error = TrackkitError(f"'{'1' * 900}' is no time of day", file="a.csv")

    assert str(error).startswith("a.csv: '1111")
    assert str(error).endswith("111' is no time of day")


def test_of_a_long_path_the_name_of_the_file_stays():
    error = TrackkitError("x" * 300, file="/deep" * 90 + "/oval.csv", remedy="y" * 300)

    assert "/oval.csv: xxx" in str(error)
