"""Ids made of names."""

import pytest

from trackkit.track.ids import file_stem, slug


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("Zirbenring", "zirbenring"),
        ("  Åre Öst / 2 ", "are-ost-2"),
        ("A" * 100, "a" * 80),
        ("CON", "track-con"),
        ("Lpt1", "track-lpt1"),
        ("Contour", "contour"),
    ],
)
def test_ids_are_lower_case_letters_digits_and_hyphens(name, expected):
    assert slug(name) == expected


def test_a_name_without_latin_letters_still_gets_an_id_of_its_own():
    assert slug("鈴").startswith("track-")
    assert slug("鈴") != slug("蘭")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("con", "con_"),
        ("NUL", "NUL_"),
        ("Aux.v2", "Aux_.v2"),
        ("prn .v2", "prn_.v2"),
        ("com1", "com1_"),
        ("lpt²", "lpt²_"),
        ("contour", "contour"),
        ("invented-con", "invented-con"),
        ("com10", "com10"),
    ],
)
def test_a_file_is_not_named_as_windows_names_devices(name, expected):
    """Microsoft, "Naming Files, Paths, and Namespaces", from memory."""
    assert file_stem(name) == expected
