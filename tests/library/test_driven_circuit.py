"""When a drive's circuit is settled, and which file it is read from."""

from dataclasses import replace

import pytest
from library_entries import track_at

from trackkit.library.driven_circuit import settled, tracks_driven
from trackkit.library.folders import open_library
from trackkit.library.known import Candidate, Located
from trackkit.track.file import write_track

OVAL = Candidate("oval", "Oval", "", None, 3.0, 0.98)
OTHER = Candidate("other", "Other", "", None, 900.0, 0.01)


def located(answer="at", candidates=(OVAL, OTHER), tied=(), **more):
    return Located(answer, candidates, tied, **more)


@pytest.mark.parametrize("candidates", [(OVAL,), (OVAL, OTHER)])
def test_a_drive_at_a_circuit_was_on_the_first_of_those_named(candidates):
    assert settled(located(candidates=candidates)) is OVAL


@pytest.mark.parametrize(
    ("answer", "more"),
    [
        ("near", {}),
        ("none", {}),
        ("at", {"tied": ("oval", "other")}),
        # As likely as not it was none of those that are known.
        ("at", {"unknown": 0.5}),
        ("at", {"unknown": 0.9}),
    ],
)
def test_what_is_open_is_not_settled(answer, more):
    assert settled(located(answer, **more)) is None


def test_a_known_circuit_that_is_likelier_than_an_unknown_is_settled():
    assert settled(located(unknown=0.49)) is OVAL


def test_a_circuit_driven_backwards_is_read_turned_round_and_each_way_once(tmp_path):
    track = track_at((161.0, 47.0), track_id="oval")
    write_track(track, tmp_path / "oval.geojson")
    track_driven = tracks_driven(open_library([tmp_path]))

    there = track_driven(OVAL)
    back = track_driven(replace(OVAL, reversed=True))

    assert there.path == back.path == str(tmp_path / "oval.geojson")
    assert (there.reversed, back.reversed) == (False, True)
    assert there.track.curve.direction(20.0) == pytest.approx(
        -back.track.curve.direction(track.length_m - 20.0), abs=0.05
    )
    assert track_driven(OVAL) is there
    assert track_driven(replace(OVAL, reversed=True)) is back


def test_a_circuit_that_left_the_library_has_no_track(tmp_path):
    assert tracks_driven(open_library([tmp_path]))(OVAL) is None
