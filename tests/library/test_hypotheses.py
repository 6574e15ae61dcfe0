"""Lines laid out as hypotheses: in steps, in both directions, and where two of them part."""

from dataclasses import replace

import numpy as np
import pytest
from drives import HOME
from library_entries import known_at
from two_layouts import LONG, SHORT, known

from trackkit.library.hypotheses import PARTED_M, STEP_M, ground_at

AT = HOME
LAYOUTS = (known(LONG, "long"), known(SHORT, "short"))
GROUND = ground_at(*AT, LAYOUTS)


def part(ground, number):
    begin, count = int(ground.begin[number]), int(ground.count[number])
    return slice(begin, begin + count)


def test_each_line_is_laid_out_in_even_steps_both_ways():
    assert [(h.circuit.id, h.reversed) for h in GROUND.hypotheses] == [
        ("long", False),
        ("long", True),
        ("short", False),
        ("short", True),
    ]
    for number, road in enumerate((LONG, LONG, SHORT, SHORT)):
        assert GROUND.count[number] * GROUND.step_m[number] == pytest.approx(road.length_m, abs=0.5)
        assert GROUND.step_m[number] == pytest.approx(STEP_M, rel=0.02)
    # Driven the other way the same places come in the other order, facing back.
    assert GROUND.place_m[part(GROUND, 1)] == pytest.approx(GROUND.place_m[part(GROUND, 0)][::-1])
    assert GROUND.heading[part(GROUND, 1)] == pytest.approx(-GROUND.heading[part(GROUND, 0)][::-1])


def test_steps_lie_on_the_road_and_face_along_it():
    place, heading = GROUND.place_m[part(GROUND, 0)], GROUND.heading[part(GROUND, 0)]
    middle = (np.arange(len(place)) + 0.5) * GROUND.step_m[0]
    truth, ahead = LONG.at(middle)

    assert np.linalg.norm(place - truth, axis=1).max() < 0.3
    assert np.einsum("ij,ij->i", heading, ahead).min() > 0.99


def test_every_step_tells_which_line_it_is_of_and_which_of_its_steps_it_is():
    assert GROUND.of.tolist() == np.repeat(np.arange(4), GROUND.count).tolist()
    assert GROUND.local.tolist() == [n for count in GROUND.count.tolist() for n in range(count)]
    assert GROUND.closed.all()
    assert len(GROUND.place_m) == GROUND.count.sum()


def test_chainages_are_those_of_the_file_whichever_way_it_is_driven():
    step = float(GROUND.step_m[0])
    last = int(GROUND.count[0]) - 1

    assert GROUND.chainage_m(0, 0) == pytest.approx(0.5 * step)
    assert GROUND.chainage_m(0, 3) == pytest.approx(3.5 * step)
    assert GROUND.chainage_m(1, 0) == pytest.approx(LONG.length_m - 0.5 * step, abs=0.5)
    assert GROUND.chainage_m(1, last) == pytest.approx(0.5 * step, abs=1e-6)


def test_two_lines_part_where_they_are_twenty_metres_apart():
    # From 250 m on the short one bends away at 50 m radius: they are 20 m apart where
    # 50 (1 - cos a) and the way gone ahead make it so, at about 295 m (see two_layouts).
    assert GROUND.part_at_m(0, 2, 5) == pytest.approx(295.0, abs=12.0)
    chainage = GROUND.part_at_m(0, 2, 5)
    away = np.linalg.norm(GROUND.place_m[part(GROUND, 2)] - LONG.at(chainage)[0], axis=1).min()
    assert PARTED_M - 0.5 < away < PARTED_M + STEP_M


def test_beyond_where_they_part_they_part_at_once_and_after_that_on_the_next_lap():
    beyond = round(400.0 / float(GROUND.step_m[0]))
    assert GROUND.part_at_m(0, 2, beyond) == pytest.approx(400.0, abs=STEP_M)
    # Near the end of the lap, where both run beside each other again: on the next one.
    last = int(GROUND.count[0]) - 2
    together = np.linalg.norm(GROUND.place_m[part(GROUND, 2)] - GROUND.place_m[last], axis=1).min()
    expected = 295.0 if together < PARTED_M else GROUND.chainage_m(0, last)
    assert GROUND.part_at_m(0, 2, last) == pytest.approx(expected, abs=12.0)


def test_the_same_line_never_parts_from_itself():
    assert GROUND.part_at_m(0, 0, 0) is None
    assert GROUND.part_at_m(0, 1, 0) is None


@pytest.mark.parametrize(
    ("stated", "against"),
    [("clockwise", "anticlockwise"), ("anticlockwise", "clockwise"), (None, None)],
)
def test_driven_against_its_direction_a_line_has_the_opposite_one(stated, against):
    forward, back = ground_at(*AT, [replace(known_at(AT), direction=stated)]).hypotheses

    assert (forward.direction, back.direction) == (stated, against)


def test_without_lines_there_is_no_ground():
    assert ground_at(*AT, []) is None


def test_steps_of_a_course_end_at_its_ends_and_are_at_least_four():
    from pathlib import Path

    from drives import Road, straight, track_of

    from trackkit.library.known import circuit_of

    def ground_of(length_m):
        road = Road((straight(length_m),), closed=False)
        return ground_at(*AT, [circuit_of(track_of(road, spacing_m=5.0), Path("x.geojson"))])

    # 200 m in twenty steps of ten: the first begins at the first position, the last ends at the
    # last.
    long, short = ground_of(200.0), ground_of(20.0)
    ahead = long.place_m[part(long, 0)]
    assert long.count.tolist() == [20, 20]
    assert np.linalg.norm(np.diff(ahead, axis=0), axis=1) == pytest.approx(10.0, abs=1e-3)
    assert np.linalg.norm(ahead[0]) == pytest.approx(5.0, abs=1e-3)
    assert np.linalg.norm(ahead[-1]) == pytest.approx(195.0, abs=1e-2)
    assert not long.closed.any()
    # 20 m would be two.
    assert short.count.tolist() == [4, 4]
    assert short.step_m == pytest.approx(5.0, abs=1e-3)


def test_what_is_worked_out_of_two_lines_once_is_the_same_again():
    again = ground_at(*AT, LAYOUTS)
    first = again.part_at_m(0, 2, 5)

    assert again.part_at_m(0, 2, 5) == first
    assert again.part_at_m(2, 0, 5) is not None
    # The long one leads where the short one never goes, and on an open course nothing comes again.
    assert again.part_at_m(0, 2, 5) > again.chainage_m(0, 5)


def test_on_a_course_what_lies_behind_does_not_part_ahead():
    from drives import Road, arc, straight

    # The same 300 m straight, after different bends.
    left = Road((straight(60.0), arc(60, 90), straight(300.0)), closed=False, start=(0.0, 0.0))
    right = Road((straight(60.0), arc(-60, 90), straight(300.0)), closed=False, start=(0.0, 0.0))
    turned = ground_at(*AT, [known(left, "left"), known(right, "right")])
    # Backwards both begin apart and end on the same 60 m.
    last = int(turned.count[1]) - 2

    assert turned.part_at_m(1, 3, 0) is not None
    assert turned.part_at_m(1, 3, last) is None
