"""What is taken from a track to locate by, and what an atlas of such tracks answers."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from drives import HOME, hill_course, stadium, track_of
from library_entries import known_at, shifted, track_at

from trackkit.library.known import Atlas, Candidate, Located, circuit_of, first_of_each_id

FILE = Path("invented.geojson")


# What a track says of its line


@pytest.mark.parametrize("stated", ["anticlockwise", "clockwise", None])
def test_the_direction_is_that_of_the_line_whatever_is_stated(stated):
    track = replace(track_at(HOME), direction=stated)

    assert circuit_of(track, FILE).direction == "anticlockwise"


def test_a_course_has_no_direction():
    assert circuit_of(track_at(HOME, road=hill_course()), FILE).direction is None


@pytest.mark.parametrize(("more_m", "kept"), [(0.0, True), (0.03, True), (5.0, False)])
def test_a_length_that_agrees_with_the_line_stays_as_stated(more_m, kept):
    # With vertices every metre its chords are 7 mm shorter than the line.
    track = track_of(stadium(), at=HOME, spacing_m=1.0)
    stated = replace(track, length_m=track.curve.length_m + more_m)

    length_m = circuit_of(stated, FILE).length_m

    assert (length_m == stated.length_m) is kept
    assert length_m == pytest.approx(track.curve.length_m, abs=0.05)


def test_of_two_with_one_id_the_first_is_kept_in_its_place():
    first, second = known_at(HOME, "a", name="first"), known_at(HOME, "a", name="second")
    other = known_at(HOME, "b")

    assert first_of_each_id([[first], [other, second]]) == [first, other]


# An atlas


HERE, BESIDE, AWAY = (
    known_at(HOME, "here"),
    known_at(shifted(HOME, 0.0, 90.0), "beside"),
    known_at(shifted(HOME, 0.0, 3_000.0), "away"),
)
ATLAS = Atlas.of([HERE, BESIDE, AWAY])


def test_two_at_one_place_are_a_tie_and_one_is_none():
    # Between two ovals 90 m apart both lines pass; 200 m to the west only one does.
    both = ATLAS.locate(*shifted(HOME, -36.8, 45.0))
    alone = ATLAS.locate(*shifted(HOME, -36.8, -30.0))

    assert set(both.tied) == {"beside", "here"}
    assert (alone.answer, alone.tied) == ("at", ())


def test_as_many_are_named_as_are_wanted_three_where_nothing_is_said():
    crowd = Atlas.of([known_at(shifted(HOME, 0.0, 2_000.0 * n), f"t{n}") for n in range(5)])

    assert len(crowd.locate(*HOME).candidates) == 3
    assert len(crowd.locate(*HOME, most=1).candidates) == 1
    assert len(crowd.locate(*HOME, most=9).candidates) == 5
    assert len(crowd.distances(*HOME)) == 5


def test_a_place_as_far_as_the_radius_is_near_and_at_the_very_edge_it_is_at():
    place = shifted(HOME, -636.8, 0.0)
    away = ATLAS.locate(*place).candidates[0].distance_m
    edge = Atlas.of([replace(HERE, band_m=2.0 * away)])

    assert ATLAS.locate(*place, radius_m=away).answer == "near"
    assert ATLAS.locate(*place, radius_m=away - 1e-6).answer == "none"
    assert edge.locate(*place).answer == "at"
    assert Atlas.of([replace(HERE, band_m=2.0 * away - 1e-6)]).locate(*place).answer == "near"


def test_near_are_all_within_the_distance_and_no_others():
    place = shifted(HOME, -36.8, 0.0)
    away = {track.id: metres for track, metres in ATLAS.distances(*place)}

    assert [track.id for track in ATLAS.near(*place, away["beside"])] == ["here", "beside"]
    assert [track.id for track in ATLAS.near(*place, away["beside"] - 1e-3)] == ["here"]
    assert [track.id for track in ATLAS.near(*place, 9e4)] == ["here", "beside", "away"]


def test_the_nearest_of_many_positions_are_told_by_their_number_in_the_atlas():
    places = [shifted(HOME, 0.0, east) for east in (3_000.0, -50.0, 140.0)]

    which, distance = ATLAS.nearest(*zip(*places, strict=True))

    assert [ATLAS.circuits[one].id for one in which] == ["away", "here", "beside"]
    expected = [ATLAS.locate(*place).candidates[0].distance_m for place in places]
    assert distance == pytest.approx(expected, abs=1e-2)


@pytest.mark.parametrize(
    ("year", "validity"), [(2019, "not yet"), (2021, "valid"), (2023, "no longer")]
)
def test_whether_a_layout_is_there_is_told_for_the_moment(year, validity):
    dated = replace(HERE, timezone="UTC", valid_from="2020-06-01", valid_until="2022-06-01")
    moment = datetime(year, 7, 1, tzinfo=UTC)

    (candidate,) = Atlas.of([dated]).locate(*HOME, moment=moment).candidates

    assert candidate.validity == validity
    assert (candidate.valid_from, candidate.valid_until) == ("2020-06-01", "2022-06-01")
    # Today, where no moment is given.
    assert Atlas.of([dated]).locate(*HOME).candidates[0].validity == "no longer"


# How they look


def test_answers_in_python_say_the_nearest_and_how_many_are_tied():
    candidate = Candidate("a", "A", "", None, 12.34)

    assert repr(Located("none", (), ())) == "Located('none')"
    near = Located("near", (candidate,), ())
    assert repr(near) == "Located('near', nearest Candidate('a', 12.3 m away))"
    assert repr(Located("at", (candidate,), ("a", "b"))).endswith("away), 2 tied)")
    driven = Candidate("a", "A", "", None, 3.21, 0.978)
    assert repr(driven) == "Candidate('a', 3.2 m away, probability 0.98)"
    assert candidate.reversed is False
    assert repr(known_at(HOME, name="Sandbank", layout="Long")).startswith(
        "Known('invented', 'Sandbank (Long)', 400."
    )


def test_where_layouts_part_is_told_to_a_decimetre():
    assert Located("at", (), (), 295.46).as_row()["part_at_m"] == 295.5
