"""One verb for positions and drives: what is refused, and how answers look in Python."""

import pytest

from trackkit.errors import PlaceError
from trackkit.library.folders import open_library
from trackkit.library.known import Candidate
from trackkit.library.locate import locate


@pytest.mark.parametrize("where", [(360.5, 10.0), (-361.0, 10.0), (10.0, 90.5), (10.0, -91.0)])
def test_what_is_no_position_is_refused_with_the_order_that_is_meant(where):
    with pytest.raises(PlaceError, match="give the longitude first"):
        locate(where, open_library([]))


@pytest.mark.parametrize("where", [(360.0, 10.0), (-360.0, 10.0), (10.0, 90.0), (10.0, -90.0)])
def test_the_ends_of_both_ranges_are_positions(where):
    assert locate(where, open_library([])).answer == "none"


def test_a_candidate_shows_its_probability_only_after_a_drive():
    place = Candidate("oval", "Oval", "", None, 1234.56)
    driven = Candidate("oval", "Oval", "", None, 3.21, 0.978)

    assert repr(place) == "Candidate('oval', 1,234.6 m away)"
    assert repr(driven) == "Candidate('oval', 3.2 m away, probability 0.98)"


def test_a_drawn_line_is_located_by_where_it_begins():
    import numpy as np
    from library_entries import known_at

    from trackkit.library.known import Atlas
    from trackkit.recordings.drawn_lines import DrawnLine

    class Shelf(Atlas):
        """Stands in for a library, which answers positions alike."""

    # It begins at the circuit and leads 11 km away from it.
    line = DrawnLine(np.array([161.0, 161.1, 161.1]), np.array([47.0, 47.05, 47.1]), None)
    atlas = Shelf.of([known_at((161.0, 47.0))])

    assert locate(line, atlas) == atlas.locate(161.0, 47.0)
    assert locate((161.0, 47.1), atlas).answer == "none"


def test_without_a_library_the_usual_folders_are_looked_into(monkeypatch):
    from trackkit.library import locate as module

    monkeypatch.setattr(module, "open_library", lambda: open_library([]))

    assert locate((161.0, 47.0)).answer == "none"
