"""What is said of how well a line is known, and of what it was not made of, by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from drives import hill_course, stadium, track_of

from trackkit.building.line_accuracy import KnownLine
from trackkit.building.tell_accuracy import accuracy_remarks, left_out_remarks, with_profile
from trackkit.track.accuracy import AccuracyRow


@pytest.fixture(scope="module")
def oval():
    return track_of(stadium(), spacing_m=4.0)


def fitted(sigma, *, kind=None, assumed=False):
    sigma = np.asarray(sigma, dtype=float)
    kind = np.full(len(sigma), "measured") if kind is None else np.array(kind)
    return SimpleNamespace(accuracy=KnownLine(sigma, kind, "the wander read", assumed))


def rows(*given):
    return tuple(AccuracyRow(*row) for row in given)


def test_a_profile_makes_the_accuracy_its_root_mean_square(oval):
    profile = rows((0.0, 1.0, "measured"), (200.0, 3.0, "measured"))

    track = with_profile(oval, profile)

    assert track.centreline.accuracy_profile == profile
    # From 1 m to 3 m and back, evenly: the mean of the square is (1 + 3 + 9) / 3.
    assert track.accuracy_m == pytest.approx(np.sqrt(13.0 / 3.0), abs=0.005)
    assert track.accuracy_m == round(track.accuracy_m, 3)


def test_on_a_course_the_last_row_holds_to_its_end():
    course = track_of(hill_course(), spacing_m=4.0)

    track = with_profile(course, rows((0.0, 1.0, "measured"), (course.length_m / 2, 1.0, "thin")))

    assert track.accuracy_m == 1.0


def test_how_well_a_line_is_known_is_told_with_its_basis(oval):
    track = replace(oval, accuracy_m=0.456)

    assert accuracy_remarks(track, fitted([0.4] * 9)) == (
        "absolute accuracy 0.46 m, one sigma: the wander read",
    )


@pytest.mark.parametrize(("high", "told"), [(1.19, False), (1.21, True)])
def test_where_it_varies_along_the_line_it_is_told_from_low_to_high(oval, high, told):
    sigma = np.where(np.arange(100) < 50, 1.0, high)

    (remark,) = accuracy_remarks(replace(oval, accuracy_m=1.1), fitted(sigma))

    assert (f"(1.00 to {high:.2f} m along it)" in remark) == told


def test_a_wander_that_is_assumed_is_told(oval):
    remarks = accuracy_remarks(replace(oval, accuracy_m=1.0), fitted([1.0], assumed=True))

    assert len(remarks) == 2
    assert remarks[1].startswith("how far the receiver wandered is assumed")


def test_where_fixes_are_far_apart_is_told_by_length_and_by_what_is_known_there(oval):
    quarter = 0.25 * oval.length_m
    profile = rows((0.0, 1.0, "thin"), (quarter, 1.0, "measured"))
    track = with_profile(oval, profile)

    remarks = accuracy_remarks(track, fitted([3.0, 4.0, 1.0], kind=["thin", "thin", "measured"]))

    # The root mean square of 3 and 4 is 3.5.
    assert remarks[-1].startswith(
        "sparse logging: the fixes are far apart over 100 m (25 %) of the line, which is known to "
        "3.5 m there"
    )
    without = with_profile(oval, rows((0.0, 1.0, "measured")))
    assert len(accuracy_remarks(without, fitted([1.0]))) == 1


def run(path, length_m):
    return SimpleNamespace(path=path, length_m=length_m)


def path_of(metres):
    return SimpleNamespace(position_m=np.zeros((metres // 5 + 1, 2)), step_m=5.0)


@pytest.mark.parametrize(("used_m", "told"), [(1985.0, False), (1970.0, True)])
def test_what_is_in_no_run_is_told_from_a_hundredth_on(used_m, told):
    first, second = path_of(1000), path_of(1000)
    runs = [run(first, 600.0), run(first, 385.0), run(second, used_m - 985.0)]

    remarks = left_out_remarks([runs[:2], runs[2:]], runs)

    assert len(remarks) == told


def test_how_much_is_left_out_is_told_with_what_was_used():
    path = path_of(4000)
    runs = [run(path, 1000.0), run(path, 2000.0)]

    assert left_out_remarks([runs], runs[:1])[0].startswith(
        "3,000 of the 4,000 m recorded (75 %) were left out: the course is built from 1 run, and"
    )
    # A run cannot use more than there is.
    assert left_out_remarks([[run(path, 9000.0)]], [run(path, 9000.0)]) == ()
