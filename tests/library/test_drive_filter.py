"""Layouts and directions told apart, fix by fix."""

from dataclasses import replace

import numpy as np
import pytest
from drives import hill_course, track_of
from two_layouts import BOTH, LONG, SHORT, chainage, known, recorded

from trackkit.library.drive_filter import Locator
from trackkit.library.known import Atlas
from trackkit.recordings.nmea.stream import Fix


def fixes(recording):
    speed = recording.speed_mps if recording.speed_mps is not None else [None] * len(recording)
    course = recording.course_deg if recording.course_deg is not None else [None] * len(recording)
    return [
        Fix(*map(float, (x, y)), None if s is None else float(s), None if c is None else float(c))
        for x, y, s, c in zip(
            recording.longitude_deg, recording.latitude_deg, speed, course, strict=True
        )
    ]


def test_layouts_that_share_tarmac_stay_open_and_it_is_told_where_they_part():
    recording = recorded(LONG, noise=0.3)
    locator = Locator(BOTH.near)
    for fix, along in zip(fixes(recording), chainage(recording, LONG), strict=True):
        judgement = locator.update(fix)
        if along > 180.0:
            break

    assert judgement.settled is None
    assert {one.id for one in judgement.still_open} == {"long", "short"}
    assert judgement.part_at_m == pytest.approx(295.0, abs=12.0)
    for one in judgement.still_open:
        assert one.probability == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize(("road", "expected"), [(LONG, "long"), (SHORT, "short")])
def test_it_settles_once_the_layouts_have_parted_by_20_m(road, expected):
    recording = recorded(road, begin_m=100.0)
    locator = Locator(BOTH.near)
    for fix, along in zip(fixes(recording), chainage(recording, road), strict=True):
        judgement = locator.update(fix)
        if 100.0 + along > 330.0:
            break

    assert judgement.settled is not None
    assert judgement.settled.id == expected
    assert judgement.still_open == ()


def test_it_changes_its_mind_when_the_other_layout_is_driven():
    locator = Locator(BOTH.near)
    answers = []
    for road in (SHORT, LONG):
        for fix in fixes(recorded(road, begin_m=20.0, laps=1.0)):
            judgement = locator.update(fix)
        answers.append(judgement.settled.id if judgement.settled else None)

    assert answers == ["short", "long"]


def backwards(driven):
    """The same drive the other way round."""
    return [
        replace(fix, course_deg=None if fix.course_deg is None else (fix.course_deg + 180) % 360)
        for fix in reversed(driven)
    ]


@pytest.mark.parametrize(("way", "expected"), [(list, "there"), (backwards, "back")])
def test_of_two_files_for_the_two_directions_the_one_that_is_driven_settles(way, expected):
    atlas = Atlas.of([known(LONG, "there"), known(LONG, "back", reverse=True)])
    locator = Locator(atlas.near)
    for fix in way(fixes(recorded(LONG, laps=0.3))):
        judgement = locator.update(fix)

    assert judgement.settled is not None
    assert (judgement.settled.id, judgement.settled.reversed) == (expected, False)


def test_a_drive_against_the_racing_direction_of_the_only_file_is_recognised_as_such():
    atlas = Atlas.of([known(LONG, "back", reverse=True)])
    locator = Locator(atlas.near)
    for fix in fixes(recorded(LONG, laps=0.5)):
        judgement = locator.update(fix)

    assert judgement.settled is not None
    assert judgement.settled.reversed
    assert judgement.settled.direction == "anticlockwise"


def test_it_needs_no_course_from_the_receiver():
    atlas = Atlas.of([known(LONG, "there"), known(LONG, "back", reverse=True)])
    locator = Locator(atlas.near)
    for fix in fixes(recorded(LONG, laps=0.5)):
        judgement = locator.update(Fix(fix.longitude_deg, fix.latitude_deg))

    assert judgement.settled is not None
    assert judgement.settled.id == "there"


def test_what_a_receiver_does_not_tell_may_be_nan():
    plain, with_nan = Locator(BOTH.near), Locator(BOTH.near)
    nan = float("nan")
    for fix in fixes(recorded(LONG, laps=0.5)):
        expected = plain.update(Fix(fix.longitude_deg, fix.latitude_deg))
        with_nan.update(Fix(nan, fix.latitude_deg))
        judgement = with_nan.update(Fix(fix.longitude_deg, fix.latitude_deg, nan, nan))

    assert judgement == expected
    assert judgement.settled is not None


def test_standing_still_proves_nothing():
    locator = Locator(BOTH.near)
    generator = np.random.default_rng(1)
    fix = fixes(recorded(LONG))[0]
    first = locator.update(fix)
    for _ in range(500):
        shake = generator.normal(size=2) * 1e-5
        last = locator.update(
            Fix(fix.longitude_deg + shake[0], fix.latitude_deg + shake[1], 0.0, 77.0)
        )

    assert last == first
    assert locator.counted == 1


def test_a_drive_on_no_known_line_is_unknown():
    # A road that crosses the circuit at right angles and leads on.
    east = np.zeros(80)
    north = np.linspace(-900.0, 900.0, 80)
    locator = Locator(BOTH.near)
    for x, y in zip(161.0 + east / 76_000.0, 47.0 + north / 111_200.0, strict=True):
        judgement = locator.update(Fix(float(x), float(y), 20.0, 0.0))

    assert judgement.unknown > 0.9
    assert judgement.settled is None
    assert judgement.still_open == ()


def test_far_from_everything_it_answers_nothing_and_begins_where_something_is_near():
    locator = Locator(BOTH.near)
    assert locator.update(Fix(50.0, 10.0)).candidates == ()
    for fix in fixes(recorded(LONG, laps=1.0)):
        judgement = locator.update(fix)

    assert judgement.settled is not None
    assert judgement.settled.id == "long"


def test_the_lines_near_a_place_are_asked_for_once_while_the_drive_stays():
    asked = []

    def near(*place):
        asked.append(place)
        return BOTH.near(*place)

    locator = Locator(near)
    for fix in fixes(recorded(LONG, laps=2.0)):
        locator.update(fix)

    assert len(asked) == 1


def test_an_open_course_has_an_end():
    atlas = Atlas.of([known(hill_course(), "hill")])
    locator = Locator(atlas.near)
    for fix in fixes(recorded(hill_course(), laps=0.6, begin_m=0.0)):
        judgement = locator.update(fix)

    assert judgement.settled is not None
    assert judgement.settled.id == "hill"


@pytest.mark.parametrize("at", [(180.0, -27.0), (30.0, 89.99), (161.0, 47.0)])
def test_it_works_astride_the_antimeridian_and_beside_a_pole(at):
    atlas = Atlas.of([known(LONG, "long", at=at), known(SHORT, "short", at=at)])
    track = track_of(LONG, at=at, spacing_m=5.0)
    line = track.centreline
    locator = Locator(atlas.near)
    for x, y in zip(line.longitude_deg, line.latitude_deg, strict=True):
        judgement = locator.update(Fix(float((x + 180) % 360 - 180), float(y)))

    assert judgement.settled is not None
    assert (judgement.settled.id, judgement.settled.reversed) == ("long", False)


def test_probabilities_add_up_to_one():
    locator = Locator(BOTH.near)
    for fix in fixes(recorded(LONG))[::3]:
        judgement = locator.update(fix)
        total = judgement.unknown + sum(one.probability for one in judgement.candidates)
        assert total == pytest.approx(1.0)
