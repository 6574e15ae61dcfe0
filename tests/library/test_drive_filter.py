"""Layouts and directions told apart, fix by fix."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from drives import HOME, hill_course, on_earth, track_of
from library_entries import EARTH
from scipy.stats import norm
from two_layouts import BOTH, LONG, SHORT, chainage, known, recorded

from trackkit.library.drive_filter import Locator, _apart_m, _bell, _heading, _shifted
from trackkit.library.hypotheses import ground_at
from trackkit.library.known import Atlas, circuit_of
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


# The parts of it, against what they are by definition


GROUND = ground_at(*HOME, BOTH.circuits)


def on_one_step(step, hypothesis=0):
    on = np.zeros(len(GROUND.of))
    on[GROUND.begin[hypothesis] + step] = 1.0
    return on


@pytest.mark.parametrize("step", [10, 95])
@pytest.mark.parametrize("moved_m", [10.0, 23.0, 60.0])
def test_what_is_on_a_lap_moves_on_by_the_distance_driven_and_none_is_lost(step, moved_m):
    count, step_m = int(GROUND.count[0]), float(GROUND.step_m[0])

    on = _shifted(GROUND, on_one_step(step), moved_m)

    assert on.sum() == pytest.approx(1.0)
    assert on[count:].sum() == 0.0
    ahead = (np.arange(count) - step + count // 2) % count - count // 2
    mean = float(on[:count] @ ahead) * step_m
    assert mean == pytest.approx(moved_m, abs=1.5)
    # Spread by 2 m and a twentieth of the way, but by no less than steps can show.
    spread = np.sqrt(float(on[:count] @ (ahead * step_m - mean) ** 2))
    sigma = max(2.0 + 0.05 * moved_m, 0.35 * step_m)
    assert 0.5 * sigma < spread < 1.3 * sigma


def test_what_runs_over_the_end_of_an_open_line_leaves_it():
    course = track_of(hill_course(), spacing_m=5.0)
    ground = ground_at(*HOME, [circuit_of(course, Path("hill.geojson"))])
    on = np.zeros(len(ground.of))
    on[ground.count[0] - 2] = 1.0

    assert _shifted(ground, on, 60.0).sum() == pytest.approx(0.0, abs=1e-6)
    assert _shifted(ground, on, 0.0).sum() == pytest.approx(1.0, abs=0.1)


def test_the_bell_is_the_normal_density():
    at = np.array([-3.0, 0.0, 1.0, 12.0])

    np.testing.assert_allclose(_bell(at, 6.0), norm.pdf(at, scale=6.0))


@pytest.mark.parametrize(
    ("start", "end"),
    [
        (HOME, (HOME[0] + 0.005, HOME[1] + 0.002)),
        ((179.999, -17.0), (-179.998, -17.001)),
        ((-30.0, 70.0), (-30.0, 70.01)),
        ((0.0, 0.0), (0.01, 0.0)),
    ],
)
def test_how_far_fixes_are_apart_is_right_to_six_in_a_thousand(start, end):
    exact = EARTH.Inverse(start[1], start[0], end[1], end[0])["s12"]

    assert _apart_m(Fix(*start), Fix(*end)) == pytest.approx(exact, rel=0.006)


def test_a_course_is_taken_from_true_north():
    # Half a degree east of the plane's middle its north is off by half the sine of the latitude.
    away = Fix(HOME[0] + 0.5, HOME[1], 20.0, 90.0)

    turned = np.radians(0.5 * np.sin(np.radians(HOME[1])))
    assert _heading(GROUND, away, None) == pytest.approx([np.cos(turned), np.sin(turned)], abs=1e-4)


@pytest.mark.parametrize(
    ("speed", "course", "moved", "heading"),
    [
        (20.0, 90.0, [0.0, 12.0], [1.0, 0.0]),
        (None, 90.0, [0.0, 12.0], [1.0, 0.0]),
        (1.0, 90.0, [0.0, 12.0], [0.0, 1.0]),
        (20.0, None, [0.0, -12.0], [0.0, -1.0]),
        (20.0, float("nan"), [9.0, 12.0], [0.6, 0.8]),
        (1.0, 90.0, [0.0, 200.0], None),
        (20.0, None, None, None),
    ],
)
def test_the_heading_is_the_course_or_where_that_says_little_the_way_between_fixes(
    speed, course, moved, heading
):
    fix = Fix(*HOME, speed, course)

    found = _heading(GROUND, fix, None if moved is None else np.array(moved))

    assert (found is None) == (heading is None)
    if heading is not None:
        assert found == pytest.approx(heading, abs=1e-6)


def test_a_course_tells_the_two_directions_apart_by_its_density():
    # On the line, eastwards as it is driven there; and the same place facing the other way.
    longitude, latitude = on_earth(LONG.at(100.0)[0])

    def odds(course_deg):
        """How probable it is after one fix that the long one is driven against its direction."""
        locator = Locator(Atlas.of([BOTH.circuits[0]]).near)
        judged = locator.update(Fix(float(longitude), float(latitude), 20.0, course_deg))
        by_way = {one.reversed: one.probability for one in judged.candidates}
        return by_way[True] / by_way[False]

    # A normal density of 12 degrees, and one course in twenty from anywhere; half its logarithm
    # counts.  A course against the direction speaks as much for it as one along it against it.
    along = 0.95 * norm.pdf(0.0, scale=12.0) + 0.05 / 360.0
    across = 0.95 * norm.pdf(180.0, scale=12.0) + 0.05 / 360.0
    assert odds(270.0) / odds(None) == pytest.approx(np.sqrt(along / across), rel=0.05)
    assert odds(None) / odds(90.0) == pytest.approx(np.sqrt(along / across), rel=0.05)
