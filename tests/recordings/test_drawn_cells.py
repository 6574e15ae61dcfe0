"""Where well-known text begins in a table, however many blanks there are."""

from __future__ import annotations

import pytest

from trackkit.recordings.drawn.wkt import holds_shapes

HEADER = b"id\tshape\n"


@pytest.mark.parametrize(
    "cell",
    [
        b"LINESTRING (161 48, 161.1 48)",
        b'"LINESTRING Z(161 48 0, 161.1 48 0)"',
        b' "  SRID=4326; MULTIPOLYGON  ((',
        b"GEOMETRYCOLLECTION ZM (",
        b"point(161 48)",
    ],
)
def test_a_cell_of_well_known_text_is_found_in_any_column(cell):
    assert holds_shapes(HEADER + b"1\t" + cell + b"\n")
    assert holds_shapes(HEADER + cell + b"\t1\n")


@pytest.mark.parametrize("cell", [b"LINESTRINGS (", b"a POINT (1 2)", b"POINT"])
def test_what_only_looks_like_it_is_none(cell):
    assert not holds_shapes(HEADER + b"1\t" + cell + b"\n")


@pytest.mark.parametrize("blank", [b"\t", b" ", b'" ', b"SRID=1; "])
def test_blanks_without_end_take_no_time_that_grows_as_their_square(blank):
    # By trying all ways to part them this would take hours.
    assert not holds_shapes(HEADER + b"1," + blank * 60_000 + b"POINT")
