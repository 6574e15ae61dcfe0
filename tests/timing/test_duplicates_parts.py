"""When two recordings hold the same driving, by sketches laid out by hand."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from trackkit.recordings.recording import Recording
from trackkit.timing.duplicates import Shared, Sketch, _apart_m, _stretches, shared_with, sketch

METRE_DEG = 1.0 / 111_195.0
"""A degree of a sphere of the Earth's mean radius."""


def driven(name, begin_s, end_s, *, north_m=0.0, late_s=0.0, dated=True, speed_mps=10.0):
    """Northward along a meridian, a fix a second; where it is depends on the time alone."""
    time = np.arange(float(begin_s), end_s + 0.5) + late_s
    north = speed_mps * (time - late_s) + north_m
    return Sketch(name, time, np.full(len(time), 161.0), 47.0 + METRE_DEG * north, dated)


def kinds(first, second):
    return [shared.kind for shared in shared_with([first], second)]


def test_of_each_second_the_first_fix_is_kept():
    time = np.array([0.0, 0.4, 0.995, 1.4, 1.9, 2.3, 4.0])
    start = datetime(2024, 5, 4, tzinfo=UTC)
    recording = Recording("a", time, 161.0 + 1e-5 * time, 47.0 + 0.0 * time, start=start)

    kept = sketch(recording)

    # Formats round times: 0.995 s is the first of the second that begins at 1 s.
    assert kept.time_s - start.timestamp() == pytest.approx([0.0, 0.995, 2.3, 4.0])
    assert kept.longitude_deg == pytest.approx(161.0 + 1e-5 * np.array([0.0, 0.995, 2.3, 4.0]))
    assert (kept.name, kept.dated) == ("a", True)
    counted = sketch(Recording("b", time, 161.0 + 0.0 * time, 47.0 + 0.0 * time))
    assert counted.dated is False
    assert counted.time_s[1] == pytest.approx(0.995)


@pytest.mark.parametrize(("lasting_s", "found"), [(29, []), (30, ["same"]), (300, ["same"])])
def test_half_a_minute_of_the_same_fixes_tells(lasting_s, found):
    # Slow enough to be nothing for two receivers.
    first = driven("a", 0, 1000, speed_mps=0.0)
    second = driven("b", 400, 400 + lasting_s, speed_mps=0.0)

    assert kinds(first, second) == found


@pytest.mark.parametrize(
    ("north_m", "late_s", "same"),
    [(0.34, 0.0, True), (0.36, 0.0, False), (0.0, 0.005, True), (0.0, 0.007, False)],
)
def test_fixes_are_the_same_within_what_formats_round(north_m, late_s, same):
    first = driven("a", 0, 200, speed_mps=0.0)
    second = driven("b", 0, 200, north_m=north_m, late_s=late_s, speed_mps=0.0)

    assert (kinds(first, second) == ["same"]) is same


def test_what_is_shared_is_told_with_when_and_whether_it_is_all():
    first = driven("a", 0, 600)

    (part,) = shared_with([first], driven("b", 400, 1000))
    (whole,) = shared_with([first], driven("b", 100, 500))

    assert (part.begin_s, part.end_s, part.whole) == (400.0, 600.0, False)
    assert (whole.begin_s, whole.end_s, whole.whole) == (100.0, 500.0, True)
    assert part.apart_m == pytest.approx(0.0, abs=1e-6)
    assert (part.first, part.second) == ("a", "b")


def test_recordings_of_other_times_or_other_clocks_share_nothing():
    first = driven("a", 0, 300)

    assert kinds(first, driven("b", 301, 600)) == []
    assert kinds(driven("b", 301, 600), first) == []
    assert kinds(first, driven("b", 0, 300, dated=False)) == []
    counted = driven("a", 0, 300, dated=False)
    assert kinds(counted, driven("b", 0, 300, dated=False)) == ["same"]
    alone = Sketch("c", np.array([5.0]), np.array([161.0]), np.array([47.0]), True)
    assert kinds(alone, first) == []


@pytest.mark.parametrize(
    ("north_m", "lasting_s", "speed_mps", "found"),
    [
        (5.0, 300, 10.0, ["receivers"]),
        (14.9, 300, 10.0, ["receivers"]),
        (15.1, 300, 10.0, []),
        (5.0, 29, 10.0, []),
        (5.0, 30, 10.0, ["receivers"]),
        # Beside each other in the paddock is no drive together.
        (5.0, 100, 0.99, []),
        (5.0, 100, 1.01, ["receivers"]),
    ],
)
def test_two_receivers_were_in_one_vehicle_that_went_somewhere_with_them(
    north_m, lasting_s, speed_mps, found
):
    first = driven("a", 0, lasting_s, speed_mps=speed_mps)
    second = driven("b", 0, lasting_s, north_m=north_m, speed_mps=speed_mps)

    shared = shared_with([first], second)

    assert [one.kind for one in shared] == found
    for one in shared:
        assert one.apart_m == pytest.approx(north_m, rel=1e-6)
        assert (one.begin_s, one.end_s, one.whole) == (0.0, float(lasting_s), False)


@pytest.mark.parametrize(("away", "found"), [(29, ["receivers"]), (31, [])])
def test_nine_tenths_of_the_time_together_are_enough(away, found):
    first, second = driven("a", 0, 299), driven("b", 0, 299, north_m=5.0)
    second.latitude_deg[:away] += 100.0 * METRE_DEG

    assert kinds(first, second) == found


def test_two_receivers_are_compared_at_the_same_time_where_both_recorded():
    # 10 m/s and half a second later: 5 m apart if one forgot to interpolate.
    first = driven("a", 0, 300)
    second = driven("b", 100, 500)
    second = Sketch(
        "b", second.time_s + 0.5, second.longitude_deg, second.latitude_deg + 6 * METRE_DEG, True
    )

    (shared,) = shared_with([first], second)

    assert shared.kind == "receivers"
    assert (shared.begin_s, shared.end_s) == (100.5, 300.0)
    assert shared.apart_m == pytest.approx(1.0, abs=1e-3)


def test_fixes_of_another_that_differ_now_and_then_are_one_stretch():
    time = np.arange(0.0, 200.0)
    same = np.ones(200, dtype=bool)
    same[[50, 120, 121, 122]] = False

    # Three that differ are 4 s from the last that does not to the next; four are 5 s.
    assert _stretches(time, same) == [(0, 200)]
    same[123] = False
    assert _stretches(time, same) == [(0, 120), (124, 200)]
    # Of 31 fixes the first and the last are 30 s apart.
    same[:] = False
    same[60:91] = True
    same[100:130] = True
    assert _stretches(time, same) == [(60, 91)]


def test_distances_are_those_of_a_sphere_across_the_antimeridian_too():
    # A tenth of a degree along a parallel at 60 degrees is half of that along a meridian.
    assert _apart_m(np.array([60.0]), np.array([0.1]), np.array([0.0])) == pytest.approx(5559.75)
    assert _apart_m(np.array([0.0]), np.array([359.9]), np.array([0.0])) == pytest.approx(11119.5)
    assert _apart_m(np.array([0.0]), np.array([0.3]), np.array([0.4])) == pytest.approx(55597.5)


@pytest.mark.parametrize(
    ("kind", "whole", "words"),
    [
        ("same", True, "b holds nothing but fixes of a, and is not counted again"),
        (
            "same",
            False,
            "b holds 10 min of the fixes of a again: laps in both are counted in a",
        ),
        (
            "receivers",
            False,
            (
                "b and a are recordings of one drive by two receivers, 2.3 m apart over 10 min: "
                "each is timed, and what both hold is summed up once"
            ),
        ),
    ],
)
def test_what_is_shared_is_said_in_words(kind, whole, words):
    assert Shared("a", "b", kind, 30.0, 630.0, whole, 2.34).sentence == words
